//! What a session is given, and how it ends.

use std::time::Duration;

use crate::book::Book;
use crate::book::settings::Settings;
use crate::daemon::clock::Clock;
use crate::daemon::outlet::Outlet;
use crate::daemon::recognise::Listener;
use crate::link::{LinkHandle, Simulated};

/// What a session is given.
pub struct Setting<K> {
    /// What the instrument is called; no name where there is only one and nobody gave it any.
    pub name: Option<String>,
    /// Where events are kept.
    pub store: K,
    /// The book that the kept events come to.
    pub book: Book,
    /// What the job is to be set to.
    pub settings: Settings,
    /// Bytes to records.
    pub listener: Listener,
    /// The way back to the instrument.
    pub link: LinkHandle,
    /// The time.
    pub clock: Box<dyn Clock>,
    /// Where the crew looks and hears.
    pub outlets: Vec<Box<dyn Outlet>>,
    /// Whether the instrument is known to be a simulated one.
    pub simulated: Simulated,
    /// Silence after which the link is said to be quiet.
    pub quiet_after: Option<Duration>,
}

/// How a session ended.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Ending {
    /// In good order, everything kept.
    Good,
    /// Something could not be kept, or the link's thread died.
    Bad {
        /// What.
        why: String,
    },
}
