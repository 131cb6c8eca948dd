//! What closed in a run, and how its misclosures are shared out.

use schemars::JsonSchema;
use serde::Serialize;

use super::{Distribution, Figure, Reached};
use crate::book::reading::Role;

/// How an elevation agreed with another for the same point.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct ClosureRow {
    /// The point.
    pub point: String,
    /// The setup that reached it.
    pub setup: u32,
    /// Against what, in words.
    pub against: String,
    /// The earlier time that the point was reached, if it is against that and not against a known elevation.
    pub earlier: Option<Reached>,
    /// Observed less known, or later less earlier.
    pub misclosure: Figure,
    /// Length of the line; none if some setup had no sight lengths.
    pub length: Option<Figure>,
    /// Setups of it.
    pub setups: u32,
    /// The allowance; none if the class has none for it.
    pub allowance: Option<Figure>,
    /// The rule that gave it.
    pub rule: Option<RuleView>,
    /// The rule in words, with its numbers and where they come from.
    pub allowance_words: Option<String>,
    /// Misclosure with allowance and share of it, in words.
    pub words: String,
    /// Whether it closes.
    pub verdict: Closes,
}

/// What an allowance is reckoned by.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum RuleView {
    /// The root of the length.
    ByLength,
    /// The root of the number of setups.
    BySetups,
    /// What the readings themselves can carry.
    ReadingNoise,
}

/// Whether a line closes.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Closes {
    /// Within the allowance; equal to it is within.
    Closes,
    /// Over it.
    DoesNotClose,
    /// There is no allowance.
    NotJudged,
}

impl Closes {
    /// Over the allowance.
    pub fn is_over(self) -> bool {
        self == Closes::DoesNotClose
    }

    /// The words.
    pub fn words(self) -> &'static str {
        match self {
            Closes::Closes => "closes",
            Closes::DoesNotClose => "does not close",
            Closes::NotJudged => "not judged: the class has no allowance for it",
        }
    }
}

/// A line between two ties, with its misclosure shared out.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct Section {
    /// Where it begins.
    pub from: String,
    /// The point on which it closes; none where it hangs beyond the last.
    pub to: Option<String>,
    /// Whether the closing point is within its allowance; none where the section hangs.
    pub verdict: Option<Closes>,
    /// Misclosure of this section alone: what is taken out between its ends.
    pub misclosure: Figure,
    /// By what it was shared out.
    pub by: Distribution,
    /// Length; none if some setup had no sight lengths.
    pub length: Option<Figure>,
    /// Setups.
    pub setups: u32,
    /// What must be said of it.
    pub remarks: Vec<String>,
    /// Its points, in order.
    pub points: Vec<SectionPoint>,
}

/// A point of a section.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct SectionPoint {
    /// The run.
    pub run: u32,
    /// The setup from which it was seen; 0 for the start of the run.
    pub setup: u32,
    /// The point.
    pub point: String,
    /// Foresight or intermediate sight; none for the point on which the section begins.
    pub sight: Option<Role>,
    /// Length from the start of the section to the end of its setup.
    pub length: Option<Figure>,
    /// Setups from the start of the section, its own among them.
    pub setups: u32,
    /// Elevation as observed.
    pub observed: Figure,
    /// What is added: one for all points seen from one setup.
    pub correction: Figure,
    /// Elevation with it.
    pub adjusted: Figure,
}
