//! Cofactors: the variances of all marks and what one section's mistake does to its own ends, from the junctions' inverse.
//!
//! | symbol | meaning | unit |
//! |---|---|---|
//! | aa, bb, ab | variances and covariance of the two junctions of a line | m^2 |
//! | S, s^2 | variance of a line as observed, and of one of its sections | m^2 |
//! | t, t1, t2 | share of S up to a mark; up to the start and the end of a section | - |
//! | Q | cofactor matrix of all marks, N^-1 of the whole network | m^2 |
//!
//! ```text
//! mark on a line   Q_mm        = (1-t)^2 aa + t^2 bb + 2 t (1-t) ab + S t (1-t)
//! section          r           = (s^2/S) (1 - (aa + bb - 2 ab) / S)                redundancy number
//!                  Q_tt - Q_ft = (s^2/S) ((1-t2) (S - (aa-ab)) + t2 (bb-ab))
//!                  Q_ff - Q_ft = (s^2/S) ((1-t1) (aa-ab) + t1 (S - (bb-ab)))
//! mark on a spur   Q_mm        = Q of where it starts + s^2;  r = 0
//! ```
//!
//! All terms but the differences with S are sums of positive numbers, so a long line loses no digits. A section whose
//! mistake nothing would show (`control`) has r = 0 exactly, not the rounding that is left of it.
//! Source: derived from x_m = (1-t) x_a + t x_b + noise of the line. Checked against: a dense inverse of the whole network.

use super::control::Control;
use super::lines::Line;
use super::network::MarkId;
use super::problem::Problem;
use super::selected::SelectedInverse;

/// Variances and redundancies at unit weight 1.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Cofactors {
    /// Variance of each mark, m^2.
    pub marks: Vec<f64>,
    /// Each section's own.
    pub sections: Vec<SectionCofactors>,
}

/// What the geometry says of one section.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(super) struct SectionCofactors {
    /// The share of a mistake that shows in the section's own residual.
    pub redundancy: f64,
    /// The share of a mistake by which it lowers the mark it starts from.
    pub at_from: f64,
    /// The share of a mistake by which it raises the mark it leads to.
    pub at_to: f64,
}

/// Variances and covariance of the two ends of a line.
#[derive(Clone, Copy)]
struct Ends {
    aa: f64,
    bb: f64,
    ab: f64,
}

impl Cofactors {
    /// Computes them for all marks and sections.
    pub(super) fn new(problem: &Problem<'_>, control: &Control) -> Self {
        let lines = &problem.lines;
        let inverse = problem.factor.as_ref().map(SelectedInverse::new);
        let between = |one: u32, other: u32| {
            let [one, other] = [one, other].map(|junction| problem.equations.unknown[junction as usize]);
            match (&inverse, one, other) {
                (Some(inverse), Some(one), Some(other)) => inverse.at(one, other),
                _ => 0.0, // what is fixed does not vary
            }
        };
        let mut cofactors = Cofactors {
            marks: vec![0.0; problem.roles.len()],
            sections: vec![SectionCofactors::default(); problem.variances.len()],
        };
        for (junction, mark) in (0u32..).zip(&lines.junctions) {
            cofactors.marks[mark.index()] = between(junction, junction);
        }
        for (line, &is_bridge) in lines.lines.iter().zip(&control.bridges) {
            let [aa, bb] =
                [line.from, line.to].map(|junction| cofactors.marks[lines.junctions[junction as usize].index()]);
            let ends = Ends { aa, bb, ab: between(line.from, line.to) };
            cofactors.fill_line(problem, line, ends, is_bridge);
        }
        for spur in &lines.spurs {
            let section = spur.section as usize;
            cofactors.marks[spur.to as usize] = cofactors.marks[spur.from as usize] + problem.variances[section];
            cofactors.sections[section] =
                SectionCofactors { redundancy: 0.0, at_from: 0.0, at_to: 1.0 }.seen(spur.sign);
        }
        cofactors
    }

    fn fill_line(&mut self, problem: &Problem<'_>, line: &Line, Ends { aa, bb, ab }: Ends, is_bridge: bool) {
        let whole = line.variance;
        let redundancy = if is_bridge { 0.0 } else { (1.0 - (aa + bb - 2.0 * ab) / whole).clamp(0.0, 1.0) };
        let [from_a, from_b] = [(aa - ab) / whole, (bb - ab) / whole];
        let last = line.steps.end - 1;
        let mut t1 = 0.0;
        for (at, step) in line.steps.clone().zip(&problem.lines.steps[line.steps.clone()]) {
            let share = problem.variances[step.section as usize] / whole;
            let t2 = t1 + share;
            self.sections[step.section as usize] = SectionCofactors {
                redundancy: share * redundancy,
                at_from: (1.0 - t1) * from_a + t1 * (1.0 - from_b),
                at_to: (1.0 - t2) * (1.0 - from_a) + t2 * from_b,
            }
            .seen(step.sign);
            if at != last {
                let u = 1.0 - t2;
                self.marks[step.to as usize] = u * u * aa + t2 * t2 * bb + t2 * u * (2.0 * ab + whole);
            }
            t1 = t2;
        }
    }

    /// The redundancy number of a known elevation with that variance, m^2.
    pub(super) fn known_redundancy(&self, mark: MarkId, variance: f64) -> f64 {
        (1.0 - self.marks[mark.index()] / variance).clamp(0.0, 1.0)
    }
}

impl SectionCofactors {
    /// The same in the direction in which the section was observed: `sign` is -1 when it was walked the other way.
    fn seen(self, sign: f64) -> Self {
        if sign > 0.0 { self } else { SectionCofactors { at_from: self.at_to, at_to: self.at_from, ..self } }
    }
}

#[cfg(test)]
mod tests {
    use super::super::adjustment::held_roles;
    use super::super::example::{OPTIONS, tangle};
    use super::super::lines::Role;
    use super::super::weights::variances_m2;
    use super::*;

    /// The inverse of the normal matrix of all marks but the fixed one, by elimination, without anything of the above.
    fn dense_inverse(problem: &Problem<'_>) -> Vec<Vec<f64>> {
        let n = problem.roles.len();
        let mut rows = vec![vec![0.0; 2 * n]; n];
        for (section, variance) in problem.network.sections().iter().zip(problem.variances) {
            let [from, to] = [section.from.index(), section.to.index()];
            if from != to {
                for (row, column, sign) in [(from, from, 1.0), (to, to, 1.0), (from, to, -1.0), (to, from, -1.0)] {
                    rows[row][column] += sign / variance;
                }
            }
        }
        for (mark, role) in problem.roles.iter().enumerate() {
            rows[mark][n + mark] = 1.0;
            match role {
                Role::Free => {}
                Role::Weighted(_, variance) => rows[mark][mark] += 1.0 / variance,
                Role::Fixed(_) => rows[mark][mark] = f64::INFINITY,
            }
        }
        for pivot in 0..n {
            let row = rows[pivot].clone();
            for (other, values) in rows.iter_mut().enumerate() {
                let (divisor, share) =
                    if other == pivot { (row[pivot], 0.0) } else { (1.0, values[pivot] / row[pivot]) };
                values.iter_mut().zip(&row).for_each(|(value, above)| {
                    *value = *value / divisor - if share == 0.0 { 0.0 } else { share * above }
                });
            }
        }
        rows.into_iter().map(|row| row[n..].to_vec()).collect()
    }

    #[test]
    fn variances_and_redundancies_are_those_of_the_dense_inverse() {
        let network = tangle();
        let variances = variances_m2(&network, OPTIONS.weights).unwrap();
        let problem = Problem::new(&network, held_roles(&network), &variances).unwrap();
        let control = Control::new(&problem.lines, &problem.roles);
        let cofactors = Cofactors::new(&problem, &control);
        let q = dense_inverse(&problem);
        let close = |found: f64, wanted: f64, unit: f64, what: &str| {
            assert!((found - wanted).abs() < 1e-12 * unit, "{what}: {found} {wanted}")
        };
        for (mark, found) in cofactors.marks.iter().enumerate() {
            close(*found, q[mark][mark], 1e-6, network.names()[mark].as_str());
        }
        for ((section, found), variance) in network.sections().iter().zip(&cofactors.sections).zip(&variances) {
            let [from, to] = [section.from.index(), section.to.index()];
            let what = format!("{} to {}", network.names()[from], network.names()[to]);
            let [at_from, at_to] = [q[from][from] - q[from][to], q[to][to] - q[from][to]].map(|q| q / variance);
            close(found.redundancy, 1.0 - at_from - at_to, 1.0, &what);
            close(found.at_from, at_from, 1.0, &what);
            close(found.at_to, at_to, 1.0, &what);
        }
        let sum: f64 = cofactors.sections.iter().map(|section| section.redundancy).sum();
        let known = network.known()[1].0;
        let Role::Weighted(_, variance) = problem.roles[known.index()] else {
            panic!("the second known mark is weighted")
        };
        let sum = sum + cofactors.known_redundancy(known, variance);
        close(sum, (network.sections().len() + 1 - (network.mark_count() - 1)) as f64, 1.0, "redundancies are n - u");
    }
}
