//! What can be said of the link from when bytes and records came: heard, quiet, or bytes that are no records. And what
//! the format wants sent to the instrument again and again.

use std::time::Duration;

use crate::book::event::LinkState;
use crate::protocol::Format;

/// Bytes without a record for this long are told as such.
const BABBLE_AFTER: Duration = Duration::from_secs(3);
/// At least so many bytes, so that a few stray ones at opening are not told.
const BABBLE_BYTES: usize = 32;
/// How many of them are shown.
const BABBLE_SAMPLE: usize = 16;

/// The link as it was heard.
pub(super) struct LinkWatch {
    /// The link in words, as it was last opened.
    words: String,
    opened: Opened,
    heard_at: Option<Duration>,
    babble: Babble,
    /// When each poll of the format was last sent.
    polled: Vec<Duration>,
    /// Silence after which the link is said to be quiet.
    quiet_after: Option<Duration>,
}

/// Whether the link was ever open.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Opened {
    NotYet,
    Once,
}

/// Bytes since the last record.
#[derive(Default)]
struct Babble {
    since: Option<Duration>,
    bytes: usize,
    sample: Vec<u8>,
}

impl LinkWatch {
    pub(super) fn new(quiet_after: Option<Duration>) -> Self {
        LinkWatch {
            words: String::new(),
            opened: Opened::NotYet,
            heard_at: None,
            babble: Babble::default(),
            polled: Vec::new(),
            quiet_after,
        }
    }

    /// The link in words, as it was last opened.
    pub(super) fn words(&self) -> &str {
        &self.words
    }

    /// Whether it was ever open.
    pub(super) fn ever_opened(&self) -> bool {
        self.opened == Opened::Once
    }

    /// Whether a record is half received.
    pub(super) fn in_record(&self) -> bool {
        self.babble.since.is_some()
    }

    /// How long ago it was last heard.
    pub(super) fn heard_ago(&self, now: Duration) -> Option<Duration> {
        self.heard_at.map(|heard| now.saturating_sub(heard))
    }

    /// It was opened.
    pub(super) fn opened(&mut self, words: String, now: Duration) {
        self.words = words;
        self.opened = Opened::Once;
        self.heard_at = Some(now);
    }

    /// Bytes came.
    pub(super) fn heard(&mut self, bytes: &[u8], now: Duration) {
        self.heard_at = Some(now);
        let babble = &mut self.babble;
        babble.since.get_or_insert(now);
        babble.bytes += bytes.len();
        let room = BABBLE_SAMPLE.saturating_sub(babble.sample.len()).min(bytes.len());
        babble.sample.extend_from_slice(&bytes[..room]);
    }

    /// They were a record, or the link went: no half record is left.
    pub(super) fn understood(&mut self) {
        self.babble = Babble::default();
    }

    /// What the link has become by staying as it is, given what was last said of it.
    pub(super) fn turned_into(&self, said: Option<&LinkState>, now: Duration) -> Option<LinkState> {
        let gone = matches!(said, Some(LinkState::Lost { .. } | LinkState::Waiting { .. } | LinkState::Finished));
        if gone || !self.ever_opened() {
            return None;
        }
        let babbles = |since| self.babble.bytes >= BABBLE_BYTES && now.saturating_sub(since) >= BABBLE_AFTER;
        match (self.babble.since, said) {
            (Some(_), Some(LinkState::Babble { .. })) => return None,
            (None, Some(LinkState::Babble { .. })) => return Some(LinkState::Open),
            (Some(since), _) if babbles(since) => {
                let sample: Vec<String> = self.babble.sample.iter().map(|byte| format!("{byte:02X}")).collect();
                return Some(LinkState::Babble { sample: sample.join(" ") });
            }
            _ => {}
        }
        let silent = self.heard_ago(now).filter(|ago| self.quiet_after.is_some_and(|limit| *ago >= limit))?;
        let known = matches!(said, Some(LinkState::Quiet { .. }));
        (!known).then_some(LinkState::Quiet { for_s: silent.as_secs() })
    }

    /// The polls of the format begin to count.
    pub(super) fn greeted(&mut self, format: &Format, now: Duration) {
        self.polled = format.talk().polls.iter().map(|_| now).collect();
    }

    /// What the format file wants sent again by now; nothing else ever is.
    pub(super) fn polls_due(&mut self, format: &Format, now: Duration) -> Vec<Vec<u8>> {
        let mut due = Vec::new();
        for (poll, last) in format.talk().polls.iter().zip(&mut self.polled) {
            if now.saturating_sub(*last) >= Duration::from_secs(u64::from(poll.every_s)) {
                *last = now;
                due.push(poll.bytes.clone());
            }
        }
        due
    }
}
