//! A rise between two marks that was observed otherwise than by a run, with all that somebody needs to recompute it.

use schemars::JsonSchema;
use serde::Serialize;

use super::{CameView, Figure, Sent};
use crate::units::Unit;

/// A rise that was observed up a tape or across a gap.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct RiseView {
    /// The number of the activity, counted from 1 through the job.
    pub activity: u32,
    /// The event that keeps what it came to.
    pub event: u64,
    /// When.
    pub at: String,
    /// How it was observed.
    pub method: RiseMethod,
    /// From this mark.
    pub from: String,
    /// To this one.
    pub to: String,
    /// With what and under which conditions, in words.
    pub conditions: Vec<String>,
    /// What was read, struck shots included, in the order in which it was read.
    pub readings: Vec<RiseReading>,
    /// The way from the readings to the rise, line by line.
    pub steps: Vec<RiseStep>,
    /// Rise from the first mark to the second, in the unit of elevations.
    pub rise: Figure,
    /// Its standard deviation, in the unit of misclosures.
    pub deviation: Figure,
    /// Whether another rise between the same marks checks it.
    pub checked: bool,
    /// The same in words.
    pub standing: String,
}

/// How a rise was observed.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum RiseMethod {
    /// Up a suspended steel tape.
    TapeTransfer,
    /// Across a gap, read from both banks.
    ReciprocalLevelling,
}

impl RiseMethod {
    /// As it is said.
    pub fn words(self) -> &'static str {
        match self {
            RiseMethod::TapeTransfer => "tape transfer",
            RiseMethod::ReciprocalLevelling => "reciprocal levelling",
        }
    }
}

/// A shot of it.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct RiseReading {
    /// Its number within the activity, from 1.
    pub shot: u32,
    /// What was read: `staff on L1`.
    pub what: String,
    /// The digits as sent or typed.
    pub sent: Sent,
    /// In the unit of elevations.
    pub reading: Figure,
    /// How it came.
    pub came: CameView,
    /// It is struck out: it counts no more.
    pub struck: bool,
}

/// What a line of the way gives.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum StepKind {
    /// A length on the way.
    Length,
    /// What is added to the length above.
    Correction,
    /// How much too high the far staff is read: it falls out of the mean of both banks.
    SightError,
}

/// A line of the way from the readings to the rise.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct RiseStep {
    /// What it is: `temperature`.
    pub what: String,
    /// What its value is on the way.
    pub kind: StepKind,
    /// A length, or the size of a correction or of an error.
    pub value: Figure,
    /// The unit that it is shown in.
    pub unit: Unit,
    /// Its standard deviation, in the unit of misclosures; none where it has none of its own.
    pub deviation: Option<Figure>,
}
