//! Trying extra runs: what each would do to the variances and to the marks that nothing checks.
//!
//! | symbol | meaning | unit |
//! |---|---|---|
//! | Q | cofactor matrix of the intended network | m^2 |
//! | s^2 | variance of the extra run, from a to b | m^2 |
//! | q | Q e_b - Q e_a | m^2 |
//! | q_ab | q_b - q_a, the variance of the rise from a to b before the run | m^2 |
//!
//! With the run, Q becomes `Q - q q' / (s^2 + q_ab)`.
//! Cost: one solution for each end of a run, one product for each mark and run.
//! Source: rank-one update of an inverse (Sherman, Morrison 1950), from memory. Checked against: the network adjusted with
//! the extra run in it.

use std::collections::HashMap;

use super::adjustment::held_roles;
use super::cheapest::cheapest_ways;
use super::equations::Equations;
use super::lines::Lines;
use super::network::{MarkId, Network, SectionId};
use super::outcome::{Adjustment, Standing};
use super::plan::{EXTRA_MAX, ExtraRun, Origin};
use super::refusal::NetworkError;
use super::solve::Factor;

/// So many products are spent on trying extra runs between pairs of marks, about a tenth of a second. In a network of more
/// than some hundred marks, the pairs are those of the worst marks.
const PRODUCTS_MAX: usize = 50_000_000;

/// A run that could be added.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Trial {
    pub from: MarkId,
    pub to: MarkId,
    /// Of its rise, m^2.
    pub variance: f64,
    pub origin: Origin,
}

/// What is needed to try extra runs on a network.
pub(super) struct Trials<'a> {
    network: &'a Network,
    variances: &'a [f64],
    adjustment: &'a Adjustment,
    equations: Equations,
    factor: Option<Factor>,
    hanging: Hanging,
    /// Columns of Q that were needed so far, by mark.
    columns: HashMap<MarkId, Vec<f64>>,
}

impl<'a> Trials<'a> {
    /// Factors the equations of all marks.
    pub(super) fn new(
        network: &'a Network,
        variances: &'a [f64],
        adjustment: &'a Adjustment,
    ) -> Result<Self, NetworkError> {
        let roles = held_roles(network);
        let equations = Equations::new(&Lines::of_single_sections(network, variances), &roles);
        let factor = match equations.len() {
            0 => None,
            _ => Some(Factor::new(&equations).ok_or_else(|| super::problem::too_uneven(network, &roles, variances))?),
        };
        let hanging = Hanging::new(network, adjustment);
        Ok(Trials { network, variances, adjustment, equations, factor, hanging, columns: HashMap::new() })
    }

    /// Tries pairs of marks, joined along the intended runs: all pairs, or those of as many marks as can be afforded,
    /// unchecked ones first, then those with the largest variance, then held ones.
    pub(super) fn of_pairs(&mut self) -> Vec<ExtraRun> {
        let mut ends: Vec<MarkId> = (0..self.network.mark_count() as u32).map(MarkId).collect();
        let rank = |mark: &MarkId| {
            let mark = &self.adjustment.marks[mark.index()];
            (matches!(mark.standing, Standing::HangsOn(_)), mark.deviation_m)
        };
        ends.sort_by(|one, other| {
            let ((hangs, deviation), (other_hangs, other_deviation)) = (rank(one), rank(other));
            other_hangs.cmp(&hangs).then(other_deviation.total_cmp(&deviation))
        });
        ends.truncate((2 * PRODUCTS_MAX / self.network.mark_count()).isqrt().max(2));
        ends.extend(self.network.known.iter().map(|known| known.0).take(ends.len()));
        ends.sort();
        ends.dedup();
        let mut trials = Vec::new();
        for (at, &from) in ends.iter().enumerate() {
            let ways = cheapest_ways(self.network, self.variances, from);
            let way_to = |to: &MarkId| ways[to.index()].map(|way| (*to, way));
            trials.extend(ends[at + 1..].iter().filter_map(way_to).map(|(to, way)| Trial {
                from,
                to,
                variance: way.variance,
                origin: Origin::Again { length: way.length, setups: way.setups },
            }));
        }
        self.of(&trials)
    }

    /// Tries those runs; gives the most helpful first, without those that help nothing.
    pub(super) fn of(&mut self, trials: &[Trial]) -> Vec<ExtraRun> {
        for end in trials.iter().flat_map(|trial| [trial.from, trial.to]) {
            if !self.columns.contains_key(&end) {
                let column = self.column(end);
                self.columns.insert(end, column);
            }
        }
        let mut tried: Vec<(usize, f64, &Trial)> = trials
            .iter()
            .map(|trial| (self.hanging.newly_checked(trial.from, trial.to), self.taken_off(trial), trial))
            .collect();
        tried.retain(|&(newly_checked, taken_off, _)| newly_checked > 0 || taken_off > 0.0);
        tried.sort_by(|one, other| other.0.cmp(&one.0).then(other.1.total_cmp(&one.1)));
        tried.truncate(EXTRA_MAX);
        tried.into_iter().map(|(newly_checked, _, trial)| self.tell(newly_checked, trial)).collect()
    }

    /// One column of Q, with a place for every mark.
    fn column(&self, mark: MarkId) -> Vec<f64> {
        let mut column = vec![0.0; self.equations.len()];
        if let (Some(factor), Some(unknown)) = (&self.factor, self.equations.unknown[mark.index()]) {
            column[unknown as usize] = 1.0;
            factor.solve(&mut column);
        }
        self.equations.unknown.iter().map(|unknown| unknown.map_or(0.0, |unknown| column[unknown as usize])).collect()
    }

    /// What a run sees of each mark, q, and s^2 + q_ab.
    fn seen<'t>(&'t self, trial: &Trial) -> (impl Iterator<Item = f64> + 't, f64) {
        let [from, to] = [trial.from, trial.to].map(|end| &self.columns[&end]);
        let q = |mark: MarkId| to[mark.index()] - from[mark.index()];
        (to.iter().zip(from).map(|(to, from)| to - from), trial.variance + q(trial.to) - q(trial.from))
    }

    /// By how much a run lowers the sum of all variances, m^2.
    fn taken_off(&self, trial: &Trial) -> f64 {
        let (q, divisor) = self.seen(trial);
        q.map(|q| q * q).sum::<f64>() / divisor
    }

    fn tell(&self, newly_checked: usize, trial: &Trial) -> ExtraRun {
        let (q, divisor) = self.seen(trial);
        let before = self.adjustment.marks.iter().map(|mark| mark.deviation_m * mark.deviation_m);
        let (mut worst, mut sum) = (0.0, 0.0);
        for (before, q) in before.zip(q) {
            let after = (before - q * q / divisor).max(0.0);
            worst = f64::max(worst, after);
            sum += after;
        }
        ExtraRun {
            from: trial.from,
            to: trial.to,
            origin: trial.origin,
            run_deviation_m: trial.variance.sqrt(),
            newly_checked,
            worst_m: worst.sqrt(),
            mean_m: (sum / self.equations.len().max(1) as f64).sqrt(),
        }
    }
}

/// The marks that hang on unchecked sections, as a tree: each such section leads to one group of marks.
struct Hanging {
    /// The group of each mark, named by its section.
    group: Vec<Option<SectionId>>,
    groups: HashMap<SectionId, Group>,
}

/// A group on its way to the ground.
#[derive(Clone, Copy)]
struct Group {
    /// The last unchecked section before the ground.
    top: SectionId,
    /// How many marks there are in the group and in all groups on the way.
    marks: usize,
}

impl Hanging {
    fn new(network: &Network, adjustment: &Adjustment) -> Self {
        let group: Vec<Option<SectionId>> = adjustment
            .marks
            .iter()
            .map(|mark| match mark.standing {
                Standing::HangsOn(section) => Some(section),
                Standing::Held | Standing::Checked => None,
            })
            .collect();
        let mut sizes: HashMap<SectionId, usize> = HashMap::new();
        group.iter().flatten().for_each(|section| *sizes.entry(*section).or_default() += 1);
        // The group at the near end of the section: the other end is in the group that the section leads to.
        let inner = |section: SectionId| {
            let ends = network.sections[section.index()].ends().map(|end| group[end as usize]);
            if ends[0] == Some(section) { ends[1] } else { ends[0] }
        };
        let mut groups: HashMap<SectionId, Group> = HashMap::new();
        for &section in sizes.keys() {
            let mut way = vec![section];
            let mut below = loop {
                let last = *way.last().unwrap_or(&section);
                match inner(last) {
                    None => break None,
                    Some(next) => match groups.get(&next) {
                        Some(known) => break Some(*known),
                        None => way.push(next),
                    },
                }
            };
            while let Some(here) = way.pop() {
                if let Some(known) = groups.get(&here) {
                    below = Some(*known);
                    continue;
                }
                let (top, marks) = below.map_or((here, 0), |below| (below.top, below.marks));
                let whole = Group { top, marks: marks + sizes.get(&here).copied().unwrap_or(0) };
                groups.insert(here, whole);
                below = Some(whole);
            }
        }
        Hanging { group, groups }
    }

    /// How many marks a run between two marks would put under check: all on the way to the ground of either, unless both
    /// ways reach it by the same unchecked section.
    fn newly_checked(&self, from: MarkId, to: MarkId) -> usize {
        let [from, to] = [from, to].map(|mark| self.group[mark.index()].map(|group| self.groups[&group]));
        match (from, to) {
            (None, None) => 0,
            (Some(one), None) | (None, Some(one)) => one.marks,
            (Some(one), Some(other)) if one.top == other.top => 0,
            (Some(one), Some(other)) => one.marks + other.marks,
        }
    }
}
