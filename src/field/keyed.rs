//! Readings that were written down, as comma-separated values (RFC 4180): one a row, or a pair a row.
//!
//! ```text
//! staff,sight          back,fore
//! 1.2200,25.00         1.4312,1.1809
//! 1.0600,25.00         1.4315,1.1811
//! ```
//!
//! In the order in which they are asked for; of a pair the back staff first. `sight` may be left out, and so may the
//! columns `back-sight` and `fore-sight` of a pair. Lengths are in the job's unit, or carry their own. The format is this
//! project's own.

use std::fmt;

use crate::table::{NotATable, Table, table};

/// A reading as it was written down.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Written {
    /// The staff reading.
    pub staff: String,
    /// The sight length.
    pub sight: Option<String>,
}

/// More readings than any activity takes.
pub const READINGS_MAX: usize = 10_000;

/// Reads a list.
///
/// # Errors
/// The first row that cannot be read, by its line.
pub fn read(bytes: &[u8]) -> Result<Vec<Written>, NotReadings> {
    let table = table(bytes, &COLUMNS, &[])?;
    let columns = columns(&table)?;
    let mut written = Vec::new();
    for row in table {
        let row = row?;
        let line = row.line;
        for &(staff, sight) in columns {
            let text = |column: usize| Some(row.text(column).to_owned()).filter(|text| !text.is_empty());
            let Some(staff) = text(staff) else {
                return Err(NotReadings { line, what: "no staff reading found".to_owned() });
            };
            written.push(Written { staff, sight: text(sight) });
        }
        if written.len() > READINGS_MAX {
            return Err(NotReadings { line, what: format!("more than {READINGS_MAX} readings found") });
        }
    }
    Ok(written)
}

/// The columns, of one reading a row and of a pair.
const COLUMNS: [&str; 6] = ["staff", "sight", "back", "back-sight", "fore", "fore-sight"];

/// The columns of staff readings with those of their sight lengths, in the order in which they were taken.
fn columns(table: &Table<'_>) -> Result<&'static [(usize, usize)], NotReadings> {
    match ["staff", "back", "fore"].map(|name| table.has(name)) {
        [true, false, false] => Ok(&[(0, 1)]),
        [false, true, true] => Ok(&[(2, 3), (4, 5)]),
        _ => Err(NotReadings { line: 1, what: "staff,sight or back,fore was wanted as the first line".to_owned() }),
    }
}

/// Where and why a list of readings cannot be read.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct NotReadings {
    /// Counted from 1.
    pub line: u64,
    /// What was found, what was wanted.
    pub what: String,
}

impl From<NotATable> for NotReadings {
    fn from(not: NotATable) -> Self {
        NotReadings { line: not.line, what: not.fault.to_string() }
    }
}

impl fmt::Display for NotReadings {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "line {}: {}", self.line, self.what)
    }
}

impl std::error::Error for NotReadings {}

#[cfg(test)]
mod tests {
    use super::*;

    fn found(text: &str) -> Vec<(String, Option<String>)> {
        read(text.as_bytes()).unwrap().into_iter().map(|written| (written.staff, written.sight)).collect()
    }

    #[test]
    fn one_a_row_or_a_pair_a_row() {
        let written = |staff: &str, sight: &str| (staff.to_owned(), Some(sight.to_owned()).filter(|s| !s.is_empty()));
        assert_eq!(found("staff,sight\n1.22,25\n1.06,\n"), [written("1.22", "25"), written("1.06", "")]);
        assert_eq!(found("fore,back\n1.06,1.22\n"), [written("1.22", ""), written("1.06", "")], "back first");
        assert_eq!(found("back,fore,fore-sight\n1,2,30\n"), [written("1", ""), written("2", "30")]);
    }

    #[test]
    fn what_is_no_list_of_readings_is_told_its_line() {
        for (text, said) in [
            (
                "1.22,1.06\n",
                "line 1: column \"1.22\" found, the columns are staff,sight,back,back-sight,fore,fore-sight",
            ),
            ("back\n1.22\n", "line 1: staff,sight or back,fore was wanted as the first line"),
            ("staff\n1.22\n\"\"\n", "line 3: no staff reading found"),
            ("staff\n1,22\n", "line 2: 2 fields found, 1 were wanted"),
        ] {
            let error = read(text.as_bytes()).unwrap_err().to_string();
            assert!(error.starts_with(said), "{error}");
        }
    }
}
