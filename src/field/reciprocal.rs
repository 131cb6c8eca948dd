//! Reciprocal levelling: a gap that cannot be stood in, read from both banks.
//!
//! ```text
//! rise A to B                    ( (a1 - b1) + (a2 - b2) ) / 2
//! error of the long sight     e  ( (a2 - b2) - (a1 - b1) ) / 2
//! explained                      c S + (1 - k) S^2 / (2 R)
//! ```
//!
//! | symbol | meaning | unit |
//! |---|---|---|
//! | a1, b1 | readings on A (near) and B (far) with the instrument at A | 1e-10 m |
//! | a2, b2 | readings on A (far) and B (near) with the instrument at B | 1e-10 m |
//! | S | length of the gap | m |
//! | c, k, R | inclination of the line of sight, refraction, radius: as in `book::corrections` | mm/m, -, m |
//!
//! Sign: the rise is positive where B is higher; e is how much too high the far staff is read, positive where the line
//! of sight climbs or the curve of the earth shows. Inclination and curvature cancel exactly where both long sights are
//! equally long; refraction only as far as the air is the same in both halves: read both banks at once, or in quick
//! turns, and repeat.
//!
//! Source: teaching pages read at civilengineering4u.com and technoupendra.com; the reduction of e derived.
//! Checked against: `fixtures/field/reciprocal_500m_refraction_collimation.toml`, `reciprocal_mean_of_two.toml`.

use crate::book::corrections::curvature_and_refraction_m;
use crate::units::Length;

/// What one bank reads.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Bank {
    /// On A.
    pub a: Length,
    /// On B.
    pub b: Length,
}

impl Bank {
    fn rise(self) -> Length {
        self.a - self.b
    }
}

/// One set: both banks.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Set {
    /// From the bank of A.
    pub at_a: Bank,
    /// From the bank of B.
    pub at_b: Bank,
}

impl Set {
    /// Rise from A to B, to the nearest 0.1 nm.
    pub fn rise(&self) -> Length {
        (self.at_a.rise() + self.at_b.rise()).divide(2)
    }

    /// How much too high the far staff is read, to the nearest 0.1 nm.
    pub fn long_sight_error(&self) -> Length {
        (self.at_b.rise() - self.at_a.rise()).divide(2)
    }
}

/// What several sets come to.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Reciprocal {
    /// Mean rise from A to B.
    pub rise: Length,
    /// Its standard deviation: from the sets where there are two or more, else from that of one reading.
    pub sd: Length,
    /// How it is known.
    pub from: SdFrom,
    /// Mean error of the long sight.
    pub long_sight_error: Length,
}

/// Where a standard deviation comes from.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum SdFrom {
    /// The scatter of so many sets.
    Sets(u32),
    /// That of one reading: a single set, unchecked.
    OneReading,
}

/// Reduces sets. `None` of none.
pub fn reciprocal(sets: &[Set], reading_sd: Length) -> Option<Reciprocal> {
    let rise = Length::mean(sets.iter().map(Set::rise))?;
    let long_sight_error = Length::mean(sets.iter().map(Set::long_sight_error))?;
    let n = sets.len();
    if n == 1 {
        // Four readings, each entering with a half: sqrt(4) / 2 of one.
        return Some(Reciprocal { rise, sd: reading_sd, from: SdFrom::OneReading, long_sight_error });
    }
    let squares: f64 = sets.iter().map(|set| (set.rise() - rise).to_f64_m().powi(2)).sum();
    let sd = Length::from_f64_m((squares / (n as f64 - 1.0) / n as f64).sqrt())?;
    Some(Reciprocal { rise, sd, from: SdFrom::Sets(n as u32), long_sight_error })
}

/// What inclination, curvature and refraction make of a sight over the gap. None beyond any length that can be booked.
pub fn explained(distance: Length, collimation_mm_per_m: f64, k: f64) -> Option<Length> {
    let metres = distance.to_f64_m();
    Length::from_f64_m(collimation_mm_per_m / 1000.0 * metres + curvature_and_refraction_m(k, metres))
}

/// The inclination that the error of the long sight leaves once curvature and refraction are taken out, mm per m.
pub fn inclination_mm_per_m(long_sight_error: Length, distance: Length, k: f64) -> f64 {
    let metres = distance.to_f64_m();
    1000.0 * (long_sight_error.to_f64_m() - curvature_and_refraction_m(k, metres)) / metres
}

#[cfg(test)]
mod tests {
    use super::*;

    fn um(um: i64) -> Length {
        Length::from_um(um)
    }

    fn set(a1: i64, b1: i64, a2: i64, b2: i64) -> Set {
        Set { at_a: Bank { a: um(a1), b: um(b1) }, at_b: Bank { a: um(a2), b: um(b2) } }
    }

    #[test]
    fn what_both_long_sights_have_in_common_cancels() {
        // True rise -1.2 m, 7 mm too high on each far staff.
        let set = set(1_500_000, 2_707_000, 1_407_000, 2_600_000);
        assert_eq!((set.rise(), set.long_sight_error()), (um(-1_200_000), um(7_000)));
        let gap = Length::from_mm(200_000);
        let made = explained(gap, 0.03, 0.14).unwrap();
        assert!((inclination_mm_per_m(made, gap, 0.14) - 0.03).abs() < 1e-9);
    }

    #[test]
    fn sets_give_their_own_deviation_and_a_single_one_says_so() {
        let one = reciprocal(&[set(1_500_000, 2_700_000, 1_400_000, 2_600_000)], um(300)).unwrap();
        assert_eq!((one.rise, one.sd, one.from), (um(-1_200_000), um(300), SdFrom::OneReading));
        let sets = [set(1_500_000, 2_700_000, 1_400_000, 2_600_000), set(1_500_000, 2_702_000, 1_400_000, 2_602_000)];
        // Rises -1200 and -1202 mm: s = sqrt 2 mm, of the mean 1 mm.
        let two = reciprocal(&sets, um(300)).unwrap();
        assert_eq!((two.rise, two.sd, two.from), (um(-1_201_000), um(1_000), SdFrom::Sets(2)));
        assert_eq!(reciprocal(&[], um(300)), None);
    }
}
