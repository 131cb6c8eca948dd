//! How an inclination and a move are said.

use crate::units::{Length, Unit, show_feet_inches};

/// One mm per m in seconds of arc.
const ARCSEC_A_MM_PER_M: f64 = 206.265;

/// An inclination of the line of sight, in the words of the job's unit: mm per m, or feet in a hundred feet; and in
/// seconds of arc.
pub fn inclination(mm_per_m: f64, unit: Unit) -> String {
    let seconds = ARCSEC_A_MM_PER_M * mm_per_m;
    if unit.is_foot() {
        format!("{:+.4} ft in 100 ft ({seconds:+.1}\")", mm_per_m / 10.0)
    } else {
        format!("{mm_per_m:+.3} mm/m ({seconds:+.1}\")")
    }
}

/// An inclination without sign, for a limit or a doubt.
pub(super) fn inclination_size(mm_per_m: f64, unit: Unit) -> String {
    if unit.is_foot() { format!("{:.4} ft in 100 ft", mm_per_m / 10.0) } else { format!("{mm_per_m:.3} mm/m") }
}

/// How far the staff is to be moved: `up 0.012 ft, 0'-0 1/8", 3.7 mm`. In feet, in sixteenths and in millimetres, the
/// job's unit first.
pub fn moved(up_by: Length, unit: Unit) -> String {
    let way = if up_by < Length::ZERO { "down" } else { "up" };
    let size = up_by.abs();
    let foot = if unit.is_foot() { unit } else { Unit::Foot };
    let feet = format!("{} {foot}", size.show(foot, 3));
    let mm = format!("{} mm", size.show(Unit::Millimetre, 1));
    let sixteenths = show_feet_inches(size);
    if unit.is_foot() {
        format!("{way} {feet}, {sixteenths}, {mm}")
    } else {
        format!("{way} {mm}, {feet}, {sixteenths}")
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_move_is_said_in_every_unit_the_job_s_first() {
        let up = Length::parse("0.012", Unit::Foot).unwrap();
        assert_eq!(moved(up, Unit::Foot), "up 0.012 ft, 0'-0 1/8\", 3.7 mm");
        assert_eq!(moved(-up, Unit::Metre), "down 3.7 mm, 0.012 ft, 0'-0 1/8\"");
    }

    #[test]
    fn an_inclination_is_said_in_the_trade_s_ways() {
        assert_eq!(inclination(0.05, Unit::Metre), "+0.050 mm/m (+10.3\")");
        assert_eq!(inclination(-0.05, Unit::Foot), "-0.0050 ft in 100 ft (-10.3\")");
    }
}
