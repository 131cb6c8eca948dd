//! When to try a link again, and when to say that it is being waited for. Pure: time goes in and out as an argument.

use std::time::Duration;

use super::trouble::{Trouble, TroubleKind};

/// The first wait: an adapter that only re-enumerates is back within it.
pub const RETRY_FIRST: Duration = Duration::from_millis(250);
/// The longest wait: a port that comes back is taken up within it, so that no crew stands and wonders.
pub const RETRY_MAX: Duration = Duration::from_secs(2);

/// Growing waits: 0.25 s, 0.5 s, 1 s, then 2 s for good.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Backoff {
    next: Duration,
}

impl Backoff {
    /// Begins at the first wait.
    pub(super) const fn new() -> Self {
        Backoff { next: RETRY_FIRST }
    }

    /// How long to wait now; the next wait is twice as long.
    pub(super) fn wait(&mut self) -> Duration {
        let wait = self.next;
        self.next = (wait * 2).min(RETRY_MAX);
        wait
    }

    /// The link has proved itself: the next outage begins at the first wait again. A link that opens and goes at once
    /// has proved nothing, so that a converter that slams the door is not asked four times a second.
    pub(super) fn proved(&mut self) {
        *self = Backoff::new();
    }
}

/// One outage: decides which of its failed attempts is worth a word to the crew.
///
/// The first one is. After that one more only when the trouble has become another one that was not yet said in this
/// outage, and has stayed it for a second attempt: a freshly plugged adapter is root's alone for a moment, which is
/// nobody's business, but a port that another program grabbed is.
#[derive(Debug, Default)]
pub(super) struct Outage {
    said: Vec<TroubleKind>,
    last: Option<TroubleKind>,
}

impl Outage {
    /// Whether this failed attempt is to be announced.
    pub(super) fn announces(&mut self, trouble: &Trouble) -> bool {
        let kind = trouble.kind();
        let settled = self.last.replace(kind) == Some(kind);
        let announces = self.said.is_empty() || (settled && !self.said.contains(&kind));
        if announces {
            self.said.push(kind);
        }
        announces
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn waits_double_from_a_quarter_second_to_two_and_begin_anew_once_proved() {
        let mut backoff = Backoff::new();
        let waits: Vec<u128> = (0..6).map(|_| backoff.wait().as_millis()).collect();
        assert_eq!(waits, [250, 500, 1000, 2000, 2000, 2000]);
        backoff.proved();
        assert_eq!(backoff.wait().as_millis(), 250);
    }

    #[test]
    fn an_outage_is_said_once_and_a_new_trouble_only_when_it_stays() {
        let missing = || Trouble::Missing { what: "p".into() };
        let in_use = || Trouble::InUse { what: "p".into(), by: None };
        let mut outage = Outage::default();
        let said: Vec<bool> = [
            missing(), // said
            missing(),
            in_use(), // for one attempt only
            missing(),
            in_use(),
            in_use(), // it stays: said
            in_use(),
            missing(),
            missing(), // known in this outage
            in_use(),
            in_use(),
        ]
        .iter()
        .map(|trouble| outage.announces(trouble))
        .collect();
        let expected = [0, 5];
        assert_eq!(said.iter().enumerate().filter(|(_, said)| **said).map(|(i, _)| i).collect::<Vec<_>>(), expected);
    }
}
