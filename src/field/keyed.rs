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

use ::csv::{ReaderBuilder, StringRecord};

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
    let mut rows = ReaderBuilder::new().has_headers(false).flexible(true).from_reader(bytes).into_records();
    let header = rows.next().transpose().map_err(|error| unreadable(&error))?.unwrap_or_default();
    let columns = columns(&header)?;
    let mut written = Vec::new();
    for record in rows {
        let record = record.map_err(|error| unreadable(&error))?;
        let line = record.position().map_or(0, ::csv::Position::line);
        if record.len() > header.len() {
            let what = format!("{} fields found, {} were wanted", record.len(), header.len());
            return Err(NotReadings { line, what });
        }
        for (staff, sight) in &columns {
            let text = |at: usize| record.get(at).map_or("", str::trim).to_owned();
            if text(*staff).is_empty() {
                return Err(NotReadings { line, what: "no staff reading found".to_owned() });
            }
            let sight = sight.map(text).filter(|sight| !sight.is_empty());
            written.push(Written { staff: text(*staff), sight });
        }
        if written.len() > READINGS_MAX {
            return Err(NotReadings { line, what: format!("more than {READINGS_MAX} readings found") });
        }
    }
    Ok(written)
}

/// Where staff readings and their sight lengths stand in a row, in the order in which they were taken.
fn columns(header: &StringRecord) -> Result<Vec<(usize, Option<usize>)>, NotReadings> {
    let titles: Vec<&str> = header.iter().map(|title| title.trim_start_matches('\u{feff}').trim()).collect();
    let at = |wanted: &str| titles.iter().position(|title| *title == wanted);
    let known = ["staff", "sight", "back", "fore", "back-sight", "fore-sight"];
    let wanted = "staff,sight or back,fore was wanted as the first line";
    if let Some(unknown) = titles.iter().find(|title| !known.contains(*title)) {
        return Err(NotReadings { line: 1, what: format!("column {unknown:?} found, {wanted}") });
    }
    match (at("staff"), at("back"), at("fore")) {
        (Some(staff), None, None) => Ok(vec![(staff, at("sight"))]),
        (None, Some(back), Some(fore)) => Ok(vec![(back, at("back-sight")), (fore, at("fore-sight"))]),
        _ => Err(NotReadings { line: 1, what: wanted.to_owned() }),
    }
}

fn unreadable(error: &::csv::Error) -> NotReadings {
    // Rows may have any number of fields and the bytes are in memory, so only their encoding can be wrong.
    let line = error.position().map_or(1, ::csv::Position::line);
    NotReadings { line, what: "the bytes are not UTF-8 text".to_owned() }
}

/// Where and why a list of readings cannot be read.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct NotReadings {
    /// Counted from 1.
    pub line: u64,
    /// What was found, what was wanted.
    pub what: String,
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
            ("1.22,1.06\n", "line 1: column \"1.22\" found, staff,sight or back,fore was wanted as the first line"),
            ("back\n1.22\n", "line 1: staff,sight or back,fore was wanted as the first line"),
            ("staff\n1.22\n\"\"\n", "line 3: no staff reading found"),
            ("staff\n1,22\n", "line 2: 2 fields found, 1 were wanted"),
        ] {
            assert_eq!(read(text.as_bytes()).unwrap_err().to_string(), said);
        }
    }
}
