//! The report as a spreadsheet that recomputes: change a staff reading or a known elevation, and elevations, page checks,
//! misclosures and their sharing out follow. What was adjusted by least squares stands as it came out, and says so.
//!
//! One sheet for each part. Staff readings and known elevations are put in once, on `Readings` and `Known`; all else
//! refers to them. Every formula carries its result, so that a reader that computes nothing shows the same numbers.
//! Names come from instruments and are written as text, whatever they begin with.

mod cells;
mod inputs;
mod matters;
mod rises;
mod run;
mod section;
mod sheet;

use std::fmt;

use rust_xlsxwriter::{DocProperties, ExcelDateTime, Workbook, XlsxError};

use super::document::full::Report;
use cells::Book;
use sheet::Styles;

/// Why there is no spreadsheet.
#[derive(Debug)]
pub struct NotPrinted(XlsxError);

impl fmt::Display for NotPrinted {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "the spreadsheet: {}", self.0)
    }
}

impl std::error::Error for NotPrinted {}

impl From<XlsxError> for NotPrinted {
    fn from(error: XlsxError) -> Self {
        NotPrinted(error)
    }
}

/// The report as a spreadsheet: equal reports give equal bytes.
///
/// # Errors
/// More rows than a sheet can have.
pub fn print(report: &Report) -> Result<Vec<u8>, NotPrinted> {
    let styles = Styles::new(report);
    let book = Book::of(report);
    let mut workbook = Workbook::new();
    workbook.set_properties(&properties(report)?);
    workbook.push_worksheet(matters::front(report, &styles)?);
    workbook.push_worksheet(matters::results(report, &styles)?);
    let mut runs = run::Runs::new(report, &book, &styles);
    for part in &report.book.runs {
        workbook.push_worksheet(runs.sheet(part)?);
    }
    if let Some(sheet) = rises::rises(report, &styles)? {
        workbook.push_worksheet(sheet);
    }
    workbook.push_worksheet(matters::adjustment(report, &styles)?);
    workbook.push_worksheet(inputs::readings(report, &book, &styles)?);
    workbook.push_worksheet(inputs::known(report, &book, &styles)?);
    workbook.push_worksheet(matters::findings(report, &styles)?);
    workbook.push_worksheet(matters::changes(report, &styles)?);
    Ok(workbook.save_to_buffer()?)
}

/// The time of the last event stands for the time of making: nothing else is known of it that is always the same.
fn properties(report: &Report) -> Result<DocProperties, XlsxError> {
    let made = report.book.last_at.get(..19).unwrap_or_default();
    let made = ExcelDateTime::parse_from_str(made)?;
    let keywords = if report.book.simulated { "SIMULATED" } else { "" };
    Ok(DocProperties::new()
        .set_title(format!("Levelling report: {}", report.book.job))
        .set_comment(format!("made from the record with digest {}", report.record.digest))
        .set_keywords(keywords)
        .set_creation_datetime(&made))
}
