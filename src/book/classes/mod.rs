//! Accuracy classes: how well a run must close, and the limits of the checks, each with where it comes from.
//!
//! The published classes and the default one stand in `book/classes.toml`; a job may bring its own.

mod table;

pub use table::{DEFAULT, UnknownClass, all, find};

use serde::{Deserialize, Serialize};

use super::sequence::Sequence;
use crate::units::Length;

/// One accuracy class with its limits. A limit that is absent is not checked.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Class {
    /// Name to choose it by.
    pub id: String,
    /// Name to print: standard, order, class.
    pub title: String,
    /// The document it comes from.
    pub source: String,
    /// Misclosure of a section run forward and back, mm per root km of its one-way length.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub section_mm_per_sqrt_km: Option<Rate>,
    /// Misclosure of a loop or of a line between known points, mm per root km of its length.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub loop_mm_per_sqrt_km: Option<Rate>,
    /// Misclosure by setups, mm per root of their number.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub mm_per_sqrt_setup: Option<Rate>,
    /// Longest sight.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub sight_max: Option<Limit>,
    /// Largest difference of back and fore sight length at a setup.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub setup_imbalance_max: Option<Limit>,
    /// Largest sum of those differences over a section.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub sum_imbalance_max: Option<Limit>,
    /// Least height of the line of sight above the foot of the staff.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub line_of_sight_min: Option<Limit>,
    /// Largest deviation that the instrument may report for a reading, and half the range of repeats.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub spread_max: Option<Limit>,
    /// Largest difference of a setup's two height differences.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub two_differences_max: Option<Limit>,
    /// The number of setups between marks must be even, which is known in this way.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub even_setups: Option<Basis>,
    /// Largest inclination of the line of sight, mm per m.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub collimation_max: Option<Rate>,
    /// How long a test of the line of sight holds.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub collimation_interval: Option<Interval>,
    /// The observing sequence that the class asks for: what a job observes by unless it says otherwise.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub sequence: Option<Sequence>,
}

/// A limit in length.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Limit {
    /// The limit itself; a value equal to it is inside.
    pub value: Length,
    /// How it is known.
    pub basis: Basis,
}

/// A number of days.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Interval {
    /// How many.
    pub days: u32,
    /// How it is known.
    pub basis: Basis,
}

/// A limit that grows with the root of length or of setups, or with the length itself.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Rate {
    /// Millimetres per root unit, or per metre.
    pub mm: f64,
    /// How it is known.
    pub basis: Basis,
}

/// How a limit is known.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Basis {
    /// Read in the class's own source.
    Published,
    /// Read in a page that quotes the source.
    Secondary,
    /// The source is known, the value was written down from memory: check it before a decision rests on it.
    FromMemory,
    /// Common practice of the trade, no source.
    CommonPractice,
    /// Computed from another value of the class.
    Derived,
    /// The job's own.
    Own,
}

impl Basis {
    /// What is said behind the class's title, empty where nothing need be said.
    pub fn remark(self) -> &'static str {
        match self {
            Basis::Published | Basis::Own => "",
            Basis::Secondary => ", as quoted elsewhere",
            Basis::FromMemory => ", from memory",
            Basis::CommonPractice => ", common practice, no source",
            Basis::Derived => ", derived",
        }
    }
}
