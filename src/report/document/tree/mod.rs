//! The field book as data: the one tree that every output prints. Types only.
//!
//! A number stands here twice, exact and as shown, so that text, tables, JSON and later the paper print the same
//! digits. A field is added freely, removed or changed only with a new [`SCHEMA`].

mod closing;
mod matters;
mod reading;
mod rise;
mod run;

use schemars::JsonSchema;
use serde::Serialize;

use crate::book::settings::Booking;
use crate::units::{Length, Unit};

pub use closing::{Closes, ClosureRow, RuleView, Section, SectionPoint};
pub use matters::{
    Acknowledgement, Announcement, FindingRow, FindingState, NotBooked, RecordsView, SaidRow, VerdictRow,
};
pub use reading::{CameView, CorrectionRow, ReadingRow, Sent, State};
pub use rise::{RiseMethod, RiseReading, RiseStep, RiseView, StepKind};
pub use run::{Line, PageCheck, Reached, RunPart, RunStanding, Sight, Tie, TieOrigin};

/// Version of the tree.
pub const SCHEMA: u32 = 1;

/// The field book of a job.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct FieldBook {
    /// Version of this form: 1.
    pub schema: u32,
    /// Name of the job.
    pub job: String,
    /// Something in it came from a simulated instrument: nothing here was measured.
    pub simulated: bool,
    /// The program that opened the job, with its version.
    pub program: String,
    /// When the job was opened, RFC 3339 in UTC, as all times here.
    pub opened_at: String,
    /// Number of the last event in it.
    pub last_event: u64,
    /// When that was.
    pub last_at: String,
    /// How its numbers are shown.
    pub shown: Shown,
    /// The accuracy class.
    pub class: ClassView,
    /// The observing sequence in the trade's letters.
    pub sequence: String,
    /// Staffs and instrument in words.
    pub equipment: Vec<String>,
    /// Corrections that are on, in words; none is on if empty.
    pub corrections: Vec<String>,
    /// Points whose elevation is given.
    pub known: Vec<KnownRow>,
    /// What was listened to.
    pub listened: Vec<ListenedRow>,
    /// Events that changed the settings after the job was opened.
    pub resettled: Vec<Told>,
    /// The runs, in order.
    pub runs: Vec<RunPart>,
    /// Rises that were observed otherwise than by a run: up a tape, across a gap.
    pub rises: Vec<RiseView>,
    /// Every reading by its number, struck ones included. Lines name their readings by number.
    pub readings: Vec<ReadingRow>,
    /// What was found: what stands first, the most urgent first; then what is gone.
    pub findings: Vec<FindingRow>,
    /// The verdicts as the crew was given them.
    pub verdicts: Vec<VerdictRow>,
    /// What people said, in the order in which they said it. Keyed-in readings are among the readings.
    pub said: Vec<SaidRow>,
    /// What the link brought beside readings.
    pub records: RecordsView,
    /// What anyone who uses it must mind.
    pub cautions: Vec<String>,
}

/// A length: exact, and as it is shown.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct Figure {
    /// Exact, as decimal metres.
    #[serde(rename = "m")]
    #[schemars(with = "String")]
    pub exact: Length,
    /// As shown: rounded once, in the unit that [`Shown`] gives its kind.
    pub shown: String,
}

/// How numbers are shown.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct Shown {
    /// The form of the book.
    pub form: Booking,
    /// Unit of readings, elevations and heights of instrument.
    pub unit: Unit,
    /// Decimals of elevations, heights of instrument and means: as many as the readings had, and one more where a mean
    /// needs it. A reading has its own.
    pub decimals: u8,
    /// Unit of misclosures, allowances and corrections.
    pub height_unit: Unit,
    /// Unit of sight lengths and distances.
    pub sight_unit: Unit,
    /// The unit of the job itself, in which findings and verdicts were said.
    pub job_unit: Unit,
    /// How a shown number was rounded.
    pub rounding: String,
    /// How misclosures are shared out.
    pub distribution: Distribution,
}

/// How a misclosure is shared out along its line.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Distribution {
    /// In proportion to the length from the start.
    ByLength,
    /// In proportion to the setups from the start.
    BySetups,
    /// Not at all.
    None,
}

/// The accuracy class and where its limits come from.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct ClassView {
    /// Name to choose it by.
    pub id: String,
    /// Name to print.
    pub title: String,
    /// The document it comes from.
    pub source: String,
    /// Its limits.
    pub limits: Vec<LimitRow>,
}

/// One limit.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct LimitRow {
    /// Of what.
    pub what: String,
    /// The limit with its unit.
    pub limit: String,
    /// How it is known: published, from memory, common practice and so on.
    pub basis: String,
}

/// A point whose elevation is given.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct KnownRow {
    /// The point.
    pub point: String,
    /// The digits as given.
    pub given: Sent,
    /// Its elevation.
    pub elevation: Figure,
    /// Made up to have one to start from.
    pub assumed: bool,
}

/// One spell of listening.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct ListenedRow {
    /// The event.
    pub event: u64,
    /// When it began.
    pub at: String,
    /// The link in words.
    pub link: String,
    /// The format's name.
    pub format: String,
    /// SHA-256 of the format file.
    pub digest: String,
}

/// An event that is only pointed at.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct Told {
    /// The event.
    pub event: u64,
    /// When.
    pub at: String,
}
