//! What stands before and after the runs: the job and how it stands, findings, what people said, limits, cautions.

use super::run::heading;
use super::wrap::{columns, wrap};
use crate::book::event::Verdict;
use crate::book::finding::Priority;
use crate::book::settings::Booking;
use crate::report::document::full::standing_counts;
use crate::report::document::full::tree::StandingCount;
use crate::report::document::tree::{FindingRow, FindingState, LimitRow, SaidRow, State};
use crate::report::document::{FieldBook, by_words, history_words, time_words};

/// Records that were not booked are listed up to this many; the JSON lists them all.
const NOT_BOOKED_MAX: usize = 12;

const LEAD: usize = 12;

/// What stands before the runs, block by block.
pub(super) fn head(book: &FieldBook, width: usize) -> Vec<Vec<String>> {
    let mut title = heading(book, &format!("FIELD BOOK: {}", book.job), width);
    if book.simulated {
        title.extend(wrap("", "SIMULATED: a simulated instrument was heard; nothing here was measured.", width));
    }
    vec![title, standing(book, width), job(book, width)]
}

/// What stands after them.
pub(super) fn foot(book: &FieldBook, width: usize) -> Vec<Vec<String>> {
    // The heading goes with the first finding, never alone.
    let mut first = heading(book, "FINDINGS", width);
    let mut findings = book.findings.iter().map(|row| finding(book, row, width));
    first.push(String::new());
    first.extend(findings.next().unwrap_or_else(|| vec!["none".to_owned()]));
    let mut blocks = vec![first];
    blocks.extend(findings);
    blocks.extend(holds(book, width));
    blocks.extend(said(book, width));
    blocks.extend(records(book, width));
    blocks.push(limits(book, width));
    blocks.push(legend(book, width));
    let mut cautions = heading(book, "MIND", width);
    cautions.extend(book.cautions.iter().flat_map(|caution| wrap("- ", caution, width)));
    blocks.push(cautions);
    blocks
}

fn led(lead: &str, text: &str, width: usize) -> Vec<String> {
    wrap(&format!("{lead:<LEAD$}"), text, width)
}

/// How each run stands, and how many findings do: what a reader looks for first.
fn standing(book: &FieldBook, width: usize) -> Vec<String> {
    let mut lines = Vec::new();
    for run in &book.runs {
        let lead = format!("run {}", run.number);
        lines.extend(led(&lead, &format!("{} to {}: {}", run.from, run.to, run.verdict()), width));
    }
    if book.runs.is_empty() {
        lines.extend(led("runs", "none yet", width));
    }
    let counts: Vec<String> = standing_counts(book).into_iter().map(count_words).collect();
    let stands = if counts.is_empty() { "none stands".to_owned() } else { format!("standing: {}", counts.join("; ")) };
    lines.extend(led("findings", &stands, width));
    lines
}

/// How many findings of a priority stand, and how many of them nobody has acknowledged.
fn count_words(count: StandingCount) -> String {
    let word = match count.priority {
        Priority::Hold => "hold",
        Priority::Warn => "warn",
        Priority::Note => "note",
    };
    let StandingCount { standing, open, .. } = count;
    match open {
        0 => format!("{standing} {word}, acknowledged"),
        open if open < standing => format!("{standing} {word}, {open} of them not acknowledged"),
        _ => format!("{standing} {word}"),
    }
}

fn job(book: &FieldBook, width: usize) -> Vec<String> {
    let shown = &book.shown;
    let when = |at: &str| at.get(..19).unwrap_or(at).replace('T', " ");
    let mut lines = led(
        "kept",
        &format!(
            "{} to {} UTC, events 1 to {}, begun with {}",
            when(&book.opened_at),
            when(&book.last_at),
            book.last_event,
            book.program
        ),
        width,
    );
    for row in &book.listened {
        let digest = row.digest.get(..16).unwrap_or(&row.digest);
        let from = time_words(&book.opened_at, &row.at);
        lines.extend(led("listened", &format!("from {from}: {}, format {} ({digest})", row.link, row.format), width));
    }
    for row in &book.resettled {
        let at = time_words(&book.opened_at, &row.at);
        lines.extend(led("settings", &format!("changed {at} by event {}", row.event), width));
    }
    let form = match shown.form {
        Booking::HeightOfInstrument => "height of instrument",
        Booking::RiseAndFall => "rise and fall",
    };
    lines.extend(led("form", &format!("{form}, in {}, observed {}", unit_words(book), book.sequence), width));
    lines.extend(led("class", &book.class.title, width));
    lines.extend(
        book.equipment
            .iter()
            .enumerate()
            .flat_map(|(index, words)| led(if index == 0 { "equipment" } else { "" }, words, width)),
    );
    for row in &book.known {
        let assumed = if row.assumed { ", ASSUMED to have one to start from" } else { "" };
        let given = if row.given.unit == shown.unit {
            String::new()
        } else {
            format!(", given as {} {}", row.given.digits, row.given.unit)
        };
        let elevation = format!("{}  {} {}{given}{assumed}", row.point, row.elevation.shown, shown.unit);
        lines.extend(led("known", &elevation, width));
    }
    if book.corrections.is_empty() {
        lines.extend(led("corrections", "none: readings are booked as read", width));
    }
    for words in &book.corrections {
        lines.extend(led("correction", words, width));
    }
    lines.extend(led("rounding", &shown.rounding, width));
    lines
}

fn unit_words(book: &FieldBook) -> String {
    let unit = match book.shown.unit {
        crate::units::Unit::Metre | crate::units::Unit::Millimetre => "metres",
        crate::units::Unit::Foot => "international feet (0.3048 m)",
        crate::units::Unit::SurveyFoot => "US survey feet (1200/3937 m)",
    };
    let job = book.shown.job_unit;
    let same = job == book.shown.unit || (!job.is_foot() && !book.shown.unit.is_foot());
    if same { unit.to_owned() } else { format!("{unit}, turned from a job in {job}") }
}

fn finding(book: &FieldBook, row: &FindingRow, width: usize) -> Vec<String> {
    let sign = format!("[{}]", row.priority.word());
    let mut lines = vec![match row.state {
        FindingState::Stands => format!("{sign:<LEAD$}{}", row.key),
        FindingState::Gone => format!("{sign:<LEAD$}{}  (no longer)", row.key),
    }];
    lines.extend(led("", &row.fact, width));
    // The sentence is in the job's unit; what is shown in another is said again.
    if book.shown.unit != book.shown.job_unit
        && let Some(value) = &row.value
    {
        let limit = row.limit.as_ref().map(|limit| format!(", limit {limit}")).unwrap_or_default();
        lines.extend(led("", &format!("value {value}{limit}"), width));
    }
    if row.state == FindingState::Stands {
        lines.extend(led("", &row.todo, width));
    }
    let told = history_words(&book.opened_at, row);
    if told.is_empty() {
        lines.extend(led("", "not announced", width));
    } else {
        lines.extend(led("", &told.join("; "), width));
    }
    lines
}

/// The verdicts that held the crew; the others are counted.
fn holds(book: &FieldBook, width: usize) -> Option<Vec<String>> {
    let (holds, clear): (Vec<_>, Vec<_>) = book.verdicts.iter().partition(|row| row.verdict == Verdict::Hold);
    if book.verdicts.is_empty() {
        return None;
    }
    let count = format!("{} clear to move, {} hold", clear.len(), holds.len());
    let mut lines = led("verdicts", &count, width);
    for row in holds {
        let at = time_words(&book.opened_at, &row.at);
        lines.extend(led("", &format!("{at} hold at setup {} of run {}: {}", row.setup, row.run, row.text), width));
    }
    Some(lines)
}

/// What people said of the job as a whole; what they said of a reading stands with the reading.
fn said(book: &FieldBook, width: usize) -> Option<Vec<String>> {
    let rows: Vec<&SaidRow> = book.said.iter().filter(|row| row.reading.is_none() && !row.acknowledges).collect();
    let mut lines = Vec::new();
    for (index, row) in rows.iter().enumerate() {
        let taken = row.taken_back_by.map(|event| format!("; taken back by event {event}")).unwrap_or_default();
        let at = time_words(&book.opened_at, &row.at);
        let words = format!("{at} {}, event {}: {}{taken}", by_words(&row.by), row.event, row.words);
        lines.extend(led(if index == 0 { "said" } else { "" }, &words, width));
    }
    (!rows.is_empty()).then_some(lines)
}

fn records(book: &FieldBook, width: usize) -> Option<Vec<String>> {
    let records = &book.records;
    let sum = records.bytes_understood + records.bytes_ignored + records.bytes_refused + records.bytes_unfinished;
    if sum == 0 && records.not_booked.is_empty() {
        return None;
    }
    let mut lines = led(
        "records",
        &format!(
            "{sum} bytes kept: {} understood, {} ignored, {} refused, {} unfinished",
            records.bytes_understood, records.bytes_ignored, records.bytes_refused, records.bytes_unfinished
        ),
        width,
    );
    for row in records.not_booked.iter().take(NOT_BOOKED_MAX) {
        let at = time_words(&book.opened_at, &row.at);
        lines.extend(led("not booked", &format!("{at}, event {}: {}", row.event, row.why), width));
    }
    let more = records.not_booked.len().saturating_sub(NOT_BOOKED_MAX);
    if more > 0 {
        lines.extend(led("", &format!("and {more} more; the JSON lists them all"), width));
    }
    Some(lines)
}

fn limits(book: &FieldBook, width: usize) -> Vec<String> {
    let limits = &book.class.limits;
    let mut lines = led("limits", &format!("{}: {}", book.class.title, book.class.source), width);
    let of = |part: fn(&LimitRow) -> &str| limits.iter().map(|row| columns(part(row))).max().unwrap_or(0);
    let (what, limit) = (of(|row| &row.what), of(|row| &row.limit));
    // A basis that they share is said once.
    let shared = limits.first().filter(|first| limits.iter().all(|row| row.basis == first.basis));
    let in_columns = LEAD + what + 2 + limit <= width;
    for row in limits {
        let basis = if shared.is_some() { "" } else { &row.basis };
        let text = match in_columns {
            true => format!("{:LEAD$}{:<what$}  {:>limit$}", "", row.what, row.limit),
            false => format!("{:LEAD$}{}: {}", "", row.what, row.limit),
        };
        if columns(&text) + 2 + columns(basis) <= width {
            lines.push(format!("{text}  {basis}").trim_end().to_owned());
        } else {
            lines.extend([text].into_iter().chain(wrap(&" ".repeat(LEAD + 2), basis, width)));
        }
    }
    if let Some(shared) = shared {
        lines.extend(led("", &format!("each of them: {}", shared.basis), width));
    }
    lines
}

/// What the marks mean, as far as they occur.
fn legend(book: &FieldBook, width: usize) -> Vec<String> {
    let has = |state: State| book.readings.iter().any(|row| row.state == state);
    let several = book
        .runs
        .iter()
        .flat_map(|run| &run.lines)
        .any(|line| [&line.backsight, &line.foresight].into_iter().flatten().any(|sight| sight.shots.len() > 1));
    let marks = [
        (has(State::Struck), "~1.2345~ is struck out: it stays in its place and counts no more."),
        (has(State::Broken), "/1.2345/ belongs to a setup that was broken off: it counts no more."),
        (several || !book.corrections.is_empty(), "no. 12 is reading 12, a shot of the sight above it."),
        (
            book.readings.iter().any(|row| row.unprotected),
            "unprotected: no checksum stood over the record, a changed digit cannot be noticed.",
        ),
        (
            book.runs.iter().flat_map(|run| &run.lines).any(|line| line.intermediate.is_some()),
            "single, unchecked: an intermediate sight, of which no closure would show a mistake.",
        ),
    ];
    let mut lines = Vec::new();
    for (_, words) in marks.into_iter().filter(|(occurs, _)| *occurs) {
        lines.extend(led(if lines.is_empty() { "marks" } else { "" }, words, width));
    }
    if lines.is_empty() { led("marks", "none are used", width) } else { lines }
}
