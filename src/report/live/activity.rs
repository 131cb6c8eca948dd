//! What an activity beside the run says while it goes on: each shot with what it comes to, what to do next, the result.

use schemars::JsonSchema;
use serde::Serialize;

use super::What;
use crate::book::activity::{Activity, LineMarks, Task};
use crate::book::event::Command;
use crate::book::wording::Wording;
use crate::book::{Book, Came};
use crate::field;
use crate::units::Unit;

/// An activity as it stands.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct ActivityLine {
    /// Its number, from 1 through the job.
    pub number: u32,
    /// What it is: two-peg test, target, ...
    pub task: &'static str,
    /// The same with what it is about: target C-5.
    pub title: String,
    /// The shot that was just taken.
    pub shot: Option<ShotLine>,
    /// What its readings come to so far.
    pub so_far: Vec<String>,
    /// What to do next; none once it is done.
    pub next: Option<String>,
    /// What it came to, once it is done.
    pub said: Vec<String>,
    /// Readings go to it.
    pub under_way: bool,
}

/// A shot of an activity.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct ShotLine {
    /// Its number in the activity, from 1.
    pub number: u32,
    /// The digits as sent.
    pub staff: String,
    /// Their unit.
    pub staff_unit: Unit,
    /// Sight length in the job's unit.
    pub sight: Option<String>,
    /// The job's unit.
    pub unit: Unit,
    /// Typed in by a person.
    pub keyed_in: bool,
}

/// The activity that an event was about; `with_shot` when the event brought it a reading.
pub(super) fn activity_line(book: &Book, activity: &Activity, shot: Option<ShotLine>) -> What {
    let under_way = book.activities().under_way().is_some_and(|latest| latest.number == activity.number);
    let guide = if under_way { field::guide(book, activity) } else { field::Guide::default() };
    // A result that is not kept yet is not told yet: it follows with its own event.
    What::Activity(ActivityLine {
        number: activity.number,
        task: activity.task.name(),
        title: activity.task.title(),
        shot,
        so_far: guide.so_far,
        next: guide.next,
        said: activity.done().map(|done| done.said.clone()).unwrap_or_default(),
        under_way,
    })
}

/// The shot that an event brought to an activity.
pub(super) fn shot_line(book: &Book, activity: &Activity) -> Option<ShotLine> {
    let taken = activity.shots.last()?;
    let unit = book.settings().unit;
    Some(ShotLine {
        number: activity.shots.len() as u32,
        staff: taken.reading.staff.digits().to_string(),
        staff_unit: taken.reading.staff.unit(),
        sight: taken.reading.sight.map(|sight| Wording::new(unit).bare_sight(sight.value())),
        unit,
        keyed_in: taken.came == Came::KeyedIn,
    })
}

/// The activity under way, in words: its name, how it stands, what to do next.
pub fn activity_words(book: &Book) -> Vec<String> {
    let Some(activity) = book.activities().under_way() else { return Vec::new() };
    let guide = field::guide(book, activity);
    let shots = match activity.counted().count() {
        1 => "1 shot".to_owned(),
        shots => format!("{shots} shots"),
    };
    let mut words = vec![format!("{} under way, {shots}", activity.task.title())];
    words.extend(guide.so_far);
    words.extend(guide.next.map(|next| format!("next: {next}")));
    words
}

/// What there is to say of an activity after an event: its result if it has come to one since, else how it stands.
pub fn activity_answer(book: &Book, since: u64) -> Vec<String> {
    let done = book.activities().latest().and_then(Activity::done).filter(|done| done.event > since);
    done.map_or_else(|| activity_words(book), |done| done.said.clone())
}

/// What is begun, in words.
pub(super) fn begun_words(task: &Task) -> String {
    let name = task.name();
    match task {
        Task::TwoPeg { layout, instrument, .. } => format!("{name} begun, {}{}", layout.word(), of(instrument)),
        Task::FieldTest { instrument, .. } => format!("{name} begun{}", of(instrument)),
        Task::MatchHeight { on, target, .. } => {
            format!("{name} begun: {} {} from {on}", target.digits(), target.unit())
        }
        Task::SetTarget { target, line, .. } => {
            let (digits, unit) = (target.design.digits(), target.design.unit());
            let struck = match line {
                Some(LineMarks { apart, .. }) => {
                    format!(", struck through two marks {} {unit} apart", apart.show(unit, 2))
                }
                None => String::new(),
            };
            format!("{name} {} begun: {digits} {unit}{struck}", target.name)
        }
        Task::CheckMark { against, mark, .. } => format!("{name} begun: {mark} against {against}"),
        Task::Reciprocal { from, to, .. } | Task::TapeTransfer { from, to, .. } => {
            format!("{name} begun: {from} to {to}")
        }
    }
}

fn of(instrument: &Option<String>) -> String {
    instrument.as_ref().map(|name| format!(", {name}")).unwrap_or_default()
}

/// A command about an activity, a target, a mark or the line of sight, in words; none for the rest.
pub(super) fn command_words(command: &Command) -> Option<String> {
    Some(match command {
        Command::BeginActivity { task } => begun_words(task),
        Command::LeaveActivity => "left: readings are the run's again".to_owned(),
        Command::StrikeShot { shot } => format!("shot {shot} struck out"),
        Command::MarkHere { shot, by } => {
            let shot = shot.map(|shot| format!(" at shot {shot}")).unwrap_or_default();
            let by = by.as_ref().map(|by| format!(" by {by}")).unwrap_or_default();
            format!("marked{shot}{by}")
        }
        Command::Design { target } => {
            format!("target {}: {} {}", target.name, target.design.digits(), target.design.unit())
        }
        Command::Register { mark } => {
            let sd = mark.sd.map(|sd| format!(", good to {} mm", sd.show(Unit::Millimetre, 2))).unwrap_or_default();
            format!("{} is registered: {} {}{sd}", mark.name, mark.elevation.digits(), mark.elevation.unit())
        }
        Command::Collimation { mm_per_m: None, .. } => "no inclination is taken out of readings".to_owned(),
        Command::Collimation { from, mm_per_m: Some(mm_per_m) } => {
            let from = from.map(|from| format!(" from reading {from} on")).unwrap_or_default();
            format!("an inclination of {mm_per_m:+.4} mm/m is taken out of readings{from}")
        }
        Command::KeyInWires { wires, .. } => {
            let [upper, middle, lower] = wires.each_ref().map(|wire| wire.digits().to_string());
            format!("three wires keyed in: {upper}, {middle}, {lower} {}", wires[0].unit())
        }
        _ => return None,
    })
}
