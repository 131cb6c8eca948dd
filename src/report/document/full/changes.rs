//! What people said and changed, with the reason where somebody gave one: a note on the same reading.

use super::tree::{ChangeKind, ChangeRow};
use crate::book::event::{Body, Command, Event};
use crate::book::settings::Settings;
use crate::report::document::tree::{CameView, FieldBook, Reached, ReadingRow, SaidRow};

/// Everything that changes the book or was said of it, in order. Acknowledgements stand with their findings.
pub(super) fn changes(book: &FieldBook, events: &[Event]) -> Vec<ChangeRow> {
    let mut rows: Vec<ChangeRow> = Vec::new();
    let notes: Vec<(&SaidRow, &str)> = book.said.iter().filter_map(|row| Some((row, note_of(events, row)?))).collect();
    // A note that is the reason for a change stands there, and not by itself as well.
    let mut told: Vec<u64> = Vec::new();
    for said in book.said.iter().filter(|said| !said.acknowledges && note_of(events, said).is_none()) {
        let reasons: Vec<&(&SaidRow, &str)> = notes
            .iter()
            .filter(|(note, _)| note.reading.is_some() && note.reading == said.reading && note.taken_back_by.is_none())
            .collect();
        told.extend(reasons.iter().map(|(note, _)| note.event));
        let reasons: Vec<&str> = reasons.iter().map(|(_, text)| *text).collect();
        rows.push(row(book, said, ChangeKind::Change, (!reasons.is_empty()).then(|| reasons.join("; "))));
    }
    let alone = notes.iter().filter(|(note, _)| !told.contains(&note.event));
    rows.extend(alone.map(|(note, _)| row(book, note, ChangeKind::Note, None)));
    rows.extend(
        book.readings
            .iter()
            .filter(|reading| reading.came == CameView::KeyedIn)
            .map(|reading| keyed(book, reading, events)),
    );
    rows.extend(resettled(events));
    rows.sort_by_key(|row| row.event);
    rows
}

/// The text of a note.
fn note_of<'a>(events: &'a [Event], said: &SaidRow) -> Option<&'a str> {
    match &event(events, said.event)?.body {
        Body::Commanded { command: Command::Note { text, .. }, .. } => Some(text),
        _ => None,
    }
}

fn event(events: &[Event], seq: u64) -> Option<&Event> {
    events.binary_search_by_key(&seq, |event| event.seq).ok().map(|at| &events[at])
}

fn row(book: &FieldBook, said: &SaidRow, kind: ChangeKind, reason: Option<String>) -> ChangeRow {
    let reading = said.reading.and_then(|number| book.readings.get((number as usize).checked_sub(1)?));
    ChangeRow {
        event: said.event,
        at: said.at.clone(),
        by: Some(said.by.clone()),
        what: said.words.clone(),
        kind,
        reading: said.reading,
        setup: reading.map(|reading| Reached { run: reading.run, setup: reading.setup }),
        reason,
        taken_back_by: said.taken_back_by,
    }
}

fn keyed(book: &FieldBook, reading: &ReadingRow, events: &[Event]) -> ChangeRow {
    let by = event(events, reading.event).and_then(|event| match &event.body {
        Body::Commanded { by, .. } => Some(by.clone()),
        _ => None,
    });
    ChangeRow {
        event: reading.event,
        at: reading.at.clone(),
        by,
        what: format!("reading {} keyed in: {} {}", reading.number, reading.reading.shown, book.shown.unit),
        kind: ChangeKind::Change,
        reading: Some(reading.number),
        setup: Some(Reached { run: reading.run, setup: reading.setup }),
        reason: None,
        taken_back_by: None,
    }
}

/// Changes of settings when the job was taken up again: which of them, by name.
fn resettled(events: &[Event]) -> Vec<ChangeRow> {
    let mut before: Option<&Settings> = None;
    let mut rows = Vec::new();
    for event in events {
        let settings = match &event.body {
            Body::JobOpened { settings, .. } | Body::Resettled { settings } => &**settings,
            _ => continue,
        };
        if let Some(before) = before {
            rows.push(ChangeRow {
                event: event.seq,
                at: event.at.to_string(),
                by: None,
                what: format!("settings changed: {}", differences(before, settings)),
                kind: ChangeKind::Change,
                reading: None,
                setup: None,
                reason: None,
                taken_back_by: None,
            });
        }
        before = Some(settings);
    }
    rows
}

fn differences(before: &Settings, after: &Settings) -> String {
    let parts = [
        (before.unit != after.unit, "unit"),
        (before.also_units != after.also_units, "other units"),
        (before.class != after.class, "class"),
        (before.sequence != after.sequence, "sequence"),
        (before.start != after.start, "start"),
        (before.known != after.known, "known points"),
        (before.staffs != after.staffs, "staffs"),
        (before.instrument != after.instrument, "instrument"),
        (before.corrections != after.corrections, "corrections"),
        (before.booking != after.booking, "form of the book"),
    ];
    let changed: Vec<&str> = parts.into_iter().filter(|(changed, _)| *changed).map(|(_, name)| name).collect();
    if changed.is_empty() { "none of them to another value".to_owned() } else { changed.join(", ") }
}
