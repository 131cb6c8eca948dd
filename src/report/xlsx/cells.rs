//! Where things stand in the workbook, and numbers as cells hold them.

use std::collections::HashMap;

use crate::report::document::full::Report;
use crate::report::document::tree::{Figure, ReadingRow};
use crate::units::{Length, Unit};

/// A cell of the workbook.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Cell {
    pub(super) sheet: String,
    pub(super) row: u32,
    pub(super) column: u16,
}

impl Cell {
    /// As a formula on another sheet names it.
    pub(super) fn far(&self) -> String {
        format!("'{}'!{}", self.sheet, near(self.row, self.column))
    }
}

/// A cell as a formula on its own sheet names it: `C7`.
pub(super) fn near(row: u32, column: u16) -> String {
    let mut letters = String::new();
    let mut rest = u32::from(column) + 1;
    while rest > 0 {
        letters.insert(0, char::from(b'A' + ((rest - 1) % 26) as u8));
        rest = (rest - 1) / 26;
    }
    format!("{letters}{}", row + 1)
}

/// A part of a column: `C7:C19`.
pub(super) fn range(column: u16, first: u32, last: u32) -> String {
    format!("{}:{}", near(first, column), near(last, column))
}

pub(super) const READINGS: &str = "Readings";
pub(super) const KNOWN: &str = "Known";

/// The first row under the head of the sheets of readings and of known points.
pub(super) const FIRST_ROW: u32 = 4;

/// Where the inputs stand.
pub(super) struct Book<'a> {
    /// The readings that are put in, in order.
    pub(super) readings: Vec<&'a ReadingRow>,
    reading_rows: HashMap<u32, u32>,
    known_rows: HashMap<&'a str, u32>,
    pub(super) unit: Unit,
    pub(super) height_unit: Unit,
    pub(super) sight_unit: Unit,
}

impl<'a> Book<'a> {
    pub(super) fn of(report: &'a Report) -> Self {
        let shown = &report.book.shown;
        let in_report = |reading: &&ReadingRow| report.run.is_none_or(|run| reading.run == run);
        let readings: Vec<&ReadingRow> = report.book.readings.iter().filter(in_report).collect();
        let reading_rows = readings.iter().map(|reading| reading.number).zip(FIRST_ROW..).collect();
        let known_rows = report.book.known.iter().map(|known| known.point.as_str()).zip(FIRST_ROW..).collect();
        Book {
            readings,
            reading_rows,
            known_rows,
            unit: shown.unit,
            height_unit: shown.height_unit,
            sight_unit: shown.sight_unit,
        }
    }

    /// The cell of a reading in some column.
    pub(super) fn reading(&self, number: u32, column: u16) -> Option<Cell> {
        let row = *self.reading_rows.get(&number)?;
        Some(Cell { sheet: READINGS.to_owned(), row, column })
    }

    /// The cell of a known elevation.
    pub(super) fn known(&self, point: &str) -> Option<Cell> {
        let row = *self.known_rows.get(point)?;
        Some(Cell { sheet: KNOWN.to_owned(), row, column: super::inputs::KNOWN_ELEVATION })
    }

    /// A reading or an elevation as a number.
    pub(super) fn level(&self, figure: &Figure) -> f64 {
        number(figure.exact, self.unit)
    }

    /// A misclosure, allowance or correction as a number.
    pub(super) fn height(&self, figure: &Figure) -> f64 {
        number(figure.exact, self.height_unit)
    }

    /// A length as a number.
    pub(super) fn sight(&self, figure: &Figure) -> f64 {
        number(figure.exact, self.sight_unit)
    }

    /// How many units of small heights make one of elevations.
    pub(super) fn heights_in_one(&self) -> u32 {
        if self.height_unit == Unit::Millimetre { 1000 } else { 1 }
    }
}

/// A length in a unit, to all its digits. A survey foot is 1200/3937 m.
pub(super) fn number(length: Length, unit: Unit) -> f64 {
    let units = length.tenth_nm() as f64;
    match unit {
        Unit::Metre => units / 1e10,
        Unit::Millimetre => units / 1e7,
        Unit::Foot => units / 3.048e9,
        Unit::SurveyFoot => units * 3937.0 / 1.2e13,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn cells_are_named_as_in_a_spreadsheet() {
        assert_eq!((near(0, 0), near(6, 25), near(99, 26)), ("A1".to_owned(), "Z7".to_owned(), "AA100".to_owned()));
        let cell = Cell { sheet: "Run 1".to_owned(), row: 4, column: 6 };
        assert_eq!((cell.far(), range(2, 4, 8)), ("'Run 1'!G5".to_owned(), "C5:C9".to_owned()));
    }

    #[test]
    fn lengths_are_numbers_in_each_unit() {
        let metre = Length::from_mm(1000);
        assert_eq!((number(metre, Unit::Metre), number(metre, Unit::Millimetre)), (1.0, 1000.0));
        assert!((number(metre, Unit::Foot) - 1.0 / 0.3048).abs() < 1e-15);
        assert!((number(metre, Unit::SurveyFoot) - 3937.0 / 1200.0).abs() < 1e-15);
    }
}
