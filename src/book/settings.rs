//! What a job is set to: units, class, sequence, known points, staffs, instrument, corrections.
//!
//! Kept whole in the job's first event, limits and their sources included, so that a finished job can be
//! recomputed without the class table of the day.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::classes::Class;
use super::closure;
use super::reading::PointName;
use super::sequence::Sequence;
use crate::units::{Length, Measured, Unit};

/// What a job is set to.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Settings {
    /// Unit of elevations and of everything shown: metre, foot or survey foot.
    pub unit: Unit,
    /// Units of the other kind that the instrument may send: each is a declared conversion.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub also_units: Vec<Unit>,
    /// The accuracy class with its limits.
    pub class: Class,
    /// In which order the staffs are sighted.
    pub sequence: Sequence,
    /// Where the first run starts. Without it the run starts on a point named `START`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub start: Option<PointName>,
    /// Points whose elevation somebody else set.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub known: Vec<KnownPoint>,
    /// The staffs in use.
    pub staffs: Staffs,
    /// The instrument in use.
    pub instrument: Instrument,
    /// Corrections that are applied to each reading; none unless set.
    #[serde(default)]
    pub corrections: Corrections,
    /// How the book is written by default.
    pub booking: Booking,
}

impl Settings {
    /// Whether a value in `unit` may be booked in this job: its own kind of unit, or one that was declared.
    /// Metres and millimetres are one kind; the two feet are not.
    pub fn takes(&self, unit: Unit) -> bool {
        let metric = |unit| matches!(unit, Unit::Metre | Unit::Millimetre);
        unit == self.unit || (metric(unit) && metric(self.unit)) || self.also_units.contains(&unit)
    }

    /// Standard deviation of a setup's rise in mm, from that of one reading and the sequence.
    pub fn setup_sd_mm(&self) -> f64 {
        closure::setup_sd_mm(self.instrument.reading_sd, self.sequence.wanted())
    }
}

/// A point whose elevation is given.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct KnownPoint {
    /// Its name.
    pub name: PointName,
    /// Its elevation, with the digits and unit in which it was given.
    pub elevation: Measured,
    /// The elevation was made up to have one to start from.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub assumed: bool,
}

/// The staffs in use.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Staffs {
    /// One staff that goes round, or a pair that leap-frogs.
    pub in_use: StaffsInUse,
    /// Length of the staff: readings beyond it are not possible.
    pub length: Length,
    /// Readings nearer than this to either end are doubtful.
    pub margin: Length,
}

/// What is taken where nothing was said of the staffs: one of 4 m, not trusted within 20 mm of its ends. Common practice,
/// no source.
impl Default for Staffs {
    fn default() -> Self {
        Staffs { in_use: StaffsInUse::One, length: Length::from_mm(4000), margin: Length::from_mm(20) }
    }
}

/// How many staffs.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum StaffsInUse {
    /// One staff: its zero cancels at every setup.
    One,
    /// Two staffs: their zeros cancel over an even number of setups.
    Pair,
}

/// The instrument in use.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Instrument {
    /// Shortest sight that it can read.
    pub sight_min: Length,
    /// Longest sight that it can read.
    pub sight_max: Length,
    /// What it is called, to keep its tests by.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub name: Option<String>,
    /// Standard deviation of one staff reading, used for the noise that an allowance must leave room for.
    pub reading_sd: Length,
}

/// What is taken where nothing was said of the instrument: sights from 1.5 m to 100 m, a reading good to 0.3 mm. Common
/// practice, no source.
impl Default for Instrument {
    fn default() -> Self {
        Instrument {
            sight_min: Length::from_mm(1500),
            sight_max: Length::from_mm(100_000),
            name: None,
            reading_sd: Length::from_um(300),
        }
    }
}

/// Corrections to readings. Each is off until it is given its value.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Corrections {
    /// Inclination of the line of sight in mm per m; positive where it climbs away from the instrument.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub collimation_mm_per_m: Option<f64>,
    /// Coefficient of refraction `k`; turns on curvature and refraction, `(1 - k) S^2 / 2R`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub refraction_k: Option<f64>,
    /// Scale of the staff in parts per million, from its certificate; positive where the true height is larger than read.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub staff_scale_ppm: Option<f64>,
    /// Expansion of the staff with temperature.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub staff_expansion: Option<StaffExpansion>,
}

/// Expansion of the staff with temperature.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct StaffExpansion {
    /// Parts per million per degree Celsius.
    pub ppm_per_c: f64,
    /// Temperature at which the staff is right.
    pub standard_c: f64,
    /// Temperature of the staff now; a temperature in the record wins.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub staff_c: Option<f64>,
}

/// How the book is written.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Booking {
    /// Elevation + backsight = height of instrument; less foresight = elevation.
    HeightOfInstrument,
    /// Each sight against the one before: rise or fall.
    RiseAndFall,
}
