//! What a run says while it happens: one [`Line`] for each thing a crew should see, made from an event and the book
//! after it. The terminal, the `--json` lines and the page print the same lines.
//!
//! A line is versioned by `schema`. Lengths are decimal text in the unit that stands beside them, so that no digit is lost
//! on the way.

mod activity;
mod line;
mod reading;
mod status;
mod text;
mod words;

use crate::book::Book;
use crate::book::event::{Body, Command, Event, LinkState};
use crate::book::finding::{Amount, FindingKey, Priority};
use crate::book::reading::Heard;
use crate::book::wording::Wording;
use crate::report::causes::causes;
use words::instrument_words;

pub use activity::{ActivityLine, ShotLine, activity_answer, activity_words};
pub use line::{FindingLine, JobLine, Line, ReadingLine, SCHEMA, Status, VerdictLine, What};
pub use reading::reading_view;
pub(super) use reading::wires_words;
pub use status::{closing_lines, status, status_in_words};
pub use text::{Ink, Painter, standing_line, status_block};
pub use words::{closure_words, command_words, given_words, link_words};
pub(super) use words::{next_words, role_words, taken_words};

/// The lines that an event comes to, given the book after it.
pub fn lines(book: &Book, event: &Event) -> Vec<Line> {
    let line = |what| Line {
        schema: SCHEMA,
        instrument: None,
        event: event.seq,
        at: event.at.to_string(),
        simulated: event.simulated || book.simulated(),
        what,
    };
    let activity = book.activities().latest();
    let what = match &event.body {
        Body::JobOpened { .. } | Body::Resettled { .. } => What::Job(job_line(book)),
        Body::ListeningBegan { link, format, .. } => What::Listening { link: link.clone(), format: format.clone() },
        Body::LinkChanged { state } => link_line(state),
        Body::Heard { heard } => heard_line(book, event, heard),
        Body::Commanded { command: Command::KeyIn { .. } | Command::KeyInWires { .. }, .. } => taken_line(book, event),
        Body::Commanded { command, by } if command.of_activity() => {
            let said = What::Command { text: command_words(command), by: by.clone() };
            let stands = activity.filter(|_| *command != Command::LeaveActivity);
            let stands = stands.map(|activity| activity::activity_line(book, activity, None));
            return [said].into_iter().chain(stands).map(line).collect();
        }
        Body::Commanded { command, by } => What::Command { text: command_words(command), by: by.clone() },
        Body::Announced { key, priority, fact, todo } => finding_line(book, key, *priority, fact, todo),
        Body::Withdrawn { key } => What::Withdrawn { key: key.to_string() },
        Body::VerdictGiven { run, setup, verdict, text } => What::Verdict(VerdictLine {
            run: *run,
            setup: *setup,
            verdict: *verdict,
            text: text.clone(),
            status: status(book),
        }),
        Body::ClockStepped { .. } | Body::MachineSlept { .. } => return Vec::new(),
        Body::RecordingResumed { cause } => What::Notice {
            priority: Priority::Warn,
            text: format!("recording again; what came meanwhile follows (it had stopped: {cause})"),
        },
        Body::ActivityDone { .. } => match activity {
            Some(activity) => activity::activity_line(book, activity, None),
            None => return Vec::new(),
        },
        Body::ListeningEnded { reason } => What::Ended { reason: reason.clone() },
    };
    let mut lines = vec![line(what)];
    if let Body::Announced { key, priority: Priority::Hold, .. } = &event.body {
        lines.extend(causes(book, key).map(|causes| line(What::Causes(causes))));
    }
    lines
}

/// A line about the recording itself, which no event can hold.
pub fn notice(book: &Book, priority: Priority, text: String) -> Line {
    Line {
        schema: SCHEMA,
        instrument: None,
        event: book.last_event(),
        at: book.last_at().to_string(),
        simulated: book.simulated(),
        what: What::Notice { priority, text },
    }
}

/// A line for a job that is taken up again as it was left.
pub fn taken_up(book: &Book) -> Line {
    Line {
        schema: SCHEMA,
        instrument: None,
        event: book.last_event(),
        at: book.last_at().to_string(),
        simulated: book.simulated(),
        what: What::Job(job_line(book)),
    }
}

/// JSON Schema of the lines.
pub fn schema() -> serde_json::Value {
    schemars::schema_for!(Line).to_value()
}

pub(super) fn job_line(book: &Book) -> JobLine {
    let settings = book.settings();
    let shown = |known: &crate::book::settings::KnownPoint| {
        let assumed = if known.assumed { " assumed" } else { "" };
        (known.name.to_string(), format!("{} {}{assumed}", known.elevation.digits(), known.elevation.unit()))
    };
    JobLine {
        unit: settings.unit,
        class: settings.class.title.clone(),
        sequence: settings.sequence.to_string(),
        known: book.known().values().map(shown).collect(),
        readings: book.entries().len(),
    }
}

fn link_line(state: &LinkState) -> What {
    let (state, text) = link_words(state);
    What::Link { state, text }
}

fn heard_line(book: &Book, event: &Event, heard: &Heard) -> What {
    let (kind, text) = match heard {
        Heard::Reading(_) => return taken_line(book, event),
        Heard::Status(status) => ("status", instrument_words(status)),
        Heard::Fault { code, meaning } => {
            ("fault", format!("instrument reports {}", meaning.as_deref().unwrap_or(code)))
        }
        Heard::Echo => ("echo", "our own command coming back".to_owned()),
        Heard::Ignored { rule } => ("ignored", rule.clone()),
        Heard::SetAside { why, .. } => ("set-aside", format!("not booked: {why}")),
        Heard::Refused(refusal) => ("refused", format!("{}, at byte {}", refusal.reason, refusal.at_byte)),
        Heard::Unfinished => ("unfinished", "a record that never ended, kept".to_owned()),
        Heard::Fragment => ("fragment", "the end of a record that began before we listened, kept".to_owned()),
        Heard::Repeated { of } => ("repeated", format!("the record of event {of} came again: used once")),
    };
    What::Record { kind, bytes: event.raw.len(), text }
}

/// The reading just taken, as it stands in the book or with the activity that it went to.
fn taken_line(book: &Book, event: &Event) -> What {
    match book.activities().took(event.seq) {
        Some(activity) => activity::activity_line(book, activity, activity::shot_line(book, activity)),
        None => What::Reading(reading_view(book, book.entries().len() as u32).expect("a reading was just booked")),
    }
}

fn finding_line(book: &Book, key: &FindingKey, priority: Priority, fact: &str, todo: &str) -> What {
    let found = book.finding(key);
    let say = Wording::new(book.settings().unit);
    let amount = |amount: Option<Amount>| amount.map(|amount| say.amount(amount));
    What::Finding(FindingLine {
        key: key.to_string(),
        priority,
        fact: fact.to_owned(),
        todo: todo.to_owned(),
        value: amount(found.and_then(|finding| finding.value)),
        limit: amount(found.and_then(|finding| finding.limit)),
        basis: found.and_then(|finding| finding.basis.clone()),
    })
}
