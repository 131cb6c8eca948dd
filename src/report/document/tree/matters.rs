//! What happened beside the shots: findings, verdicts, what people said, records that were not booked.

use schemars::JsonSchema;
use serde::Serialize;

use super::Told;
use crate::book::event::{Origin, Verdict};
use crate::book::finding::Priority;

/// A finding, with what the crew was told of it and when.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct FindingRow {
    /// Its key: `balance@setup-1.7`.
    pub key: String,
    /// Whether its cause is still there.
    pub state: FindingState,
    /// How urgent.
    pub priority: Priority,
    /// The fact with its limit, in the job's unit.
    pub fact: String,
    /// What to do.
    pub todo: String,
    /// The compared value with its unit.
    pub value: Option<String>,
    /// Its limit with its unit.
    pub limit: Option<String>,
    /// Where the limit comes from.
    pub basis: Option<String>,
    /// When the crew was told, and how urgently.
    pub announced: Vec<Announcement>,
    /// When a person acknowledged it.
    pub acknowledged: Vec<Acknowledgement>,
    /// When the crew was told that its cause was gone.
    pub withdrawn: Vec<Told>,
}

/// Whether a finding's cause is still there.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum FindingState {
    /// It is.
    Stands,
    /// It is not.
    Gone,
}

/// That the crew was told of a finding.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct Announcement {
    /// The event.
    pub event: u64,
    /// When.
    pub at: String,
    /// How urgent it was said to be.
    pub priority: Priority,
    /// What was said.
    pub fact: String,
}

/// That a person has seen a finding.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct Acknowledgement {
    /// The event.
    pub event: u64,
    /// When.
    pub at: String,
    /// Over which way.
    pub by: Origin,
}

/// A verdict as it was given.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct VerdictRow {
    /// The event.
    pub event: u64,
    /// When.
    pub at: String,
    /// Run, from 1.
    pub run: u32,
    /// Setup within it, from 1.
    pub setup: u32,
    /// hold or clear-to-move.
    pub verdict: Verdict,
    /// What was said.
    pub text: String,
}

/// What a person said.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct SaidRow {
    /// The event.
    pub event: u64,
    /// When.
    pub at: String,
    /// Over which way.
    pub by: Origin,
    /// In words.
    pub words: String,
    /// The reading that it is about, if about one.
    pub reading: Option<u32>,
    /// It acknowledges a finding; which one stands with the finding.
    pub acknowledges: bool,
    /// The event that took it back.
    pub taken_back_by: Option<u64>,
}

/// What the link brought beside readings.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct RecordsView {
    /// Bytes in records that were understood.
    pub bytes_understood: u64,
    /// Bytes set aside by a rule of the format, or noise between frames.
    pub bytes_ignored: u64,
    /// Bytes in records that were refused.
    pub bytes_refused: u64,
    /// Bytes in records whose end or start was never seen.
    pub bytes_unfinished: u64,
    /// Records that did not become readings though they might have been one.
    pub not_booked: Vec<NotBooked>,
}

/// A record that did not become a reading.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct NotBooked {
    /// The event that keeps its bytes.
    pub event: u64,
    /// When.
    pub at: String,
    /// Why, in words.
    pub why: String,
}
