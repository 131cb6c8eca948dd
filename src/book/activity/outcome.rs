//! What an activity came to.

use serde::{Deserialize, Serialize};

use super::task::Procedure;
use crate::units::Length;

/// What an activity came to.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(tag = "came-to", rename_all = "kebab-case")]
pub enum Outcome {
    /// The inclination of the line of sight.
    Collimation {
        /// In mm per m, positive where it climbs.
        mm_per_m: f64,
        /// Its standard deviation.
        sd_mm_per_m: f64,
        /// How it stands to its limit.
        judged: Judged,
    },
    /// A field test.
    FieldTest {
        /// Which.
        procedure: Procedure,
        /// Standard deviation of one height difference, m.
        s_m: f64,
        /// Its degrees of freedom.
        nu: u32,
        /// Whether every comparison was passed.
        judged: Judged,
    },
    /// The line of sight is at its height.
    Matched {
        /// Its elevation.
        instrument: Length,
        /// How far that is off the height, too high positive.
        off: Length,
    },
    /// A target is set.
    Target {
        /// The reading at its mark, the mean of two for a line.
        reading: Length,
        /// How much higher a line's second mark is.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        rise: Option<Length>,
    },
    /// A mark was compared with another.
    Checked {
        /// Observed rise less known, from the trusted mark to the checked one.
        off: Length,
        /// That in standard deviations; none where there is no deviation to compare with.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        t: Option<f64>,
        /// What it says.
        agreement: Agreement,
    },
    /// A rise between two marks.
    Rise {
        /// From the first to the second.
        rise: Length,
        /// Its standard deviation.
        sd: Length,
    },
}

/// How a result stands to its limit.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Judged {
    /// Within it, doubt included.
    Within,
    /// The doubt reaches across it.
    Doubtful,
    /// Over it, doubt included.
    Over,
}

/// What a comparison of marks says.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Agreement {
    /// Within what chance allows at 95 %.
    Agrees,
    /// Beyond that, within 99.9 %.
    Doubtful,
    /// Beyond chance: one of them has moved.
    Moved,
}

impl Agreement {
    /// The word on every outlet.
    pub fn word(self) -> &'static str {
        match self {
            Agreement::Agrees => "agrees",
            Agreement::Doubtful => "doubtful",
            Agreement::Moved => "moved",
        }
    }
}
