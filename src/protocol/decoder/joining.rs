//! Whether the first bytes may be the tail of a record whose start was before we listened.

use crate::book::moment::Moment;
use crate::protocol::limits::JOIN_QUIET_MS;

/// Where in the stream we came in.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Joining {
    /// The link was opened and nothing has come.
    Opened {
        /// When it was.
        at: Moment,
    },
    /// Bytes came at once, perhaps out of the middle of a record.
    Inside,
    /// Records begin where they begin.
    Settled,
}

impl Joining {
    /// The first bytes came.
    pub(super) fn began(self, now: Moment) -> Joining {
        match self {
            Joining::Opened { at } if now.since(at).as_millis() >= u128::from(JOIN_QUIET_MS) => Joining::Settled,
            Joining::Opened { .. } => Joining::Inside,
            other => other,
        }
    }

    /// What comes first may be the tail of a record.
    pub(super) fn may_be_tail(self) -> bool {
        self == Joining::Inside
    }
}
