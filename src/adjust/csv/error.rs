//! Where and why a network cannot be read from its rows.

use std::fmt;

use super::{COLUMNS, Column};
use crate::book::reading::PointNameError;
use crate::table::{Fault, NotATable};
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
    /// Not such a list at all.
    Table(Fault),
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

impl From<NotATable> for CsvError {
    fn from(not: NotATable) -> Self {
        CsvError { line: not.line, column: None, problem: Problem::Table(not.fault) }
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
        match self {
            Problem::Table(fault) => fault.fmt(f),
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
