//! Cells in fixed columns: what stands between columns that are blank in every line.

use super::{Name, Table, Way, by_shape};

/// Tables by how long the line is and by what it begins with.
pub(super) fn tables(bodies: &[&[u8]]) -> Vec<Table> {
    let letters = |body: &[u8]| body.iter().take(2).copied().filter(u8::is_ascii_alphabetic).collect::<Vec<u8>>();
    let shape = |body: &&[u8]| (body.len() >= 4).then(|| (body.len(), letters(body)));
    by_shape(bodies.iter().map(shape), 3)
        .into_iter()
        .map(|((len, _), alike)| {
            let blank: Vec<bool> =
                (0..len).map(|column| alike.iter().all(|&body| bodies[body][column] == b' ')).collect();
            let mut cells: Vec<std::ops::Range<usize>> = Vec::new();
            for column in (0..len).filter(|&column| !blank[column]) {
                match cells.last_mut() {
                    Some(cell) if cell.end == column => cell.end = column + 1,
                    _ => cells.push(column..column + 1),
                }
            }
            let mut rows = vec![None; bodies.len()];
            for body in alike {
                rows[body] = Some(cells.iter().cloned().map(Some).collect());
            }
            let names = cells.iter().map(|cell| Name::Columns(cell.start + 1, cell.end)).collect();
            Table { way: Way::Columns, names, rows }
        })
        .collect()
}
