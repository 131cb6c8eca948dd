//! Guided reciprocal levelling.

use super::{Guide, Look, inclination};
use crate::book::Book;
use crate::book::activity::{Outcome, Task};
use crate::field::curvature::{USUAL_K, horizon};
use crate::field::reciprocal::{self, SdFrom};
use crate::field::rises;
use crate::units::Length;

/// Height of a line of sight over flat ground: a tripod with somebody behind it.
const EYE: Length = Length::from_mm(1_500);

/// Whether the far staff can be seen over the curve of the earth, over flat ground or water.
pub(super) fn permit(book: &Book, task: &Task) -> Result<(), String> {
    let Task::Reciprocal { from, to, distance, sets, .. } = task else { return Ok(()) };
    let unit = book.settings().unit;
    if from == to {
        return Err(format!("the gap goes from {from} to itself: name the mark on the other bank"));
    }
    if *sets == 0 {
        return Err("no sets found, at least one was wanted".to_owned());
    }
    if *distance <= Length::ZERO {
        return Err(format!("a gap of {} {unit} found, more than nought was wanted", distance.show(unit, 1)));
    }
    let reach = |height| horizon(height, USUAL_K).unwrap_or(Length::ZERO);
    let seen = reach(EYE) + reach(book.settings().staffs.length);
    if *distance > seen {
        return Err(format!(
            "a gap of {} {unit} is beyond the horizon: over flat ground a staff is seen to {} {unit}",
            distance.show(unit, 0),
            seen.show(unit, 0)
        ));
    }
    Ok(())
}

/// Crossing.
pub(super) fn reciprocal(look: &Look<'_>) -> Guide {
    let Task::Reciprocal { from, to, distance, reading_sd, .. } = &look.activity.task else { return Guide::default() };
    let sets = rises::sets(look.activity);
    let mut guide = Guide::default();
    guide.so_far.extend(sets.iter().enumerate().map(|(at, set)| {
        format!(
            "set {}: {to} is higher by {}, the far staff reads too high by {}",
            at + 1,
            look.elevation(set.rise()),
            look.say.signed_height(set.long_sight_error())
        )
    }));
    if !look.activity.full() {
        let slot = look.activity.next_slot();
        guide.next = Some(match slot % 4 {
            0 => format!("instrument on the bank of {from}: shoot the near staff, on {from}"),
            1 => format!("shoot the far staff, on {to}"),
            2 => format!("cross over, instrument on the bank of {to}: shoot the near staff, on {to}"),
            _ => format!("shoot the far staff, on {from}"),
        });
        return guide;
    }
    let Some(found) = reciprocal::reciprocal(&sets, *reading_sd) else { return guide };
    let unit = look.book.settings().unit;
    let known = match found.from {
        SdFrom::Sets(n) => format!("from {n} sets"),
        SdFrom::OneReading => "a single set, unchecked".to_owned(),
    };
    let mut said = vec![
        format!(
            "{to} is higher than {from} by {}, standard deviation {}, {known}",
            look.elevation(found.rise),
            look.say.height(found.sd)
        ),
        format!(
            "the far staff reads too high by {}: with k = {USUAL_K} that is a line of sight of {}",
            look.say.signed_height(found.long_sight_error),
            inclination(reciprocal::inclination_mm_per_m(found.long_sight_error, *distance, USUAL_K), unit)
        ),
    ];
    let instrument = look.book.settings().instrument.name.as_deref();
    let tested = look.book.activities().collimation(instrument, look.activity.event);
    if let Some(wanted) = tested.and_then(|(mm_per_m, _)| reciprocal::explained(*distance, mm_per_m, USUAL_K)) {
        said.push(format!("by the last test it should be {}", look.say.signed_height(wanted)));
    }
    Guide { result: Some((Outcome::Rise { rise: found.rise, sd: found.sd }, said)), ..guide }
}
