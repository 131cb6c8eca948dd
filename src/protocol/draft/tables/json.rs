//! Cells of a JSON object, by their pointers.

use std::ops::Range;

use super::{CELLS_MAX, Name, Table, Way};
use crate::protocol::limits::DEPTH_MAX;

/// The table of bodies that are objects.
pub(super) fn table(bodies: &[&[u8]]) -> Option<Table> {
    let mut names: Vec<Name> = Vec::new();
    let mut rows = Vec::new();
    for body in bodies {
        let mut cells = Vec::new();
        let mut reader = Reader { bytes: body, at: 0, cells: &mut cells };
        let whole = body.trim_ascii_start().starts_with(b"{") && reader.value(String::new(), 0).is_some();
        if !whole {
            rows.push(None);
            continue;
        }
        let mut row = vec![None; names.len()];
        for (name, place) in cells {
            match names.iter().position(|known| *known == name) {
                Some(at) => row[at] = Some(place),
                None => {
                    names.push(name);
                    row.push(Some(place));
                }
            }
        }
        rows.push(Some(row));
        if names.len() > CELLS_MAX {
            return None;
        }
    }
    for row in rows.iter_mut().flatten() {
        row.resize(names.len(), None);
    }
    let mut table = Table { way: Way::Json, names, rows };
    one_for_each_pointer(&mut table);
    Some(table)
}

/// Where a value stands in quotes in some bodies and bare in others, the fewer are damaged.
fn one_for_each_pointer(table: &mut Table) {
    let path = |name: &Name| match name {
        Name::Pointer { path, .. } => path.clone(),
        _ => String::new(),
    };
    let often = |cell: usize| table.rows.iter().flatten().filter(|row| row[cell].is_some()).count();
    let paths: Vec<String> = table.names.iter().map(path).collect();
    let rare: Vec<bool> = (0..paths.len())
        .map(|cell| {
            let others = (0..paths.len()).filter(|other| *other != cell && paths[*other] == paths[cell]);
            others.map(often).any(|other| other > often(cell))
        })
        .collect();
    let is_damaged = |row: &[Option<Range<usize>>]| row.iter().zip(&rare).any(|(place, rare)| *rare && place.is_some());
    for row in &mut table.rows {
        *row = row.take().filter(|row| !is_damaged(row));
    }
    let mut keep = rare.iter().map(|rare| !rare);
    table.names.retain(|_| keep.next().unwrap_or(true));
    for row in table.rows.iter_mut().flatten() {
        let mut keep = rare.iter().map(|rare| !rare);
        row.retain(|_| keep.next().unwrap_or(true));
    }
}

/// A walk over a JSON value that notes where its scalars stand; it checks no more than it needs.
struct Reader<'a, 'c> {
    bytes: &'a [u8],
    at: usize,
    cells: &'c mut Vec<(Name, Range<usize>)>,
}

impl Reader<'_, '_> {
    fn space(&mut self) {
        while self.bytes.get(self.at).is_some_and(u8::is_ascii_whitespace) {
            self.at += 1;
        }
    }

    fn take(&mut self, wanted: u8) -> Option<()> {
        self.space();
        (self.bytes.get(self.at) == Some(&wanted)).then(|| self.at += 1)
    }

    fn value(&mut self, path: String, depth: usize) -> Option<()> {
        self.space();
        if depth > DEPTH_MAX || self.cells.len() > CELLS_MAX {
            return None;
        }
        match self.bytes.get(self.at)? {
            b'{' => {
                self.at += 1;
                if self.take(b'}').is_some() {
                    return Some(());
                }
                loop {
                    self.space();
                    let name = self.string()?;
                    let name = std::str::from_utf8(&self.bytes[name]).ok()?.replace('~', "~0").replace('/', "~1");
                    self.take(b':')?;
                    self.value(format!("{path}/{name}"), depth + 1)?;
                    if self.take(b',').is_none() {
                        return self.take(b'}');
                    }
                }
            }
            b'[' => {
                self.at += 1;
                if self.take(b']').is_some() {
                    return Some(());
                }
                for place in 0.. {
                    self.value(format!("{path}/{place}"), depth + 1)?;
                    if self.take(b',').is_none() {
                        break;
                    }
                }
                self.take(b']')
            }
            b'"' => {
                let place = self.string()?;
                self.cells.push((Name::Pointer { path, quoted: true }, place));
                Some(())
            }
            _ => {
                let begin = self.at;
                while self
                    .bytes
                    .get(self.at)
                    .is_some_and(|byte| !matches!(byte, b',' | b'}' | b']') && !byte.is_ascii_whitespace())
                {
                    self.at += 1;
                }
                self.cells.push((Name::Pointer { path, quoted: false }, begin..self.at));
                (begin < self.at).then_some(())
            }
        }
    }

    /// The content of a string; escapes are passed over.
    fn string(&mut self) -> Option<Range<usize>> {
        self.take(b'"')?;
        let begin = self.at;
        loop {
            match self.bytes.get(self.at)? {
                b'"' => break,
                b'\\' => self.at += 2,
                _ => self.at += 1,
            }
        }
        self.at += 1;
        Some(begin..self.at - 1)
    }
}
