//! Findings with what the crew was told of them, verdicts as given, and records that did not become readings.

use std::collections::BTreeMap;

use super::Source;
use super::said::{by_words, time_words};
use super::tree::{Acknowledgement, Announcement, FindingRow, FindingState, NotBooked, RecordsView, Told, VerdictRow};
use crate::book::event::{Body, Command, Event};
use crate::book::finding::{Finding, FindingKey};
use crate::book::reading::Heard;

/// What the record tells of one finding.
#[derive(Default)]
struct History {
    announced: Vec<Announcement>,
    acknowledged: Vec<Acknowledgement>,
    withdrawn: Vec<Told>,
    /// What was said last: its fact is in `announced`, this is what to do.
    todo: String,
}

/// All findings: what stands first, the most urgent first; then what is gone, in the order in which it was told.
pub(super) fn findings(source: &Source<'_>) -> Vec<FindingRow> {
    let mut history = history(source.events);
    let mut standing: Vec<&Finding> = source.book.findings().collect();
    standing.sort_by(|a, b| b.priority.cmp(&a.priority).then_with(|| a.key.place.cmp(&b.key.place)));
    let mut rows: Vec<FindingRow> = Vec::new();
    for finding in standing {
        let told = history.remove(&finding.key).unwrap_or_default();
        let amount = |amount| source.scales.amount(amount);
        rows.push(FindingRow {
            key: finding.key.to_string(),
            state: FindingState::Stands,
            priority: finding.priority,
            fact: finding.fact.clone(),
            todo: finding.todo.clone(),
            value: finding.value.map(amount),
            limit: finding.limit.map(amount),
            basis: finding.basis.clone(),
            announced: told.announced,
            acknowledged: told.acknowledged,
            withdrawn: told.withdrawn,
        });
    }
    let mut gone: Vec<(FindingKey, History)> = history.into_iter().collect();
    gone.sort_by_key(|(_, told)| told.announced.first().map(|announcement| announcement.event));
    rows.extend(gone.into_iter().filter_map(|(key, told)| {
        let last = told.announced.last()?;
        Some(FindingRow {
            key: key.to_string(),
            state: FindingState::Gone,
            priority: last.priority,
            fact: last.fact.clone(),
            todo: told.todo.clone(),
            value: None,
            limit: None,
            basis: None,
            announced: told.announced,
            acknowledged: told.acknowledged,
            withdrawn: told.withdrawn,
        })
    }));
    rows
}

/// What was done about a finding, in order: when the crew was told, who has seen it, when its cause was gone.
pub(in crate::report) fn history_words(opened_at: &str, row: &FindingRow) -> Vec<String> {
    let at = |at: &str| time_words(opened_at, at);
    let mut told: Vec<(u64, String)> = Vec::new();
    let announced = row.announced.iter();
    told.extend(announced.map(|told| (told.event, format!("announced {} as {}", at(&told.at), told.priority.word()))));
    let seen = row.acknowledged.iter();
    told.extend(seen.map(|told| (told.event, format!("acknowledged {} {}", at(&told.at), by_words(&told.by)))));
    told.extend(row.withdrawn.iter().map(|told| (told.event, format!("gone {}", at(&told.at)))));
    told.sort();
    told.into_iter().map(|(_, words)| words).collect()
}

fn history(events: &[Event]) -> BTreeMap<FindingKey, History> {
    let mut history: BTreeMap<FindingKey, History> = BTreeMap::new();
    for event in events {
        let at = || event.at.to_string();
        match &event.body {
            Body::Announced { key, priority, fact, todo } => {
                let told = history.entry(key.clone()).or_default();
                told.todo.clone_from(todo);
                told.announced.push(Announcement {
                    event: event.seq,
                    at: at(),
                    priority: *priority,
                    fact: fact.clone(),
                });
            }
            Body::Withdrawn { key } => {
                history.entry(key.clone()).or_default().withdrawn.push(Told { event: event.seq, at: at() });
            }
            Body::Commanded { command: Command::Acknowledge { key }, by } => {
                let acknowledged = Acknowledgement { event: event.seq, at: at(), by: by.clone() };
                history.entry(key.clone()).or_default().acknowledged.push(acknowledged);
            }
            _ => {}
        }
    }
    history
}

/// The verdicts as the crew was given them.
pub(super) fn verdicts(source: &Source<'_>) -> Vec<VerdictRow> {
    let row = |event: &Event| match &event.body {
        Body::VerdictGiven { run, setup, verdict, text } => Some(VerdictRow {
            event: event.seq,
            at: event.at.to_string(),
            run: *run,
            setup: *setup,
            verdict: *verdict,
            text: text.clone(),
        }),
        _ => None,
    };
    source.events.iter().filter_map(row).collect()
}

/// What the link brought beside readings.
pub(super) fn records(source: &Source<'_>) -> RecordsView {
    let not_booked = |event: &Event| {
        let Body::Heard { heard } = &event.body else { return None };
        let why = match heard {
            Heard::SetAside { why, .. } => format!("set aside: {why}"),
            Heard::Refused(refusal) => format!("refused: {}, at byte {}", refusal.reason, refusal.at_byte),
            Heard::Repeated { of } => format!("repeats the record of event {of}: used once"),
            Heard::Fault { code, meaning: Some(meaning) } => format!("the instrument reports: {meaning} (code {code})"),
            Heard::Fault { code, meaning: None } => format!("the instrument reports code {code}"),
            Heard::Unfinished => "a record that never ended".to_owned(),
            Heard::Fragment => "the end of a record that began before it was listened to".to_owned(),
            Heard::Reading(_) | Heard::Status(_) | Heard::Echo | Heard::Ignored { .. } => return None,
        };
        Some(NotBooked { event: event.seq, at: event.at.to_string(), why })
    };
    let bytes = source.book.records().bytes;
    RecordsView {
        bytes_understood: bytes.understood,
        bytes_ignored: bytes.ignored,
        bytes_refused: bytes.refused,
        bytes_unfinished: bytes.unfinished,
        not_booked: source.events.iter().filter_map(not_booked).collect(),
    }
}
