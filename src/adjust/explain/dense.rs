//! Small dense systems, positive definite: as many unknowns as closures are looked at together.

/// The lower Cholesky factor of a small dense matrix, row by row.
pub(super) struct Factor {
    rows: Vec<f64>,
    count: usize,
}

impl Factor {
    /// `None` if the matrix is not positive definite.
    pub(super) fn new(mut matrix: Vec<f64>, count: usize) -> Option<Self> {
        for row in 0..count {
            for column in 0..=row {
                let dot: f64 = (0..column).map(|k| matrix[row * count + k] * matrix[column * count + k]).sum();
                let rest = matrix[row * count + column] - dot;
                if row != column {
                    matrix[row * count + column] = rest / matrix[column * count + column];
                } else if rest > 0.0 {
                    matrix[row * count + column] = rest.sqrt();
                } else {
                    return None;
                }
            }
        }
        Some(Factor { rows: matrix, count })
    }

    pub(super) fn solve(&self, right: &[f64]) -> Vec<f64> {
        let (l, n) = (&self.rows, self.count);
        let mut x = right.to_vec();
        for row in 0..n {
            let dot: f64 = (0..row).map(|k| l[row * n + k] * x[k]).sum();
            x[row] = (x[row] - dot) / l[row * n + row];
        }
        for row in (0..n).rev() {
            let dot: f64 = (row + 1..n).map(|k| l[k * n + row] * x[k]).sum();
            x[row] = (x[row] - dot) / l[row * n + row];
        }
        x
    }
}

pub(super) fn dot(one: &[f64], other: &[f64]) -> f64 {
    one.iter().zip(other).map(|(one, other)| one * other).sum()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_small_system_is_solved() {
        let factor = Factor::new(vec![4.0, 2.0, 2.0, 3.0], 2).unwrap();
        let x = factor.solve(&[2.0, -1.0]);
        assert!((x[0] - 1.0).abs() < 1e-15 && (x[1] + 1.0).abs() < 1e-15, "{x:?}");
        assert!(Factor::new(vec![1.0, 2.0, 2.0, 1.0], 2).is_none());
    }
}
