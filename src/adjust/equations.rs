//! Normal equations of a levelling network, taken apart into lines between junctions.
//!
//! Model: l + v = A x, with v'Pv least; N = A'PA, N x = A'P l.
//!
//! | symbol | meaning | shape | unit |
//! |---|---|---|---|
//! | x | corrections to the approximate elevations of the free junctions | u | m |
//! | l | misfits of the lines, corrections of held junctions moved in; known corrections of weighted marks | n | m |
//! | A | -1 at the start of a line, +1 at its end; 1 at a weighted mark | n x u | - |
//! | P | 1 / variance, of a line the sum over its sections | n x n diagonal | m^-2 |
//! | v | residuals, adjusted less observed | n | m |
//!
//! Sign: a rise from `from` to `to` is positive.
//! Needs: each part of the network holds a known mark; `Network` refuses others, so a failed Cholesky comes from weights
//! too far apart for 64-bit floats.
//! Gives: the lower triangle of N by columns, rows ascending, the diagonal first; and right-hand sides.
//! Cost: linear in lines, but for the sorting of each column.
//! Source: any textbook of adjustment, from memory. Checked against: `level_network_*`, SciPy on generated networks.

use super::lines::{Line, Lines, Role};

/// The normal matrix of the free junctions: its lower triangle, in compressed columns.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Equations {
    /// The unknown of each junction; `None` where it is fixed.
    pub unknown: Vec<Option<u32>>,
    /// Where each column starts in the two lists below.
    pub starts: Vec<u32>,
    /// Row of each entry.
    pub rows: Vec<u32>,
    /// Value of each entry, m^-2.
    pub values: Vec<f64>,
}

impl Equations {
    /// Forms N. `roles` has an entry a mark of the network.
    pub(super) fn new(lines: &Lines, roles: &[Role]) -> Self {
        let mut count = 0;
        let mut number = |role| match role {
            Role::Fixed(_) => None,
            Role::Free | Role::Weighted(..) => {
                count += 1;
                Some(count - 1)
            }
        };
        let role_of = |junction: usize| roles[lines.junctions[junction].index()];
        let unknown: Vec<Option<u32>> = (0..lines.junctions.len()).map(|junction| number(role_of(junction))).collect();

        let mut diagonal = vec![0.0; count as usize];
        let mut off_diagonal = Vec::with_capacity(lines.lines.len());
        for (junction, unknown) in unknown.iter().enumerate() {
            if let (Some(unknown), Role::Weighted(_, variance)) = (unknown, role_of(junction)) {
                diagonal[*unknown as usize] += 1.0 / variance;
            }
        }
        for line in &lines.lines {
            let weight = 1.0 / line.variance;
            let [from, to] = [unknown[line.from as usize], unknown[line.to as usize]];
            if line.from == line.to {
                continue; // a loop at one junction says nothing of its height
            }
            for end in [from, to].into_iter().flatten() {
                diagonal[end as usize] += weight;
            }
            if let (Some(from), Some(to)) = (from, to) {
                off_diagonal.push((from.min(to), from.max(to), -weight));
            }
        }
        compress(unknown, &diagonal, off_diagonal)
    }

    /// How many unknowns there are.
    pub(super) fn len(&self) -> usize {
        self.starts.len() - 1
    }

    /// `scale` times the difference of two columns of the inverse of N, those of a line's end and of its start, at each
    /// junction. A fixed junction has a column and a row of zeros.
    pub(super) fn column_difference(&self, inverse: &[f64], line: &Line, scale: f64, at_junctions: &mut [f64]) {
        let column = |junction: u32| {
            self.unknown[junction as usize].map(|unknown| &inverse[unknown as usize * self.len()..][..self.len()])
        };
        let (start, end) = (column(line.from), column(line.to));
        let value = |column: Option<&[f64]>, row: u32| column.map_or(0.0, |column| column[row as usize]);
        for (at, unknown) in at_junctions.iter_mut().zip(&self.unknown) {
            *at = unknown.map_or(0.0, |row| scale * (value(end, row) - value(start, row)));
        }
    }

    /// A'P l, m^-1. `misfits` has an entry a line.
    pub(super) fn right_side(&self, lines: &Lines, roles: &[Role], misfits: &[f64]) -> Vec<f64> {
        let mut right = vec![0.0; self.len()];
        for (unknown, mark) in self.unknown.iter().zip(&lines.junctions) {
            if let (Some(unknown), Role::Weighted(correction, variance)) = (unknown, roles[mark.index()]) {
                right[*unknown as usize] += correction / variance;
            }
        }
        let held = |junction: u32| match roles[lines.junctions[junction as usize].index()] {
            Role::Fixed(correction) => correction,
            Role::Free | Role::Weighted(..) => 0.0,
        };
        for (line, misfit) in lines.lines.iter().zip(misfits) {
            let &Line { from, to, variance, .. } = line;
            if from == to {
                continue;
            }
            if let Some(unknown) = self.unknown[from as usize] {
                right[unknown as usize] += (held(to) - misfit) / variance;
            }
            if let Some(unknown) = self.unknown[to as usize] {
                right[unknown as usize] += (held(from) + misfit) / variance;
            }
        }
        right
    }
}

/// Sorts the entries below the diagonal into columns, and adds up those that fall on one place.
fn compress(unknown: Vec<Option<u32>>, diagonal: &[f64], mut below: Vec<(u32, u32, f64)>) -> Equations {
    below.sort_unstable_by_key(|&(column, row, _)| (column, row));
    let mut below = below.into_iter().peekable();
    let mut equations = Equations { unknown, starts: vec![0], rows: Vec::new(), values: Vec::new() };
    for (column, value) in (0u32..).zip(diagonal) {
        equations.rows.push(column);
        equations.values.push(*value);
        while let Some((_, row, value)) = below.next_if(|entry| entry.0 == column) {
            match (equations.rows.last(), equations.values.last_mut()) {
                (Some(last), Some(sum)) if *last == row => *sum += value,
                _ => {
                    equations.rows.push(row);
                    equations.values.push(value);
                }
            }
        }
        equations.starts.push(equations.rows.len() as u32);
    }
    equations
}
