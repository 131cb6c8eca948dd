//! Where the crew looks and hears. An outlet is told what has been kept; it can neither hold the loop up nor end it.

mod lines;
mod page;
mod screen;
mod tones;

use std::cell::RefCell;
use std::rc::Rc;
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
    /// What the crew should see of it, under the instrument's name if it has one.
    pub lines: &'a [Line],
}

/// How things stand.
#[derive(Clone, Copy)]
pub struct Standing<'a> {
    /// Which instrument, if it has a name.
    pub instrument: Option<&'a str>,
    /// Its book.
    pub book: &'a Book,
    /// How long ago it was last heard.
    pub heard_ago: Option<Duration>,
}

/// Where the crew looks or hears.
pub trait Outlet {
    /// Shows something. Never waits.
    fn show(&mut self, shown: &Shown<'_>);

    /// How things stand now.
    fn stands(&mut self, _standing: &Standing<'_>) {}

    /// What has gone wrong with the outlet itself since this was last asked, for the others to say.
    fn trouble(&mut self) -> Option<String> {
        None
    }

    /// Nothing more will come from this session: shows what is still on its way, within a bounded time.
    fn end(&mut self) {}
}

/// An outlet that several sessions share: one terminal, one stream, one loudspeaker. It ends when the last of them has
/// let go of it.
#[derive(Clone)]
pub struct Shared(Rc<RefCell<dyn Outlet>>);

impl Shared {
    /// To be shared.
    pub fn new(outlet: impl Outlet + 'static) -> Self {
        Shared(Rc::new(RefCell::new(outlet)))
    }
}

impl Outlet for Shared {
    fn show(&mut self, shown: &Shown<'_>) {
        self.0.borrow_mut().show(shown);
    }

    fn stands(&mut self, standing: &Standing<'_>) {
        self.0.borrow_mut().stands(standing);
    }

    fn trouble(&mut self) -> Option<String> {
        self.0.borrow_mut().trouble()
    }
}
