//! Guided matching of the instrument to a height.

use super::{Guide, Look};
use crate::book::Book;
use crate::book::activity::{Outcome, Task};
use crate::field::height_match::{self, Legs, Which};
use crate::units::Length;

/// Whether the height can be matched from that mark.
pub(super) fn permit(book: &Book, task: &Task) -> Result<(), String> {
    let Task::MatchHeight { on, elevation, target, tolerance } = task else { return Ok(()) };
    let unit = book.settings().unit;
    if *tolerance <= Length::ZERO {
        return Err(format!("a tolerance of {} {unit} found, more than nought was wanted", tolerance.show(unit, 4)));
    }
    let reading = target.value() - *elevation;
    let staff = book.settings().staffs.length;
    if reading.abs() > staff {
        return Err(format!(
            "the height {} {} is {} {unit} from {on}, out of the reach of a staff of {} {unit}: match it from a nearer mark",
            target.digits(),
            target.unit(),
            reading.abs().show(unit, 3),
            staff.show(unit, 2)
        ));
    }
    Ok(())
}

/// Matching.
pub(super) fn match_height(look: &Look<'_>) -> Guide {
    let Task::MatchHeight { on, elevation, target, tolerance } = &look.activity.task else { return Guide::default() };
    let Some(shot) = look.activity.counted().next_back() else {
        let wanted = look.elevation(target.value() - *elevation);
        return Guide::next(format!(
            "set up with the line of sight near {} {}: shoot the staff on {on}, it should read {wanted}",
            target.digits(),
            target.unit()
        ));
    };
    let off = height_match::off(*elevation, look.corrected(&shot.reading), target.value());
    let side = if off < Length::ZERO { "low" } else { "high" };
    let how = format!("the instrument is {} {side}", look.say.height(off.abs()));
    if off.abs() <= *tolerance {
        let outcome = Outcome::Matched { instrument: target.value() + off, off };
        let within = look.say.height(*tolerance);
        return Guide::done(
            outcome,
            vec![
                format!("matched: {how}, within {within}"),
                format!("readings are the run's again: shoot the backsight on {on}; come back from another height"),
            ],
        );
    }
    let next = match height_match::legs(off) {
        _ if height_match::beyond_the_legs(off) => "set the tripod up anew nearer to that height".to_owned(),
        Some(legs) => format!("{}, level up and look again (common practice, no source)", legs_words(look, legs)),
        None => "level up and look again".to_owned(),
    };
    Guide { so_far: vec![how], next: Some(next), result: None }
}

fn legs_words(look: &Look<'_>, legs: Legs) -> String {
    let way = if legs.up_by < Length::ZERO { "down" } else { "up" };
    let which = match legs.which {
        Which::All => "all three legs",
        Which::One => "one leg",
    };
    format!("{which} {way} {}", look.say.height(legs.up_by.abs()))
}
