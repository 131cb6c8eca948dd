//! An activity as the crew is led through it: what its readings come to so far, what to do next, and its result.
//!
//! One file a task. Each looks at the whole activity anew, so that the live crew, a restart and a replay see the same.

mod across;
mod instrument;
mod mark;
mod matching;
mod target;
mod upwards;
mod wording;

use crate::book::activity::{Activity, Outcome, Task};
use crate::book::corrections;
use crate::book::event::{Body, Command};
use crate::book::reading::Reading;
use crate::book::{Book, wording::Wording};
use crate::units::Length;

pub(super) use target::line_of_sight;
pub use wording::{inclination, moved};

/// An activity as it stands.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Guide {
    /// What its readings come to so far, the latest last.
    pub so_far: Vec<String>,
    /// What to do next; none once it has come to something.
    pub next: Option<String>,
    /// What it comes to, and how that is said; none as long as it is not done.
    pub result: Option<(Outcome, Vec<String>)>,
}

impl Guide {
    fn next(next: impl Into<String>) -> Self {
        Guide { next: Some(next.into()), ..Guide::default() }
    }

    fn done(outcome: Outcome, said: Vec<String>) -> Self {
        Guide { result: Some((outcome, said)), ..Guide::default() }
    }
}

/// Where a task looks.
struct Look<'a> {
    book: &'a Book,
    activity: &'a Activity,
    say: Wording,
}

impl Look<'_> {
    /// A staff reading with the corrections of the job, for what is booked on from a line of sight.
    fn corrected(&self, reading: &Reading) -> Length {
        let next = self.book.entries().len() as u32 + 1;
        let asked = self.book.amendments().corrections(next, &self.book.settings().corrections);
        let sight = reading.sight.map(|sight| sight.value());
        corrections::correct(reading.staff.value(), sight, reading.temperature_c, &asked).corrected
    }

    /// An elevation or a reading, with the digits of the job.
    fn elevation(&self, length: Length) -> String {
        self.say.elevation(length, self.book.decimals())
    }
}

/// How an activity stands.
pub fn guide(book: &Book, activity: &Activity) -> Guide {
    let look = Look { book, activity, say: Wording::new(book.settings().unit) };
    match &activity.task {
        Task::TwoPeg { .. } => instrument::two_peg(&look),
        Task::FieldTest { .. } => instrument::field_test(&look),
        Task::MatchHeight { .. } => matching::match_height(&look),
        Task::SetTarget { .. } => target::set_target(&look),
        Task::CheckMark { .. } => mark::check_mark(&look),
        Task::Reciprocal { .. } => across::reciprocal(&look),
        Task::TapeTransfer { .. } => upwards::tape_transfer(&look),
    }
}

/// The event that ends the activity under way, once its readings come to something. It is kept before anyone sees it.
pub fn conclude(book: &Book) -> Option<Body> {
    let activity = book.activities().under_way()?;
    let (outcome, said) = guide(book, activity).result?;
    Some(Body::ActivityDone { activity: activity.number, outcome, said })
}

/// Whether a command about an activity can be followed, by what the trade knows: a layout that can tell something, a
/// target within reach, a tape whose pull is known.
///
/// # Errors
/// A sentence that names the thing. Nothing is booked then.
pub fn permit(book: &Book, command: &Command) -> Result<(), String> {
    match command {
        Command::BeginActivity { task } => match &**task {
            Task::TwoPeg { .. } => instrument::permit_two_peg(task),
            Task::FieldTest { .. } => Ok(()),
            Task::MatchHeight { .. } => matching::permit(book, task),
            Task::SetTarget { .. } => target::permit(book, task),
            Task::CheckMark { .. } => mark::permit(book, task),
            Task::Reciprocal { .. } => across::permit(book, task),
            Task::TapeTransfer { .. } => upwards::permit(task),
        },
        Command::MarkHere { shot, .. } => target::permit_mark(book, *shot),
        Command::Design { target } => target::permit_design(book, target),
        _ => Ok(()),
    }
}
