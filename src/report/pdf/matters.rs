//! What stands after the runs: findings and what was done about them, changes with their reasons, verdicts, records,
//! what the marks mean, cautions.

use super::front::{bullet, fact};
use super::ink::{Ink, Size, UNIT};
use super::on_paper;
use super::sheets::{Sheets, Style};
use super::table::{Cell, Fit, Row, Table, column};
use crate::book::event::Verdict;
use crate::book::finding::Priority;
use crate::report::document::full::Report;
use crate::report::document::full::tree::{ChangeKind, ChangeRow};
use crate::report::document::tree::{FindingRow, FindingState, State};
use crate::report::document::{by_words, history_words, time_words};

/// Records that were not booked are listed up to this many; the JSON lists them all.
const NOT_BOOKED_MAX: usize = 12;

pub(super) fn matters(sheets: &mut Sheets<'_, '_>, report: &Report) {
    findings(sheets, report);
    verdicts(sheets, report);
    changes(sheets, report);
    records(sheets, report);
    legend(sheets, report);
    cautions(sheets, report);
}

fn findings(sheets: &mut Sheets<'_, '_>, report: &Report) {
    sheets.part("findings", None);
    let rows: Vec<Row> = report.book.findings.iter().map(|row| finding(report, row)).collect();
    if rows.is_empty() {
        sheets.heading("Findings", 0, Size::Body.leading());
        sheets.paragraph(Style::BODY, "None.");
        return;
    }
    let columns = [
        column("", Fit::Words(52.0)),
        column("what was found", Fit::Rest(1.7)),
        column("what was done about it", Fit::Rest(1.0)),
    ];
    let table = Table::fit(sheets, &columns, &rows);
    let room = table.beginning(sheets, &rows);
    sheets.heading("Findings", 0, room);
    table.set(sheets, &rows);
}

fn finding(report: &Report, row: &FindingRow) -> Row {
    let gone = row.state == FindingState::Gone;
    let ink = match row.priority {
        _ if gone => Ink::Grey,
        Priority::Hold => Ink::Vermilion,
        Priority::Warn => Ink::Orange,
        Priority::Note => Ink::Black,
    };
    let shape = match row.priority {
        Priority::Hold => "\u{25a0}",
        Priority::Warn => "\u{25b2}",
        Priority::Note => "\u{2013}",
    };
    let sign = Cell::of(Style::STRONG.in_ink(ink), format!("{shape} {}", row.priority.word()));
    let sign = if gone { sign.and(Style::SMALL, "no longer") } else { sign };
    let mut what = Cell::of(if gone { Style::BODY.in_ink(Ink::Grey) } else { Style::BODY }, on_paper(&row.fact));
    // The sentence is in the job's unit; what is shown in another is said again.
    if report.book.shown.unit != report.book.shown.job_unit
        && let Some(value) = &row.value
    {
        let limit = row.limit.as_ref().map(|limit| format!(", limit {limit}")).unwrap_or_default();
        what = what.and(Style::SMALL, on_paper(&format!("value {value}{limit}")));
    }
    if !gone {
        what = what.and(Style::BODY.in_ink(Ink::Grey), on_paper(&row.todo));
    }
    let what = what.and(Style::SMALL, row.key.clone());
    let told = history_words(&report.book.opened_at, row);
    let done = match told.is_empty() {
        true => Cell::of(Style::SMALL, "not announced"),
        false => told.iter().fold(Cell::default(), |cell, words| cell.and(Style::SMALL, on_paper(words))),
    };
    Row::of([sign, what, done])
}

/// The verdicts that held the crew; the others are counted.
fn verdicts(sheets: &mut Sheets<'_, '_>, report: &Report) {
    let book = &report.book;
    let (holds, clear): (Vec<_>, Vec<_>) = book.verdicts.iter().partition(|row| row.verdict == Verdict::Hold);
    if book.verdicts.is_empty() {
        return;
    }
    sheets.heading("Verdicts given", 1, 2.0 * Size::Body.leading());
    sheets.paragraph(Style::BODY, &format!("{} clear to move, {} hold", clear.len(), holds.len()));
    for row in holds {
        let at = time_words(&book.opened_at, &row.at);
        bullet(sheets, &on_paper(&format!("{at}, hold at setup {} of run {}: {}", row.setup, row.run, row.text)));
    }
}

fn changes(sheets: &mut Sheets<'_, '_>, report: &Report) {
    sheets.part("changes", None);
    let rows: Vec<Row> = report.changes.iter().map(|row| change(report, row)).collect();
    if rows.is_empty() {
        sheets.heading("Changes", 0, Size::Body.leading());
        sheets.paragraph(Style::BODY, "Nothing was struck, changed or keyed in.");
        return;
    }
    let columns = [
        column("event", Fit::Numbers),
        column("time (UTC)", Fit::Words(82.0)),
        column("by", Fit::Words(86.0)),
        column("run.\nsetup", Fit::Words(32.0)),
        column("what", Fit::Rest(1.5)),
        column("reason", Fit::Rest(1.0)),
    ];
    let table = Table::fit(sheets, &columns, &rows);
    let said = "Every strike and change that was made, and what was said of it. Nothing was erased: readings stay in the book.";
    table.set_under(sheets, "Changes", 0, said, &rows);
}

fn change(report: &Report, row: &ChangeRow) -> Row {
    let what = Cell::text(on_paper(&row.what));
    let what = match row.taken_back_by {
        Some(event) => what.and(Style::SMALL, format!("taken back by event {event}")),
        None => what,
    };
    let reason = match (&row.reason, row.kind) {
        (Some(reason), _) => Cell::text(on_paper(reason)),
        (None, ChangeKind::Change) => Cell::of(Style::SMALL, "none given"),
        (None, ChangeKind::Note) => Cell::default(),
    };
    Row::of([
        Cell::text(row.event.to_string()),
        Cell::text(time_words(&report.book.opened_at, &row.at)),
        Cell::text(row.by.as_ref().map_or("by new settings", by_words)),
        Cell::text(row.setup.map(|setup| format!("{}.{}", setup.run, setup.setup)).unwrap_or_default()),
        what,
        reason,
    ])
}

fn records(sheets: &mut Sheets<'_, '_>, report: &Report) {
    let records = &report.book.records;
    let sum = records.bytes_understood + records.bytes_ignored + records.bytes_refused + records.bytes_unfinished;
    if sum == 0 && records.not_booked.is_empty() {
        return;
    }
    sheets.heading("Records", 1, 2.0 * Size::Body.leading());
    let words = format!(
        "{sum} bytes kept: {} understood, {} ignored, {} refused, {} unfinished",
        records.bytes_understood, records.bytes_ignored, records.bytes_refused, records.bytes_unfinished
    );
    sheets.paragraph(Style::BODY, &words);
    for row in records.not_booked.iter().take(NOT_BOOKED_MAX) {
        let at = time_words(&report.book.opened_at, &row.at);
        bullet(sheets, &on_paper(&format!("not booked, {at}, event {}: {}", row.event, row.why)));
    }
    let more = records.not_booked.len().saturating_sub(NOT_BOOKED_MAX);
    if more > 0 {
        sheets.paragraph(Style::BODY, &format!("and {more} more; the JSON lists them all"));
    }
}

/// What the marks mean, as far as they occur.
fn legend(sheets: &mut Sheets<'_, '_>, report: &Report) {
    let book = &report.book;
    let has = |state: State| book.readings.iter().any(|row| row.state == state);
    let several = (book.runs.iter().flat_map(|run| &run.lines))
        .any(|line| [&line.backsight, &line.foresight].into_iter().flatten().any(|sight| sight.shots.len() > 1));
    let marks = [
        (
            has(State::Struck),
            "struck",
            "a reading with a line through it is struck out: it stays in its place and counts no more",
        ),
        (
            has(State::Broken),
            "broken",
            "one with a stroke across it belongs to a setup that was broken off: it counts no more",
        ),
        (several || !book.corrections.is_empty(), "no. 12", "reading 12, a shot of the sight above it"),
        (
            book.readings.iter().any(|row| row.unprotected),
            "unprotected",
            "no checksum stood over the record, a changed digit cannot be noticed",
        ),
        (
            book.runs.iter().flat_map(|run| &run.lines).any(|line| line.intermediate.is_some()),
            "single",
            "an intermediate sight, of which no closure would show a mistake",
        ),
    ];
    let marks: Vec<_> = marks.into_iter().filter(|(occurs, ..)| *occurs).collect();
    if marks.is_empty() {
        return;
    }
    sheets.heading("Marks", 1, 2.0 * Size::Body.leading());
    for (_, name, words) in marks {
        fact(sheets, name, words);
    }
}

fn cautions(sheets: &mut Sheets<'_, '_>, report: &Report) {
    sheets.part("cautions", None);
    let lines = report.book.cautions.len() as f32;
    sheets.heading("Cautions", 0, (lines + 1.0) * Size::Body.leading());
    for words in &report.book.cautions {
        bullet(sheets, words);
    }
    sheets.y += UNIT;
}
