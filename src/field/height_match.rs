//! Matching the instrument to a height: each reading tells how far the line of sight is off, and what to do to the legs.
//!
//! ```text
//! off = E(mark) + reading - target            positive: the line of sight is too high
//! from a hundredth of a foot up   all three legs by the difference
//! below it                        one leg by twice the difference
//! ```
//!
//! Turning one leg tilts the head about the other two: the middle moves by about half of what the leg does, hence twice.
//! That is approximate, so: level up and look again. Both rules and the usual tolerance of a thousandth of a foot are
//! common practice, no source.
//!
//! Sign: `off` is positive where the instrument is high; a leg is moved up to raise the instrument.

use crate::units::Length;

/// From here up all three legs are moved: a hundredth of a foot. Common practice, no source.
pub const ALL_LEGS_FROM: Length = Length::from_um(3_048);

/// Nearer than this the height counts as matched, where nobody says otherwise: a thousandth of a foot. Common practice,
/// no source.
pub const USUAL_TOLERANCE: Length = Length::from_tenth_nm(3_048_000);

/// What to do to the legs.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Legs {
    /// Which.
    pub which: Which,
    /// By how much, up positive.
    pub up_by: Length,
}

/// Which legs.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Which {
    /// All three, alike.
    All,
    /// Any one.
    One,
}

/// How far the line of sight is off its target: positive where it is too high.
pub fn off(mark: Length, reading: Length, target: Length) -> Length {
    mark + reading - target
}

/// What to do to the legs of an instrument that is off by so much. None if it is not off at all.
pub fn legs(off: Length) -> Option<Legs> {
    match off.abs() {
        Length::ZERO => None,
        size if size >= ALL_LEGS_FROM => Some(Legs { which: Which::All, up_by: -off }),
        _ => Some(Legs { which: Which::One, up_by: -(off * 2) }),
    }
}

/// The largest step that is worth telling: beyond it the tripod is set up anew.
const LEGS_MAX: Length = Length::from_mm(500);

/// Whether the instrument must be set up anew, because no leg is moved as far as this.
pub fn beyond_the_legs(off: Length) -> bool {
    off.abs() > LEGS_MAX
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::Unit;

    fn ft(text: &str) -> Length {
        Length::parse(text, Unit::Foot).unwrap()
    }

    #[test]
    fn the_values_of_common_practice() {
        for (high, which, up_by) in [
            ("-0.04", Which::All, "0.04"),
            ("0.002", Which::One, "-0.004"),
            ("0.02", Which::All, "-0.02"),
            ("0.001", Which::One, "-0.002"),
        ] {
            assert_eq!(legs(ft(high)), Some(Legs { which, up_by: ft(up_by) }), "{high}");
        }
        assert_eq!(legs(ft("0.01")), Some(Legs { which: Which::All, up_by: ft("-0.01") }), "a hundredth is all three");
        assert_eq!(legs(ft("-0.0099")), Some(Legs { which: Which::One, up_by: ft("0.0198") }));
        assert_eq!(legs(Length::ZERO), None);
        assert_eq!((ALL_LEGS_FROM, USUAL_TOLERANCE * 10), (ft("0.01"), ft("0.01")));
    }

    #[test]
    fn too_high_is_positive() {
        assert_eq!(off(ft("100.000"), ft("5.002"), ft("105.000")), ft("0.002"));
        assert_eq!(off(ft("100.000"), ft("4.960"), ft("105.000")), ft("-0.040"));
        assert!(beyond_the_legs(ft("2")) && !beyond_the_legs(ft("-1.5")));
    }
}
