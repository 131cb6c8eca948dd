//! Sparse Cholesky factorisation of the normal equations, and solutions with it.
//!
//! N = L L' after a fill-reducing ordering (approximate minimum degree), L in supernodes: runs of columns with one pattern,
//! kept as dense blocks. One thread: with two, factoring was slower every time it was measured.
//!
//! Source: the `faer` crate. Checked against: SciPy, and the residual A'Pv of generated networks.

use faer::dyn_stack::{MemBuffer, MemStack};
use faer::linalg::cholesky::llt::factor::LltRegularization;
use faer::sparse::linalg::SupernodalThreshold;
use faer::sparse::linalg::cholesky::{
    CholeskySymbolicParams, LltRef, SymbolicCholesky, SymbolicCholeskyRaw, SymmetricOrdering,
    factorize_symbolic_cholesky, supernodal::SymbolicSupernodalCholesky,
};
use faer::sparse::{SparseColMatRef, SymbolicSparseColMatRef};
use faer::{Conj, MatMut, Par, Side};

use super::equations::Equations;

/// Below zero, because a diagonal matrix takes no operations, and zero is not above a threshold of zero.
const ALWAYS_SUPERNODAL: SupernodalThreshold = SupernodalThreshold(-1.0);

/// The factor L of a normal matrix.
pub(super) struct Factor {
    symbolic: SymbolicCholesky<u32>,
    values: Vec<f64>,
}

impl Factor {
    /// Factors N; `None` where it is not positive definite to working precision.
    pub(super) fn new(equations: &Equations) -> Option<Self> {
        let n = equations.len();
        let pattern = SymbolicSparseColMatRef::new_checked(n, n, &equations.starts, None, &equations.rows);
        let params = CholeskySymbolicParams {
            supernodal_flop_ratio_threshold: ALWAYS_SUPERNODAL,
            ..CholeskySymbolicParams::default()
        };
        let symbolic = factorize_symbolic_cholesky(pattern, Side::Lower, SymmetricOrdering::Amd, params).ok()?;
        let mut values = vec![0.0; symbolic.len_val()];
        let mut scratch = MemBuffer::new(symbolic.factorize_numeric_llt_scratch::<f64>(Par::Seq, Default::default()));
        symbolic
            .factorize_numeric_llt(
                &mut values,
                SparseColMatRef::new(pattern, &equations.values),
                Side::Lower,
                LltRegularization::default(),
                Par::Seq,
                MemStack::new(&mut scratch),
                Default::default(),
            )
            .ok()?;
        Some(Factor { symbolic, values })
    }

    /// Solves N x = `right` in place, for one right side or for several, one after the other.
    pub(super) fn solve(&self, right: &mut [f64]) {
        let rows = self.symbolic.nrows();
        let columns = right.len() / rows;
        let mut scratch = MemBuffer::new(self.symbolic.solve_in_place_scratch::<f64>(columns, Par::Seq));
        LltRef::new(&self.symbolic, &self.values).solve_in_place_with_conj(
            Conj::No,
            MatMut::from_column_major_slice_mut(right, rows, columns),
            Par::Seq,
            MemStack::new(&mut scratch),
        );
    }

    /// The whole inverse of N, column by column; for small matrices.
    pub(super) fn inverse(&self) -> Vec<f64> {
        let n = self.symbolic.nrows();
        let mut inverse = vec![0.0; n * n];
        inverse.iter_mut().step_by(n + 1).for_each(|diagonal| *diagonal = 1.0);
        self.solve(&mut inverse);
        inverse
    }

    /// The supernodes of L.
    pub(super) fn supernodes(&self) -> &SymbolicSupernodalCholesky<u32> {
        match self.symbolic.raw() {
            SymbolicCholeskyRaw::Supernodal(supernodes) => supernodes,
            SymbolicCholeskyRaw::Simplicial(_) => unreachable!("the threshold forces supernodes"),
        }
    }

    /// The dense blocks of L, as [`Factor::supernodes`] lays them out.
    pub(super) fn values(&self) -> &[f64] {
        &self.values
    }

    /// Where each unknown went in the ordering.
    pub(super) fn places(&self) -> &[u32] {
        match self.symbolic.perm() {
            Some(ordering) => ordering.arrays().1,
            None => unreachable!("an ordering was asked for"),
        }
    }
}
