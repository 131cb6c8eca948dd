//! The single mistakes that could be behind a misclosure, a family a file. A new family is one function and one row below.
//!
//! Each function looks through the setups, readings or points that the closures rest on, and hands in those mistakes that
//! would bring the closure inside its allowance. Which of them is likely is for `rank` to say.

mod point;
mod reading;
mod setup;
mod whole;

use super::conditions::Conditions;
use super::{Mistake, Site};

/// The families, in the order of the documentation.
const FAMILIES: &[fn(&Conditions<'_>, &mut Vec<Candidate>)] = &[
    setup::exchanged,
    setup::repeat,
    reading::sign_lost,
    reading::whole_unit,
    reading::turned,
    reading::against_repeats,
    point::wrong_mark,
    point::turned_elevation,
    point::moved,
    whole::turning_point,
    whole::staff_zero,
    whole::collimation,
];

/// One mistake at one place.
pub(super) struct Candidate {
    pub(super) mistake: Mistake,
    pub(super) site: Site,
    /// What the closure would be, mm.
    pub(super) after_mm: f64,
    /// Logarithm of how much likelier it is than plain noise, with how often it happens.
    pub(super) ln_odds: f64,
    /// Candidates of one mistake with the same footprint look the same in every closure.
    pub(super) footprint: Footprint,
}

/// What a candidate does to the closures.
#[derive(Clone, Debug, PartialEq, Eq, Hash)]
pub(super) enum Footprint {
    /// It changes the closures by so much, nm.
    Closures(Vec<i64>),
    /// It stands alone.
    Alone,
}

/// All mistakes that would bring the closure inside its allowance.
pub(super) fn all(conditions: &Conditions<'_>) -> Vec<Candidate> {
    let mut found = Vec::new();
    for family in FAMILIES {
        family(conditions, &mut found);
    }
    found
}
