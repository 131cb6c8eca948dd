//! Misclosures shared out along the lines between their ties, each line by itself.
//!
//! ```text
//! v_i = v_0 + (v_1 - v_0) * d_i / D
//! ```
//!
//! | symbol | meaning | unit |
//! |---|---|---|
//! | v_0, v_1 | corrections at the two ends: known less observed elevation | 1e-10 m |
//! | d_i, D | length or setups from the first end to the end of point i's setup, and in all | 1e-10 m, - |
//!
//! A tie is a point with a given elevation that a foresight reached, or on which the heights rest. A run that starts
//! on a point which an earlier run carried there has its first end where that run has its last tie: the way out and
//! the way back are one line. All points seen from one setup share one correction.
//!
//! Beyond the last tie a run hangs: its points are moved with that tie, and nothing is shared out.
//! Source: proportional distribution as in textbooks; US Navy training manual 14071 for lengths.
//! Checked against: `level_run_rode_collimation_setups` and `level_run_usm_collimation_setups`.

use std::collections::BTreeMap;

use super::Source;
use super::closing::closes;
use super::tree::{Distribution, Section, SectionPoint};
use crate::book::closure::distribute;
use crate::book::reading::{PointName, Role};
use crate::book::run::{ClosesOn, Closure, DatumOrigin, Level, Run, Setup};
use crate::units::Length;

/// A line between two ties, before anything is shared out.
#[derive(Clone, Debug)]
pub(super) struct Stretch<'a> {
    /// The parts of runs that it goes through, in order.
    pub(super) legs: Vec<Leg<'a>>,
    from: PointName,
    /// Correction at its first end.
    first: Length,
    /// Correction at its last.
    last: Length,
    /// What closes it; none if it hangs.
    pub(super) closure: Option<&'a Closure>,
}

/// A part of a run: from the fore point of one setup to that of another. Setup 0 stands for the start.
#[derive(Clone, Copy, Debug)]
pub(super) struct Leg<'a> {
    pub(super) run: &'a Run,
    pub(super) from: u32,
    pub(super) to: u32,
}

/// Corrections at the fore points of setups (run, setup), as far as they are known.
type Corrections = BTreeMap<(u32, u32), Length>;

/// Every stretch of the job, by the run in which it ends. Those that close come first, then those that hang.
pub(super) fn stretches<'a>(runs: &'a [Run], by: Distribution) -> Vec<Vec<Stretch<'a>>> {
    let mut corrections = Corrections::new();
    let mut all: Vec<Vec<Stretch<'a>>> = Vec::new();
    for (index, run) in runs.iter().enumerate() {
        let mut found = Vec::new();
        for chain in 0..run.chains.len() {
            let known: Vec<u32> = on_known(run, chain).map(|(setup, _)| setup.number).collect();
            for &setup in &known {
                found.extend(to_known(runs, index, chain, setup, &corrections));
            }
            if known.is_empty() {
                found.extend(loops(run, chain));
            }
        }
        for stretch in &found {
            corrections.extend(shared(stretch, by).corrections);
        }
        all.push(found);
    }
    for (run, found) in runs.iter().zip(&mut all) {
        found.extend(hanging(run, &corrections));
    }
    all
}

/// Corrections at the fore points of all setups whose line has closed within its allowance.
pub(super) fn closed(runs: &[Run], by: Distribution) -> Corrections {
    let all = stretches(runs, by);
    let within = |stretch: &&Stretch<'_>| stretch.closure.is_some_and(|closure| !closure.over());
    all.iter().flatten().filter(within).flat_map(|stretch| shared(stretch, by).corrections).collect()
}

/// Setups of a chain whose foresight closes on a known point.
fn on_known(run: &Run, chain: usize) -> impl DoubleEndedIterator<Item = (&Setup, &Closure)> {
    let of_chain = run.setups.iter().filter(move |setup| setup.before.level.chain == chain);
    of_chain.filter_map(|setup| Some((setup, setup.closures.iter().find(|closure| closure.on == ClosesOn::Known)?)))
}

/// The stretch that ends with this closure on a known point.
fn to_known<'a>(
    runs: &'a [Run],
    index: usize,
    chain: usize,
    setup: u32,
    corrections: &Corrections,
) -> Option<Stretch<'a>> {
    let (_, closure) = on_known(&runs[index], chain).find(|(at, _)| at.number == setup)?;
    let mut stretch = reach(runs, index, chain, setup - 1, corrections)?;
    stretch.legs.last_mut()?.to = setup;
    Some(Stretch { last: -closure.misclosure, closure: Some(closure), ..stretch })
}

/// What leads to the fore point of a setup from the last tie before it, through earlier runs if need be.
///
/// Each step goes to an earlier run, so this ends.
fn reach<'a>(runs: &'a [Run], index: usize, chain: usize, upto: u32, corrections: &Corrections) -> Option<Stretch<'a>> {
    let run = &runs[index];
    let begin = |from: u32, point: &PointName, first: Length| Stretch {
        legs: vec![Leg { run, from, to: upto }],
        from: point.clone(),
        first,
        last: first,
        closure: None,
    };
    if let Some((tie, closure)) = on_known(run, chain).rfind(|(setup, _)| setup.number <= upto) {
        return Some(begin(tie.number, &closure.point, -closure.misclosure));
    }
    let datum = run.chains.get(chain)?.datum.as_ref()?;
    if datum.setup > upto {
        return None;
    }
    if datum.origin != DatumOrigin::Carried {
        return Some(begin(datum.setup, &datum.point, Length::ZERO));
    }
    let (earlier, level, setup) = carried_from(&runs[..index], &datum.point)?;
    if let Some(&correction) = corrections.get(&(runs[earlier].number, setup)) {
        return Some(begin(0, &datum.point, correction));
    }
    let mut stretch = reach(runs, earlier, level.chain, setup, corrections)?;
    stretch.legs.push(Leg { run, from: 0, to: upto });
    Some(stretch)
}

/// The latest time that earlier runs reached a point with an elevation: which run, and at which setup.
pub(super) fn carried_from(earlier: &[Run], point: &PointName) -> Option<(usize, Level, u32)> {
    earlier.iter().enumerate().rev().find_map(|(index, run)| {
        let setups = run.setups.iter().rev().filter(|setup| setup.reduced.complete);
        let mut reached = setups.filter(|setup| setup.fore_point.as_ref() == Some(point));
        let at_setup = reached.find_map(|setup| Some((index, setup.fore_level()?, setup.number)));
        let at_start = (run.start == *point).then_some((index, Level { chain: 0, height: Length::ZERO }, 0));
        at_setup.or(at_start).filter(|(_, level, _)| run.elevation(*level).is_some())
    })
}

/// Loops of a chain that has no other tie: from a point back to it, none over another.
fn loops(run: &Run, chain: usize) -> Vec<Stretch<'_>> {
    let mut found = Vec::new();
    let mut done = 0;
    for setup in run.setups.iter().filter(|setup| setup.before.level.chain == chain) {
        for closure in &setup.closures {
            let ClosesOn::Earlier { run: earlier, setup: from } = closure.on else { continue };
            if earlier != run.number || from < done || chain_after(run, from) != Some(chain) {
                continue;
            }
            found.push(Stretch {
                legs: vec![Leg { run, from, to: setup.number }],
                from: closure.point.clone(),
                first: Length::ZERO,
                last: -closure.misclosure,
                closure: Some(closure),
            });
            done = setup.number;
        }
    }
    found
}

/// The chain that the fore point of a setup is in.
fn chain_after(run: &Run, setup: u32) -> Option<usize> {
    match setup.checked_sub(1) {
        None => Some(0),
        Some(index) => run.setups.get(index as usize)?.fore_level().map(|level| level.chain),
    }
}

/// What hangs beyond the last point of a chain that has a correction.
fn hanging<'a>(run: &'a Run, corrections: &Corrections) -> Vec<Stretch<'a>> {
    let mut found = Vec::new();
    for chain in 0..run.chains.len() {
        let setups = || run.setups.iter().filter(move |setup| setup.before.level.chain == chain);
        let numbers = (chain == 0).then_some(0).into_iter().chain(setups().map(|setup| setup.number));
        let held = numbers.filter_map(|number| Some((number, *corrections.get(&(run.number, number))?))).next_back();
        let (Some((tie, correction)), Some(last)) = (held, setups().next_back()) else { continue };
        if last.number <= tie || (last.reduced.rise().is_none() && last.sides.is_empty() && last.number == tie + 1) {
            continue;
        }
        let point = match tie.checked_sub(1) {
            None => Some(run.start.clone()),
            Some(index) => run.setups.get(index as usize).and_then(|setup| setup.fore_point.clone()),
        };
        found.extend(point.map(|from| Stretch {
            legs: vec![Leg { run, from: tie, to: last.number }],
            from,
            first: correction,
            last: correction,
            closure: None,
        }));
    }
    found
}

/// What a stretch comes to when it is shared out.
struct Shared {
    by: Distribution,
    /// At the fore point of each setup, and at the first end.
    corrections: Vec<((u32, u32), Length)>,
    /// Length and setups from the first end to each of those.
    distances: Vec<(Option<Length>, u32)>,
}

fn shared(stretch: &Stretch<'_>, by: Distribution) -> Shared {
    let mut places = Vec::new();
    let mut distances = Vec::new();
    let (mut length, mut setups) = (Some(Length::ZERO), 0);
    for leg in &stretch.legs {
        places.push((leg.run.number, leg.from));
        distances.push((length, setups));
        for setup in setups_of(leg) {
            // A setup without a rise is the last of what hangs: its points have the setup to themselves.
            length = length.and_then(|sum| Some(sum + setup.reduced.length()?));
            setups += 1;
            places.push((leg.run.number, setup.number));
            distances.push((length, setups));
        }
    }
    let by = if by == Distribution::ByLength && length.is_none() { Distribution::BySetups } else { by };
    let cumulative: Vec<i64> = distances
        .iter()
        .map(|&(length, setups)| match by {
            Distribution::ByLength => length.unwrap_or(Length::ZERO).tenth_nm(),
            Distribution::BySetups | Distribution::None => i64::from(setups),
        })
        .collect();
    let parts = distribute(stretch.first - stretch.last, &cumulative);
    let corrections = places.into_iter().zip(parts.into_iter().map(|part| stretch.first + part)).collect();
    Shared { by, corrections, distances }
}

fn setups_of<'a>(leg: &Leg<'a>) -> impl Iterator<Item = &'a Setup> {
    let Leg { run, from, to } = *leg;
    run.setups.iter().filter(move |setup| setup.number > from && setup.number <= to)
}

/// A stretch as it is printed.
pub(super) fn section(source: &Source<'_>, stretch: &Stretch<'_>, by: Distribution) -> Section {
    let shared = shared(stretch, by);
    let mut points = Vec::new();
    let mut at = shared.corrections.iter().zip(&shared.distances);
    for leg in &stretch.legs {
        let Some((&(_, correction), &distance)) = at.next() else { break };
        let row = Row { source, run: leg.run, correction, distance };
        points.extend(row.first(leg));
        for setup in setups_of(leg) {
            let Some((&(_, correction), &distance)) = at.next() else { break };
            let row = Row { correction, distance, ..row };
            points.extend(setup.sides.iter().filter_map(|side| {
                row.point(setup.number, side.point.clone(), Some(Role::Intermediate), setup.side_level(side)?)
            }));
            points.extend(
                setup
                    .fore_point
                    .as_ref()
                    .and_then(|point| row.point(setup.number, point.clone(), Some(Role::Fore), setup.fore_level()?)),
            );
        }
    }
    let &(length, setups) = shared.distances.last().expect("a stretch has its first end");
    let verdict = stretch.closure.map(closes);
    Section {
        from: stretch.from.to_string(),
        to: stretch.closure.map(|closure| closure.point.to_string()),
        verdict,
        misclosure: source.scales.correction(stretch.first - stretch.last),
        by: shared.by,
        length: length.map(|length| source.scales.sight(length)),
        setups,
        remarks: remarks(stretch, by, shared.by),
        points,
    }
}

/// What is the same for all points of a setup.
#[derive(Clone, Copy)]
struct Row<'a> {
    source: &'a Source<'a>,
    run: &'a Run,
    correction: Length,
    distance: (Option<Length>, u32),
}

impl Row<'_> {
    /// The point on which a leg begins.
    fn first(&self, leg: &Leg<'_>) -> Option<SectionPoint> {
        let next = setups_of(leg).next()?;
        self.point(leg.from, next.back_point.clone(), None, next.before.level)
    }

    fn point(&self, setup: u32, point: PointName, sight: Option<Role>, level: Level) -> Option<SectionPoint> {
        let observed = self.run.elevation(level)?;
        let scales = self.source.scales;
        let (length, setups) = self.distance;
        Some(SectionPoint {
            run: self.run.number,
            setup,
            point: point.to_string(),
            sight,
            length: length.map(|length| scales.sight(length)),
            setups,
            observed: scales.level(observed),
            correction: scales.correction(self.correction),
            adjusted: scales.level(observed + self.correction),
        })
    }
}

fn remarks(stretch: &Stretch<'_>, asked: Distribution, by: Distribution) -> Vec<String> {
    let mut remarks = Vec::new();
    if asked != by {
        remarks.push("by setups, because not every setup has sight lengths".to_owned());
    }
    match stretch.closure {
        None => remarks.push("provisional: beyond the last tie nothing has closed".to_owned()),
        Some(closure) if closure.over() => {
            remarks.push("does not close: for checking only, these elevations are not to be used".to_owned());
        }
        Some(closure) if closure.allowance.is_none() => {
            remarks.push("not judged: the class has no allowance for it".to_owned());
        }
        Some(_) => {}
    }
    if let [earlier, .., _] = &stretch.legs[..] {
        remarks.push(format!("out in run {}, back in run {}: one line", earlier.run.number, stretch.ends_in()));
    }
    remarks
}

impl Stretch<'_> {
    fn ends_in(&self) -> u32 {
        self.legs.last().map_or(0, |leg| leg.run.number)
    }
}
