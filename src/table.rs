//! Lists of comma-separated values (RFC 4180) whose first line names the columns, in any order.
//!
//! What the columns are and what a row says is the affair of whoever reads the list.

use std::fmt;
use std::rc::Rc;

use ::csv::{Position, ReaderBuilder, StringRecord, StringRecordsIntoIter};

/// A list that is being read: its rows, in order.
pub struct Table<'b> {
    names: &'static [&'static str],
    /// Where each column stands in the rows.
    places: Rc<[Option<usize>]>,
    /// Fields of the first line.
    width: usize,
    rows: StringRecordsIntoIter<&'b [u8]>,
}

/// A row of a list.
#[derive(Debug)]
pub struct Row {
    /// Its line, counted from 1.
    pub line: u64,
    fields: StringRecord,
    places: Rc<[Option<usize>]>,
}

impl Row {
    /// What stands in a column; empty where the list does not have it.
    pub fn text(&self, column: usize) -> &str {
        self.places[column].and_then(|at| self.fields.get(at)).map_or("", str::trim)
    }
}

/// Opens a list by its first line.
///
/// # Errors
/// A column that is not among `names`, one that stands twice, or one of `needed` that is missing.
pub fn table<'b>(bytes: &'b [u8], names: &'static [&'static str], needed: &[usize]) -> Result<Table<'b>, NotATable> {
    let mut rows = ReaderBuilder::new().has_headers(false).flexible(true).from_reader(bytes).into_records();
    let heads = rows.next().transpose().map_err(|error| unreadable(&error))?.unwrap_or_default();
    let mut places = vec![None; names.len()];
    let wrong = |fault| NotATable { line: 1, fault };
    for (at, title) in heads.iter().enumerate() {
        let found = title.trim_start_matches('\u{feff}').trim();
        match names.iter().position(|name| *name == found).map(|known| &mut places[known]) {
            Some(place @ None) => *place = Some(at),
            Some(Some(_)) => return Err(wrong(Fault::ColumnTwice { found: found.to_owned() })),
            None => return Err(wrong(Fault::UnknownColumn { found: found.to_owned(), names })),
        }
    }
    match needed.iter().find(|needed| places[**needed].is_none()) {
        Some(missing) => Err(wrong(Fault::NoColumn { wanted: names[*missing], names })),
        None => Ok(Table { names, places: places.into(), width: heads.len(), rows }),
    }
}

impl Table<'_> {
    /// Whether the list has a column.
    pub fn has(&self, name: &str) -> bool {
        self.names.iter().zip(&*self.places).any(|(held, place)| *held == name && place.is_some())
    }
}

impl Iterator for Table<'_> {
    type Item = Result<Row, NotATable>;

    /// The next row. Fields that no column names are refused: a comma inside an unquoted text would otherwise shift the
    /// numbers unseen.
    fn next(&mut self) -> Option<Self::Item> {
        let fields = match self.rows.next()? {
            Ok(fields) => fields,
            Err(error) => return Some(Err(unreadable(&error))),
        };
        let line = fields.position().map_or(0, Position::line);
        let (found, wanted) = (fields.len(), self.width);
        Some(if found > wanted {
            Err(NotATable { line, fault: Fault::TooMany { found, wanted } })
        } else {
            Ok(Row { line, fields, places: Rc::clone(&self.places) })
        })
    }
}

fn unreadable(error: &::csv::Error) -> NotATable {
    // Rows may have any number of fields and the bytes are in memory, so only their encoding can be wrong.
    NotATable { line: error.position().map_or(1, Position::line), fault: Fault::NotText }
}

/// Where and why a list cannot be read as one.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct NotATable {
    /// Counted from 1.
    pub line: u64,
    /// What is wrong.
    pub fault: Fault,
}

/// What is wrong with a list.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Fault {
    /// Not text in UTF-8.
    NotText,
    /// A column that does not exist.
    UnknownColumn {
        /// What was found.
        found: String,
        /// The columns that there are.
        names: &'static [&'static str],
    },
    /// A column that is there already.
    ColumnTwice {
        /// Which.
        found: String,
    },
    /// A column that is needed and not there.
    NoColumn {
        /// Which.
        wanted: &'static str,
        /// The columns that there are.
        names: &'static [&'static str],
    },
    /// More fields than columns.
    TooMany {
        /// How many.
        found: usize,
        /// How many columns there are.
        wanted: usize,
    },
}

impl fmt::Display for Fault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Fault::NotText => write!(f, "the bytes are not UTF-8 text"),
            Fault::UnknownColumn { found, names } => {
                write!(f, "column {found:?} found, the columns are {}, with commas between", names.join(","))
            }
            Fault::ColumnTwice { found } => write!(f, "column {found} found twice, once was wanted"),
            Fault::NoColumn { wanted, names } => {
                write!(f, "no column {wanted} found, the columns are {}", names.join(","))
            }
            Fault::TooMany { found, wanted } => write!(
                f,
                "{found} fields found, {wanted} were wanted: put a name with a comma, or a number with one, into double quotes \
                 or write the number with a decimal point"
            ),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read(text: &str) -> Result<Vec<[String; 2]>, NotATable> {
        let row = |row: Row| [0, 1].map(|column| row.text(column).to_owned());
        table(text.as_bytes(), &["name", "size"], &[0])?.map(|found| found.map(row)).collect()
    }

    #[test]
    fn columns_stand_in_any_order_and_may_be_left_out() {
        assert_eq!(read("\u{feff}size , name\n1, A\n2,\"B, C\"\n").unwrap(), [["A", "1"], ["B, C", "2"]]);
        assert_eq!(read("name\nA\n").unwrap(), [["A", ""]]);
        assert_eq!(read("name,size\nA\n").unwrap(), [["A", ""]]);
    }

    #[test]
    fn a_list_that_cannot_be_one_is_told_its_line() {
        for (text, line, said) in [
            ("name,name\n", 1, "column name found twice, once was wanted"),
            ("nam\n", 1, "column \"nam\" found, the columns are name,size, with commas between"),
            ("size\n1\n", 1, "no column name found, the columns are name,size"),
            ("", 1, "no column name found, the columns are name,size"),
            (
                "name\nA\nB,1\n",
                3,
                "2 fields found, 1 were wanted: put a name with a comma, or a number with one, into double",
            ),
        ] {
            let error = read(text).unwrap_err();
            assert_eq!(error.line, line, "{text:?}");
            assert!(error.fault.to_string().starts_with(said), "{}", error.fault);
        }
        let bytes = b"name\nA\n\xff\n";
        let last = table(bytes, &["name"], &[0]).unwrap().last().unwrap().unwrap_err();
        assert_eq!(last, NotATable { line: 3, fault: Fault::NotText });
    }
}
