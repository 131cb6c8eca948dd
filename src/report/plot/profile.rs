//! The profile of a run: staffs on their points, lines of sight between them, the ground from point to point.

use super::axis::Scale;
use super::canvas::{Anchor, Canvas, Job, LETTER, with_room};
use super::misclosure::in_unit;
use super::{Plot, WIDTHS};
use crate::book::Book;
use crate::book::decimals::decimals;
use crate::book::run::{Level, Run};
use crate::book::wording::Wording;
use crate::units::Unit;

const HEIGHT: u32 = 260;
/// Room that a point's name is given, in CSS pixels; a name that would stand nearer to another is left out.
const NAME_ROOM: f64 = 64.0;
/// Sight length drawn where none is known, in metres; common practice, no source.
const UNKNOWN_SIGHT_M: f64 = 20.0;

/// One setup as it is drawn, lengths and heights in one unit.
struct Drawn {
    back: f64,
    instrument: f64,
    fore: f64,
    back_ground: f64,
    sight: f64,
    fore_ground: f64,
    back_name: String,
    fore_name: String,
    fore_named: bool,
}

/// The profile of a run of the book, in `unit`; `None` before its first setup is complete.
pub fn profile(book: &Book, run: &Run, unit: Unit, width: u32) -> Option<Plot> {
    let width = width.clamp(*WIDTHS.start(), *WIDTHS.end());
    let tied = run.chains.first().is_some_and(|chain| chain.datum.is_some());
    let drawn = drawn(run, unit);
    let end = drawn.last()?.fore;
    let heights = drawn.iter().flat_map(|at| [at.back_ground, at.sight, at.fore_ground]);
    let (low, high) = heights.fold((f64::MAX, f64::MIN), |(low, high), h| (low.min(h), high.max(h)));
    let room = ((high - low) * 0.12).max(0.1);

    let (left, right, top, bottom) = (60.0, f64::from(width) - 16.0, 28.0, f64::from(HEIGHT) - 40.0);
    let x = Scale::new((0.0, end), (left, right));
    let y = Scale::new((low - room, high + room), (bottom, top));
    let mut canvas = Canvas::new(width, HEIGHT);
    let ticks = y.ticks(4);
    for tick in &ticks.values {
        canvas.line(Job::Grid, (left, y.at(*tick)), (right, y.at(*tick)));
        canvas.text((left - 6.0, y.at(*tick) + LETTER / 3.0), Anchor::End, &ticks.text(*tick));
    }
    canvas.line(Job::Axis, (left, bottom), (right, bottom));
    let ticks = x.ticks(if width < 480 { 3 } else { 6 });
    for tick in &ticks.values {
        canvas.line(Job::Axis, (x.at(*tick), bottom), (x.at(*tick), bottom + 4.0));
        canvas.text((x.at(*tick), bottom + 4.0 + LETTER), Anchor::Middle, &ticks.text(*tick));
    }
    for at in &drawn {
        let (back, fore) = ((x.at(at.back), y.at(at.back_ground)), (x.at(at.fore), y.at(at.fore_ground)));
        canvas.line(Job::Ground, back, fore);
        for (staff, ground) in [(at.back, at.back_ground), (at.fore, at.fore_ground)] {
            canvas.line(Job::Second, (x.at(staff), y.at(ground)), (x.at(staff), y.at(at.sight)));
        }
        canvas.line(Job::Observed, (x.at(at.back), y.at(at.sight)), (x.at(at.fore), y.at(at.sight)));
        canvas.round(Job::Observed, (x.at(at.instrument), y.at(at.sight)));
    }
    for (place, ground, name) in names(&drawn, |at| x.at(at)) {
        let anchor = match place {
            near if near < left + 30.0 => Anchor::Start,
            far if far > right - 30.0 => Anchor::End,
            _ => Anchor::Middle,
        };
        canvas.text((place, y.at(ground) + LETTER + 3.0), anchor, name);
    }
    let what = if tied { "elevation" } else { "height above the start" };
    canvas.text((4.0, 16.0), Anchor::Start, &format!("{what}, {unit}"));
    canvas.text((right, f64::from(HEIGHT) - 6.0), Anchor::End, &format!("length of the run, {unit}"));
    let say = Wording::new(unit);
    let at_end = match run.last_elevation().filter(|_| tied) {
        Some(elevation) => format!("{} stands at {}", run.last_point(), say.elevation(elevation, decimals(book, unit))),
        None => format!("it has come to {}", run.last_point()),
    };
    let words = format!(
        "Profile of run {} from {}: {} over {}; {at_end}.",
        run.number,
        run.start,
        if drawn.len() == 1 { "1 setup".to_owned() } else { format!("{} setups", drawn.len()) },
        say.distance(run.distance())
    );
    Some(canvas.finish("Profile of the run", words))
}

/// Names for which there is room, with their places: the two ends first, then points that have a name of their own, then
/// turning points that only have a number.
fn names(drawn: &[Drawn], x: impl Fn(f64) -> f64) -> Vec<(f64, f64, &str)> {
    let start = drawn.first().map(|at| (x(at.back), at.back_ground, at.back_name.as_str()));
    let end = drawn.last().map(|at| (x(at.fore), at.fore_ground, at.fore_name.as_str()));
    let between = |named: bool| {
        let points = drawn.iter().filter(move |at| at.fore_named == named);
        points.map(|at| (x(at.fore), at.fore_ground, at.fore_name.as_str()))
    };
    let in_order = start.into_iter().chain(end).chain(between(true)).chain(between(false));
    with_room(in_order, |one, other| (one.0 - other.0).abs() >= NAME_ROOM)
}

fn drawn(run: &Run, unit: Unit) -> Vec<Drawn> {
    let unknown = if unit.is_foot() { UNKNOWN_SIGHT_M / 0.3048 } else { UNKNOWN_SIGHT_M };
    let height = |level: Level| in_unit(run.elevation(level).unwrap_or(level.height), unit);
    let mut reached = 0.0;
    let setups = run.setups.iter().filter_map(|setup| {
        let (instrument, fore_level) = (setup.instrument()?, setup.fore_level()?);
        let long = |sight: Option<crate::units::Length>| sight.map_or(unknown, |sight| in_unit(sight, unit));
        let back = reached;
        let stand = back + long(setup.reduced.back_sight);
        reached = stand + long(setup.reduced.fore_sight);
        Some(Drawn {
            back,
            instrument: stand,
            fore: reached,
            back_ground: height(setup.before.level),
            sight: height(instrument),
            fore_ground: height(fore_level),
            back_name: setup.back_point.to_string(),
            fore_name: setup.fore_point.as_ref().map(ToString::to_string).unwrap_or_default(),
            fore_named: setup.fore_named,
        })
    });
    setups.collect()
}
