//! The words of the lines: commands, links, closures, where the next staff should stand.

use super::activity;
use crate::book::NextStaff;
use crate::book::event::{Command, LinkState, Taken, Target, Verdict};
use crate::book::reading::Role;
use crate::book::run::{ClosesOn, Closure};
use crate::book::wording::Wording;
use crate::units::Length;

/// A command in words, as it is shown and printed.
pub fn command_words(command: &Command) -> String {
    let which = |target: &Target| match target {
        Target::Number(number) => format!("reading {number}"),
        Target::Next => "the next reading".to_owned(),
    };
    match command {
        Command::Strike { reading, .. } => format!("reading {reading} struck out"),
        Command::Restore { reading } => format!("reading {reading} restored"),
        Command::Repeat { reading } => format!("reading {reading} is a repeat of the staff before it"),
        Command::Role { reading, role, point } => {
            let at = point.as_ref().map(|point| format!(" on {point}")).unwrap_or_default();
            format!("{} is {}{at}", which(reading), role_words(*role))
        }
        Command::Point { reading, point } => format!("{} stands on {point}", which(reading)),
        Command::Rename { from, to } => format!("{from} is called {to}"),
        Command::Know { known } => {
            format!("{} is known: {} {}", known.name, known.elevation.digits(), known.elevation.unit())
        }
        Command::Note { reading: Some(reading), text } => format!("note on reading {reading}: {text}"),
        Command::Note { reading: None, text } => format!("note: {text}"),
        Command::Break { .. } => "setup broken: begin it anew from its back point".to_owned(),
        Command::TakeOffer { reading, point } => match (reading, point) {
            (Some(reading), Some(point)) => format!("reading {reading} stands on {point}, as offered"),
            _ => "the offer is taken".to_owned(),
        },
        Command::EndRun { .. } => "the run ends here".to_owned(),
        Command::StartRun { point, .. } => format!("a run starts on {point}"),
        Command::Acknowledge { key } => format!("seen: {key}"),
        Command::KeyIn { .. } => "a reading keyed in".to_owned(),
        Command::KeyInWires { .. }
        | Command::BeginActivity { .. }
        | Command::LeaveActivity
        | Command::StrikeShot { .. }
        | Command::MarkHere { .. }
        | Command::Design { .. }
        | Command::Register { .. }
        | Command::Collimation { .. } => activity::command_words(command).expect("every one of these has its words"),
        Command::Accept { finding, cause, taken } => match taken_words(taken) {
            Some(taken) => format!("{finding} is explained: {cause}: {taken}"),
            None => format!("{finding} is explained: {cause}; booked as it was"),
        },
        Command::Undo { event } => format!("event {event} taken back"),
    }
}

/// What readings or points are taken for, without naming the one that the words stand beside.
pub(in crate::report) fn taken_words(taken: &Taken) -> Option<String> {
    Some(match taken {
        Taken::Exchanged { .. } => "backsight and foresight are exchanged".to_owned(),
        Taken::Read { staff, .. } => format!("taken for {} {}", staff.digits(), staff.unit()),
        Taken::Repeat { .. } => "made a repeat".to_owned(),
        Taken::Struck { .. } => "struck out".to_owned(),
        Taken::Point { point, .. } => format!("put on {point}"),
        Taken::Known { known } => {
            format!("{} is taken for {} {}", known.name, known.elevation.digits(), known.elevation.unit())
        }
        Taken::Booked => return None,
    })
}

pub(in crate::report) fn role_words(role: Role) -> &'static str {
    match role {
        Role::Back => "a backsight",
        Role::Fore => "a foresight",
        Role::Intermediate => "an intermediate sight",
    }
}

/// The state of the link: its word and a sentence.
pub fn link_words(state: &LinkState) -> (&'static str, String) {
    match state {
        LinkState::Open => ("open", "the link is open".to_owned()),
        LinkState::Quiet { for_s } => ("quiet", format!("nothing heard for {for_s} s")),
        LinkState::Babble { sample } => ("babble", format!("bytes but no records: {sample}")),
        LinkState::Lost { why } => ("lost", format!("link lost: {why}")),
        LinkState::Waiting { why } => ("waiting", format!("waiting: {why}")),
        LinkState::Finished => ("finished", "the input has ended".to_owned()),
    }
}

pub(super) fn instrument_words(status: &crate::book::reading::Status) -> String {
    let mut parts = Vec::new();
    parts.extend(status.battery_percent.map(|percent| format!("battery {percent:.0} %")));
    parts.extend(status.temperature_c.map(|degrees| format!("{degrees:.1} C")));
    parts.extend(status.tilt_arcmin.map(|tilt| format!("tilt {tilt:.1}'")));
    parts.extend(status.other.iter().map(|(name, value)| format!("{name} {value}")));
    if parts.is_empty() { "instrument status".to_owned() } else { parts.join(", ") }
}

/// A verdict in words.
pub fn given_words(given: &crate::book::Given) -> String {
    match given.verdict {
        Verdict::Hold => format!("hold: {}", given.text),
        Verdict::ClearToMove => format!("clear to move: {}", given.text),
    }
}

pub(in crate::report) fn next_words(say: Wording, next: NextStaff) -> String {
    match next {
        NextStaff::At { role, best, from, to } => {
            format!("{} staff at {} ({} to {})", role.word(), say.sight(best), say.bare_sight(from), say.bare_sight(to))
        }
        NextStaff::ForeLonger(by) if by > Length::ZERO => {
            format!("next setup: foresight {} longer than backsight", say.sight(by))
        }
        NextStaff::ForeLonger(by) => format!("next setup: foresight {} shorter than backsight", say.sight(by.abs())),
    }
}

/// A closure with its allowance, its share of it, and the rule that gave the allowance.
pub fn closure_words(say: Wording, closure: &Closure) -> String {
    let against = match closure.on {
        ClosesOn::Known => format!("at {}", closure.point),
        ClosesOn::Earlier { run, setup } => format!("at {}, against run {run} setup {setup}", closure.point),
    };
    match &closure.allowance {
        Some(allowance) => {
            let share = say.share(closure.misclosure, allowance.value);
            let verdict = if closure.over() { "does not close" } else { "closes" };
            format!("{against}: {verdict}, {share}; {}", allowance.words)
        }
        None => format!("{against}: {}, the class has no allowance for it", say.signed_height(closure.misclosure)),
    }
}
