//! The bodies of text frames taken apart into cells, in every way that the language knows.
//!
//! A table is one such way: which frames it can take apart, and where each cell stands in them.

mod columns;
mod json;
mod keyed;
mod parts;
mod separated;

use std::ops::Range;

/// The most cells of a frame.
const CELLS_MAX: usize = 64;

/// The most tables of one cutting.
const TABLES_MAX: usize = 24;

/// How cells lie.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) enum Way {
    /// Between separators.
    Separated { separator: u8, repeats: bool },
    /// In columns.
    Columns,
    /// Behind their keys.
    Keyed { separator: Vec<u8>, joins: u8 },
    /// As JSON members.
    Json,
    /// Between literals, perhaps over several lines.
    Parts { line_end: Option<Vec<u8>> },
}

/// A name of a cell: its place, its key, or its pointer.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) enum Name {
    Place(usize),
    Key(Vec<u8>),
    Pointer {
        path: String,
        quoted: bool,
    },
    /// Its first and last column, counted from 1.
    Columns(usize, usize),
}

/// Frames taken apart in one way.
pub(super) struct Table {
    pub(super) way: Way,
    pub(super) names: Vec<Name>,
    /// For each body, where each cell stands in it; `None` for a body that cannot be taken apart so.
    pub(super) rows: Vec<Option<Vec<Option<Range<usize>>>>>,
}

impl Table {
    /// The cell of a body, if it is there.
    pub(super) fn cell<'a>(&self, bodies: &[&'a [u8]], row: usize, cell: usize) -> Option<&'a [u8]> {
        let place = self.rows[row].as_ref()?.get(cell)?.clone()?;
        bodies[row].get(place)
    }

    fn is_of_use(&self) -> bool {
        !self.names.is_empty() && self.names.len() <= CELLS_MAX && self.rows.iter().flatten().count() >= 2
    }
}

/// All tables of some bodies, the one that says most first.
pub(super) fn tables(bodies: &[&[u8]], line_end: Option<&[u8]>) -> Vec<Table> {
    let mut tables = Vec::new();
    if let Some(end) = line_end {
        tables.extend(parts::tables(bodies, Some(end)));
    }
    tables.extend(json::table(bodies));
    tables.extend(keyed::tables(bodies));
    tables.extend(separated::tables(bodies, b",;\t|/:"));
    tables.extend(columns::tables(bodies));
    tables.extend(separated::tables(bodies, b" "));
    if line_end.is_none() {
        tables.extend(parts::tables(bodies, None));
    }
    tables.retain(Table::is_of_use);
    tables.truncate(TABLES_MAX);
    tables
}

/// Whether bytes are text: what people could read, whatever the encoding.
pub(super) fn is_text(body: &[u8]) -> bool {
    let odd = body.iter().filter(|byte| !matches!(byte, b' '..=b'~' | b'\t' | b'\r' | b'\n' | 0xA0..=0xFF)).count();
    let beyond = body.iter().filter(|byte| **byte >= 0x80).count();
    odd == 0 && beyond * 4 <= body.len()
}

/// The shapes that come most often: each with the bodies that have it.
fn by_shape<K: PartialEq>(shapes: impl Iterator<Item = Option<K>>, most: usize) -> Vec<(K, Vec<usize>)> {
    let mut groups: Vec<(K, Vec<usize>)> = Vec::new();
    for (body, shape) in shapes.enumerate() {
        let Some(shape) = shape else { continue };
        match groups.iter().position(|(known, _)| *known == shape) {
            Some(at) => groups[at].1.push(body),
            None if groups.len() < SHAPES_MAX => groups.push((shape, vec![body])),
            None => {}
        }
    }
    groups.sort_by_key(|(_, bodies)| std::cmp::Reverse(bodies.len()));
    groups.truncate(most);
    groups
}

/// The most shapes that are told apart.
const SHAPES_MAX: usize = 64;
