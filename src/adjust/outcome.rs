//! What an adjustment gives: numbers with their units in their names, no text. Whoever prints them finds the names in the
//! network.

use super::network::{MarkId, SectionId};
use super::significance::{Critical, GlobalTest, Levels, Sigma};
use crate::units::Length;

/// Everything an adjustment gives.
#[derive(Clone, Debug, PartialEq)]
pub struct Outcome {
    /// With one known mark held in each part: what the new work says by itself.
    pub free: Adjustment,
    /// With all known marks held. `None` where there is no more than one in each part: `free` is the whole result.
    pub held: Option<Adjustment>,
    /// The other known marks against the free adjustment.
    pub known: Vec<KnownCheck>,
}

impl Outcome {
    /// The adjustment whose elevations are to be used.
    pub fn last(&self) -> &Adjustment {
        self.held.as_ref().unwrap_or(&self.free)
    }
}

/// A known mark against what the free adjustment gives for it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct KnownCheck {
    /// The mark.
    pub mark: MarkId,
    /// The known mark from which its elevation was carried.
    pub datum: MarkId,
    /// Elevation by the free adjustment less the known one, m.
    pub difference_m: f64,
    /// Standard deviation of that difference, a priori, m: of the way from the datum, and of either elevation that is
    /// weighted.
    pub deviation_m: f64,
}

/// One least-squares adjustment.
#[derive(Clone, Debug, PartialEq)]
pub struct Adjustment {
    /// Sections, and known elevations that are weighted.
    pub observations: usize,
    /// Heights that were not held.
    pub unknowns: usize,
    /// The sum of the weighted squares of all residuals, v'Pv.
    pub weighted_squares: f64,
    /// s0^2, v'Pv over the degrees of freedom; `None` where there are none.
    pub variance_factor: Option<f64>,
    /// The test of the whole; `None` without degrees of freedom.
    pub global: Option<GlobalTest>,
    /// With which sigma the standard deviations and intervals below are computed: as asked, but a priori where there are no
    /// degrees of freedom to estimate it from.
    pub sigma: Sigma,
    /// Its value: 1 a priori, s0 a posteriori. Divide by it to have a-priori standard deviations.
    pub sigma_value: f64,
    /// Half an interval over the standard deviation.
    pub interval_multiplier: f64,
    /// The levels that were used.
    pub levels: Levels,
    /// What |w| and |tau| are compared with.
    pub critical: Critical,
    /// Of each mark of the network.
    pub marks: Vec<AdjustedMark>,
    /// Of each section of the network.
    pub sections: Vec<AdjustedSection>,
    /// Of each known mark that is weighted.
    pub weighted: Vec<AdjustedKnown>,
    /// Of each mark, what a mistake that the tests would just miss could do to it. `None` where it was not asked for, and
    /// for networks beyond [`super::EXPOSURE_MAX`].
    pub exposure: Option<Vec<Option<Exposure>>>,
}

impl Adjustment {
    /// Observations less unknowns.
    pub fn degrees_of_freedom(&self) -> usize {
        self.observations - self.unknowns
    }

    /// Half the width of the interval around a value with that standard deviation, m.
    pub fn half_interval_m(&self, deviation_m: f64) -> f64 {
        self.interval_multiplier * deviation_m
    }
}

/// A mark after an adjustment.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct AdjustedMark {
    /// Its elevation, to 0.1 nm.
    pub elevation: Length,
    /// Standard deviation of the elevation, m; zero where it was held.
    pub deviation_m: f64,
    /// What stands behind it.
    pub standing: Standing,
}

/// What stands behind an elevation.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Standing {
    /// It was held.
    Held,
    /// A mistake in any one section would show in the residuals, if it is large enough.
    Checked,
    /// A mistake in this section would show nowhere: the mark hangs on a single unchecked line.
    HangsOn(SectionId),
}

/// A section after an adjustment.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct AdjustedSection {
    /// Its rise: the difference of the adjusted elevations, exactly.
    pub rise: Length,
    /// Standard deviation of that rise, m.
    pub deviation_m: f64,
    /// Adjusted less observed, m.
    pub residual_m: f64,
    /// The share of a mistake that shows in the residual, 0 to 1.
    pub redundancy: f64,
    /// How well it is tested; `None` where nothing checks it.
    pub test: Option<SingleTest>,
}

/// A known elevation that was adjusted as an observation.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct AdjustedKnown {
    /// The mark.
    pub mark: MarkId,
    /// Adjusted less known, m.
    pub residual_m: f64,
    /// As of a section.
    pub redundancy: f64,
    /// As of a section.
    pub test: Option<SingleTest>,
}

/// The test of one observation, and what it would miss.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SingleTest {
    /// Residual over its standard deviation, with the a-priori sigma.
    pub w: f64,
    /// The same with the a-posteriori sigma; `None` where that is zero.
    pub tau: Option<f64>,
    /// The mistake that would explain the residual, m.
    pub mistake_m: f64,
    /// The smallest mistake that the w-test finds with the stated power, m.
    pub detectable_m: f64,
    /// The mark that a mistake of that size moves most: no other is moved more than the ends of the section.
    pub moves: MarkId,
    /// By how much it moves it, m, with the sign of the mistake.
    pub moves_by_m: f64,
}

/// The worst that a mistake of the smallest detectable size in a single section could do to a mark.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Exposure {
    /// In this section; one of the others of its line, between the same junctions, may do as much.
    pub section: SectionId,
    /// By so much, m.
    pub by_m: f64,
}
