//! Setting a target: the reading to look for, how far to move the staff, a line struck through two marks, grades, cut
//! and fill, and how a set target stands once the run has been adjusted.
//!
//! ```text
//! wanted reading     HI - target                   negative: on an inverted staff, the foot up
//! move up by         reading - wanted              both ways of holding the staff
//! line through two   mean (r1 + r2) / 2, slope (r1 - r2) / apart
//! on a grade         E1 + (E2 - E1) (d - d1) / (d2 - d1)
//! cut                ground - design               negative: fill
//! ```
//!
//! | symbol | meaning | unit |
//! |---|---|---|
//! | HI | elevation of the line of sight | 1e-10 m |
//! | E, d | elevation, distance along the grade | 1e-10 m |
//!
//! Sign: a move is positive upwards; a slope from the first mark to the second is positive where it rises; cut is
//! positive where ground must go.
//! Everything is exact but a share of a grade, which is taken to the nearest 0.1 nm, ties to even.
//! Source: the target reading as in US Navy training manual 14071 turned round; grades by proportion.
//! Checked against: `fixtures/field/grade_setout_sight_rails.toml` and the `building_height` files beside it.

pub mod list;

use std::fmt;

use crate::book::settings::Staffs;
use crate::units::{Length, Unit};

/// How near a target must be set, where nobody says otherwise. Common practice, no source.
pub const USUAL_TOLERANCE: Length = Length::from_mm(1);

/// What to look for on the staff.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Aim {
    /// The reading; negative on an inverted staff.
    pub reading: Length,
}

impl Aim {
    /// Whether the staff stands on its head.
    pub fn inverted(self) -> bool {
        self.reading < Length::ZERO
    }

    /// How far the foot of the staff is to be moved up; down is negative.
    pub fn up_by(self, reading: Length) -> Length {
        reading - self.reading
    }
}

/// The reading to look for at a target, from a line of sight.
///
/// # Errors
/// A target that no staff of this length can show: nearer its ends than its margin counts as shown.
pub fn aim(instrument: Length, target: Length, staffs: &Staffs) -> Result<Aim, OutOfReach> {
    let reading = instrument - target;
    if reading.abs() > staffs.length {
        return Err(OutOfReach { below: reading, staff: staffs.length });
    }
    Ok(Aim { reading })
}

/// A target that the staff cannot show.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct OutOfReach {
    /// How far it is below the line of sight; above it is negative.
    pub below: Length,
    /// Length of the staff.
    pub staff: Length,
}

impl OutOfReach {
    /// In the unit of the job.
    pub fn words(&self, unit: Unit) -> String {
        let side = if self.below > Length::ZERO { "below" } else { "above" };
        format!(
            "the target is {} {unit} {side} the line of sight, out of the reach of a staff of {} {unit}: set up nearer to it \
             in height",
            self.below.abs().show(unit, 3),
            self.staff.show(unit, 2)
        )
    }
}

impl fmt::Display for OutOfReach {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.words(Unit::Metre))
    }
}

impl std::error::Error for OutOfReach {}

/// A line through two marks.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Line {
    /// The mean of both readings: what the line stands for.
    pub mean: Length,
    /// How much higher the second mark is.
    pub rise: Length,
}

impl Line {
    /// From the readings on its two marks.
    pub fn through(first: Length, second: Length) -> Self {
        Line { mean: (first + second).divide(2), rise: first - second }
    }

    /// Its slope over the distance between the marks, mm per m.
    pub fn slope_mm_per_m(self, apart: Length) -> f64 {
        1000.0 * self.rise.to_f64_m() / apart.to_f64_m()
    }

    /// How far an end of a target of this width is off the mean, if the line is drawn through both marks.
    pub fn off_at_ends(self, apart: Length, width: Length) -> Length {
        self.rise.share(width.tenth_nm(), 2 * apart.tenth_nm())
    }
}

/// A point on the grade between two others, each given by its distance along it and its elevation.
///
/// # Errors
/// Two points at the same distance make no grade.
pub fn on_grade(one: (Length, Length), other: (Length, Length), at: Length) -> Result<Length, NoGrade> {
    let run = other.0 - one.0;
    if run == Length::ZERO {
        return Err(NoGrade { at: one.0 });
    }
    Ok(one.1 + (other.1 - one.1).share((at - one.0).tenth_nm(), run.tenth_nm()))
}

/// How far a grade of `1 in so many` falls over a distance.
///
/// # Panics
/// If it is 1 in nought.
pub fn fall(distance: Length, one_in: i64) -> Length {
    distance.divide(one_in)
}

/// Two points of a grade at the same distance.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct NoGrade {
    /// The distance.
    pub at: Length,
}

/// How much ground must go to reach the design: negative where it must be filled.
pub fn cut(ground: Length, design: Length) -> Length {
    ground - design
}

/// How far above its peg a sight rail stands, for a traveller of this length over the design.
pub fn rail_above_peg(design: Length, traveller: Length, peg: Length) -> Length {
    design + traveller - peg
}

/// How a set target stands, from its elevation as it is known now.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Stands {
    /// Within its tolerance, equal to it included.
    Within,
    /// Off by so much, too high positive: to be set again.
    SetAgain(Length),
}

/// Compares a target with its design.
pub fn stands(elevation: Length, design: Length, tolerance: Length) -> Stands {
    let off = elevation - design;
    if off.abs() <= tolerance { Stands::Within } else { Stands::SetAgain(off) }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::book::settings::StaffsInUse;

    fn m(text: &str) -> Length {
        Length::parse(text, Unit::Metre).unwrap()
    }

    fn staffs() -> Staffs {
        Staffs { in_use: StaffsInUse::One, length: m("4"), margin: m("0.02") }
    }

    #[test]
    fn the_staff_is_moved_by_what_it_reads_too_much() {
        let upright = aim(m("101.500"), m("100.000"), &staffs()).unwrap();
        assert_eq!((upright.reading, upright.inverted()), (m("1.5"), false));
        assert_eq!(upright.up_by(m("1.512")), m("0.012"), "reads too much: the foot is too low");
        let overhead = aim(m("101.500"), m("103.000"), &staffs()).unwrap();
        assert_eq!((overhead.reading, overhead.inverted()), (m("-1.5"), true));
        assert_eq!(overhead.up_by(m("-1.512")), m("-0.012"), "reads too much on its head: the foot is too high");
    }

    #[test]
    fn a_target_out_of_reach_is_told_by_how_much() {
        let far = aim(m("101.500"), m("97.499"), &staffs()).unwrap_err();
        assert_eq!(
            far.to_string(),
            "the target is 4.001 m below the line of sight, out of the reach of a staff of 4.00 m: set up nearer to it in \
             height"
        );
        assert!(aim(m("101.5"), m("105.6"), &staffs()).unwrap_err().words(Unit::Foot).contains("13.451 ft above"));
        assert!(aim(m("101.5"), m("97.5"), &staffs()).is_ok());
    }

    #[test]
    fn a_line_through_two_marks() {
        let line = Line::through(m("1.5010"), m("1.4990"));
        assert_eq!((line.mean, line.rise), (m("1.5"), m("0.002")));
        assert!((line.slope_mm_per_m(m("0.8")) - 2.5).abs() < 1e-12);
        assert_eq!(line.off_at_ends(m("0.8"), m("0.4")), m("0.0005"));
    }

    #[test]
    fn grades_are_by_proportion() {
        let (one, other) = ((m("0"), m("26.5")), (m("400"), m("24.5")));
        assert_eq!(on_grade(one, other, m("100")), Ok(m("26.0")));
        assert_eq!(on_grade(one, other, m("500")), Ok(m("24.0")), "beyond the second point");
        assert_eq!(fall(m("100"), 200), m("0.5"));
        assert_eq!(on_grade(one, (m("0"), m("1")), m("100")), Err(NoGrade { at: m("0") }));
        assert_eq!(cut(m("10.35"), m("10.00")), m("0.35"));
    }

    #[test]
    fn a_target_at_its_tolerance_stands() {
        let (design, tolerance) = (m("105"), m("0.003"));
        assert_eq!(stands(m("105.003"), design, tolerance), Stands::Within);
        assert_eq!(stands(m("104.9969"), design, tolerance), Stands::SetAgain(m("-0.0031")));
    }
}
