//! Checks that rest on the tests of the instrument: whether one is due, and what a known inclination makes of a run.

use super::super::closure::{self, LineKind};
use super::super::finding::{Amount, FindingId, Place, Priority};
use super::super::reading::Role;
use super::{At, Finding, compare, measured, plain};
use crate::units::Length;

/// The share of the allowance that an uncorrected inclination may eat. Common practice, no source.
const EATEN: f64 = 0.25;

const DAY_S: u64 = 24 * 60 * 60;

/// `collimation-due`: the run was begun without a test of the line of sight within the class's interval.
pub(super) fn due(at: &At<'_>, found: &mut Vec<Finding>) {
    let Some(interval) = at.class().collimation_interval else { return };
    let Some(first) = at.run.setups.first().and_then(|setup| setup.back.iter().chain(&setup.fore).next()) else {
        return;
    };
    let Some(entry) = at.entries.get(first.reading as usize - 1) else { return };
    let days = |days: u32| if days == 1 { "1 day".to_owned() } else { format!("{days} days") };
    let basis = format!("{}{}", at.class().title, interval.basis.remark());
    let tested = at.ground.activities.tested(at.settings().instrument.name.as_deref(), entry.event);
    let fact = match tested.map(|tested| entry.at.since(tested).as_secs()) {
        Some(age_s) if age_s <= u64::from(interval.days) * DAY_S => return,
        Some(age_s) => {
            let age = u32::try_from(age_s / DAY_S).unwrap_or(u32::MAX);
            format!("the line of sight was last tested {} ago ({} hold, {basis})", days(age), days(interval.days))
        }
        None => format!("no test of the line of sight in this job (one within {}, {basis})", days(interval.days)),
    };
    found.push(Finding {
        basis: Some(basis),
        ..plain(
            FindingId::CollimationDue,
            Place::Run(at.run.number),
            Priority::Warn,
            fact,
            "test it before the run is used: test two-peg".to_owned(),
        )
    });
}

/// `collimation-effect`: the inclination last found, left in the readings, makes more of the section's imbalance than a
/// quarter of what the run so far is allowed.
///
/// What it leaves in a section is `c * sum (Sb - Sf)`.
pub(super) fn effect(at: &At<'_>, found: &mut Vec<Finding>) {
    let Some(latest) = latest_reading(at) else { return };
    let Some(entry) = at.entries.get(latest as usize - 1) else { return };
    let corrections = at.amendments().corrections(latest, &at.settings().corrections);
    let found_in_test = at.ground.activities.collimation(at.settings().instrument.name.as_deref(), entry.event);
    let (None, Some((mm_per_m, _))) = (corrections.collimation_mm_per_m, found_in_test) else {
        return;
    };
    let lacks = at.setup.before.distance_lacks || at.setup.reduced.length().is_none();
    let length = (!lacks).then(|| at.setup.distance());
    let sigma = at.settings().setup_sd_mm();
    let setups = at.setup.setups().max(1);
    let Some(allowance) = closure::allowance(at.class(), LineKind::BetweenKnown, length, setups, None, sigma) else {
        return;
    };
    let sum = at.setup.imbalance_sum();
    let (Some(left_in), Some(limit)) = (
        Length::from_f64_m(mm_per_m / 1000.0 * sum.to_f64_m()),
        Length::from_f64_m(EATEN * allowance.value.to_f64_m()),
    ) else {
        return;
    };
    let Some(stands) = compare(left_in, limit) else { return };
    let say = at.wording();
    let basis = format!("a quarter of the allowance, common practice, no source; {}", allowance.words);
    let base = plain(
        FindingId::CollimationEffect,
        Place::Section { run: at.run.number, from: at.setup.before.section_from },
        Priority::Warn,
        format!(
            "a line of sight off by {mm_per_m:+.3} mm/m leaves {} in sights out of balance by {} in all (limit {}, a quarter \
             of the allowance)",
            say.signed_height(left_in),
            say.signed_sight(sum),
            say.height(limit)
        ),
        "bring the sum of the sight differences back, or take the inclination out: correct collimation on".to_owned(),
    );
    found.push(measured(base, stands, Amount::Height(left_in), Amount::Height(limit), basis));
}

/// The latest reading of the setup that is on the line.
fn latest_reading(at: &At<'_>) -> Option<u32> {
    let shots = [Role::Back, Role::Fore].into_iter().flat_map(|role| at.setup.shots(role));
    shots.map(|shot| shot.reading).max()
}
