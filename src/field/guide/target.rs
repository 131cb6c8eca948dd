//! Guided setting of a target: the reading to look for, how far to move, the mark or the two marks of a line.

use super::{Guide, Look, moved};
use crate::book::Book;
use crate::book::activity::{DesignTarget, LineMarks, Outcome, TakenShot, Task};
use crate::field::set_out::{self, Aim, Line};
use crate::units::{Length, Unit};

/// Elevation of the line of sight that a target is set from.
pub(in crate::field) fn line_of_sight(book: &Book, run: u32, setup: u32) -> Option<Length> {
    let run = book.runs().get((run as usize).checked_sub(1)?)?;
    let setup = run.setups.get((setup as usize).checked_sub(1)?)?;
    run.elevation(setup.instrument()?)
}

/// Whether the target can be set from there.
pub(super) fn permit(book: &Book, task: &Task) -> Result<(), String> {
    let Task::SetTarget { target, tolerance, run, setup, line } = task else { return Ok(()) };
    let unit = book.settings().unit;
    permit_design(book, target)?;
    let show = |length: Length| format!("{} {unit}", length.show(unit, 3));
    if *tolerance <= Length::ZERO {
        return Err(format!("a tolerance of {} found, more than nought was wanted", show(*tolerance)));
    }
    if let Some(LineMarks { apart, width }) = line {
        if *width <= Length::ZERO {
            return Err(format!("a target {} wide found, more than nought was wanted", show(*width)));
        }
        if apart <= width {
            return Err(format!(
                "two marks {} apart for a target {} wide found: the line is struck through marks wider apart than the target",
                show(*apart),
                show(*width)
            ));
        }
    }
    let Some(instrument) = line_of_sight(book, *run, *setup) else {
        return Err(format!(
            "{} cannot be set: no line of sight, shoot a backsight on a known point first",
            target.name
        ));
    };
    match set_out::aim(instrument, target.design.value(), &book.settings().staffs) {
        Ok(_) => Ok(()),
        Err(far) => Err(format!("{}: {}", target.name, far.words(unit))),
    }
}

/// Whether a design elevation is in a unit of the job.
pub(super) fn permit_design(book: &Book, target: &DesignTarget) -> Result<(), String> {
    let unit = target.design.unit();
    if book.settings().takes(unit) {
        return Ok(());
    }
    Err(format!("{} is given in {unit}, the job is in {}: one unit was wanted", target.name, book.settings().unit))
}

/// Whether a mark may be made where the staff stands.
pub(super) fn permit_mark(book: &Book, shot: Option<u32>) -> Result<(), String> {
    let Some(activity) = book.activities().under_way() else { return Ok(()) };
    let Task::SetTarget { tolerance, .. } = &activity.task else { return Ok(()) };
    let look = super::Look { book, activity, say: crate::book::wording::Wording::new(book.settings().unit) };
    let Some(aim) = aim(&look) else { return Ok(()) };
    let wanted = shot.and_then(|shot| activity.shots.get((shot as usize).checked_sub(1)?));
    let Some(taken) = wanted.or_else(|| activity.counted().next_back()) else { return Ok(()) };
    let up_by = aim.up_by(look.corrected(&taken.reading));
    if up_by.abs() <= *tolerance {
        return Ok(());
    }
    let unit = book.settings().unit;
    Err(format!("the staff is not there yet: {} (tolerance {})", moved(up_by, unit), look.say.height(*tolerance)))
}

fn aim(look: &Look<'_>) -> Option<Aim> {
    let Task::SetTarget { target, run, setup, .. } = &look.activity.task else { return None };
    let instrument = line_of_sight(look.book, *run, *setup)?;
    Some(Aim { reading: instrument - target.design.value() })
}

/// Setting.
pub(super) fn set_target(look: &Look<'_>) -> Guide {
    let Task::SetTarget { target, tolerance, line, .. } = &look.activity.task else { return Guide::default() };
    let unit = look.book.settings().unit;
    let Some(aim) = aim(look) else {
        return Guide::next("its line of sight is gone: leave it, and shoot the backsight again");
    };
    let marked: Vec<&TakenShot> =
        look.activity.marked.iter().filter_map(|shot| look.activity.shots.get(*shot as usize - 1)).collect();
    let readings: Vec<Length> = marked.iter().map(|shot| look.corrected(&shot.reading)).collect();
    match (line, &readings[..]) {
        (None, [reading]) => return done(look, target, aim, *reading, None, unit),
        (Some(line), [first, second]) => return struck(look, target, aim, *tolerance, *line, [*first, *second]),
        _ => {}
    }
    let which = match (line, readings.len()) {
        (None, _) => "the mark",
        (Some(_), 0) => "the first mark",
        (Some(_), _) => "the second mark",
    };
    let Some(shot) = look.activity.counted().next_back().filter(|last| !marked.iter().any(|m| m.event == last.event))
    else {
        let staff = if aim.inverted() { "hold the staff on its head" } else { "hold the staff" };
        return Guide::next(format!("{staff} at {which}: look for {}", look.elevation(aim.reading)));
    };
    let reading = look.corrected(&shot.reading);
    let up_by = aim.up_by(reading);
    let reads = format!("reads {}, wanted {}", look.elevation(reading), look.elevation(aim.reading));
    if up_by.abs() <= *tolerance {
        let within = look.say.height(*tolerance);
        let next = format!("make {which} at the foot of the staff and say: mark");
        return Guide {
            so_far: vec![reads, format!("there: {} off, within {within}", look.say.signed_height(-up_by))],
            next: Some(next),
            result: None,
        };
    }
    Guide { so_far: vec![reads], next: Some(moved(up_by, unit)), result: None }
}

fn struck(
    look: &Look<'_>,
    target: &DesignTarget,
    aim: Aim,
    tolerance: Length,
    marks: LineMarks,
    [first, second]: [Length; 2],
) -> Guide {
    let unit = look.book.settings().unit;
    let line = Line::through(first, second);
    let slope = line.slope_mm_per_m(marks.apart);
    let apart = format!(
        "the two marks are {} apart in height, a slope of {slope:+.2} mm/m; {} at the ends of the target",
        look.say.height(line.rise.abs()),
        look.say.height(line.off_at_ends(marks.apart, marks.width).abs())
    );
    if line.rise.abs() > tolerance {
        let within = look.say.height(tolerance);
        return Guide::next(format!("{apart}: more than {within}, strike one of them and shoot it again"));
    }
    let mut guide = done(look, target, aim, line.mean, Some(line.rise), unit);
    if let Some((_, said)) = &mut guide.result {
        said.push(format!("{apart}: strike the line through both"));
    }
    guide
}

fn done(look: &Look<'_>, target: &DesignTarget, aim: Aim, reading: Length, rise: Option<Length>, unit: Unit) -> Guide {
    let off = -aim.up_by(reading);
    let means = match (&target.means, &target.offset) {
        (Some(means), Some(offset)) => format!(", {means} + {} {}", offset.digits(), offset.unit()),
        (Some(means), None) => format!(", {means}"),
        _ => String::new(),
    };
    let said = vec![
        format!(
            "{} is set at {} {unit}{means}; {} off",
            target.name,
            target.design.value().show(unit, look.book.decimals()),
            look.say.signed_height(off)
        ),
        "provisional until the run has closed".to_owned(),
    ];
    Guide::done(Outcome::Target { reading, rise }, said)
}
