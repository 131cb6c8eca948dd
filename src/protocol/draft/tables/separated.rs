//! Cells between separators.

use super::{CELLS_MAX, Name, Table, Way, by_shape};

/// Tables by each separator and by how many cells there are.
pub(super) fn tables(bodies: &[&[u8]], separators: &[u8]) -> Vec<Table> {
    let mut tables = Vec::new();
    for &separator in separators {
        let repeats = separator == b' ';
        let cells: Vec<_> = bodies.iter().map(|body| split(body, separator, repeats)).collect();
        let counts = cells.iter().map(|cells| Some(cells.len()).filter(|count| (2..=CELLS_MAX).contains(count)));
        for (count, _) in by_shape(counts, 3) {
            let rows =
                cells.iter().map(|cells| (cells.len() == count).then(|| cells.iter().cloned().map(Some).collect()));
            let names = (0..count).map(Name::Place).collect();
            tables.push(Table { way: Way::Separated { separator, repeats }, names, rows: rows.collect() });
        }
    }
    tables
}

fn split(body: &[u8], separator: u8, repeats: bool) -> Vec<std::ops::Range<usize>> {
    let mut cells = Vec::new();
    let mut begin = 0;
    for at in memchr::memchr_iter(separator, body).chain([body.len()]) {
        if !(repeats && begin == at) {
            cells.push(begin..at);
        }
        begin = at + 1;
    }
    // A separator in front of the first cell, or behind the last, leaves an empty one that cannot be written.
    if repeats && (body.first() == Some(&separator) || body.last() == Some(&separator)) {
        cells.clear();
    }
    cells
}
