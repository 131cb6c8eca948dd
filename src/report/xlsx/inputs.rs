//! What is put in: staff readings with their corrections, and known elevations. Shaded cells may be changed.

use rust_xlsxwriter::{Worksheet, XlsxError};

use super::cells::{Book, FIRST_ROW, KNOWN, READINGS, near};
use super::sheet::{Holds, Sheet, Styles, column};
use crate::report::document::full::Report;
use crate::report::document::tree::{CameView, ReadingRow};

/// The staff reading with its corrections: what the runs refer to.
pub(super) const BOOKED: u16 = 9;
/// The sight length.
pub(super) const SIGHT: u16 = 10;
/// The elevation of a known point.
pub(super) const KNOWN_ELEVATION: u16 = 1;

const STAFF: u16 = 7;
const CORRECTION: u16 = 8;

/// Every reading, struck ones included.
pub(super) fn readings(report: &Report, book: &Book<'_>, styles: &Styles) -> Result<Worksheet, XlsxError> {
    let shown = &report.book.shown;
    let (unit, sight) = (shown.unit, shown.sight_unit);
    let columns = [
        column("no.", 6.0, Holds::Numbers),
        column("time (UTC)", 19.0, Holds::Text),
        column("run", 5.0, Holds::Numbers),
        column("setup", 8.0, Holds::Numbers),
        column("role", 7.0, Holds::Text),
        column("state", 9.0, Holds::Text),
        column("point", 16.0, Holds::Text),
        column(format!("staff reading {unit}"), 13.0, Holds::Numbers),
        column(format!("corrections {unit}"), 12.0, Holds::Numbers),
        column(format!("booked {unit}"), 12.0, Holds::Numbers),
        column(format!("sight length {sight}"), 10.0, Holds::Numbers),
        column("came", 9.0, Holds::Text),
        column("remarks", 60.0, Holds::Text),
    ];
    let mut sheet = Sheet::new(READINGS, "Readings as they came, struck ones included", styles)?;
    sheet.line("Change a shaded cell, and all elevations, page checks, closures and corrections follow. The record itself stays as it is.")?;
    sheet.row = FIRST_ROW - 1;
    sheet.standing_heads(&columns)?;
    for reading in &book.readings {
        row(&mut sheet, book, reading, styles)?;
    }
    Ok(sheet.done())
}

fn row(sheet: &mut Sheet<'_>, book: &Book<'_>, reading: &ReadingRow, styles: &Styles) -> Result<(), XlsxError> {
    sheet.count(0, reading.number)?;
    sheet.text(1, &reading.at.get(..19).unwrap_or(&reading.at).replace('T', " "), &styles.text)?;
    sheet.count(2, reading.run)?;
    sheet.count(3, reading.setup)?;
    sheet.text(4, reading.role.word(), &styles.text)?;
    sheet.text(5, reading.state.word(), &styles.text)?;
    sheet.text(6, reading.point.as_deref().unwrap_or(""), &styles.text)?;
    let counts = reading.state.counts();
    let staff = if counts { &styles.level_in } else { &styles.level_struck };
    sheet.number(STAFF, book.level(&reading.reading), staff)?;
    if let Some(corrected) = &reading.corrected {
        sheet.number(CORRECTION, book.level(corrected) - book.level(&reading.reading), &styles.level)?;
    }
    if counts {
        let booked = reading.corrected.as_ref().unwrap_or(&reading.reading);
        let formula = format!("={}+{}", near(sheet.row, STAFF), near(sheet.row, CORRECTION));
        sheet.formula(BOOKED, &formula, book.level(booked), &styles.level)?;
    }
    if let Some(length) = &reading.sight_length {
        let format = if counts { &styles.sight_in } else { &styles.sight };
        sheet.number(SIGHT, book.sight(length), format)?;
    }
    let came = match reading.came {
        CameView::Heard => "heard",
        CameView::KeyedIn => "keyed in",
    };
    sheet.text(11, came, &styles.text)?;
    let mut remarks = reading.remarks.clone();
    for correction in &reading.corrections {
        remarks.extend(correction.not_made.as_ref().map(|why| format!("{}: {why}", correction.what)));
    }
    sheet.wrapped(12, &remarks.join("; "))?;
    sheet.row += 1;
    Ok(())
}

/// The points whose elevation is given.
pub(super) fn known(report: &Report, book: &Book<'_>, styles: &Styles) -> Result<Worksheet, XlsxError> {
    let columns = [
        column("point", 24.0, Holds::Text),
        column(format!("elevation {}", book.unit), 14.0, Holds::Numbers),
        column("given as", 16.0, Holds::Text),
        column("", 40.0, Holds::Text),
    ];
    let mut sheet = Sheet::new(KNOWN, "Points whose elevation is given", styles)?;
    sheet.row = FIRST_ROW - 1;
    sheet.standing_heads(&columns)?;
    for known in &report.book.known {
        sheet.text(0, &known.point, &styles.text)?;
        sheet.number(KNOWN_ELEVATION, book.level(&known.elevation), &styles.level_in)?;
        sheet.text(2, &format!("{} {}", known.given.digits, known.given.unit), &styles.text)?;
        if known.assumed {
            sheet.text(3, "ASSUMED to have one to start from", &styles.text)?;
        }
        sheet.row += 1;
    }
    Ok(sheet.done())
}
