//! A list of design elevations, as comma-separated values (RFC 4180).
//!
//! ```text
//! target,elevation,offset,unit,tolerance,distance,ground,means
//! C-5,55.000,5.000,ft,0.003,,,finished floor
//! A,26.5,,m,,0,27.00,invert
//! B,,,m,,100,26.34,invert
//! E,24.5,,m,,400,25.70,invert
//! ```
//!
//! | column | meaning |
//! |---|---|
//! | `target` | its name |
//! | `elevation` | design elevation; empty: on the grade between the nearest rows above and below that have one, by `distance` |
//! | `offset` | added to the elevation: the target stands so much above what it stands for |
//! | `unit` | of every length in the row: `m`, `ft`, `sft`; one a list |
//! | `tolerance` | how near it must be set |
//! | `distance` | along the grade |
//! | `ground` | elevation of the ground or peg there, for cut and fill |
//! | `means` | what it stands for, in words |
//!
//! The first line names the columns, in any order; all but `target`, `elevation` and `unit` may be left out.
//! The format is this project's own.

use std::fmt;

use super::{NoGrade, on_grade};
use crate::book::activity::DesignTarget;
use crate::book::reading::PointName;
use crate::table::{self, NotATable, table};
use crate::units::{Length, Measured, Unit};

/// The columns.
pub const COLUMNS: [&str; 8] = ["target", "elevation", "offset", "unit", "tolerance", "distance", "ground", "means"];

/// The longest list that is read: a building has fewer targets than this, and one list is one look at a screen.
pub const ROWS_MAX: usize = 10_000;

/// One row, its elevation worked out.
#[derive(Clone, Debug, PartialEq)]
pub struct Row {
    /// The target.
    pub target: DesignTarget,
    /// Where it lies along a grade.
    pub distance: Option<Length>,
    /// The ground there.
    pub ground: Option<Length>,
}

/// A row as it stands in the file.
struct Raw {
    line: u64,
    name: PointName,
    elevation: Option<Measured>,
    offset: Option<Measured>,
    tolerance: Option<Length>,
    distance: Option<Length>,
    ground: Option<Length>,
    means: Option<String>,
    unit: Unit,
}

/// Reads a list.
///
/// # Errors
/// The first row that cannot be read, by its line.
pub fn read(bytes: &[u8]) -> Result<Vec<Row>, ListError> {
    let mut raws: Vec<Raw> = Vec::new();
    for row in table(bytes, &COLUMNS, &NEEDED)? {
        let row = row?;
        if raws.len() == ROWS_MAX {
            return Err(ListError { line: row.line, what: format!("more than {ROWS_MAX} rows found") });
        }
        let raw = raw(&row)?;
        check_against(&raws, &raw)?;
        raws.push(raw);
    }
    if raws.is_empty() {
        return Err(ListError { line: 1, what: "no target found below the column heads".to_owned() });
    }
    (0..raws.len()).map(|at| row(&raws, at)).collect()
}

/// The columns that must be there: `target`, `elevation`, `unit`.
const NEEDED: [usize; 3] = [0, 1, 3];

fn raw(row: &table::Row) -> Result<Raw, ListError> {
    let (line, text) = (row.line, |column: usize| row.text(column));
    let wrong = |column: usize, what: String| ListError { line, what: format!("column {}: {what}", COLUMNS[column]) };
    let unit: Unit = text(3).parse().map_err(|error: crate::units::LengthError| wrong(3, error.to_string()))?;
    let measured = |column: usize| match text(column) {
        "" => Ok(None),
        digits => Measured::parse(digits, unit).map(Some).map_err(|error| wrong(column, error.to_string())),
    };
    let length = |column: usize| measured(column).map(|measured| measured.map(|measured| measured.value()));
    Ok(Raw {
        line,
        name: PointName::new(text(0)).map_err(|error| wrong(0, error.to_string()))?,
        elevation: measured(1)?,
        offset: measured(2)?,
        tolerance: length(4)?.map_or(Ok(None), |tolerance| {
            if tolerance > Length::ZERO {
                Ok(Some(tolerance))
            } else {
                Err(wrong(4, format!("{} found, more than nought was wanted", text(4))))
            }
        })?,
        distance: length(5)?,
        ground: length(6)?,
        means: Some(text(7).to_owned()).filter(|means| !means.is_empty()),
        unit,
    })
}

/// What rows must have in common.
fn check_against(raws: &[Raw], raw: &Raw) -> Result<(), ListError> {
    let Some(first) = raws.first() else { return Ok(()) };
    if raw.unit != first.unit {
        let what = format!("{} found, the rows above are in {}: one unit a list was wanted", raw.unit, first.unit);
        return Err(ListError { line: raw.line, what });
    }
    match raws.iter().find(|earlier| earlier.name == raw.name) {
        None => Ok(()),
        Some(earlier) => {
            let what = format!("{} stands in line {} already, once was wanted", raw.name, earlier.line);
            Err(ListError { line: raw.line, what })
        }
    }
}

fn row(raws: &[Raw], at: usize) -> Result<Row, ListError> {
    let raw = &raws[at];
    let base = match raw.elevation {
        Some(elevation) => elevation.value(),
        None => between(raws, at)?,
    };
    let design = base + raw.offset.map_or(Length::ZERO, |offset| offset.value());
    let decimals = [raw.elevation, raw.offset].into_iter().flatten().map(|m| m.digits().decimals()).max();
    // A grade seldom ends as a decimal: a tenth of a millimetre or of a thousandth of a foot is finer than any target.
    let decimals = decimals.filter(|_| raw.elevation.is_some()).unwrap_or(4);
    let design = Measured::from_length(design, raw.unit, decimals)
        .map_err(|error| ListError { line: raw.line, what: error.to_string() })?;
    let target = DesignTarget {
        name: raw.name.clone(),
        design,
        offset: raw.offset,
        tolerance: raw.tolerance,
        means: raw.means.clone(),
    };
    Ok(Row { target, distance: raw.distance, ground: raw.ground })
}

/// The elevation of a row without one, on the grade between its neighbours.
fn between(raws: &[Raw], at: usize) -> Result<Length, ListError> {
    let raw = &raws[at];
    let wrong = |what: &str| ListError { line: raw.line, what: format!("{} has no elevation, and {what}", raw.name) };
    let distance = raw.distance.ok_or_else(|| wrong("no distance along a grade either"))?;
    let given = |raw: &Raw| Some((raw.distance?, raw.elevation?.value()));
    let above = raws[..at].iter().rev().find_map(given);
    let below = raws[at + 1..].iter().find_map(given);
    let (Some(above), Some(below)) = (above, below) else {
        return Err(wrong("a row above and one below with distance and elevation were wanted"));
    };
    on_grade(above, below, distance).map_err(|NoGrade { .. }| wrong("the rows about it lie at the same distance"))
}

/// Where and why a list cannot be read.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ListError {
    /// Counted from 1.
    pub line: u64,
    /// What was found, what was wanted.
    pub what: String,
}

impl From<NotATable> for ListError {
    fn from(not: NotATable) -> Self {
        ListError { line: not.line, what: not.fault.to_string() }
    }
}

impl fmt::Display for ListError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "line {}: {}", self.line, self.what)
    }
}

impl std::error::Error for ListError {}

#[cfg(test)]
mod tests {
    use super::*;

    const LIST: &str = "\
target,elevation,offset,unit,tolerance,distance,ground,means
A,26.5,,m,,0,27.00,invert
B,,,m,0.010,100,26.34,invert
D,,1.000,m,,300,,
E,24.5,,m,,400,25.70,invert
";

    fn error(text: &str) -> String {
        read(text.as_bytes()).unwrap_err().to_string()
    }

    #[test]
    fn rows_without_elevation_lie_on_the_grade_between_those_that_have_one() {
        let rows = read(LIST.as_bytes()).unwrap();
        let designs: Vec<String> = rows.iter().map(|row| row.target.design.digits().to_string()).collect();
        assert_eq!(designs, ["26.5", "26.0000", "26.0000", "24.5"], "D: 25.0 on the grade, and its offset");
        assert_eq!(rows[1].target.tolerance, Some(Length::from_mm(10)));
        assert_eq!(rows[0].target.means.as_deref(), Some("invert"));
        assert_eq!(rows[3].ground, Some(Length::from_mm(25_700)));
    }

    #[test]
    fn feet_and_metres_in_one_list_are_refused() {
        assert_eq!(
            error("target,elevation,unit\nA,100.0,ft\nB,30.5,m\n"),
            "line 3: m found, the rows above are in ft: one unit a list was wanted"
        );
    }

    #[test]
    fn other_bad_lists_are_told_their_line() {
        for (text, said) in [
            ("target,elevation\nA,1\n", "line 1: no column unit found, the columns are target,elevation,offset,"),
            ("target,elevation,unit\n", "line 1: no target found below the column heads"),
            ("target,elevation,unit,x\n", "line 1: column \"x\" found, the columns are"),
            ("target,elevation,unit\nA,1,m\nA,2,m\n", "line 3: A stands in line 2 already, once was wanted"),
            ("target,elevation,unit\nA,1.x,m\n", "line 2: column elevation: "),
            ("target,elevation,unit\nA,,m\n", "line 2: A has no elevation, and no distance along a grade either"),
            (
                "target,elevation,unit,distance\nA,1,m,0\nB,,m,5\n",
                "line 3: B has no elevation, and a row above and one below with distance and elevation were wanted",
            ),
            ("target,elevation,unit\nA, 1,2,m\n", "line 2: 4 fields found, 3 were wanted"),
            ("target,elevation,unit,tolerance\nA,1,m,0\n", "line 2: column tolerance: 0 found, more than nought"),
        ] {
            assert!(error(text).starts_with(said), "{}", error(text));
        }
        assert!(error("target,elevation,unit\n\u{fffd}").starts_with("line 2"));
        assert!(read(b"target,elevation,unit\n\xff,1,m\n").unwrap_err().what.contains("UTF-8"));
    }
}
