//! How runs and setups begin: where from, and what they take over.

use super::visits::Visit;
use super::{Flow, Ground};
use crate::book::reading::{PointName, Role};
use crate::book::run::{Carried, Chain, Datum, DatumOrigin, Level, Reduced, Run, Setup, Shots};
use crate::book::settings::KnownPoint;
use crate::units::Length;

impl Flow {
    pub(super) fn open_run(&mut self, ground: Ground<'_>, said: Option<Role>, point: Option<&PointName>) {
        let carried_on = self.runs.last().map(|run| run.last_point().clone());
        let start = self
            .pending_start
            .take()
            .or(carried_on)
            .or_else(|| ground.settings.start.clone())
            .or_else(|| point.filter(|_| said != Some(Role::Fore)).cloned())
            .or_else(|| ground.known.keys().next().filter(|_| ground.known.len() == 1).cloned())
            .unwrap_or_else(|| PointName::new("START").expect("a visible name"));
        let start = ground.amendments.name(start);
        let number = self.runs.len() as u32 + 1;
        let level = Level { chain: 0, height: Length::ZERO };
        let datum = match ground.known.get(&start) {
            Some(known) => Some(given(known, level, 0)),
            None => self.carried_to(&start),
        };
        self.visits.entry(start.clone()).or_default().push(Visit {
            run: number,
            setup: 0,
            level,
            distance: Length::ZERO,
            setups: 0,
        });
        self.runs.push(Run {
            number,
            start,
            setups: Vec::new(),
            chains: vec![Chain { datum }],
            ended: false,
            findings: Vec::new(),
            announced: Vec::new(),
        });
    }

    /// Begins a setup on the point that the run has reached; on another named point it begins a new run.
    pub(super) fn begin_setup(&mut self, ground: Ground<'_>, back_point: Option<&PointName>) {
        let run = self.runs.last_mut().expect("a run is open");
        if let (Some(named), Some(last)) = (back_point, run.setups.last_mut())
            && last.fore_point.as_ref() != Some(named)
        {
            if last.fore_named || last.fore_point.is_none() {
                run.ended = true;
                self.pending_start = Some(named.clone());
                self.open_run(ground, Some(Role::Back), back_point);
            } else {
                // The foresight had no name of its own; the backsight on the same point brings it.
                let (at_run, at_setup) = (run.number, last.number);
                let unnamed = last.fore_point.replace(named.clone());
                last.fore_named = true;
                self.forget_visit(unnamed, at_run, at_setup);
                self.settle(ground);
            }
        }
        let before = self.carry(ground);
        let run = self.runs.last_mut().expect("a run is open");
        self.begun.push((run.number, run.setups.last().map_or(1, |last| last.number + 1)));
        let wanted = ground.settings.sequence.wanted();
        run.setups.push(Setup {
            number: run.setups.last().map_or(1, |last| last.number + 1),
            back_point: run.setups.last().and_then(|last| last.fore_point.clone()).unwrap_or_else(|| run.start.clone()),
            fore_point: None,
            fore_named: false,
            exchanged: false,
            back: Shots::with_capacity(wanted),
            fore: Shots::with_capacity(wanted),
            sides: Vec::new(),
            before,
            reduced: Reduced::default(),
            closures: Vec::new(),
            findings: Vec::new(),
            announced: Vec::new(),
        });
    }

    /// What the next setup takes over. After a gap its heights begin a chain of their own.
    fn carry(&mut self, ground: Ground<'_>) -> Carried {
        let run = self.runs.last_mut().expect("a run is open");
        let Some(last) = run.setups.last() else {
            return Carried {
                level: Level { chain: 0, height: Length::ZERO },
                distance: Length::ZERO,
                distance_lacks: false,
                setups: 0,
                imbalance_sum: Length::ZERO,
                section_from: 1,
                section_distance: Length::ZERO,
                section_setups: 0,
                noise_mm2: 0.0,
                noise_setups: 0,
            };
        };
        let on_mark = last.fore_point.as_ref().is_some_and(|point| ground.known.contains_key(point));
        let mut carried = Carried {
            level: last.fore_level().unwrap_or(Level { chain: run.chains.len(), height: Length::ZERO }),
            distance: last.distance(),
            distance_lacks: last.before.distance_lacks || last.reduced.length().is_none(),
            setups: last.setups(),
            imbalance_sum: last.imbalance_sum(),
            noise_mm2: last.before.noise_mm2 + last.reduced.variance_mm2.unwrap_or(0.0),
            noise_setups: last.before.noise_setups + u32::from(last.reduced.variance_mm2.is_some()),
            ..last.before.clone()
        };
        if on_mark {
            carried.imbalance_sum = Length::ZERO;
            carried.section_from = last.number + 1;
            carried.section_distance = carried.distance;
            carried.section_setups = carried.setups;
        }
        if carried.level.chain == run.chains.len() {
            let point = last.fore_point.as_ref().and_then(|point| ground.known.get(point));
            run.chains.push(Chain { datum: point.map(|known| given(known, carried.level, last.number)) });
        }
        carried
    }

    /// A person named the start of the run after its first backsight.
    pub(super) fn restart(&mut self, ground: Ground<'_>, start: PointName) {
        let number = self.runs.last().expect("a run is open").number;
        let before = self.runs.last().map(|run| run.start.clone());
        self.forget_visit(before, number, 0);
        let level = Level { chain: 0, height: Length::ZERO };
        let datum = match ground.known.get(&start) {
            Some(known) => Some(given(known, level, 0)),
            None => self.carried_to(&start),
        };
        let visit = Visit { run: number, setup: 0, level, distance: Length::ZERO, setups: 0 };
        self.visits.entry(start.clone()).or_default().push(visit);
        let run = self.runs.last_mut().expect("a run is open");
        run.chains[0].datum = datum;
        run.setups[0].back_point = start.clone();
        run.start = start;
    }
}

/// The datum that a known point gives, met at a setup.
pub(super) fn given(known: &KnownPoint, level: Level, setup: u32) -> Datum {
    Datum {
        point: known.name.clone(),
        setup,
        offset: known.elevation.value() - level.height,
        origin: if known.assumed { DatumOrigin::Assumed } else { DatumOrigin::Given },
        carried_by: None,
        distance_before: Length::ZERO,
        setups_before: 0,
    }
}
