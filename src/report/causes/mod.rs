//! Why a run does not close, as a document: for the terminal, for `--json`, and for the page.
//!
//! The causes are numbered as `accept` takes them. Nothing is changed by reading it.

mod text;
mod words;

use schemars::JsonSchema;
use serde::Serialize;

use crate::adjust::explain::{self, Cause, Explanation, Mistake, Probe, Site, misclosures};
use crate::book::Book;
use crate::book::event::{Command, Taken};
use crate::book::finding::FindingKey;
use crate::book::wording::Wording;
use crate::units::{Length, Unit};

pub use text::{Extent, Paragraph, paragraphs, print};
pub use words::what;

/// Version of the document.
pub const SCHEMA: u32 = 1;

/// Every misclosure of a job over its allowance, or of one run of it.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct Explained {
    /// Version of this form: 1.
    pub schema: u32,
    /// Name of the job.
    pub job: String,
    /// A simulated instrument was heard.
    pub simulated: bool,
    /// What could be behind each of them.
    pub misclosures: Vec<Causes>,
}

/// What could be behind one misclosure.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct Causes {
    /// The finding that it explains.
    pub finding: String,
    /// Run, from 1.
    pub run: u32,
    /// Setup at which it closes, from 1.
    pub setup: u32,
    /// The point on which it closes.
    pub point: String,
    /// The misclosure, in `unit`, with its sign.
    pub misclosure: String,
    /// What is allowed, in `unit`.
    pub allowance: String,
    /// Unit of misclosures and allowances.
    pub unit: Unit,
    /// The misclosure with its allowance and share of it, in words.
    pub share_words: String,
    /// Where the allowance comes from.
    pub basis: String,
    /// Closures that were looked at together.
    pub closures: usize,
    /// Single mistakes that would explain it, the likeliest first.
    pub causes: Vec<CauseView>,
    /// So many more would, and are less likely.
    pub more: usize,
    /// The share of plain noise among all that was weighed, 0 to 1.
    pub noise_share: f64,
    /// That in words.
    pub noise_words: String,
    /// How often each mistake is taken to happen, and where that comes from.
    pub priors: &'static str,
}

/// One single mistake.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct CauseView {
    /// Its number, for `accept`.
    pub number: usize,
    /// Its family: exchanged, repeat, sign-lost, whole-unit, digits-turned, against-repeats, wrong-mark, elevation-turned,
    /// known-moved, turning-point, staff-zero or collimation.
    pub family: &'static str,
    /// What happened, in words.
    pub what: String,
    /// Where it may be: more than one place where nothing that was booked tells them apart.
    pub places: Vec<PlaceView>,
    /// That nothing tells the places apart, and which levelling would; none if there is one place.
    pub places_words: Option<String>,
    /// The misclosure then, in `unit`.
    pub misclosure_then: String,
    /// The same with its allowance and share of it, in words.
    pub closes_words: String,
    /// How many times as likely as plain noise.
    pub odds_against_noise: f64,
    /// Its share among all that was weighed, 0 to 1.
    pub share: f64,
    /// How likely, in words.
    pub likely_words: String,
    /// What in the field would confirm it.
    pub confirm: Vec<String>,
    /// The command that accepts it.
    pub accept: String,
}

/// Where a mistake may be.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct PlaceView {
    /// Run, from 1.
    pub run: u32,
    /// Setup, where it is at one.
    pub setup: Option<u32>,
    /// Reading, where it is in one.
    pub reading: Option<u32>,
    /// The points of the setup, or the one that it is about.
    pub points: Vec<String>,
}

/// What could be behind every misclosure of a job over its allowance, or of one run of it.
pub fn explained(book: &Book, job: &str, run: Option<u32>) -> Explained {
    let misclosures = misclosures(book, run).iter().filter_map(|finding| causes(book, finding)).collect();
    Explained { schema: SCHEMA, job: job.to_owned(), simulated: book.simulated(), misclosures }
}

/// What could be behind the misclosure that a finding tells of; `None` if it tells of none.
pub fn causes(book: &Book, finding: &FindingKey) -> Option<Causes> {
    explain::explain(book, finding).map(|explanation| document(book, &explanation))
}

/// An explanation as a document.
pub fn document(book: &Book, explanation: &Explanation) -> Causes {
    let say = Wording::new(book.settings().unit);
    let (unit, decimals) = say.height_scale();
    let allowance = &explanation.allowance;
    let view = |(at, cause): (usize, &Cause)| CauseView {
        number: at + 1,
        family: family(&cause.mistake),
        what: what(book, cause, None),
        places: places(cause),
        places_words: words::places(book, cause),
        misclosure_then: cause.after.show_signed(unit, decimals),
        closes_words: words::closes(say, cause, allowance.value),
        odds_against_noise: cause.odds,
        share: cause.share,
        likely_words: words::likely(cause.odds),
        confirm: words::confirm(book, cause),
        accept: accept_words(at + 1, cause),
    };
    Causes {
        finding: explanation.finding.to_string(),
        run: explanation.run,
        setup: explanation.setup,
        point: explanation.point.to_string(),
        misclosure: explanation.misclosure.show_signed(unit, decimals),
        allowance: allowance.value.show(unit, decimals),
        unit,
        share_words: say.share(explanation.misclosure, allowance.value),
        basis: allowance.words.clone(),
        closures: explanation.closures,
        causes: explanation.causes.iter().enumerate().map(view).collect(),
        more: explanation.more,
        noise_share: explanation.noise,
        noise_words: words::noise(explanation),
        priors: explain::priors::BASIS,
    }
}

/// The command that accepts the cause of that number, at the site of that reading or at its only one.
///
/// # Errors
/// No such cause, or one that may be in several readings and none of them named.
pub fn accept(book: &Book, finding: &FindingKey, number: usize, reading: Option<u32>) -> Result<Command, NotAccepted> {
    let explanation =
        explain::explain(book, finding).ok_or_else(|| NotAccepted::Explained { finding: finding.clone() })?;
    let held = explanation.causes.len();
    let cause = number.checked_sub(1).and_then(|at| explanation.causes.get(at));
    let cause = cause.ok_or(NotAccepted::NoSuchCause { found: number, held })?;
    let Some(taken) = explain::taken(cause, reading) else {
        return Err(NotAccepted::WhichReading { number, sites: cause.sites.len() });
    };
    let cause = what(book, cause, reading);
    Ok(Command::Accept { finding: finding.clone(), cause, taken: taken.clone() })
}

/// Why a cause cannot be accepted.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum NotAccepted {
    /// The finding tells of no misclosure over its allowance.
    Explained {
        /// The finding.
        finding: FindingKey,
    },
    /// There is no cause of that number.
    NoSuchCause {
        /// The number.
        found: usize,
        /// How many there are.
        held: usize,
    },
    /// It may be in several readings.
    WhichReading {
        /// The number of the cause.
        number: usize,
        /// In how many.
        sites: usize,
    },
}

impl std::fmt::Display for NotAccepted {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            NotAccepted::Explained { finding } => {
                write!(f, "{finding} tells of no misclosure over its allowance: there is nothing to explain")
            }
            NotAccepted::NoSuchCause { found, held: 0 } => {
                write!(f, "no cause {found}: no single mistake would close the run")
            }
            NotAccepted::NoSuchCause { found, held } => write!(f, "no cause {found}, one of 1 to {held} was wanted"),
            NotAccepted::WhichReading { number, sites } => write!(
                f,
                "cause {number} may be in one of {sites} readings: say in which, as in \"accept {number} READING\""
            ),
        }
    }
}

impl std::error::Error for NotAccepted {}

/// JSON Schema of [`Explained`].
pub fn schema() -> serde_json::Value {
    let settings = schemars::generate::SchemaSettings::draft2020_12().for_serialize();
    settings.into_generator().into_root_schema_for::<Explained>().to_value()
}

fn family(mistake: &Mistake) -> &'static str {
    match mistake {
        Mistake::Exchanged => "exchanged",
        Mistake::Repeat => "repeat",
        Mistake::SignLost => "sign-lost",
        Mistake::WholeUnit { .. } => "whole-unit",
        Mistake::DigitsTurned => "digits-turned",
        Mistake::AgainstRepeats { .. } => "against-repeats",
        Mistake::WrongMark { .. } => "wrong-mark",
        Mistake::ElevationTurned { .. } => "elevation-turned",
        Mistake::KnownMoved { .. } => "known-moved",
        Mistake::TurningPoint { .. } => "turning-point",
        Mistake::StaffZero { .. } => "staff-zero",
        Mistake::Collimation { .. } => "collimation",
    }
}

fn places(cause: &Cause) -> Vec<PlaceView> {
    let view = |site: &Site| PlaceView {
        run: site.run,
        setup: site.setup,
        reading: site.reading,
        points: site.points.iter().map(ToString::to_string).collect(),
    };
    cause.sites.iter().map(view).collect()
}

fn accept_words(number: usize, cause: &Cause) -> String {
    match &cause.sites[..] {
        [first, _, ..] if first.taken != Taken::Booked => format!("accept {number} READING"),
        _ => format!("accept {number}"),
    }
}

/// A shot that would tell, in words.
fn probe_words(say: Wording, decimals: u8, probe: &Probe, several: bool) -> String {
    let read = |length: Length| say.elevation(length, decimals);
    let (point, booked, if_so) = (&probe.point, read(probe.booked), read(probe.if_so));
    if several {
        format!("one shot from here on {point}: about {if_so} if the mistake lies after it, {booked} if before")
    } else {
        format!("one shot from here on {point}: about {if_so} if so, {booked} if not")
    }
}
