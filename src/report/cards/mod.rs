//! Mark cards: for each set target what whoever measures from it must know, and how to find the record that it hangs on.
//!
//! Data only: `text` prints it as lines, `pdf::cards` on paper. A card says what the target stands for, how near it was
//! set, how well that is known, the run and the closure behind it. What must not be measured from says so across the card.

mod text;

use std::fmt;

use crate::book::Book;
use crate::book::reading::PointName;
use crate::book::run::Closure;
use crate::book::wording::Wording;
use crate::field::set_out::Stands;
use crate::field::targets::{TargetNow, targets};
use crate::report::document::{Distribution, closed_corrections};
use crate::units::{Length, Unit};

pub use text::text;

/// The cards of a job.
#[derive(Clone, Debug, PartialEq)]
pub struct Cards {
    /// The job.
    pub job: String,
    /// Something in it came from a simulated instrument.
    pub simulated: bool,
    /// Time of the latest event that a card states, RFC 3339 in UTC.
    pub at: String,
    /// One a target, in the order in which they were first set.
    pub cards: Vec<Card>,
}

/// One card.
#[derive(Clone, Debug, PartialEq)]
pub struct Card {
    /// The target.
    pub name: String,
    /// Its elevation in the job's unit.
    pub elevation: String,
    /// The same in the other unit.
    pub other: String,
    /// What that is: `finished floor + 5.000 ft`.
    pub stands_for: Option<String>,
    /// How near the mark is to it.
    pub set: String,
    /// How well that is known.
    pub known: String,
    /// The run that it hangs on, and how that closes.
    pub hangs_on: String,
    /// Day on which it was set, year-month-day in UTC.
    pub date: String,
    /// Who set it, as entered.
    pub by: Option<String>,
    /// What is printed across.
    pub across: Option<Across>,
    /// What leads back to the record.
    pub code: Code,
}

/// What is printed across a card.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Across {
    /// The run has not closed.
    Provisional,
    /// It has closed over its allowance.
    DoesNotClose,
    /// It is out of tolerance now, or hangs on nothing.
    SetAgain,
}

impl Across {
    /// The words.
    pub fn words(self) -> &'static str {
        match self {
            Across::Provisional => "PROVISIONAL",
            Across::DoesNotClose => "DOES NOT CLOSE",
            Across::SetAgain => "SET AGAIN",
        }
    }
}

/// What leads from a card back to the record: the event that it states, and the hash of the record up to there. A record
/// that was cut short or made anew has another.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Code {
    /// The job.
    pub job: String,
    /// The target.
    pub target: String,
    /// The event.
    pub event: u64,
    /// The first digits of its hash.
    pub hash: String,
}

impl Code {
    /// As `verify --written` takes it.
    pub fn written(&self) -> String {
        format!("{}:{}", self.event, self.hash)
    }
}

impl fmt::Display for Code {
    /// What a telephone shows of it: what to say to find it again.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} in {}\ncloserun verify {} --written {}", self.target, self.job, self.job, self.written())
    }
}

/// Which cards are wanted.
#[derive(Clone, Debug, Default)]
pub struct Wanted {
    /// Who set the marks, where that was not said when they were made.
    pub by: Option<String>,
    /// Only these; all if none is named.
    pub names: Vec<PointName>,
}

/// Why there is no card.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum NoCard {
    /// The job has no set target.
    NothingSet {
        /// The job.
        job: String,
    },
    /// The named target is not set.
    NotSet {
        /// Which.
        name: PointName,
        /// The job.
        job: String,
    },
}

impl fmt::Display for NoCard {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            NoCard::NothingSet { job } => write!(f, "no target has been set in {job}, so there is no card to print"),
            NoCard::NotSet { name, job } => {
                write!(f, "target {name} has not been set in {job}: set it, then print its card")
            }
        }
    }
}

impl std::error::Error for NoCard {}

/// The cards of a job. `hash` gives the first digits of the hash of an event.
///
/// # Errors
/// No target that is set, or none of a name.
pub fn cards(book: &Book, job: &str, wanted: &Wanted, mut hash: impl FnMut(u64) -> String) -> Result<Cards, NoCard> {
    let corrections = closed_corrections(book, Distribution::USUAL);
    let all = targets(book, &corrections);
    if all.is_empty() {
        return Err(NoCard::NothingSet { job: job.to_owned() });
    }
    let set = |name: &PointName| all.iter().any(|target| target.target.name == *name);
    if let Some(name) = wanted.names.iter().find(|name| !set(name)) {
        return Err(NoCard::NotSet { name: name.clone(), job: job.to_owned() });
    }
    let named = |target: &&TargetNow<'_>| wanted.names.is_empty() || wanted.names.contains(&target.target.name);
    let cards: Vec<Card> = all
        .iter()
        .filter(named)
        .map(|target| {
            let code = Code {
                job: job.to_owned(),
                target: target.target.name.to_string(),
                event: target.done.event,
                hash: hash(target.done.event),
            };
            card(book, target, wanted, code)
        })
        .collect();
    let at = all.iter().filter(named).map(|target| target.done.at).max().map(|at| at.to_string()).unwrap_or_default();
    Ok(Cards { job: job.to_owned(), simulated: book.simulated(), at, cards })
}

fn card(book: &Book, target: &TargetNow<'_>, wanted: &Wanted, code: Code) -> Card {
    let say = Wording::new(book.settings().unit);
    let design = target.target.design.value();
    let decimals = book.decimals();
    let unit = book.settings().unit;
    let other = if unit.is_foot() { Unit::Metre } else { Unit::Foot };
    let stands_for = match (&target.target.means, &target.target.offset) {
        (Some(means), Some(offset)) => Some(format!("{means} + {} {}", offset.digits(), offset.unit())),
        (Some(means), None) => Some(means.clone()),
        (None, Some(offset)) => Some(format!("design + {} {}", offset.digits(), offset.unit())),
        (None, None) => None,
    };
    let off = target.best().map(|elevation| elevation - design);
    Card {
        name: target.target.name.to_string(),
        elevation: say.elevation(design, decimals),
        other: format!("{} {other}", design.show(other, if unit.is_foot() { 4 } else { 3 })),
        stands_for,
        set: off.map_or_else(|| "its line of sight is gone".to_owned(), |off| set_words(off, target.tolerance, say)),
        known: known_words(target, say),
        hangs_on: hangs_on(book, target, say),
        date: target.done.at.to_string()[..10].to_owned(),
        by: target.activity.marked_by.clone().or_else(|| wanted.by.clone()),
        across: match (target.stands(), target.adjusted) {
            (None | Some(Stands::SetAgain(_)), _) => Some(Across::SetAgain),
            (Some(Stands::Within), Some(_)) => None,
            (Some(Stands::Within), None) if target.closure.is_some_and(Closure::over) => Some(Across::DoesNotClose),
            (Some(Stands::Within), None) => Some(Across::Provisional),
        },
        code,
    }
}

fn set_words(off: Length, tolerance: Length, say: Wording) -> String {
    let way = match off {
        off if say.height(off.abs()) == say.height(Length::ZERO) => "at its height".to_owned(),
        off if off > Length::ZERO => format!("{} high", say.height(off)),
        off => format!("{} low", say.height(off.abs())),
    };
    let tolerance = say.height(tolerance);
    format!("the mark is {way} (tolerance {tolerance})")
}

fn known_words(target: &TargetNow<'_>, say: Wording) -> String {
    let Some(deviation) = &target.deviation else {
        return "no standard deviation: its line of sight is gone".to_owned();
    };
    let exact = if deviation.start_exact { format!(", {} taken as exact", deviation.start) } else { String::new() };
    format!("standard deviation {}{exact}", say.height(deviation.sd))
}

fn hangs_on(book: &Book, target: &TargetNow<'_>, say: Wording) -> String {
    let (number, setup) = target.from;
    let Some(run) = book.runs().get(number as usize - 1) else { return format!("run {number}, which is gone") };
    let of = format!("run {number} from {}, setup {setup}", run.start);
    match target.closure {
        Some(closure) => {
            let allowed = closure.allowance.as_ref().map(|allowance| say.share(closure.misclosure, allowance.value));
            let size = allowed.unwrap_or_else(|| say.signed_height(closure.misclosure));
            let how = if closure.over() { "does not close" } else { "closes" };
            format!("{of}; {how} at {}, {size}", closure.point)
        }
        None if target.adjusted.is_some() => format!("{of}; closed by a later run, and adjusted"),
        None => format!("{of}; has not closed"),
    }
}
