//! Where the crew looks and hears. An outlet is told what has been kept; it can neither hold the loop up nor end it.

mod lines;
mod page;
mod screen;
mod tones;

use std::time::Duration;

use crate::book::Book;
use crate::book::event::Event;
use crate::report::live::Line;

pub use lines::{Form, LineWriter};
pub use page::{PageOutlet, Upward};
pub use screen::{Keys, RawTerminal, Screen, read_keys};
pub use tones::{Sounder, SystemSounder, Tone, Tones};

/// What there is to show: it has been kept, or it says that nothing can be kept.
pub struct Shown<'a> {
    /// The book after it.
    pub book: &'a Book,
    /// The event, unless it is a notice.
    pub event: Option<&'a Event>,
    /// What the crew should see of it.
    pub lines: &'a [Line],
}

/// Where the crew looks or hears.
pub trait Outlet {
    /// Shows something. Never waits.
    fn show(&mut self, shown: &Shown<'_>);

    /// How things stand now, and how long ago the instrument was last heard.
    fn stands(&mut self, _book: &Book, _heard_ago: Option<Duration>) {}

    /// What has gone wrong with the outlet itself since this was last asked, for the others to say.
    fn trouble(&mut self) -> Option<String> {
        None
    }

    /// Nothing more will come: shows what is still on its way, within a bounded time.
    fn end(&mut self) {}
}
