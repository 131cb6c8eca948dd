//! Checks of how a run closes: misclosures, a point that moved, what the noise foretells, and offers.

use super::super::closure::{self, LineKind};
use super::super::finding::{Amount, Finding, FindingId, Place, Priority};
use super::super::run::{ClosesOn, Closure, Setup};
use super::{At, RELEASE, Stands, compare, measured, plain};
use crate::units::Length;

/// Share of the allowance from which a misclosure is warned of.
const WARN_AT: f64 = 0.7;

/// Setups that must have shown their noise before it is taken to foretell anything.
const OUTLOOK_SETUPS: u32 = 4;

/// Half of all normally distributed values lie within this many standard deviations.
const PROBABLE: f64 = 0.674_489_750_196_081_7;

/// A foresight farther than this from every known point is not compared further.
const OFFER_WITHIN: Length = Length::from_mm(50);

/// International feet in a metre, and how well a rise must fit it to raise `unit-doubt`.
const FEET_PER_METRE: f64 = 1.0 / 0.3048;
const FEET_FIT: f64 = 0.005;

/// `misclosure`: at a known point, or forward against back at a common one.
pub(super) fn misclosure(at: &At<'_>, found: &mut Vec<Finding>) {
    for closure in &at.setup.closures {
        let Some(allowance) = &closure.allowance else { continue };
        let (value, limit) = (closure.misclosure.abs(), allowance.value);
        let share = value.to_f64_m() / limit.to_f64_m();
        if share <= WARN_AT * RELEASE {
            continue;
        }
        let over = compare(value, limit) == Some(Stands::Over);
        let (say, basis) = (at.wording(), allowance.words.clone());
        let against = match closure.on {
            ClosesOn::Known => format!("misclosure at {}", closure.point),
            ClosesOn::Earlier { run, setup } => {
                format!("at {}, against setup {setup} of run {run}: misclosure", closure.point)
            }
        };
        let base = plain(
            FindingId::Misclosure,
            Place::Point { run: at.run.number, setup: at.setup.number, point: closure.point.clone() },
            if over { Priority::Hold } else { Priority::Warn },
            format!("{against} {} ({basis})", say.share(closure.misclosure, limit)),
            if over {
                "do not use the heights between; look at the findings of the run, and shoot it again".to_owned()
            } else {
                "near the allowance: look at balance and spread before the run is used".to_owned()
            },
        );
        let stands = if share > WARN_AT { Stands::Over } else { Stands::Near };
        found.push(measured(base, stands, Amount::Height(closure.misclosure), Amount::Height(limit), basis));
        if over {
            unit_doubt(at, closure, found);
        }
    }
}

/// `unit-doubt`: the rise would fit if the readings were in the other unit.
fn unit_doubt(at: &At<'_>, closure: &Closure, found: &mut Vec<Finding>) {
    let Some(datum) = at.setup.fore_level().and_then(|level| at.run.chains[level.chain].datum.as_ref()) else { return };
    let (Some(known), Some(origin)) = (at.ground.known.get(&closure.point), at.ground.known.get(&datum.point)) else {
        return;
    };
    let truth = (known.elevation.value() - origin.elevation.value()).to_f64_m();
    let seen = truth + closure.misclosure.to_f64_m();
    // A rise of less than this in the true unit cannot tell the units apart.
    if truth.abs() < 0.3 {
        return;
    }
    let fits = |factor: f64| (seen * factor / truth - 1.0).abs() < FEET_FIT;
    let other = if fits(FEET_PER_METRE) {
        "metres where feet are set"
    } else if fits(1.0 / FEET_PER_METRE) {
        "feet where metres are set"
    } else {
        return;
    };
    found.push(plain(
        FindingId::UnitDoubt,
        Place::Point { run: at.run.number, setup: at.setup.number, point: closure.point.clone() },
        Priority::Hold,
        format!("the rise from {} to {} would fit if the readings were {other}", datum.point, closure.point),
        "look at the unit that the instrument is set to".to_owned(),
    ));
}

/// `point-moved`: a known point disagrees with its neighbours while they agree with each other.
pub(super) fn point_moved(at: &At<'_>, found: &mut Vec<Finding>) {
    side_on_known(at, found);
    let on_known = |setup: &Setup| setup.closures.iter().find(|c| c.on == ClosesOn::Known).cloned();
    let Some(now) = on_known(at.setup).filter(|closure| !closure.over()) else { return };
    let earlier = at.run.setups.iter().take_while(|setup| setup.number < at.setup.number);
    for setup in earlier {
        let Some(then) = on_known(setup).filter(|then| then.over() && then.point != now.point) else { continue };
        let Some(allowance) = &then.allowance else { continue };
        let apart = then.misclosure - now.misclosure;
        if compare(apart, allowance.value) != Some(Stands::Over) {
            continue;
        }
        let (say, basis) = (at.wording(), allowance.words.clone());
        let base = plain(
            FindingId::PointMoved,
            Place::Point { run: at.run.number, setup: setup.number, point: then.point.clone() },
            Priority::Hold,
            format!(
                "{} disagrees by {} while the points about it agree (allowance {}, {basis})",
                then.point,
                say.signed_height(then.misclosure),
                say.height(allowance.value)
            ),
            format!("do not use {} until another levelling has confirmed or replaced its elevation", then.point),
        );
        found.push(measured(base, Stands::Over, Amount::Height(apart), Amount::Height(allowance.value), basis));
    }
}

/// An intermediate sight on a known point is single and unchecked, but it may show that the point has moved.
fn side_on_known(at: &At<'_>, found: &mut Vec<Finding>) {
    for side in &at.setup.sides {
        let Some(known) = at.ground.known.get(&side.point) else { continue };
        let Some(level) = at.setup.side_level(side) else { continue };
        let Some(elevation) = at.run.elevation(level) else { continue };
        let apart = elevation - known.elevation.value();
        let Some(allowance) = allowance_so_far(at) else { continue };
        if compare(apart, allowance.value) != Some(Stands::Over) {
            continue;
        }
        let (say, basis) = (at.wording(), allowance.words.clone());
        let base = plain(
            FindingId::PointMoved,
            Place::Point { run: at.run.number, setup: at.setup.number, point: side.point.clone() },
            Priority::Warn,
            format!(
                "{} by an intermediate sight disagrees by {} (single, unchecked; allowance {}, {basis})",
                side.point,
                say.signed_height(apart),
                say.height(allowance.value)
            ),
            format!("take {} in as a turning point to see which of the two is wrong", side.point),
        );
        found.push(measured(base, Stands::Over, Amount::Height(apart), Amount::Height(allowance.value), basis));
    }
}

/// What a line from the datum to here would be allowed.
fn allowance_so_far(at: &At<'_>) -> Option<closure::Allowance> {
    let lacks = at.setup.before.distance_lacks || at.setup.reduced.length().is_none();
    let length = (!lacks).then(|| at.setup.distance());
    let setups = at.setup.setups().max(1);
    let sigma = at.settings().setup_sd_mm();
    closure::allowance(at.class(), LineKind::BetweenKnown, length, setups, None, sigma)
}

/// `outlook`: with the noise seen so far, a misclosure over the allowance is more likely than one inside.
///
/// The misclosure of `n` setups with variance `s^2` each has the deviation `s * sqrt(n)`, and half of such values
/// are beyond 0.674 of it. Source: propagation of independent errors, standard textbooks, from memory.
pub(super) fn outlook(at: &At<'_>, found: &mut Vec<Finding>) {
    let (setup, before) = (at.setup, &at.setup.before);
    let shown = before.noise_setups + u32::from(setup.reduced.variance_mm2.is_some());
    if shown < OUTLOOK_SETUPS || at.run.ended || !setup.closures.is_empty() {
        return;
    }
    let mean = (before.noise_mm2 + setup.reduced.variance_mm2.unwrap_or(0.0)) / f64::from(shown);
    let setups = setup.setups();
    let probable = PROBABLE * (mean * f64::from(setups)).sqrt();
    // No allowance is below what the noise of the readings is left: most runs stop here.
    let least = closure::NOISE_Z * at.settings().setup_sd_mm() * f64::from(setups).sqrt();
    if probable <= RELEASE * least {
        return;
    }
    let Some(allowance) = allowance_so_far(at) else { return };
    let limit = allowance.value.to_f64_mm();
    if probable <= RELEASE * limit {
        return;
    }
    let Some(value) = Length::from_f64_m(probable / 1000.0) else { return };
    let (say, basis) = (at.wording(), allowance.words.clone());
    let base = plain(
        FindingId::Outlook,
        Place::Run(at.run.number),
        Priority::Warn,
        format!(
            "with the noise of {shown} setups the run will as likely as not miss by {} (allowance so far {}, {basis})",
            say.height(value),
            say.height(allowance.value)
        ),
        "shorten the sights, steady staff and legs, or take more shots a sight".to_owned(),
    );
    let stands = if probable > limit { Stands::Over } else { Stands::Near };
    found.push(measured(base, stands, Amount::Height(value), Amount::Height(allowance.value), basis));
}

/// `offer`: an unnamed foresight falls on a known point. A person confirms; never the program, which would hide the
/// mistake that it should show.
pub(super) fn offer(at: &At<'_>, found: &mut Vec<Finding>) {
    let setup = at.setup;
    if !setup.reduced.complete || setup.fore_named || !at.is_latest() {
        return;
    }
    let Some(elevation) = setup.fore_level().and_then(|level| at.run.elevation(level)) else { return };
    let apart = |known: &super::super::settings::KnownPoint| (elevation - known.elevation.value()).abs();
    let near = at.ground.known.values().filter(|known| apart(known) <= OFFER_WITHIN && known.name != setup.back_point);
    let Some(known) = near.min_by_key(|known| apart(known)) else { return };
    let Some(allowance) = allowance_so_far(at) else { return };
    let Some(shot) = setup.fore.iter().rfind(|shot| shot.counts()) else { return };
    if apart(known) > allowance.value {
        return;
    }
    let say = at.wording();
    let mut offer = plain(
        FindingId::Offer,
        Place::Point { run: at.run.number, setup: setup.number, point: known.name.clone() },
        Priority::Note,
        format!("reading {} falls on {}, within {}", shot.reading, known.name, say.height(apart(known))),
        format!("if the staff stands on {}, say: take", known.name),
    );
    offer.value = Some(Amount::Height(apart(known)));
    found.push(offer);
}
