//! Mistakes that no reading shows: a disturbed turning point, staffs whose zeros differ, a line of sight out of adjustment.

use super::{Candidate, Footprint};
use crate::adjust::explain::conditions::{Conditions, length};
use crate::adjust::explain::{Mistake, Site, priors};
use crate::book::event::Taken;
use crate::book::settings::StaffsInUse;
use crate::units::Length;

/// A turning point that moved between the foresight on it and the backsight on it. Known points do not.
pub(super) fn turning_point(conditions: &Conditions<'_>, found: &mut Vec<Candidate>) {
    for class in &conditions.classes {
        let size_mm = class.column.effect().size();
        let Some((after_mm, _)) = conditions.closes(&class.column, size_mm) else { continue };
        let change = length(size_mm);
        let ln_odds = conditions.noise.ln_gain_of_any_size(class.column.effect()) + priors::TURNING_POINT.ln();
        let turning = |point| !conditions.book.known().contains_key(point);
        for (run, setup) in class.setups.iter().filter(|(_, setup)| setup.number > 1 && turning(&setup.back_point)) {
            let then = setup.reduced.rise().map(|rise| rise + change);
            found.push(Candidate {
                mistake: Mistake::TurningPoint { by: change },
                site: Site::of_setup(run, setup, then, Taken::Booked),
                after_mm,
                ln_odds,
                footprint: class.column.footprint(size_mm),
            });
        }
    }
}

/// A pair of staffs whose zeros differ: it cancels over two setups, and stays where their number is odd.
pub(super) fn staff_zero(conditions: &Conditions<'_>, found: &mut Vec<Candidate>) {
    if conditions.book.settings().staffs.in_use != StaffsInUse::Pair {
        return;
    }
    let column = conditions.over_setups(|_, setup| if setup.number.is_multiple_of(2) { 1.0 } else { -1.0 });
    let (chance, deviation_mm) = priors::STAFF_ZERO;
    let by_mm = column.effect().size();
    let Some((after_mm, _)) = conditions.closes(&column, by_mm) else { return };
    if by_mm.abs() > priors::NORMAL_MOST * deviation_mm {
        return;
    }
    found.push(Candidate {
        mistake: Mistake::StaffZero { by: length(by_mm) },
        site: Site::of_run(conditions),
        after_mm,
        ln_odds: conditions.noise.ln_gain_about_none(column.effect(), deviation_mm) + chance.ln(),
        footprint: Footprint::Alone,
    });
}

/// A line of sight out of adjustment, fed by sights out of balance.
pub(super) fn collimation(conditions: &Conditions<'_>, found: &mut Vec<Candidate>) {
    let column = conditions.over_setups(|_, setup| -setup.reduced.imbalance.map_or(0.0, Length::to_f64_m));
    let (chance, deviation) = priors::COLLIMATION;
    let mm_per_m = column.effect().size();
    let Some((after_mm, _)) = conditions.closes(&column, mm_per_m) else { return };
    if mm_per_m.abs() > priors::NORMAL_MOST * deviation {
        return;
    }
    let applied_mm_per_m = conditions.book.settings().corrections.collimation_mm_per_m;
    found.push(Candidate {
        mistake: Mistake::Collimation { mm_per_m, applied_mm_per_m },
        site: Site::of_run(conditions),
        after_mm,
        ln_odds: conditions.noise.ln_gain_about_none(column.effect(), deviation) + chance.ln(),
        footprint: Footprint::Alone,
    });
}
