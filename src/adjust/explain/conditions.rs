//! Closures as conditions on the setups that they rest on: what a change of one rise does to each of them.
//!
//! ```text
//! w_k = sum over setups of a_k rise  -  what the known points say        a_k = +1, -1 or 0
//! C   = sum over setups of s^2 a a'                                       s: standard deviation of a setup's rise
//! ```
//!
//! The closure to be explained is looked at together with those that may say where the mistake lies: all of its own run,
//! and those of other runs that closed. Setups with the same column `a` cannot be told apart by any of them.
//! A setup is in the condition that ends at it and in none before, so C is positive definite.

use std::collections::HashMap;
use std::ops::RangeInclusive;

use super::candidates::Footprint;
use super::dense::{Factor, dot};
use super::noise::{Effect, Noise};
use crate::book::Book;
use crate::book::closure::setup_sd_mm;
use crate::book::event::{Command, Taken};
use crate::book::finding::{FindingId, FindingKey, Place};
use crate::book::reading::PointName;
use crate::book::run::{ClosesOn, Closure, DatumOrigin, Run, Setup};
use crate::units::Length;

/// So many closures at most: the matrix is dense.
const CLOSURES_MAX: usize = 32;

/// So many setups must show their noise before they are believed against what the instrument states.
const SHOWN_MIN: usize = 4;

/// The closures that are looked at together.
pub(super) struct Conditions<'a> {
    pub(super) book: &'a Book,
    /// The run and setup at which the closure to be explained was found, as places in lists.
    pub(super) run: &'a Run,
    pub(super) setup: &'a Setup,
    pub(super) closure: &'a Closure,
    pub(super) noise: Noise,
    /// Groups of setups that the conditions cannot tell apart.
    pub(super) classes: Vec<Class<'a>>,
    conditions: Vec<Condition<'a>>,
    /// The place of the closure to be explained among them.
    own: usize,
    factor: Factor,
    /// C^-1 w.
    weighted: Vec<f64>,
    misclosures: Vec<f64>,
}

/// Setups with the same part in all conditions.
pub(super) struct Class<'a> {
    pub(super) column: Column,
    pub(super) setups: Setups<'a>,
}

type Setups<'a> = Vec<(&'a Run, &'a Setup)>;

/// What a unit of something does to the misclosures.
#[derive(Clone, Debug)]
pub(super) struct Column {
    /// By condition.
    values: Vec<f64>,
    /// On the closure to be explained.
    own: f64,
    effect: Effect,
}

impl Column {
    /// What a mistake of that size does to each closure, mm.
    pub(super) fn footprint(&self, size: f64) -> Footprint {
        /// Footprints that agree to a nanometre are one: they are computed in two ways.
        const NM_IN_MM: f64 = 1e6;
        Footprint::Closures(self.values.iter().map(|value| (value * size * NM_IN_MM).round() as i64).collect())
    }

    /// On all closures, weighed by their covariance.
    pub(super) fn effect(&self) -> Effect {
        self.effect
    }
}

struct Condition<'a> {
    run: u32,
    setup: u32,
    closure: &'a Closure,
    stretches: Vec<Stretch>,
    ties: Vec<Tie<'a>>,
}

/// A known point as it was met, with the sign of its elevation in the condition.
struct Tie<'a> {
    run: u32,
    /// 0 for the start of the run.
    setup: u32,
    point: &'a PointName,
    sign: f64,
}

/// Setups in a row of one run, with their sign.
struct Stretch {
    run: u32,
    setups: RangeInclusive<u32>,
    sign: f64,
}

impl<'a> Conditions<'a> {
    /// The closure at that setup and those that bear on it; `None` if nothing closes there, or without an allowance.
    pub(super) fn new(book: &'a Book, run: u32, setup: u32, point: &PointName) -> Option<Self> {
        let run = book.runs().get((run as usize).checked_sub(1)?)?;
        let setup = run.setups.get((setup as usize).checked_sub(1)?)?;
        let closure = setup.closures.iter().find(|closure| closure.point == *point)?;
        let allowance = closure.allowance.as_ref()?.value.to_f64_mm();
        let conditions = gather(book, run, closure);
        let own = conditions.iter().position(|condition| std::ptr::eq(condition.closure, closure))?;
        let setup_sd_mm = deviation_of_setup(book, run);

        let count = conditions.len();
        let classes = classes(book, &conditions);
        let mut covariance = vec![0.0; count * count];
        for (values, setups) in &classes {
            let variance = setup_sd_mm * setup_sd_mm * setups.len() as f64;
            for (row, one) in values.iter().enumerate() {
                for (column, other) in values.iter().enumerate() {
                    covariance[row * count + column] += variance * one * other;
                }
            }
        }
        let deviation = covariance[own * count + own].sqrt();
        let factor = Factor::new(covariance, count)?;
        let misclosures: Vec<f64> =
            conditions.iter().map(|condition| condition.closure.misclosure.to_f64_mm()).collect();
        let weighted = factor.solve(&misclosures);
        let noise = Noise::new(count, dot(&misclosures, &weighted), allowance, deviation);
        let mut whole = Conditions {
            book,
            run,
            setup,
            closure,
            noise,
            classes: Vec::new(),
            conditions,
            own,
            factor,
            weighted,
            misclosures,
        };
        let class = |(values, setups)| Class { column: whole.column(values), setups };
        whole.classes = classes.into_iter().map(class).collect();
        Some(whole)
    }

    /// The finding that tells of the closure.
    pub(super) fn finding(&self) -> FindingKey {
        let place = Place::Point { run: self.run.number, setup: self.setup.number, point: self.closure.point.clone() };
        FindingKey { place, id: FindingId::Misclosure }
    }

    /// How many closures are looked at together.
    pub(super) fn count(&self) -> usize {
        self.conditions.len()
    }

    /// What is allowed, mm.
    pub(super) fn allowance_mm(&self) -> f64 {
        self.closure.allowance.as_ref().map_or(0.0, |allowance| allowance.value.to_f64_mm())
    }

    /// A mistake that changes each setup's rise by what `of_setup` says of it.
    pub(super) fn over_setups(&self, of_setup: impl Fn(&Run, &Setup) -> f64) -> Column {
        let mut values = vec![0.0; self.count()];
        for class in &self.classes {
            let sum: f64 = class.setups.iter().map(|(run, setup)| of_setup(run, setup)).sum();
            for (value, part) in values.iter_mut().zip(&class.column.values) {
                *value += part * sum;
            }
        }
        self.column(values)
    }

    /// A known point that is higher than was given.
    pub(super) fn of_known(&self, point: &PointName) -> Column {
        self.of_ties(|tie| tie.point == point)
    }

    /// The known point that the staff stood on at a setup of a run, 0 being the run's start, is one that is higher.
    pub(super) fn of_sighting(&self, run: u32, setup: u32) -> Column {
        self.of_ties(|tie| (tie.run, tie.setup) == (run, setup))
    }

    fn of_ties(&self, counts: impl Fn(&Tie<'_>) -> bool) -> Column {
        let part =
            |condition: &Condition<'_>| condition.ties.iter().filter(|tie| counts(tie)).map(|tie| tie.sign).sum();
        self.column(self.conditions.iter().map(part).collect())
    }

    /// Known points that the closure to be explained rests on.
    pub(super) fn known(&self) -> impl Iterator<Item = &'a PointName> {
        let mut points: Vec<&PointName> = self.conditions[self.own].ties.iter().map(|tie| tie.point).collect();
        points.sort_unstable();
        points.dedup();
        points.into_iter()
    }

    /// What a mistake of this size leaves of the closure to be explained, mm, and how much likelier it makes all of them.
    /// `None` where the closure would not be inside its allowance.
    pub(super) fn closes(&self, column: &Column, size: f64) -> Option<(f64, f64)> {
        let after = self.misclosures[self.own] + size * column.own;
        let Effect { b, d } = column.effect();
        let q = dot(&self.misclosures, &self.weighted) + 2.0 * size * b + size * size * d;
        (after.abs() <= self.allowance_mm() && column.own != 0.0).then(|| (after, self.noise.ln_gain(q)))
    }

    /// The closure to be explained as the book would have it if that were taken so, to the last digit, and how much likelier
    /// all closures would be. `None` where it would not be inside its allowance.
    ///
    /// The covariance stays: one setup more or less changes it by little.
    pub(super) fn supposed(&self, taken: &Taken) -> Option<(Length, f64)> {
        let command = Command::Accept { finding: self.finding(), cause: String::new(), taken: taken.clone() };
        let runs = self.book.suppose(&command);
        let mut own = None;
        let mut misclosures = Vec::with_capacity(self.count());
        for (at, condition) in self.conditions.iter().enumerate() {
            let point = match taken {
                Taken::Point { point, .. } if at == self.own => point,
                _ => &condition.closure.point,
            };
            // A slipped sequence put back in order may move a closure by a setup.
            let near = |setup: &&Setup| setup.number.abs_diff(condition.setup) <= 1;
            let setups = &runs.get(condition.run as usize - 1)?.setups;
            let found = setups.iter().filter(near).flat_map(|setup| &setup.closures).find(|c| c.point == *point);
            let misclosure = found.map(|closure| closure.misclosure);
            if at == self.own {
                own = misclosure;
            }
            misclosures.push(misclosure.unwrap_or(condition.closure.misclosure).to_f64_mm());
        }
        let own = own.filter(|own| own.abs().to_f64_mm() <= self.allowance_mm())?;
        let q = dot(&misclosures, &self.factor.solve(&misclosures));
        Some((own, self.noise.ln_gain(q)))
    }

    fn column(&self, values: Vec<f64>) -> Column {
        let own = values[self.own];
        let effect = Effect { b: dot(&values, &self.weighted), d: dot(&values, &self.factor.solve(&values)) };
        Column { values, own, effect }
    }
}

/// The conditions: all of the run, and those of other runs that closed; the latest up to the one to be explained where
/// there are too many.
fn gather<'a>(book: &'a Book, run: &'a Run, closure: &'a Closure) -> Vec<Condition<'a>> {
    let mut conditions: Vec<Condition<'a>> = Vec::new();
    for other in book.runs() {
        for at in &other.setups {
            let usable = |closure: &&Closure| other.number == run.number || !closure.over();
            conditions.extend(at.closures.iter().filter(usable).map(|closure| condition(book, other, at, closure)));
        }
    }
    let own = conditions.iter().position(|condition| std::ptr::eq(condition.closure, closure)).unwrap_or(0);
    conditions.truncate(CLOSURES_MAX.max(own + 1));
    let first = conditions.len().saturating_sub(CLOSURES_MAX);
    conditions.split_off(first)
}

/// The setups in any of the conditions, those together that have the same part in all of them.
fn classes<'a>(book: &'a Book, conditions: &[Condition<'a>]) -> Vec<(Vec<f64>, Setups<'a>)> {
    let mut classes: Vec<(Vec<f64>, Setups<'a>)> = Vec::new();
    let mut numbers: HashMap<Vec<i8>, usize> = HashMap::new();
    for run in book.runs() {
        for setup in run.setups.iter().filter(|setup| setup.reduced.rise().is_some()) {
            let parts: Vec<f64> = conditions.iter().map(|condition| condition.part(run.number, setup.number)).collect();
            if parts.iter().all(|part| *part == 0.0) {
                continue;
            }
            // A part counts ways over a setup: a small whole number.
            let key = parts.iter().map(|part| *part as i8).collect();
            let number = *numbers.entry(key).or_insert(classes.len());
            if number == classes.len() {
                classes.push((parts, Vec::new()));
            }
            classes[number].1.push((run, setup));
        }
    }
    classes
}

fn condition<'a>(book: &'a Book, run: &'a Run, setup: &'a Setup, closure: &'a Closure) -> Condition<'a> {
    let mut condition =
        Condition { run: run.number, setup: setup.number, closure, stretches: Vec::new(), ties: Vec::new() };
    match closure.on {
        ClosesOn::Known => {
            condition.add_way(book, run, setup.number, 1.0);
            condition.ties.push(Tie { run: run.number, setup: setup.number, point: &closure.point, sign: -1.0 });
        }
        ClosesOn::Earlier { run: earlier, setup: from } => {
            let chain = |number: u32| number.checked_sub(1).map_or(0, |at| run.setups[at as usize].before.level.chain);
            if earlier == run.number && chain(from) == setup.before.level.chain {
                condition.stretches.push(Stretch { run: earlier, setups: from + 1..=setup.number, sign: 1.0 });
            } else if let Some(other) = book.runs().get(earlier as usize - 1) {
                condition.add_way(book, run, setup.number, 1.0);
                condition.add_way(book, other, from, -1.0);
            }
        }
    }
    condition
}

impl<'a> Condition<'a> {
    /// The way from the datum to the fore point of a setup; 0 is the start of the run.
    fn add_way(&mut self, book: &'a Book, run: &'a Run, setup: u32, sign: f64) {
        let chain = setup.checked_sub(1).map_or(0, |at| run.setups[at as usize].before.level.chain);
        let Some(datum) = run.chains.get(chain).and_then(|chain| chain.datum.as_ref()) else { return };
        if datum.setup <= setup {
            self.stretches.push(Stretch { run: run.number, setups: datum.setup + 1..=setup, sign });
        } else {
            self.stretches.push(Stretch { run: run.number, setups: setup + 1..=datum.setup, sign: -sign });
        }
        match (datum.origin, datum.carried_by) {
            (DatumOrigin::Carried, Some((earlier, at))) if earlier < run.number => {
                self.add_way(book, &book.runs()[earlier as usize - 1], at, sign);
            }
            _ => self.ties.push(Tie { run: run.number, setup: datum.setup, point: &datum.point, sign }),
        }
    }

    /// How often a setup's rise is in the condition, with its sign.
    fn part(&self, run: u32, setup: u32) -> f64 {
        let over = self.stretches.iter().filter(|stretch| stretch.run == run && stretch.setups.contains(&setup));
        over.map(|stretch| stretch.sign).sum()
    }
}

/// Standard deviation of a setup's rise, mm: what the instrument states for a reading, or what the shots of this run show
/// if that is more. The largest that they show is left out: it may be the mistake itself.
fn deviation_of_setup(book: &Book, run: &Run) -> f64 {
    let stated = setup_sd_mm(book.settings().instrument.reading_sd, book.settings().sequence.wanted());
    let shown = || run.setups.iter().filter_map(|setup| setup.reduced.variance_mm2);
    let others = shown().count().saturating_sub(1);
    let mean = (shown().sum::<f64>() - shown().fold(0.0, f64::max)) / others.max(1) as f64;
    if others >= SHOWN_MIN { stated.max(mean.max(0.0).sqrt()) } else { stated }.max(LEAST_SD_MM)
}

/// No setup is better than this, whatever is stated: a zero would make every misclosure a proof.
const LEAST_SD_MM: f64 = 0.01;

/// A length from millimetres; beyond any length it is none, which explains nothing.
pub(super) fn length(mm: f64) -> Length {
    Length::from_f64_m(mm / 1000.0).unwrap_or(Length::ZERO)
}
