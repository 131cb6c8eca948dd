//! Selected inversion: those entries of N^-1 that lie on the pattern of the Cholesky factor, without the others.
//!
//! They hold every variance, and the covariance of the two ends of every observation, which is all that redundancy numbers
//! and tests need. For a supernode with columns J and rows I below them, and Z = N^-1 already known among I:
//!
//! ```text
//! Y    = L_IJ L_JJ^-1
//! Z_IJ = -Z_II Y
//! Z_JJ = L_JJ'^-1 L_JJ^-1 - Y' Z_IJ
//! ```
//!
//! Supernodes are walked from the last to the first. Z_II is there because the rows of a supernode below its k-th ancestor's
//! first column are all among that ancestor's.
//! Cost: two to three times that of the factorisation; memory as L.
//! Source: Takahashi, Fagan, Chin 1973; Erisman, Tinney 1975 (from memory), by blocks. Checked against: a dense inverse.

use faer::linalg::matmul::matmul;
use faer::linalg::triangular_solve::{solve_lower_triangular_in_place, solve_upper_triangular_in_place};
use faer::prelude::{Reborrow, ReborrowMut};
use faer::{Accum, Mat, MatMut, MatRef, Par};

use super::solve::Factor;

/// Entries of the inverse of a normal matrix, m^2.
pub(super) struct SelectedInverse<'a> {
    factor: &'a Factor,
    /// The supernode of each column, in the ordering of the factor.
    supernode_of: Vec<u32>,
    /// Dense blocks, laid out as those of the factor.
    values: Vec<f64>,
}

/// Where a supernode stands, and its rows below the diagonal block.
#[derive(Clone, Copy)]
struct Block<'a> {
    start: usize,
    columns: usize,
    below: &'a [u32],
    /// Where its values start.
    values: usize,
}

impl Block<'_> {
    fn height(&self) -> usize {
        self.columns + self.below.len()
    }

    /// The row of the block that holds row `row` of the matrix; `None` outside of the pattern.
    fn row(&self, row: usize) -> Option<usize> {
        match row.checked_sub(self.start)? {
            inside if inside < self.columns => Some(inside),
            _ => self.below.binary_search(&(row as u32)).ok().map(|at| self.columns + at),
        }
    }
}

impl<'a> SelectedInverse<'a> {
    /// Computes them from a factor.
    pub(super) fn new(factor: &'a Factor) -> Self {
        let supernodes = factor.supernodes();
        let mut supernode_of = vec![0; supernodes.ncols()];
        for (at, (&begin, &end)) in supernodes.supernode_begin().iter().zip(supernodes.supernode_end()).enumerate() {
            supernode_of[begin as usize..end as usize].fill(at as u32);
        }
        let mut inverse = SelectedInverse { factor, supernode_of, values: vec![0.0; supernodes.len_val()] };
        let mut room = Room::default();
        for supernode in (0..supernodes.n_supernodes()).rev() {
            inverse.invert(supernode, &mut room);
        }
        inverse
    }

    /// The entry for two unknowns; they must be the same, or the ends of an observation.
    pub(super) fn at(&self, one: u32, other: u32) -> f64 {
        let places = self.factor.places();
        let [one, other] = [places[one as usize] as usize, places[other as usize] as usize];
        let (column, row) = (one.min(other), one.max(other));
        let block = self.block(self.supernode_of[column] as usize);
        let Some(row) = block.row(row) else { unreachable!("only entries on the pattern of the factor are asked for") };
        self.values[block.values + (column - block.start) * block.height() + row]
    }

    fn block(&self, supernode: usize) -> Block<'a> {
        let supernodes = self.factor.supernodes();
        let symbolic = supernodes.supernode(supernode);
        let end = supernodes.supernode_end()[supernode] as usize;
        Block {
            start: symbolic.start(),
            columns: end - symbolic.start(),
            below: symbolic.pattern(),
            values: supernodes.col_ptr_for_val()[supernode] as usize,
        }
    }

    /// Computes one supernode's block from those of its ancestors.
    fn invert(&mut self, supernode: usize, room: &mut Room) {
        let block = self.block(supernode);
        let (height, columns, below) = (block.height(), block.columns, block.below.len());
        let range = block.values..block.values + height * columns;
        let factor = MatRef::from_column_major_slice(&self.factor.values()[range.clone()], height, columns);
        let (l_jj, l_ij) = factor.split_at_row(columns);
        self.gather(block.below, room);
        let z_ii = MatRef::from_column_major_slice(&room.among_rows[..below * below], below, below);

        let mut block = MatMut::from_column_major_slice_mut(&mut self.values[range], height, columns);
        let (mut z_jj, mut z_ij) = block.rb_mut().split_at_row_mut(columns);
        let mut y = l_ij.to_owned();
        solve_upper_triangular_in_place(l_jj.transpose(), y.as_mut().transpose_mut(), Par::Seq);
        matmul(z_ij.rb_mut(), Accum::Replace, z_ii, y.as_ref(), -1.0, Par::Seq);

        let mut w = Mat::<f64>::identity(columns, columns);
        solve_lower_triangular_in_place(l_jj, w.as_mut(), Par::Seq);
        matmul(z_jj.rb_mut(), Accum::Replace, w.transpose(), w.as_ref(), 1.0, Par::Seq);
        matmul(z_jj, Accum::Add, y.transpose(), z_ij.rb(), -1.0, Par::Seq);
    }

    /// Collects Z among `rows` from the blocks of the supernodes that hold them, into a full square matrix.
    fn gather(&self, rows: &[u32], room: &mut Room) {
        let size = rows.len();
        if room.among_rows.len() < size * size {
            room.among_rows.resize(size * size, 0.0);
        }
        let mut first = 0;
        while first < size {
            let ancestor = self.block(self.supernode_of[rows[first] as usize] as usize);
            let end = ancestor.start + ancestor.columns;
            let inside = rows[first..].partition_point(|&row| (row as usize) < end);
            room.places.clear();
            let mut at = 0;
            for &row in &rows[first..] {
                if (row as usize) < end {
                    room.places.push(row as usize - ancestor.start);
                } else {
                    at += ancestor.below[at..].partition_point(|&held| held < row);
                    room.places.push(ancestor.columns + at);
                }
            }
            for (column, &held_at) in (first..).zip(&rows[first..first + inside]) {
                let start = ancestor.values + (held_at as usize - ancestor.start) * ancestor.height();
                let held = &self.values[start..start + ancestor.height()];
                for row in column..size {
                    let value = held[room.places[row - first]];
                    room.among_rows[column * size + row] = value;
                    room.among_rows[row * size + column] = value;
                }
            }
            first += inside;
        }
    }
}

/// Room that is used again for each supernode.
#[derive(Default)]
struct Room {
    /// Z among the rows of the supernode.
    among_rows: Vec<f64>,
    /// Where those rows stand in an ancestor's block.
    places: Vec<usize>,
}
