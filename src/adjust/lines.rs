//! A levelling network is mostly chains: here each line of marks between two junctions becomes one observation.
//!
//! A mark is a *junction* when it is held, or when three or more sections meet at it. Between junctions run *lines*; a
//! *spur* leads to a mark that nothing else reaches. Only the junctions are unknowns of the equations; what lies on a line
//! or a spur follows from them in closed form. A million marks in chains of nine leave fifty thousand unknowns, and the
//! long sums along a chain never meet the rounding of a factorisation.
//!
//! | symbol | meaning | unit |
//! |---|---|---|
//! | s_k^2, d_k | variance and misfit of the k-th section of a line, the misfit signed along the line | m^2, m |
//! | S, D | their sums over the line | m^2, m |
//! | a, b | the junctions at its start and end | |
//! | x | corrections to the approximate elevations | m |
//!
//! Line: `x_b - x_a = D` with variance S. Its residual `x_b - x_a - D` falls on its sections in proportion to s_k^2, which
//! is the distribution of a misclosure by length (or setups), as in the book.
//! Source: derived; formulas of the variances in `variances`.

use std::ops::Range;

use super::given::Section;
use super::incidence::across;
use super::network::{MarkId, Network};

/// How a mark takes part in an adjustment.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Role {
    /// An unknown.
    Free,
    /// Held at its approximate elevation plus this correction, m.
    Fixed(f64),
    /// Observed to need this correction, m, with this variance, m^2.
    Weighted(f64, f64),
}

/// A network taken apart into lines and spurs.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Lines {
    /// Marks that are held, or where three or more sections meet.
    pub junctions: Vec<MarkId>,
    /// The lines between them.
    pub lines: Vec<Line>,
    /// The sections of all lines, line by line.
    pub steps: Vec<Step>,
    /// Sections to marks that nothing else reaches, in an order in which each starts from a mark that is known by then.
    pub spurs: Vec<Step>,
}

/// Sections in a row between two junctions, perhaps the same one.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Line {
    /// The junction at its start, by its place in [`Lines::junctions`].
    pub from: u32,
    /// The junction at its end.
    pub to: u32,
    /// Its sections, in [`Lines::steps`].
    pub steps: Range<usize>,
    /// The sum of their variances, m^2.
    pub variance: f64,
}

/// One section, walked in the direction of its line or spur.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Step {
    /// The section.
    pub section: u32,
    /// The mark it comes from.
    pub from: u32,
    /// The mark it leads to.
    pub to: u32,
    /// +1 when the section was observed in this direction, else -1.
    pub sign: f64,
}

impl Step {
    fn new(section: u32, observed: &Section<MarkId>, from: u32) -> Self {
        let sign = if observed.from.0 == from { 1.0 } else { -1.0 };
        Step { section, from, to: across(observed.ends(), from), sign }
    }
}

impl Lines {
    /// Every mark a junction and every section a line of its own: for whoever needs an unknown for each mark.
    pub(super) fn of_single_sections(network: &Network, variances: &[f64]) -> Self {
        let sections = (0u32..).zip(&network.sections);
        let steps: Vec<Step> = sections.map(|(at, section)| Step::new(at, section, section.from.0)).collect();
        let line = |(at, step): (usize, &Step)| Line {
            from: step.from,
            to: step.to,
            steps: at..at + 1,
            variance: variances[at],
        };
        Lines {
            junctions: (0..network.mark_count() as u32).map(MarkId).collect(),
            lines: steps.iter().enumerate().map(line).collect(),
            steps,
            spurs: Vec::new(),
        }
    }

    /// Takes a network apart. `roles` has an entry a mark, `variances` one a section.
    pub(super) fn new(network: &Network, roles: &[Role], variances: &[f64]) -> Self {
        let mut walk = Walk::new(network, roles);
        let spurs = walk.prune();
        let junctions = walk.junctions();
        let mut number = vec![u32::MAX; roles.len()];
        for (at, mark) in (0u32..).zip(&junctions) {
            number[mark.index()] = at;
        }
        let mut lines = Vec::new();
        let mut steps = Vec::with_capacity(network.sections.len() - spurs.len());
        for (from, mark) in (0u32..).zip(&junctions) {
            for &section in network.incidence.at(mark.0) {
                if walk.used[section as usize] {
                    continue;
                }
                let start = steps.len();
                let end = walk.line(section, mark.0, &number, &mut steps);
                let variance = steps[start..].iter().map(|step| variances[step.section as usize]).sum();
                lines.push(Line { from, to: number[end as usize], steps: start..steps.len(), variance });
            }
        }
        Lines { junctions, lines, steps, spurs }
    }

    /// The misfit of each line, m: those of its sections, summed along it.
    pub(super) fn misfits(&self, of_sections: &[f64]) -> Vec<f64> {
        let along = |line: &Line| {
            self.steps[line.steps.clone()].iter().map(|step| step.sign * of_sections[step.section as usize])
        };
        self.lines.iter().map(|line| along(line).sum()).collect()
    }

    /// Corrections of all marks and residuals of all sections, from the corrections of the junctions.
    pub(super) fn spread(
        &self,
        at_junctions: &[f64],
        of_lines: &[f64],
        sections: &SectionValues<'_>,
        marks: usize,
    ) -> Spread {
        let mut spread =
            Spread { corrections: vec![0.0; marks], residuals: vec![0.0; sections.misfits.len()], squares: 0.0 };
        for (mark, correction) in self.junctions.iter().zip(at_junctions) {
            spread.corrections[mark.index()] = *correction;
        }
        for (line, misfit) in self.lines.iter().zip(of_lines) {
            let [start, end] = [line.from, line.to].map(|junction| at_junctions[junction as usize]);
            let residual = end - start - misfit;
            spread.squares += residual * residual / line.variance;
            let last = line.steps.end - 1;
            let mut here = start;
            for (at, step) in line.steps.clone().zip(&self.steps[line.steps.clone()]) {
                let section = step.section as usize;
                let share = residual * (sections.variances[section] / line.variance);
                spread.residuals[section] = step.sign * share;
                here += step.sign * sections.misfits[section] + share;
                if at != last {
                    spread.corrections[step.to as usize] = here;
                }
            }
        }
        for spur in &self.spurs {
            let inner = spread.corrections[spur.from as usize];
            spread.corrections[spur.to as usize] = inner + spur.sign * sections.misfits[spur.section as usize];
        }
        spread
    }
}

/// What is known of each section before the adjustment.
#[derive(Clone, Copy, Debug)]
pub(super) struct SectionValues<'a> {
    /// By how much its rise differs from that of the approximate elevations, m.
    pub misfits: &'a [f64],
    /// Its variance, m^2.
    pub variances: &'a [f64],
}

/// What follows for marks and sections from the corrections of the junctions.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Spread {
    /// Of each mark: what is added to its approximate elevation, m.
    pub corrections: Vec<f64>,
    /// Of each section: adjusted less observed, m. Nothing but zero on a spur.
    pub residuals: Vec<f64>,
    /// v'Pv over all sections, no unit.
    pub squares: f64,
}

/// What is left of the network while it is taken apart.
struct Walk<'a> {
    network: &'a Network,
    roles: &'a [Role],
    /// Sections already on a spur or a line.
    used: Vec<bool>,
    /// Ends of unused sections at each mark.
    degree: Vec<u32>,
}

impl<'a> Walk<'a> {
    fn new(network: &'a Network, roles: &'a [Role]) -> Self {
        let degree = (0..roles.len() as u32).map(|mark| network.incidence.at(mark).len() as u32).collect();
        Walk { network, roles, used: vec![false; network.sections.len()], degree }
    }

    /// Takes away free marks with a single section until none is left; gives their sections, the innermost first.
    fn prune(&mut self) -> Vec<Step> {
        let mut spurs = Vec::new();
        let mut loose: Vec<u32> = (0..self.roles.len() as u32).filter(|&mark| self.is_loose(mark)).collect();
        while let Some(mark) = loose.pop() {
            let unused = |section: &&u32| !self.used[**section as usize];
            let Some(&section) = self.network.incidence.at(mark).iter().find(unused) else { continue };
            let inner = across(self.network.sections[section as usize].ends(), mark);
            spurs.push(Step::new(section, &self.network.sections[section as usize], inner));
            self.used[section as usize] = true;
            self.degree[mark as usize] -= 1;
            self.degree[inner as usize] -= 1;
            if self.is_loose(inner) {
                loose.push(inner);
            }
        }
        spurs.reverse();
        spurs
    }

    fn is_loose(&self, mark: u32) -> bool {
        self.roles[mark as usize] == Role::Free && self.degree[mark as usize] == 1
    }

    fn junctions(&self) -> Vec<MarkId> {
        let is_junction = |&mark: &usize| self.roles[mark] != Role::Free || self.degree[mark] > 2;
        (0..self.roles.len()).filter(is_junction).map(|mark| MarkId(mark as u32)).collect()
    }

    /// Walks from a junction along its section to the next junction, which it returns.
    fn line(&mut self, first: u32, from: u32, number: &[u32], steps: &mut Vec<Step>) -> u32 {
        let (mut section, mut here) = (first, from);
        loop {
            let step = Step::new(section, &self.network.sections[section as usize], here);
            steps.push(step);
            self.used[section as usize] = true;
            here = step.to;
            if number[here as usize] != u32::MAX {
                return here;
            }
            let unused = |section: &&u32| !self.used[**section as usize];
            match self.network.incidence.at(here).iter().find(unused) {
                Some(&next) => section = next,
                None => unreachable!("a mark that is no junction has two sections, and one of them is unused"),
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::super::adjustment::held_roles;
    use super::super::example::OPTIONS;
    use super::super::example::tangle;
    use super::super::weights::variances_m2;
    use super::*;

    #[test]
    fn a_tangle_comes_apart_into_lines_and_spurs() {
        let network = tangle();
        let variances = variances_m2(&network, OPTIONS.weights).unwrap();
        let lines = Lines::new(&network, &held_roles(&network), &variances);
        let name = |mark: u32| network.name(MarkId(mark)).as_str();
        let told = |line: &Line| {
            let steps = &lines.steps[line.steps.clone()];
            let start = name(lines.junctions[line.from as usize].0);
            steps.iter().fold(start.to_owned(), |told, step| format!("{told} {}", name(step.to)))
        };
        let told: Vec<String> = lines.lines.iter().map(told).collect();
        let wanted =
            ["A B C", "A F", "C D E", "C X", "C X", "E F", "E Y", "E U V E", "F R", "X Y", "X K", "Y Y", "R S T R"];
        assert_eq!(told, wanted);
        let spurs: Vec<_> = lines.spurs.iter().map(|spur| (name(spur.from), name(spur.to))).collect();
        assert_eq!(spurs, [("D", "P"), ("P", "Q")], "the inner one first");
        assert_eq!(lines.steps.len() + lines.spurs.len(), network.sections().len(), "no section is lost");
        assert!((lines.lines[2].variance - 5e-6).abs() < 1e-18, "C to E is five kilometres: {:?}", lines.lines[2]);
    }
}
