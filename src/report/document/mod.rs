//! From the book to the field book: everything that a report prints, worked out once.
//!
//! Nothing is measured, judged or rounded here that the book has not: this puts it in the order of the trade's page,
//! adds the page check, and shares misclosures out.

mod closing;
mod cut;
mod distribution;
mod figure;
mod findings;
pub mod full;
mod head;
mod lines;
mod page_check;
mod readings;
mod rises;
mod said;
pub mod tree;

pub(super) use cut::{cut, page_end};
pub(super) use findings::history_words;
pub use page_check::page_check;
pub(super) use said::{about, by_words, time_words};
pub use tree::{Distribution, FieldBook};

use std::collections::BTreeMap;

use crate::book::Book;
use crate::book::event::Event;
use crate::book::reading::Role;
use crate::book::settings::Booking;
use crate::units::{Length, Unit};
use figure::Scales;

/// How a field book is wanted.
#[derive(Clone, Copy, Debug)]
pub struct BookOptions {
    /// Height of instrument, or rise and fall.
    pub form: Booking,
    /// The unit to show it in; the job's own if absent.
    pub unit: Option<Unit>,
    /// How misclosures are shared out.
    pub distribution: Distribution,
}

impl BookOptions {
    /// As the job is set to, with misclosures shared out as lines are weighted.
    pub fn of(book: &Book) -> Self {
        BookOptions { form: book.settings().booking, unit: None, distribution: Distribution::USUAL }
    }
}

/// The field book of a job: `book` is the fold of `events`.
///
/// # Panics
/// If the events do not open a job.
pub fn document(book: &Book, events: &[Event], job: &str, options: BookOptions) -> FieldBook {
    let source = Source { book, events, scales: Scales::of(book, options.unit), places: places(book) };
    let said = said::said(&source);
    let readings = readings::readings(&source, &said);
    let shown = head::shown(&source, options);
    let runs = closing::runs(&source, options.distribution, &shown, &readings);
    head::field_book(&source, job, shown, head::Parts { runs, readings, said })
}

/// What sharing the misclosures out adds at the fore points of setups, by run and setup: only where a line has closed
/// within its allowance.
pub fn closed_corrections(book: &Book, by: Distribution) -> BTreeMap<(u32, u32), Length> {
    distribution::closed(book.runs(), by)
}

/// What a field book is made from.
struct Source<'a> {
    book: &'a Book,
    events: &'a [Event],
    scales: Scales,
    places: BTreeMap<(u32, u32), Placed>,
}

/// The readings of one setup of one run, and those of setups that were begun there and broken off.
#[derive(Clone, Debug, Default)]
struct Placed {
    back: Vec<u32>,
    fore: Vec<u32>,
    sides: Vec<u32>,
    broken: Vec<u32>,
}

fn places(book: &Book) -> BTreeMap<(u32, u32), Placed> {
    let mut places: BTreeMap<(u32, u32), Placed> = BTreeMap::new();
    for number in 1..=book.entries().len() as u32 {
        let Some(spot) = book.spot(number) else { continue };
        let placed = places.entry((spot.run, spot.setup)).or_default();
        match (spot.state, spot.role) {
            (crate::book::SpotState::Broken, _) => &mut placed.broken,
            (_, Role::Back) => &mut placed.back,
            (_, Role::Fore) => &mut placed.fore,
            (_, Role::Intermediate) => &mut placed.sides,
        }
        .push(number);
    }
    places
}

impl Source<'_> {
    /// The event of this number.
    fn event(&self, seq: u64) -> Option<&Event> {
        self.events.binary_search_by_key(&seq, |event| event.seq).ok().map(|at| &self.events[at])
    }
}
