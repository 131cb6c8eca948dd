//! What a format says is sent without being asked: its greeting when the link opens, its polls when they are due.

use std::sync::Arc;
use std::time::Duration;

use tokio::time::Instant;

use crate::protocol::Format;

/// How often silence and polls are looked at: a record that ends by silence is not late.
pub(super) const TICK: Duration = Duration::from_millis(50);

/// The polls of a format on a link.
pub(super) struct Polls {
    format: Arc<Format>,
    /// When each was last sent; none while the link is not open.
    sent: Vec<Instant>,
}

impl Polls {
    /// On a link that is not open yet.
    pub(super) fn new(format: Arc<Format>) -> Self {
        Polls { format, sent: Vec::new() }
    }

    /// The link was opened: gives what is sent at once.
    pub(super) fn opened(&mut self) -> Vec<Vec<u8>> {
        let talk = self.format.talk();
        self.sent = vec![Instant::now(); talk.polls.len()];
        talk.greeting.clone()
    }

    /// The link went.
    pub(super) fn closed(&mut self) {
        self.sent.clear();
    }

    /// Gives what is to be sent by now.
    pub(super) fn due(&mut self) -> Vec<Vec<u8>> {
        let mut due = Vec::new();
        for (poll, sent) in self.format.talk().polls.iter().zip(&mut self.sent) {
            if sent.elapsed() >= Duration::from_secs(u64::from(poll.every_s)) {
                *sent = Instant::now();
                due.push(poll.bytes.clone());
            }
        }
        due
    }
}
