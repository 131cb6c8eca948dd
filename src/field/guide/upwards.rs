//! Guided transfer up a suspended tape.

use super::{Guide, Look};
use crate::book::activity::{ObservedRise, Outcome, Task};
use crate::field::{rises, tape};
use crate::units::{Length, Unit};

/// Whether enough is known of the tape.
pub(super) fn permit(task: &Task) -> Result<(), String> {
    let Task::TapeTransfer { from, to, tape, .. } = task else { return Ok(()) };
    if from == to {
        return Err(format!("the transfer goes from {from} to itself: name the mark on the other floor"));
    }
    tape::check(tape).map(|_| ()).map_err(|error| error.to_string())
}

/// Carrying up.
pub(super) fn tape_transfer(look: &Look<'_>) -> Guide {
    let Task::TapeTransfer { from, to, tape, reading_sd } = &look.activity.task else { return Guide::default() };
    let Some(observed) = rises::observed(look.activity) else {
        return Guide::next(match look.activity.next_slot() {
            0 => format!("lower level: shoot the staff on {from}"),
            1 => "lower level: read the tape and key it in".to_owned(),
            2 => "upper level: read the tape and key it in".to_owned(),
            _ => format!("upper level: shoot the staff on {to}"),
        });
    };
    let found = match tape::transfer(&observed, tape, *reading_sd) {
        Ok(found) => found,
        Err(error) => return Guide::next(format!("{error}; strike what is wrong and read it again")),
    };
    let unit = look.book.settings().unit;
    let mut said = vec![format!(
        "{to} is higher than {from} by {} {unit}, standard deviation {}",
        found.rise.show(unit, look.book.decimals().max(4)),
        look.say.height(found.sd)
    )];
    said.push(format!("tape between the lines of sight {} {unit}", found.taped.show(unit, look.book.decimals())));
    said.extend(found.parts.iter().map(|part| {
        let mm = |metres: f64| format!("{:.2} mm", 1000.0 * metres);
        format!("{} {:+.2} mm, good to {}", part.what.name(), 1000.0 * part.added_m, mm(part.sd_m))
    }));
    said.push(second(look, found.rise, found.sd));
    Guide::done(Outcome::Rise { rise: found.rise, sd: found.sd }, said)
}

/// How the transfer stands to an earlier one between the same marks.
fn second(look: &Look<'_>, rise: Length, sd: Length) -> String {
    let this = ObservedRise { activity: look.activity, rise, sd };
    let Some(earlier) = look.book.activities().rises().filter_map(|other| rises::turned(&this, &other)).last() else {
        return "single, unchecked: shift the tape and transfer once more, or run levels up the stairs".to_owned();
    };
    let (apart, allowed) = tape::agree(earlier, (rise, sd));
    let mm = |length: Length| format!("{} mm", length.show(Unit::Millimetre, 1));
    if apart <= allowed {
        format!("agrees with the transfer before: {} apart, {} are within chance at 95 %", mm(apart), mm(allowed))
    } else {
        format!("{} from the transfer before, more than chance allows ({} at 95 %): once more", mm(apart), mm(allowed))
    }
}
