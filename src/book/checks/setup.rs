//! Checks of a setup as a whole: its two height differences, a gap, an instrument not set up anew, staffs in pairs.

use super::super::finding::{Amount, Finding, FindingId, Place, Priority};
use super::super::run::{Run, Setup};
use super::super::settings::StaffsInUse;
use super::{At, Stands, compare, measured, plain};
use crate::units::Length;

/// A return setup within this of the forward one's height was not set up anew.
/// Common practice, no source: nobody sets legs twice to a millimetre by chance.
const SAME_HEIGHT: Length = Length::from_mm(1);

/// `two-differences`: the setup's two height differences disagree.
pub(super) fn two_differences(at: &At<'_>, found: &mut Vec<Finding>) {
    let (Some(limit), Some((first, second))) = (&at.class().two_differences_max, at.setup.reduced.differences) else {
        return;
    };
    let apart = first - second;
    let Some(stands) = compare(apart, limit.value) else { return };
    let (say, basis) = (at.wording(), at.basis(limit));
    let base = plain(
        FindingId::TwoDifferences,
        at.here(),
        Priority::Hold,
        format!(
            "the two height differences of setup {} disagree by {} (limit {}, {basis})",
            at.setup.number,
            say.height(apart.abs()),
            say.height(limit.value)
        ),
        "check the staffs and the bubble, and shoot the setup again: break".to_owned(),
    );
    found.push(measured(base, stands, Amount::Height(apart), Amount::Height(limit.value), basis));
}

/// `setup-gap`: the run went on from a setup that has no backsight or no foresight left.
pub(super) fn gap(at: &At<'_>, found: &mut Vec<Finding>) {
    if at.is_latest() || at.setup.reduced.rise().is_some() {
        return;
    }
    let lost = if at.setup.reduced.back.is_none() { "backsight" } else { "foresight" };
    found.push(plain(
        FindingId::SetupGap,
        at.here(),
        Priority::Hold,
        format!("setup {} has no {lost} left: the heights beyond it hang in the air", at.setup.number),
        "go back to its last point that still stands and level on from there, or restore the reading".to_owned(),
    ));
}

/// `height-unchanged`: the instrument stands where, and as high as, it stood on the way out.
pub(super) fn height_unchanged(at: &At<'_>, found: &mut Vec<Finding>) {
    let Some(height) = at.setup.instrument().and_then(|level| at.run.elevation(level)) else { return };
    for (run, other) in earlier_at_same_place(at) {
        let Some(then) = other.instrument().and_then(|level| run.elevation(level)) else { continue };
        let apart = (height - then).abs();
        if apart > SAME_HEIGHT {
            continue;
        }
        let say = at.wording();
        let base = plain(
            FindingId::HeightUnchanged,
            at.here(),
            Priority::Hold,
            format!(
                "the instrument is as high as at setup {} of run {}, within {}: the way back is not independent",
                other.number,
                run.number,
                say.height(apart)
            ),
            "lift the instrument, set it up anew at another height, and begin the setup again: break".to_owned(),
        );
        let basis = "common practice, no source".to_owned();
        found.push(measured(base, Stands::Over, Amount::Height(apart), Amount::Height(SAME_HEIGHT), basis));
        return;
    }
}

/// Earlier setups between the same two points, and the last setup of the run that this one turns round from.
fn earlier_at_same_place<'a>(at: &At<'a>) -> impl Iterator<Item = (&'a Run, &'a Setup)> {
    let (flow, run, setup) = (at.flow, at.run, at.setup);
    let turned = (setup.number == 1)
        .then(|| flow.runs.get((run.number as usize).checked_sub(2)?))
        .flatten()
        .and_then(|before| Some((before, before.setups.last()?)))
        .filter(|(_, last)| last.fore_point.as_ref() == Some(&setup.back_point));
    // A numbered turning point is reached once; only a named one can have been between two setups before.
    let fore = setup.fore_point.as_ref().filter(|_| setup.fore_named);
    let pair = |from: &'a super::super::reading::PointName, to: Option<&'a super::super::reading::PointName>| {
        let visit = flow.first_visit(from, run.number, setup.number)?;
        let run = flow.runs.get(visit.run as usize - 1)?;
        let other = run.setups.get((visit.setup as usize).checked_sub(1)?)?;
        (Some(&other.back_point) == to).then_some((run, other))
    };
    let back_again = fore.and_then(|_| pair(&setup.back_point, fore));
    let once_more = fore.and_then(|fore| pair(fore, Some(&setup.back_point)));
    turned.into_iter().chain(back_again).chain(once_more)
}

/// `staff-parity`: an odd number of setups between marks with a pair of staffs.
pub(super) fn staff_parity(at: &At<'_>, found: &mut Vec<Finding>) {
    let needs = at.settings().staffs.in_use == StaffsInUse::Pair;
    let Some(point) = at.setup.fore_point.as_ref().filter(|point| needs && at.ground.known.contains_key(*point)) else {
        return;
    };
    if !at.setup.reduced.complete {
        return;
    }
    let setups = at.setup.setups() - at.setup.before.section_setups;
    if setups % 2 == 1 {
        let basis = "FGCC 1984, section 3.5, from memory".to_owned();
        let base = plain(
            FindingId::StaffParity,
            Place::Point { run: at.run.number, setup: at.setup.number, point: point.clone() },
            Priority::Warn,
            format!(
                "{setups} setups to {point} with a pair of staffs: the difference of their zeros stays in ({basis})"
            ),
            "make one setup more, so that the staff that left the first mark stands on the last".to_owned(),
        );
        found.push(measured(base, Stands::Over, Amount::Count(i64::from(setups)), Amount::Count(0), basis));
    }
}
