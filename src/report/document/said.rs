//! What people said, with who and when, and what was taken back.

use std::collections::BTreeMap;

use super::Source;
use super::tree::SaidRow;
use crate::book::event::{Body, Command, Event, Origin, Target};
use crate::report::live::command_words;

/// Everything that people said, in order, keyed-in readings left out.
pub(super) fn said(source: &Source<'_>) -> Vec<SaidRow> {
    let taken_back = taken_back(source.events);
    let row = |event: &Event| match &event.body {
        Body::Commanded { command: Command::KeyIn { .. }, .. } => None,
        Body::Commanded { command, by } => Some(SaidRow {
            event: event.seq,
            at: event.at.to_string(),
            by: by.clone(),
            words: command_words(command),
            reading: about(command),
            acknowledges: matches!(command, Command::Acknowledge { .. }),
            taken_back_by: taken_back.get(&event.seq).copied(),
        }),
        _ => None,
    };
    source.events.iter().filter_map(row).collect()
}

/// The commands that were taken back, with the event that did it. An undo that was itself taken back takes nothing.
fn taken_back(events: &[Event]) -> BTreeMap<u64, u64> {
    let mut by = BTreeMap::new();
    for event in events.iter().rev() {
        if let Body::Commanded { command: Command::Undo { event: undone }, .. } = &event.body
            && !by.contains_key(&event.seq)
        {
            by.insert(*undone, event.seq);
        }
    }
    by
}

/// The reading that a command is about.
pub(crate) fn about(command: &Command) -> Option<u32> {
    match command {
        Command::Strike { reading, .. }
        | Command::Restore { reading }
        | Command::Repeat { reading }
        | Command::Role { reading: Target::Number(reading), .. }
        | Command::Point { reading: Target::Number(reading), .. } => Some(*reading),
        Command::Note { reading, .. }
        | Command::Break { reading }
        | Command::TakeOffer { reading, .. }
        | Command::EndRun { reading } => *reading,
        Command::Accept { taken, .. } => taken.readings().first().copied(),
        Command::Role { reading: Target::Next, .. }
        | Command::Point { reading: Target::Next, .. }
        | Command::Rename { .. }
        | Command::Know { .. }
        | Command::StartRun { .. }
        | Command::Acknowledge { .. }
        | Command::KeyIn { .. }
        | Command::KeyInWires { .. }
        | Command::BeginActivity { .. }
        | Command::LeaveActivity
        | Command::StrikeShot { .. }
        | Command::MarkHere { .. }
        | Command::Design { .. }
        | Command::Register { .. }
        | Command::Undo { .. } => None,
        Command::Collimation { from, .. } => *from,
    }
}

/// Over which way somebody said it, as it stands behind the time.
pub(crate) fn by_words(by: &Origin) -> &'static str {
    match by {
        Origin::Terminal => "at the terminal",
        Origin::Tell => "by tell",
        Origin::Start => "at the start",
        Origin::Demo => "by the demonstration",
        Origin::Page => "on the page",
    }
}

/// A time as it is said: the time of day, with its date only where that is not the day on which the job was opened.
pub(crate) fn time_words(opened_at: &str, at: &str) -> String {
    match (opened_at.get(..10), at.get(..10), at.get(11..19)) {
        (Some(first), Some(date), Some(time)) if first == date => time.to_owned(),
        (_, Some(date), Some(time)) => format!("{date} {time}"),
        _ => at.to_owned(),
    }
}

/// As [`time_words`], from the source itself.
pub(super) fn when(source: &Source<'_>, at: &str) -> String {
    let opened = source.events.first().map(|event| event.at.to_string()).unwrap_or_default();
    time_words(&opened, at)
}
