//! A register of marks shared between jobs, as comma-separated values (RFC 4180), read and written; digits to digits.
//!
//! ```text
//! mark,elevation,unit,uncertainty,datum,date,origin,description,photo
//! BM-1,52.3480,m,0.0008,national,2026-03-14,county list,brass bolt in the plinth,bm-1.jpg
//! ```
//!
//! | column | meaning |
//! |---|---|
//! | `mark` | its name |
//! | `elevation`, `unit` | as it was given; `m`, `ft`, `sft`, one a register |
//! | `uncertainty` | standard deviation of the elevation, in the same unit |
//! | `datum` | what the elevation is counted from |
//! | `date` | of the elevation, year-month-day |
//! | `origin` | who gave it, or which run carried it there |
//! | `description`, `photo` | how to find it; the name of a picture file |
//!
//! The first line names the columns, in any order; all but the first three may be left out. A mark may stand in several
//! rows with different dates: that is its history, and the last row counts. With two elevations of one date it is
//! refused. A text that a spreadsheet would take for a formula is written behind an apostrophe, taken off in reading.
//! The format is this project's own.

use std::fmt;

use ::csv::WriterBuilder;

use crate::book::marks::Mark;
use crate::book::reading::PointName;
use crate::formula::{guarded, unguarded};
use crate::table::{self, NotATable, table};
use crate::units::{Length, LengthError, Measured, Unit};

/// The columns, in the order in which they are written.
pub const COLUMNS: [&str; 9] =
    ["mark", "elevation", "unit", "uncertainty", "datum", "date", "origin", "description", "photo"];

/// The longest register that is read.
pub const ROWS_MAX: usize = 100_000;

/// Reads a register: every row, histories included, in the order of the file.
///
/// # Errors
/// The first row that cannot be read, by its line.
pub fn read(bytes: &[u8]) -> Result<Vec<Mark>, RegisterError> {
    let mut marks: Vec<Mark> = Vec::new();
    let mut lines: std::collections::BTreeMap<(PointName, Option<String>), (u64, usize)> = Default::default();
    for row in table(bytes, &COLUMNS, &NEEDED)? {
        let row = row?;
        let line = row.line;
        let wrong = |what: String| RegisterError { line, what };
        if marks.len() == ROWS_MAX {
            return Err(wrong(format!("more than {ROWS_MAX} rows found")));
        }
        let mark = mark(&row)?;
        let (unit, first) = (mark.elevation.unit(), marks.first().map(|first: &Mark| first.elevation.unit()));
        if let Some(first) = first.filter(|first| *first != unit) {
            return Err(wrong(format!("{unit} found, the rows above are in {first}: one unit a register was wanted")));
        }
        let key = (mark.name.clone(), mark.date.clone());
        if let Some(&(earlier, at)) = lines.get(&key) {
            let two = [&marks[at], &mark].map(|mark| mark.elevation.digits().to_string());
            return Err(wrong(match &two[..] {
                [one, other] if one != other => format!(
                    "{} has two elevations, {one} in line {earlier} and {other} here: one was wanted, or dates to tell them \
                     apart",
                    mark.name
                ),
                _ => format!("{} stands in line {earlier} already, once was wanted", mark.name),
            }));
        }
        lines.insert(key, (line, marks.len()));
        marks.push(mark);
    }
    Ok(marks)
}

/// The rows that count: of each mark the last.
pub fn latest(marks: &[Mark]) -> Vec<Mark> {
    let mut latest: Vec<Mark> = Vec::new();
    for mark in marks {
        match latest.iter_mut().find(|held| held.name == mark.name) {
            Some(held) => *held = mark.clone(),
            None => latest.push(mark.clone()),
        }
    }
    latest
}

/// Writes a register.
pub fn write(marks: &[Mark]) -> String {
    let mut rows = WriterBuilder::new().from_writer(Vec::new());
    let mut put = |fields: [String; 9]| rows.write_record(fields).expect("memory takes every row");
    put(COLUMNS.map(str::to_owned));
    for mark in marks {
        let unit = mark.elevation.unit();
        let text = |text: &Option<String>| guarded(text.as_deref().unwrap_or(""));
        put([
            guarded(mark.name.as_str()),
            mark.elevation.digits().to_string(),
            unit.to_string(),
            mark.sd.map_or_else(String::new, |sd| trimmed(sd, unit)),
            text(&mark.datum),
            text(&mark.date),
            text(&mark.origin),
            text(&mark.description),
            text(&mark.photo),
        ]);
    }
    let bytes = rows.into_inner().expect("memory takes every row");
    String::from_utf8(bytes).expect("every field is text")
}

/// The columns that must be there: `mark`, `elevation`, `unit`.
const NEEDED: [usize; 3] = [0, 1, 2];

fn mark(row: &table::Row) -> Result<Mark, RegisterError> {
    let (line, text) = (row.line, |column: usize| unguarded(row.text(column)));
    let wrong = |column: usize, what: &dyn fmt::Display| RegisterError {
        line,
        what: format!("column {}: {what}", COLUMNS[column]),
    };
    let unit: Unit = text(2).parse().map_err(|error: LengthError| wrong(2, &error))?;
    let words = |column: usize| Some(text(column).to_owned()).filter(|text| !text.is_empty());
    let sd = match text(3) {
        "" => None,
        digits => match Length::parse(digits, unit).map_err(|error| wrong(3, &error))? {
            sd if sd > Length::ZERO => Some(sd),
            _ => return Err(wrong(3, &format!("{digits} found, more than nought was wanted"))),
        },
    };
    Ok(Mark {
        name: PointName::new(text(0)).map_err(|error| wrong(0, &error))?,
        elevation: Measured::parse(text(1), unit).map_err(|error| wrong(1, &error))?,
        sd,
        datum: words(4),
        date: words(5),
        origin: words(6),
        description: words(7),
        photo: words(8),
    })
}

/// All digits that there are, and no noughts behind them.
fn trimmed(length: Length, unit: Unit) -> String {
    let text = length.show(unit, 10);
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
}

/// Where and why a register cannot be read.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct RegisterError {
    /// Counted from 1.
    pub line: u64,
    /// What was found, what was wanted.
    pub what: String,
}

impl From<NotATable> for RegisterError {
    fn from(not: NotATable) -> Self {
        RegisterError { line: not.line, what: not.fault.to_string() }
    }
}

impl fmt::Display for RegisterError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "line {}: {}", self.line, self.what)
    }
}

impl std::error::Error for RegisterError {}

#[cfg(test)]
mod tests {
    use super::*;

    const REGISTER: &str = "\
mark,elevation,unit,uncertainty,datum,date,origin,description,photo
BM-1,52.3480,m,0.0008,national,2026-03-14,county list,\"brass bolt, plinth\",bm-1.jpg
'=1+1,50.00,m,,,,,,
BM-1,52.3471,m,0.0005,national,2026-06-01,run 7,,
";

    fn error(text: &str) -> String {
        read(text.as_bytes()).unwrap_err().to_string()
    }

    #[test]
    fn what_is_written_reads_back_the_same() {
        let marks = read(REGISTER.as_bytes()).unwrap();
        assert_eq!(marks[0].description.as_deref(), Some("brass bolt, plinth"));
        assert_eq!(marks[1].name.as_str(), "=1+1");
        assert_eq!(write(&marks), REGISTER);
        let counting = latest(&marks);
        assert_eq!(
            counting.iter().map(|mark| mark.elevation.digits().as_str()).collect::<Vec<_>>(),
            ["52.3471", "50.00"]
        );
    }

    #[test]
    fn a_mark_with_two_elevations_is_refused_by_name() {
        assert_eq!(
            error("mark,elevation,unit\nBM-1,52.3480,m\nBM-2,1,m\nBM-1,52.3471,m\n"),
            "line 4: BM-1 has two elevations, 52.3480 in line 2 and 52.3471 here: one was wanted, or dates to tell them apart"
        );
        assert_eq!(
            error("mark,elevation,unit\nBM-1,52.3480,m\nBM-1,52.3480,m\n"),
            "line 3: BM-1 stands in line 2 already, once was wanted"
        );
    }

    #[test]
    fn other_bad_registers_are_told_their_line() {
        for (text, said) in [
            ("mark,elevation\nA,1\n", "line 1: no column unit found"),
            ("mark,elevation,unit\nA,1,ft\nB,1,m\n", "line 3: m found, the rows above are in ft: one unit a register"),
            ("mark,elevation,unit\nA,1,yd\n", "line 2: column unit: unknown unit \"yd\""),
            ("mark,elevation,unit,uncertainty\nA,1,m,-1\n", "line 2: column uncertainty: -1 found, more than nought"),
            ("mark,elevation,unit\n,1,m\n", "line 2: column mark: an empty point name found"),
        ] {
            assert!(error(text).starts_with(said), "{}", error(text));
        }
    }
}
