//! A reading, with its place, its corrections and what was said of it.

use schemars::JsonSchema;
use serde::Serialize;

use super::Figure;
use crate::book::reading::Role;
use crate::units::Unit;

/// One reading.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct ReadingRow {
    /// Its number, counted from 1 through the job.
    pub number: u32,
    /// The event that brought it.
    pub event: u64,
    /// When.
    pub at: String,
    /// It came from a simulated instrument, or belongs to a job in which one was heard.
    pub simulated: bool,
    /// Run, from 1.
    pub run: u32,
    /// Setup within the run, from 1.
    pub setup: u32,
    /// What it was taken for.
    pub role: Role,
    /// Whether it counts.
    pub state: State,
    /// Where the staff stood; none if nobody named it and it does not count.
    pub point: Option<String>,
    /// The staff reading as sent.
    pub staff: Sent,
    /// The staff reading.
    pub reading: Figure,
    /// The staff reading with its corrections, if any correction is on.
    pub corrected: Option<Figure>,
    /// What became of each correction that is on.
    pub corrections: Vec<CorrectionRow>,
    /// Sight length as sent.
    pub sight: Option<Sent>,
    /// Sight length.
    pub sight_length: Option<Figure>,
    /// Deviation that the instrument stated, as sent.
    pub spread: Option<Sent>,
    /// How many single measurements the instrument took.
    pub measurements: Option<u32>,
    /// Air temperature at the instrument, in degrees Celsius.
    pub temperature_c: Option<f64>,
    /// The instrument's own number for the record.
    pub instrument_number: Option<u64>,
    /// The instrument's own time, as sent.
    pub instrument_time: Option<String>,
    /// Height of instrument of its setup, if it counts.
    pub height_of_instrument: Option<Figure>,
    /// Elevation of its point by its sight, if it counts.
    pub elevation: Option<Figure>,
    /// How it came.
    pub came: CameView,
    /// No checksum stood over its record.
    pub unprotected: bool,
    /// What must be said beside it.
    pub remarks: Vec<String>,
    /// What people said of it: numbers of events in `said`.
    pub said: Vec<u64>,
}

/// A value as it was sent or typed: its digits and their unit, nothing altered.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct Sent {
    /// The digits.
    pub digits: String,
    /// Their unit.
    pub unit: Unit,
}

/// Whether a reading counts.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum State {
    /// It counts.
    Counted,
    /// It counts, as one more shot on the staff just read.
    Extra,
    /// It is struck out.
    Struck,
    /// Its setup was broken off.
    Broken,
}

impl State {
    /// The word.
    pub fn word(self) -> &'static str {
        match self {
            State::Counted => "counted",
            State::Extra => "extra",
            State::Struck => "struck",
            State::Broken => "broken",
        }
    }

    /// Whether it counts.
    pub fn counts(self) -> bool {
        matches!(self, State::Counted | State::Extra)
    }
}

/// How a reading came.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum CameView {
    /// From the instrument.
    Heard,
    /// Typed in by a person.
    KeyedIn,
}

/// What became of one correction.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct CorrectionRow {
    /// Which.
    pub what: String,
    /// What was added; none if it was not made.
    pub added: Option<Figure>,
    /// Why it was not made.
    pub not_made: Option<String>,
}
