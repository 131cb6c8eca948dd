//! What was carried up a tape and across gaps, line by line. It stands as it came out.

use rust_xlsxwriter::{Worksheet, XlsxError};

use super::cells::number;
use super::sheet::{Holds, Sheet, Styles, column};
use crate::report::document::full::Report;
use crate::report::document::tree::{CameView, RiseReading, RiseView, StepKind};

/// The sheet; none without any.
pub(super) fn rises(report: &Report, styles: &Styles) -> Result<Option<Worksheet>, XlsxError> {
    if report.book.rises.is_empty() {
        return Ok(None);
    }
    let (unit, height) = (report.book.shown.unit, report.book.shown.height_unit);
    let mut sheet = Sheet::new("Rises", "Rises by tape and across gaps", styles)?;
    sheet.line("As they came out: these do not recompute.")?;
    sheet.row += 1;
    sheet.standing_heads(&[
        column("activity", 9.0, Holds::Numbers),
        column("from", 16.0, Holds::Text),
        column("to", 16.0, Holds::Text),
        column("what", 44.0, Holds::Text),
        column(format!("length {unit}"), 14.0, Holds::Numbers),
        column(format!("correction {height}"), 12.0, Holds::Numbers),
        column(format!("deviation {height}"), 12.0, Holds::Numbers),
        column("remarks", 70.0, Holds::Text),
    ])?;
    for rise in &report.book.rises {
        one(&mut sheet, report, rise, styles)?;
    }
    Ok(Some(sheet.done()))
}

fn one(sheet: &mut Sheet<'_>, report: &Report, rise: &RiseView, styles: &Styles) -> Result<(), XlsxError> {
    let (unit, height) = (report.book.shown.unit, report.book.shown.height_unit);
    for words in &rise.conditions {
        begin(sheet, rise, "with", styles)?;
        sheet.wrapped(7, words)?;
        sheet.row += 1;
    }
    for reading in &rise.readings {
        begin(sheet, rise, &reading.what, styles)?;
        let style = if reading.struck { &styles.level_struck } else { &styles.level };
        sheet.number(4, number(reading.reading.exact, unit), style)?;
        sheet.text(7, remark(reading), &styles.text)?;
        sheet.row += 1;
    }
    for step in &rise.steps {
        begin(sheet, rise, &step.what, styles)?;
        match step.kind {
            StepKind::Length => sheet.number(4, number(step.value.exact, unit), &styles.level)?,
            StepKind::Correction | StepKind::SightError => {
                sheet.number(5, number(step.value.exact, height), &styles.part)?;
            }
        }
        if let Some(deviation) = &step.deviation {
            sheet.number(6, number(deviation.exact, height), &styles.part_size)?;
        }
        sheet.row += 1;
    }
    begin(sheet, rise, "rise", styles)?;
    sheet.number(4, number(rise.rise.exact, unit), &styles.level_sum)?;
    sheet.number(6, number(rise.deviation.exact, height), &styles.deviation)?;
    sheet.wrapped(7, &format!("{}, {}", rise.method.words(), rise.standing))?;
    sheet.row += 1;
    Ok(())
}

/// What names every row: activity, marks, and what stands in it.
fn begin(sheet: &mut Sheet<'_>, rise: &RiseView, what: &str, styles: &Styles) -> Result<(), XlsxError> {
    sheet.count(0, rise.activity)?;
    for (at, text) in (1..).zip([&rise.from, &rise.to, what]) {
        sheet.text(at, text, &styles.text)?;
    }
    Ok(())
}

fn remark(reading: &RiseReading) -> &'static str {
    match (reading.struck, reading.came) {
        (true, _) => "struck out",
        (false, CameView::KeyedIn) => "keyed in",
        (false, CameView::Heard) => "",
    }
}
