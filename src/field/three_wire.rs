//! Three wires read by eye: their mean, the check of the half intervals, and the sight length from the interval.
//!
//! ```text
//! mean = (U + M + L) / 3
//! half intervals   (U - M) - (M - L) = 3 (mean - M)
//! sight length     100 (U - L) + constant
//! ```
//!
//! | symbol | meaning | unit |
//! |---|---|---|
//! | U, M, L | upper, middle and lower wire; on an inverted staff all are negative | 1e-10 m |
//!
//! The wires may be given from above or from below, as the instrument shows them; the middle one lies between.
//! The mean is kept to one decimal more than was read: thirds never end, and nobody reads closer.
//!
//! Limit: half intervals agree within 3 mm, equal to it is inside and noted (US Army course EN0593, read at
//! armyengineer.tpub.com). Readings too coarse for that, such as hundredths of a foot, may differ by two of their last
//! digit, because rounding alone makes as much (derived).
//! Checked against: `fixtures/field/three_wire_single_backsight_feet.toml`, `three_wire_half_interval_table.toml`.

use std::fmt;

use crate::units::{Length, LengthError, Measured, Unit};

/// Half intervals that differ by more than this are read again.
const HALF_INTERVALS_WITHIN: Length = Length::from_mm(3);

/// What the interval is multiplied by. Nearly every level has it.
pub const MULTIPLIER: i64 = 100;

/// What three wires come to.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ThreeWire {
    /// The mean, with one decimal more than the wires.
    pub mean: Measured,
    /// Upper less lower wire, without sign.
    pub interval: Length,
    /// Sight length from it.
    pub sight: Measured,
    /// Upper half interval less lower.
    pub half_difference: Length,
    /// What that may be.
    pub limit: Length,
}

impl ThreeWire {
    /// Whether the half intervals are exactly at their limit: accepted, and worth a note.
    pub fn at_limit(&self) -> bool {
        self.half_difference.abs() == self.limit
    }
}

/// What to add to the middle wire to have the mean.
pub fn to_mean(half_difference: Length) -> Length {
    half_difference.divide(3)
}

/// Reduces three wires.
///
/// # Errors
/// Wires in different units, a middle one that does not lie between the others, or half intervals that differ by more
/// than their limit.
pub fn three_wire(wires: &[Measured; 3], constant: Length) -> Result<ThreeWire, NotWires> {
    let [first, middle, last] = wires.map(|wire| wire.value());
    let unit = wires[0].unit();
    if let Some(other) = wires.iter().find(|wire| wire.unit() != unit) {
        return Err(NotWires::Units { units: [unit, other.unit()] });
    }
    let (upper, lower) = (first.max(last), first.min(last));
    if !(lower < middle && middle < upper) {
        return Err(NotWires::Order { wires: *wires });
    }
    let decimals = wires.iter().map(|wire| wire.digits().decimals()).max().unwrap_or(0);
    let half_difference = (upper - middle) - (middle - lower);
    let limit = limit(unit, decimals);
    if half_difference.abs() > limit {
        return Err(NotWires::HalfIntervals { apart: half_difference.abs(), limit, unit });
    }
    let mean = (first + middle + last).divide(3);
    let interval = upper - lower;
    Ok(ThreeWire {
        mean: Measured::from_length(mean, unit, decimals + 1).map_err(NotWires::Length)?,
        interval,
        sight: Measured::from_length(interval * MULTIPLIER + constant, unit, decimals).map_err(NotWires::Length)?,
        half_difference,
        limit,
    })
}

fn limit(unit: Unit, decimals: u8) -> Length {
    // A digit that cannot be written as a length is finer than any limit.
    let digit = format!("0.{:0>width$}", 2, width = usize::from(decimals));
    let two = if decimals == 0 { Length::parse("2", unit) } else { Length::parse(&digit, unit) };
    two.map_or(HALF_INTERVALS_WITHIN, |two| two.max(HALF_INTERVALS_WITHIN))
}

/// Why three numbers are not three wires of one sight.
#[derive(Clone, Debug, PartialEq)]
pub enum NotWires {
    /// They are in two units.
    Units {
        /// Which.
        units: [Unit; 2],
    },
    /// The middle one does not lie between the others.
    Order {
        /// As they were given.
        wires: [Measured; 3],
    },
    /// The half intervals differ by too much.
    HalfIntervals {
        /// By how much.
        apart: Length,
        /// What was allowed.
        limit: Length,
        /// The unit of the wires.
        unit: Unit,
    },
    /// The mean is no length that can be booked.
    Length(LengthError),
}

impl fmt::Display for NotWires {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            NotWires::Units { units: [one, other] } => {
                write!(f, "wires in {one} and in {other} found, one unit was wanted")
            }
            NotWires::Order { wires } => {
                let [upper, middle, lower] = wires.map(|wire| wire.digits().to_string());
                write!(
                    f,
                    "the wires {upper}, {middle}, {lower} are out of order: the middle one lies between the others"
                )
            }
            NotWires::HalfIntervals { apart, limit, unit } => write!(
                f,
                "the half intervals differ by {} {unit} (limit {} {unit}): read the wires again",
                apart.show(*unit, 4),
                limit.show(*unit, 4)
            ),
            NotWires::Length(error) => error.fmt(f),
        }
    }
}

impl std::error::Error for NotWires {}

#[cfg(test)]
mod tests {
    use super::*;

    fn wires(texts: [&str; 3], unit: Unit) -> [Measured; 3] {
        texts.map(|text| Measured::parse(text, unit).unwrap())
    }

    #[test]
    fn from_below_and_inverted_are_the_same_wires() {
        let metres = |texts| three_wire(&wires(texts, Unit::Metre), Length::ZERO);
        let above = metres(["1.412", "1.262", "1.111"]).unwrap();
        assert_eq!((above.mean.digits().as_str(), above.sight.digits().as_str()), ("1.2617", "30.100"));
        let below = metres(["1.111", "1.262", "1.412"]).unwrap();
        assert_eq!(below, above);
        let inverted = metres(["-1.111", "-1.262", "-1.412"]).unwrap();
        assert_eq!(inverted.mean.value(), -above.mean.value());
        assert_eq!(inverted.sight, above.sight);
    }

    #[test]
    fn half_intervals_at_their_limit_are_inside_and_noted() {
        let metres = |texts| three_wire(&wires(texts, Unit::Metre), Length::ZERO);
        let at = metres(["1.415", "1.262", "1.112"]).unwrap();
        assert!(at.at_limit());
        assert_eq!(
            metres(["1.416", "1.262", "1.112"]).unwrap_err().to_string(),
            "the half intervals differ by 0.0040 m (limit 0.0030 m): read the wires again"
        );
        // Hundredths of a foot may differ by two hundredths.
        let feet = |texts| three_wire(&wires(texts, Unit::Foot), Length::ZERO);
        assert!(feet(["4.32", "4.16", "4.02"]).unwrap().at_limit());
        assert!(feet(["4.33", "4.16", "4.02"]).is_err());
    }

    #[test]
    fn what_is_no_sight_is_refused() {
        let error = |wires: &[Measured; 3]| three_wire(wires, Length::ZERO).unwrap_err().to_string();
        let mut mixed = wires(["1.412", "1.262", "1.111"], Unit::Metre);
        assert_eq!(
            error(&wires(["4.31", "4.61", "4.02"], Unit::Foot)),
            "the wires 4.31, 4.61, 4.02 are out of order: the middle one lies between the others"
        );
        mixed[2] = Measured::parse("3.645", Unit::Foot).unwrap();
        assert_eq!(error(&mixed), "wires in m and in ft found, one unit was wanted");
    }
}
