//! What was carried up a tape and across gaps: conditions, readings, corrections line by line, the rise.

use super::front::{doubt, fact};
use super::ink::{Size, UNIT};
use super::sheets::{Sheets, Style};
use super::table::{Cell, Fit, Row, Table, column};
use super::{name_on_paper, on_paper};
use crate::report::document::full::Report;
use crate::report::document::tree::{CameView, RiseReading, RiseStep, RiseView, StepKind};
use crate::report::page_rows::Mark;

pub(super) fn rises(sheets: &mut Sheets<'_, '_>, report: &Report) {
    if report.book.rises.is_empty() {
        return;
    }
    sheets.part("rises by tape and across gaps", doubt(report.answer.standing));
    sheets.heading("Rises by tape and across gaps", 0, 8.0 * Size::Body.leading());
    sheets.doubt_here(doubt(report.answer.standing));
    for rise in &report.book.rises {
        one(sheets, report, rise);
    }
}

fn one(sheets: &mut Sheets<'_, '_>, report: &Report, rise: &RiseView) {
    let (unit, height) = (report.book.shown.unit, report.book.shown.height_unit);
    let title = format!(
        "Activity {}: {} from {} to {}",
        rise.activity,
        rise.method.words(),
        name_on_paper(&rise.from),
        name_on_paper(&rise.to)
    );
    let columns = [
        column("", Fit::Words(210.0)),
        column(&format!("length\n{unit}"), Fit::Numbers),
        column(&format!("correction\n{height}"), Fit::Numbers),
        column(&format!("deviation\n{height}"), Fit::Numbers),
        column("", Fit::Rest(1.0)),
    ];
    let mut rows: Vec<Row> = rise.readings.iter().map(reading).collect();
    rows.extend(rise.steps.iter().zip(0..).map(|(step, at)| Row { ruled: at == 0, ..line(step) }));
    rows.push(Row {
        ruled: true,
        ..Row::of([
            Cell::of(Style::STRONG, "rise"),
            Cell::of(Style::STRONG, on_paper(&rise.rise.shown)),
            Cell::text(""),
            Cell::of(Style::STRONG, on_paper(&rise.deviation.shown)),
            Cell::text(on_paper(&rise.standing)),
        ])
    });
    let table = Table::fit(sheets, &columns, &rows);
    let rows_height: f32 = rows.iter().map(|row| table.height(sheets, row)).sum();
    let room = rise.conditions.len() as f32 * Size::Body.leading() + UNIT + table.head_height() + rows_height;
    // What somebody adds up by hand stands on one page where that can be.
    sheets.heading(&title, 1, if room < sheets.whole() / 2.0 { room } else { 8.0 * Size::Body.leading() });
    for words in &rise.conditions {
        fact(sheets, "with", &on_paper(words));
    }
    sheets.gap(UNIT);
    table.set(sheets, &rows);
}

fn reading(reading: &RiseReading) -> Row {
    let remark = match (reading.struck, reading.came) {
        (true, _) => "struck out",
        (false, CameView::KeyedIn) => "keyed in",
        (false, CameView::Heard) => "",
    };
    let mut shown = Cell::text(on_paper(&reading.reading.shown));
    shown.mark = if reading.struck { Mark::Struck } else { Mark::None };
    Row::of([Cell::text(name_on_paper(&reading.what)), shown, Cell::text(""), Cell::text(""), Cell::text(remark)])
}

/// Lengths stand in one column, what is added to them or reads too high in the next.
fn line(step: &RiseStep) -> Row {
    let value = on_paper(&step.value.shown);
    let (length, added) = match step.kind {
        StepKind::Length => (value, String::new()),
        StepKind::Correction | StepKind::SightError => (String::new(), value),
    };
    let deviation = step.deviation.as_ref().map(|figure| on_paper(&figure.shown)).unwrap_or_default();
    Row::of([Cell::text(name_on_paper(&step.what)), Cell::text(length), Cell::text(added), Cell::text(deviation)])
}
