//! Where and why a network cannot be read from its rows.

use std::fmt;

use super::{COLUMNS, Column};
use crate::book::reading::PointNameError;
use crate::units::LengthError;

/// Where and why a network cannot be read.
#[derive(Clone, Debug, PartialEq)]
pub struct CsvError {
    /// Counted from 1.
    pub line: u64,
    /// In which column, where it is one.
    pub column: Option<Column>,
    /// What is wrong.
    pub problem: Problem,
}

/// What is wrong with a row.
#[derive(Clone, Debug, PartialEq)]
pub enum Problem {
    /// Not text in UTF-8.
    NotText,
    /// A column that does not exist.
    UnknownColumn {
        /// What was found.
        found: String,
    },
    /// A column that is there already.
    ColumnTwice {
        /// Which.
        found: String,
    },
    /// A column that is needed and not there.
    NoColumn {
        /// Which.
        wanted: Column,
    },
    /// More fields than columns.
    TooMany {
        /// How many.
        found: usize,
        /// How many columns there are.
        wanted: usize,
    },
    /// A row that says nothing we know.
    UnknownKind {
        /// What was found.
        found: String,
        /// Whether the words of a plan were allowed.
        plan: bool,
    },
    /// No height, where nothing can be done without.
    NoHeight,
    /// Not a number of setups.
    NotWhole {
        /// What was found.
        found: String,
    },
    /// Not a length, or not a unit.
    Length(LengthError),
    /// Not a name of a point.
    Name(PointNameError),
}

impl CsvError {
    pub(super) fn in_header(problem: Problem) -> Self {
        CsvError { line: 1, column: None, problem }
    }
}

impl fmt::Display for CsvError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "line {}", self.line)?;
        if let Some(column) = self.column {
            write!(f, ", column {}", COLUMNS[column as usize])?;
        }
        write!(f, ": {}", self.problem)
    }
}

impl fmt::Display for Problem {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let all = COLUMNS.join(",");
        match self {
            Problem::NotText => write!(f, "the bytes are not UTF-8 text"),
            Problem::UnknownColumn { found } => {
                write!(f, "column {found:?} found, the columns are {all}, with commas between")
            }
            Problem::ColumnTwice { found } => write!(f, "column {found} found twice, once was wanted"),
            Problem::NoColumn { wanted } => {
                write!(f, "no column {} found, the columns are {all}", COLUMNS[*wanted as usize])
            }
            Problem::TooMany { found, wanted } => write!(
                f,
                "{found} fields found, {wanted} were wanted: put a name with a comma, or a number with one, into double quotes \
                 or write the number with a decimal point"
            ),
            Problem::UnknownKind { found, plan } => {
                let extra = if *plan { ", extra" } else { "" };
                write!(f, "{found:?} found, one of known, rise, aside, same{extra} was wanted")
            }
            Problem::NoHeight => write!(f, "nothing found, an elevation or an observed rise was wanted"),
            Problem::NotWhole { found } => write!(f, "{found:?} found, a whole number of setups was wanted"),
            Problem::Length(error) => error.fmt(f),
            Problem::Name(error) => error.fmt(f),
        }
    }
}

impl std::error::Error for CsvError {}
