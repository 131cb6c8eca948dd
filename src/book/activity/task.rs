//! What an activity is to do, whole: everything that its readings will be reduced with.

use serde::{Deserialize, Serialize};

use crate::book::reading::PointName;
use crate::units::{Length, Measured};

/// What is done.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(tag = "task", rename_all = "kebab-case")]
pub enum Task {
    /// The inclination of the line of sight, from two pegs and two positions.
    TwoPeg {
        /// How the instrument is set up.
        layout: PegLayout,
        /// Distances to pegs A and B, from the first position and from the second.
        distances: [[Length; 2]; 2],
        /// Shots on each peg.
        shots: u32,
        /// Standard deviation of one reading.
        reading_sd: Length,
        /// Coefficient of refraction by which curvature and refraction are taken out, if they are.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        refraction_k: Option<f64>,
        /// What the inclination is judged by, mm per m.
        limit: StatedLimit,
        /// Which instrument, if it has a name.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        instrument: Option<String>,
    },
    /// The field test of ISO 17123-2.
    FieldTest {
        /// Simplified or full.
        procedure: Procedure,
        /// Deviation that the task permits between the two sets.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        permitted: Option<Length>,
        /// Standard deviation over 1 km of double run that is stated for the instrument.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        stated: Option<Length>,
        /// Which instrument, if it has a name.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        instrument: Option<String>,
    },
    /// The line of sight is brought to a height.
    MatchHeight {
        /// The mark that the staff stands on.
        on: PointName,
        /// Its elevation.
        elevation: Length,
        /// The height to match.
        target: Measured,
        /// How near.
        tolerance: Length,
    },
    /// A target is set from a line of sight.
    SetTarget {
        /// The target.
        target: DesignTarget,
        /// How near.
        tolerance: Length,
        /// The run and the setup whose line of sight it is set from.
        run: u32,
        /// The setup.
        setup: u32,
        /// It is a line, struck through two marks.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        line: Option<LineMarks>,
    },
    /// A mark is checked against another.
    CheckMark {
        /// The mark that is trusted.
        against: PointName,
        /// The mark that is checked.
        mark: PointName,
        /// Standard deviation of one reading.
        reading_sd: Length,
    },
    /// A gap is crossed from both banks.
    Reciprocal {
        /// The mark on the near bank.
        from: PointName,
        /// The mark on the far bank.
        to: PointName,
        /// Length of the gap.
        distance: Length,
        /// How many sets.
        sets: u32,
        /// Standard deviation of one reading.
        reading_sd: Length,
    },
    /// A height is carried up a suspended tape.
    TapeTransfer {
        /// The lower mark.
        from: PointName,
        /// The upper mark.
        to: PointName,
        /// The tape and how it hangs.
        tape: Box<TapeSettings>,
        /// Standard deviation of one staff reading.
        reading_sd: Length,
    },
}

/// Readings of one set of a gap: near and far staff from either bank.
pub(super) const SET_READINGS: u32 = 4;
/// Readings of a transfer: staff and tape, below and above.
const TRANSFER_READINGS: u32 = 4;

impl Task {
    /// How many readings it takes; none where a person says when it is done.
    pub fn slots(&self) -> Option<u32> {
        match self {
            Task::TwoPeg { shots, .. } => Some(4 * shots),
            Task::FieldTest { procedure, .. } => Some(4 * procedure.pairs_a_set()),
            Task::MatchHeight { .. } | Task::SetTarget { .. } => None,
            Task::CheckMark { .. } => Some(2),
            Task::Reciprocal { sets, .. } => Some(SET_READINGS * sets),
            Task::TapeTransfer { .. } => Some(TRANSFER_READINGS),
        }
    }

    /// Its name in the record and in sentences.
    pub fn name(&self) -> &'static str {
        match self {
            Task::TwoPeg { .. } => "two-peg test",
            Task::FieldTest { procedure: Procedure::Simplified, .. } => "simplified field test",
            Task::FieldTest { procedure: Procedure::Full, .. } => "full field test",
            Task::MatchHeight { .. } => "height match",
            Task::SetTarget { .. } => "target",
            Task::CheckMark { .. } => "mark check",
            Task::Reciprocal { .. } => "reciprocal levelling",
            Task::TapeTransfer { .. } => "tape transfer",
        }
    }

    /// Its name with what it is about: `target C-5`.
    pub fn title(&self) -> String {
        let name = self.name();
        match self {
            Task::SetTarget { target, .. } => format!("{name} {}", target.name),
            Task::CheckMark { mark, .. } => format!("{name} of {mark}"),
            Task::Reciprocal { from, to, .. } | Task::TapeTransfer { from, to, .. } => {
                format!("{name} from {from} to {to}")
            }
            Task::TwoPeg { .. } | Task::FieldTest { .. } | Task::MatchHeight { .. } => name.to_owned(),
        }
    }

    /// The instrument that is tested, if it has a name.
    pub fn instrument(&self) -> Option<&str> {
        match self {
            Task::TwoPeg { instrument, .. } | Task::FieldTest { instrument, .. } => instrument.as_deref(),
            _ => None,
        }
    }

    /// The marks between which it observes a rise.
    pub fn ends(&self) -> Option<(&PointName, &PointName)> {
        match self {
            Task::Reciprocal { from, to, .. } | Task::TapeTransfer { from, to, .. } => Some((from, to)),
            _ => None,
        }
    }
}

/// How the instrument is set up for a two-peg test. Between the pegs is `L`, outside them `x`.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum PegLayout {
    /// Midway, then `x` beyond B.
    MidOutside,
    /// Midway, then as near to B as the instrument reads.
    MidNear,
    /// Pegs 20 m apart: midway, then 20 m beyond B.
    Twenty,
    /// Between the pegs, a third from A, then a third from B.
    ThirdsInside,
    /// A third of the whole outside A, then outside B.
    ThirdsOutside,
}

impl PegLayout {
    /// All of them, for listings and near misses.
    pub const ALL: [PegLayout; 5] = [
        PegLayout::MidOutside,
        PegLayout::MidNear,
        PegLayout::Twenty,
        PegLayout::ThirdsInside,
        PegLayout::ThirdsOutside,
    ];

    /// As it is typed and kept.
    pub fn word(self) -> &'static str {
        match self {
            PegLayout::MidOutside => "mid-outside",
            PegLayout::MidNear => "mid-near",
            PegLayout::Twenty => "twenty",
            PegLayout::ThirdsInside => "thirds-inside",
            PegLayout::ThirdsOutside => "thirds-outside",
        }
    }
}

/// Which field test.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Procedure {
    /// 10 pairs midway, 10 from near one end.
    Simplified,
    /// 20 pairs midway, the staffs exchanged, 20 more.
    Full,
}

impl Procedure {
    /// Pairs of readings in each of its two sets.
    pub fn pairs_a_set(self) -> u32 {
        match self {
            Procedure::Simplified => 10,
            Procedure::Full => 20,
        }
    }
}

/// A limit with where it comes from.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct StatedLimit {
    /// The limit, mm per m.
    pub mm_per_m: f64,
    /// Where it comes from, in words.
    pub basis: String,
}

/// A target as it is designed.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct DesignTarget {
    /// Its name.
    pub name: PointName,
    /// The elevation that it is to be set at, any offset included.
    pub design: Measured,
    /// How much of that is the offset above what it stands for.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub offset: Option<Measured>,
    /// How near it must be set; the usual tolerance if absent.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub tolerance: Option<Length>,
    /// What it stands for: `finished floor`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub means: Option<String>,
}

/// The two marks that a line is struck through.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct LineMarks {
    /// How far apart they are.
    pub apart: Length,
    /// How wide the target is.
    pub width: Length,
}

/// A steel tape, its certificate, and how it hangs.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct TapeSettings {
    /// Length that it says it has.
    pub nominal: Length,
    /// Length that it has, by its certificate.
    pub certified: Length,
    /// Temperature of the certificate, degrees Celsius.
    pub standard_c: f64,
    /// Pull of the certificate, N.
    pub standard_pull_n: f64,
    /// Expansion, parts per million per degree.
    pub expansion_ppm_per_c: f64,
    /// Cross-section, mm^2.
    pub cross_section_mm2: f64,
    /// Modulus of elasticity, GPa.
    pub modulus_gpa: f64,
    /// Weight, N/m.
    pub weight_n_per_m: f64,
    /// Weight of the plummet that it hangs under, N.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub plummet_n: Option<f64>,
    /// Its temperature, degrees Celsius.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub temperature_c: Option<f64>,
    /// The graduation at which it is clamped.
    pub clamped_at: Length,
    /// How much of it hangs, from the clamp to the plummet.
    pub hung: Length,
    /// How many spans it was hung in when it was certified; supported throughout if none.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub certified_spans: Option<u32>,
    /// Standard deviation of one tape reading.
    pub reading_sd: Length,
    /// Standard deviation of the certificate, parts per million.
    pub certificate_sd_ppm: f64,
    /// Standard deviation of the temperature, degrees.
    pub temperature_sd_c: f64,
    /// Standard deviation of the pull, N.
    pub pull_sd_n: f64,
}
