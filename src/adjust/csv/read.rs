//! Reading a network, row by row, each refusal at its line and column.

use super::error::{CsvError, Problem};
use super::{COLUMNS, Column};
use crate::adjust::given::{Given, Hold, KnownMark, Section};
use crate::book::reading::PointName;
use crate::formula::unguarded;
use crate::table::{self, table};
use crate::units::{Length, Unit};

/// The columns that must be there.
const NEEDED: [usize; 5] =
    [Column::Kind as usize, Column::From as usize, Column::To as usize, Column::Height as usize, Column::Unit as usize];

/// A network that is to be levelled, and runs that could be added to it.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Intended {
    /// Known marks and the runs that are meant to be done; heights that were left empty are zero.
    pub given: Given,
    /// Runs that could be added.
    pub extra: Vec<Section<PointName>>,
}

/// Reads a network.
///
/// # Errors
/// The first row that cannot be read, by its line and column.
pub fn read(bytes: &[u8]) -> Result<Given, CsvError> {
    read_rows(bytes, Heights::Needed).map(|intended| intended.given)
}

/// Reads a plan: as a network, but heights may be empty, and there may be `extra` rows.
///
/// # Errors
/// As [`read`].
pub fn read_plan(bytes: &[u8]) -> Result<Intended, CsvError> {
    read_rows(bytes, Heights::Optional)
}

/// Whether a row without a height is an error.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Heights {
    Needed,
    Optional,
}

fn read_rows(bytes: &[u8], heights: Heights) -> Result<Intended, CsvError> {
    let mut read = Intended::default();
    for row in table(bytes, &COLUMNS, &NEEDED)? {
        let row = Row { row: row?, heights };
        let given = &mut read.given;
        match row.text(Column::Kind) {
            "known" => given.known.push(row.known()?),
            "rise" => given.sections.push(row.section()?),
            "aside" => given.set_aside.push(row.section()?),
            "same" => given.same.push([row.name(Column::From)?, row.name(Column::To)?]),
            "extra" if heights == Heights::Optional => read.extra.push(row.section()?),
            other => {
                return Err(row.wrong(
                    Column::Kind,
                    Problem::UnknownKind { found: other.to_owned(), plan: heights == Heights::Optional },
                ));
            }
        }
    }
    Ok(read)
}

/// One row that is being read.
struct Row {
    row: table::Row,
    heights: Heights,
}

impl Row {
    fn text(&self, column: Column) -> &str {
        self.row.text(column as usize)
    }

    fn wrong(&self, column: Column, problem: Problem) -> CsvError {
        CsvError { line: self.row.line, column: Some(column), problem }
    }

    fn known(&self) -> Result<KnownMark, CsvError> {
        let hold = self.length(Column::Deviation)?.map_or(Hold::Fixed, Hold::Weighted);
        Ok(KnownMark { mark: self.name(Column::From)?, elevation: self.height()?, hold })
    }

    fn section(&self) -> Result<Section<PointName>, CsvError> {
        let setups = match self.text(Column::Setups) {
            "" => None,
            text => Some(
                text.parse().map_err(|_| self.wrong(Column::Setups, Problem::NotWhole { found: text.to_owned() }))?,
            ),
        };
        Ok(Section {
            from: self.name(Column::From)?,
            to: self.name(Column::To)?,
            rise: self.height()?,
            length: self.length(Column::Length)?,
            setups,
            deviation: self.length(Column::Deviation)?,
        })
    }

    fn name(&self, column: Column) -> Result<PointName, CsvError> {
        PointName::new(unguarded(self.text(column))).map_err(|error| self.wrong(column, Problem::Name(error)))
    }

    fn height(&self) -> Result<Length, CsvError> {
        match (self.length(Column::Height)?, self.heights) {
            (Some(height), _) => Ok(height),
            (None, Heights::Optional) => Ok(Length::ZERO),
            (None, Heights::Needed) => Err(self.wrong(Column::Height, Problem::NoHeight)),
        }
    }

    fn length(&self, column: Column) -> Result<Option<Length>, CsvError> {
        match self.text(column) {
            "" => Ok(None),
            text => {
                let unit: Unit = self
                    .text(Column::Unit)
                    .parse()
                    .map_err(|error| self.wrong(Column::Unit, Problem::Length(error)))?;
                Length::parse(text, unit).map(Some).map_err(|error| self.wrong(column, Problem::Length(error)))
            }
        }
    }
}
