//! Where each reading goes: the sequence of sights, and the heights that follow. Arithmetic only, no judgement.
//!
//! A reading takes the next place of its setup's sequence. What its record says of role or point wins over that, and
//! what a person says wins over both. Readings are placed in the order of their numbers, so placing them all again
//! after a command gives what would have come had the command been there from the start.

use std::collections::{BTreeMap, HashMap};

use super::Entry;
use super::activity::Activities;
use super::amend::{Amendment, Amendments};
use super::closure::{self, LineKind};
use super::corrections;
use super::event::{ReadingNumber, StruckPlace};
use super::reading::{PointName, Reading, Role};
use super::run::{
    Carried, Chain, ClosesOn, Closure, Datum, DatumOrigin, Level, Reduced, Run, Setup, Shot, ShotStanding, Side,
};
use super::sequence::Sequence;
use super::settings::{KnownPoint, Settings};
use crate::units::Length;

/// What the placing rests on.
#[derive(Clone, Copy)]
pub(super) struct Ground<'a> {
    pub(super) settings: &'a Settings,
    pub(super) known: &'a BTreeMap<PointName, KnownPoint>,
    pub(super) amendments: &'a Amendments,
    pub(super) activities: &'a Activities,
}

/// The place that a reading was given.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Spot {
    /// Run, counted from 1.
    pub run: u32,
    /// Setup within the run, counted from 1.
    pub setup: u32,
    /// What it was taken for.
    pub role: Role,
    /// Whether it counts there.
    pub state: SpotState,
}

/// Whether a reading counts.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum SpotState {
    /// It counts.
    Counted,
    /// It counts, as one more shot on the staff just read.
    Extra,
    /// It is struck out.
    Struck,
    /// Its setup was disturbed.
    Broken,
}

/// One time that a point was reached.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Visit {
    pub(super) run: u32,
    /// 0 for the start of the run.
    pub(super) setup: u32,
    level: Level,
    distance: Length,
    setups: u32,
}

/// All readings in their places.
#[derive(Clone, Debug, Default, PartialEq)]
pub(super) struct Flow {
    pub(super) runs: Vec<Run>,
    pub(super) spots: Vec<Spot>,
    /// When points with a name of their own were reached.
    visits: HashMap<PointName, Vec<Visit>>,
    /// Run and setup of each setup begun through the job; its place here gives its turning point the number, and so
    /// finds it again without a name being kept for each.
    begun: Vec<(u32, u32)>,
    /// Where the next run starts, once a person has said so.
    pending_start: Option<PointName>,
}

impl Flow {
    /// Places these readings, the first of which is number 1.
    pub(super) fn place_all(&mut self, ground: Ground<'_>, entries: &[Entry]) {
        // What was said before the first reading.
        self.bound_run(ground.amendments.of(0));
        for (number, entry) in (1..).zip(entries) {
            self.place(ground, number, &entry.reading);
        }
    }

    /// Gives the next reading its place, and settles the setup that it falls in.
    pub(super) fn place(&mut self, ground: Ground<'_>, number: ReadingNumber, reading: &Reading) {
        let amendment = ground.amendments.of(number);
        let point = amendment
            .and_then(|a| a.point.clone())
            .or_else(|| reading.point.clone())
            .map(|point| ground.amendments.name(point));
        let said = amendment.and_then(|a| a.role).or(reading.role);
        let struck = amendment.and_then(|a| a.struck);
        let repeat = amendment.is_some_and(|a| a.repeat);

        if self.runs.last().is_none_or(|run| run.ended) {
            self.open_run(ground, said, point.as_ref());
        }
        let (role, standing) = self.choose(ground, said, repeat, point.as_ref());
        if amendment.is_some_and(|a| a.exchanged) {
            self.exchange();
        }
        let taken = self.taken_for(role);
        let standing = match struck {
            Some(StruckPlace::Free) => {
                self.spots.push(self.spot(taken, SpotState::Struck));
                self.finish(ground, amendment);
                return;
            }
            Some(StruckPlace::Empty) => ShotStanding::Struck,
            None => standing,
        };
        let corrected = corrections::correct(
            ground.amendments.staff(number, reading).value(),
            reading.sight.map(|s| s.value()),
            reading.temperature_c,
            &ground.amendments.corrections(number, &ground.settings.corrections),
        );
        let shot = Shot {
            reading: number,
            value: corrected.corrected,
            sight: reading.sight.map(|s| s.value()),
            spread: reading.spread.map(|s| s.value()),
            standing,
        };
        self.put(ground, role, shot, point);
        self.spots.push(self.spot(
            taken,
            match standing {
                ShotStanding::Counted => SpotState::Counted,
                ShotStanding::Extra => SpotState::Extra,
                ShotStanding::Struck => SpotState::Struck,
            },
        ));
        self.finish(ground, amendment);
    }

    /// Exchanges the backsights and foresights of the setup that the reading falls in, and of those before it there.
    fn exchange(&mut self) {
        let Some((run, setup)) = self.current() else { return };
        let here = (self.runs[run].number, self.runs[run].setups[setup].number);
        let setup = &mut self.runs[run].setups[setup];
        if setup.exchanged {
            return;
        }
        setup.exchanged = true;
        std::mem::swap(&mut setup.back, &mut setup.fore);
        for spot in self.spots.iter_mut().rev().take_while(|spot| (spot.run, spot.setup) == here) {
            spot.role = spot.role.exchanged();
        }
    }

    /// What a shot at the latest setup counts as that was booked in a role.
    fn taken_for(&self, booked: Role) -> Role {
        self.current().map_or(booked, |(run, setup)| self.runs[run].setups[setup].taken_for(booked))
    }

    /// What follows once a reading has its place.
    fn finish(&mut self, ground: Ground<'_>, amendment: Option<&Amendment>) {
        if amendment.is_some_and(|a| a.broken) {
            self.break_setup();
        }
        self.settle(ground);
        self.bound_run(amendment);
    }

    /// The setup in which the last reading went, as indices into `runs` and `setups`.
    pub(super) fn current(&self) -> Option<(usize, usize)> {
        let run = self.runs.len().checked_sub(1)?;
        Some((run, self.runs[run].setups.len().checked_sub(1)?))
    }

    /// The earliest time that a point was reached, before this setup.
    pub(super) fn first_visit(&self, point: &PointName, run: u32, setup: u32) -> Option<Visit> {
        let named = self.visits.get(point).into_iter().flatten().copied();
        self.turning_visit(point)
            .into_iter()
            .chain(named)
            .filter(|visit| (visit.run, visit.setup) < (run, setup))
            .min_by_key(|visit| (visit.run, visit.setup))
    }

    /// The latest elevation with which a point was reached.
    pub(super) fn latest_elevation(&self, point: &PointName) -> Option<Length> {
        let named = self.visits.get(point).into_iter().flatten().rev().find_map(|visit| self.visit_elevation(visit));
        named.or_else(|| self.turning_visit(point).and_then(|visit| self.visit_elevation(&visit)))
    }

    /// The datum that an earlier run carried to a point, for a run that starts there.
    fn carried_to(&self, point: &PointName) -> Option<Datum> {
        let named = self.visits.get(point).into_iter().flatten().rev().copied();
        let visit = named.chain(self.turning_visit(point)).find(|visit| self.visit_elevation(visit).is_some())?;
        let run = &self.runs[visit.run as usize - 1];
        let datum = run.chains[visit.level.chain].datum.as_ref()?;
        let (from, from_setups) = distance_at(run, datum.setup);
        Some(Datum {
            point: point.clone(),
            setup: 0,
            offset: self.visit_elevation(&visit)?,
            origin: DatumOrigin::Carried,
            carried_by: Some((visit.run, visit.setup)),
            // A run that met its datum late carried it back over the part before.
            distance_before: (visit.distance - from).abs() + datum.distance_before,
            setups_before: visit.setups.abs_diff(from_setups) + datum.setups_before,
        })
    }

    /// When a turning point that has only its number was reached.
    fn turning_visit(&self, point: &PointName) -> Option<Visit> {
        let number: usize = point.as_str().strip_prefix(TURNING)?.parse().ok()?;
        let &(at_run, at_setup) = self.begun.get(number.checked_sub(1)?)?;
        let run = self.runs.get(at_run as usize - 1)?;
        let setup = run.setups.get(at_setup as usize - 1)?;
        if setup.fore_named || setup.fore_point.as_ref() != Some(point) || !setup.reduced.complete {
            return None;
        }
        visit_of(run.number, setup)
    }

    fn visit_elevation(&self, visit: &Visit) -> Option<Length> {
        self.runs[visit.run as usize - 1].elevation(visit.level)
    }

    /// The role and standing of the next reading, beginning a new setup where it needs one.
    fn choose(
        &mut self,
        ground: Ground<'_>,
        said: Option<Role>,
        repeat: bool,
        point: Option<&PointName>,
    ) -> (Role, ShotStanding) {
        let sequence = ground.settings.sequence;
        let run = self.runs.last().expect("a run is open");
        let Some(setup) = run.setups.last() else {
            let role = said.unwrap_or_else(|| sequence.role(1, 0).expect("a sequence has a first place"));
            self.begin_setup(ground, point.filter(|_| role == Role::Back));
            return (role, ShotStanding::Counted);
        };
        if repeat && let Some(role) = self.role_just_read() {
            return (role, ShotStanding::Extra);
        }
        let open = |role| filled(setup, role) < sequence.wanted();
        match said {
            Some(Role::Intermediate) => (Role::Intermediate, ShotStanding::Counted),
            Some(role) if open(role) => (role, ShotStanding::Counted),
            Some(Role::Fore) => (Role::Fore, ShotStanding::Extra),
            Some(Role::Back) if booked(setup, Role::Fore).is_empty() => (Role::Back, ShotStanding::Extra),
            Some(Role::Back) => {
                self.begin_setup(ground, point);
                (Role::Back, ShotStanding::Counted)
            }
            None => match next_role(sequence, setup) {
                Some(role) => (role, ShotStanding::Counted),
                None => {
                    let role = sequence.role(setup.number + 1, 0).expect("a sequence has a first place");
                    self.begin_setup(ground, point.filter(|_| role == Role::Back));
                    (role, ShotStanding::Counted)
                }
            },
        }
    }

    /// The role in which the last reading of this setup was booked that was on a staff of the line.
    fn role_just_read(&self) -> Option<Role> {
        let (run, setup) = self.current()?;
        let here = (self.runs[run].number, self.runs[run].setups[setup].number);
        let on_line = |spot: &&Spot| spot.role != Role::Intermediate && spot.state != SpotState::Broken;
        self.spots
            .iter()
            .rev()
            .take_while(|spot| (spot.run, spot.setup) == here)
            .find(on_line)
            .map(|spot| self.taken_for(spot.role))
    }

    fn open_run(&mut self, ground: Ground<'_>, said: Option<Role>, point: Option<&PointName>) {
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
    fn begin_setup(&mut self, ground: Ground<'_>, back_point: Option<&PointName>) {
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
            back: Vec::with_capacity(wanted),
            fore: Vec::with_capacity(wanted),
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

    fn put(&mut self, ground: Ground<'_>, role: Role, shot: Shot, point: Option<PointName>) {
        let turning = self.begun.len();
        let run = self.runs.last_mut().expect("a run is open");
        let first = run.setups.len() == 1;
        let run_number = run.number;
        let setup = run.setups.last_mut().expect("a setup is begun");
        let setup_number = setup.number;
        match setup.taken_for(role) {
            Role::Back => setup.back.push(shot),
            Role::Fore => setup.fore.push(shot),
            Role::Intermediate => {}
        }
        match role {
            Role::Back => {
                let named = ground.amendments.of(shot.reading).and_then(|a| a.point.clone());
                if let Some(named) = named.map(|name| ground.amendments.name(name)).filter(|_| first)
                    && named != run.start
                {
                    self.restart(ground, named);
                }
            }
            Role::Fore => {
                if let Some(named) = point {
                    let other = setup.fore_point.replace(named.clone()).filter(|other| *other != named);
                    setup.fore_named = true;
                    self.forget_visit(other, run_number, setup_number);
                } else if setup.fore_point.is_none() {
                    let turning = PointName::numbered(TURNING, turning);
                    setup.fore_point = Some(ground.amendments.name(turning.clone()));
                    setup.fore_named = setup.fore_point.as_ref() != Some(&turning);
                }
            }
            Role::Intermediate => {
                let point = point.unwrap_or_else(|| PointName::numbered("S", shot.reading as usize));
                setup.sides.push(Side { shot, point });
            }
        }
    }

    /// A person named the start of the run after its first backsight.
    fn restart(&mut self, ground: Ground<'_>, start: PointName) {
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

    /// Takes the setup just placed out of the run; its readings stay, broken.
    fn break_setup(&mut self) {
        let Some(run) = self.runs.last_mut() else { return };
        let Some(setup) = run.setups.pop() else { return };
        let here = (run.number, setup.number);
        if setup.before.level.chain + 1 == run.chains.len()
            && setup.before.level.height == Length::ZERO
            && setup.number > 1
        {
            let in_use = run.setups.last().is_some_and(|last| last.before.level.chain == setup.before.level.chain);
            if !in_use {
                run.chains.pop();
            }
        }
        self.begun.pop();
        for spot in self.spots.iter_mut().rev().take_while(|spot| (spot.run, spot.setup) == here) {
            if spot.state != SpotState::Struck {
                spot.state = SpotState::Broken;
            }
        }
        self.forget_visit(setup.fore_point, here.0, here.1);
    }

    fn forget_visit(&mut self, point: Option<PointName>, run: u32, setup: u32) {
        if let Some(point) = point
            && let Some(visits) = self.visits.get_mut(&point)
        {
            visits.retain(|visit| (visit.run, visit.setup) != (run, setup));
        }
    }

    fn bound_run(&mut self, amendment: Option<&Amendment>) {
        let Some(amendment) = amendment else { return };
        if (amendment.ends_run || amendment.starts_run.is_some())
            && let Some(run) = self.runs.last_mut()
        {
            run.ended = true;
        }
        if amendment.starts_run.is_some() {
            self.pending_start.clone_from(&amendment.starts_run);
        }
    }

    fn spot(&self, role: Role, state: SpotState) -> Spot {
        let run = self.runs.last().expect("a run is open");
        Spot { run: run.number, setup: run.setups.last().map_or(0, |setup| setup.number), role, state }
    }

    /// Works out the setup just placed: means, heights, what ties to the datum, and what closes.
    fn settle(&mut self, ground: Ground<'_>) {
        let Some((at_run, at_setup)) = self.current() else { return };
        let run = &mut self.runs[at_run];
        let setup = &mut run.setups[at_setup];
        setup.reduced = reduce(ground.settings.sequence, setup);
        setup.closures.clear();
        for side in &setup.sides {
            let (Some(known), Some(level)) = (ground.known.get(&side.point), setup.side_level(side)) else { continue };
            let chain = &mut run.chains[level.chain];
            if chain.datum.is_none() {
                chain.datum = Some(given(known, level, setup.number));
            }
        }
        if !setup.reduced.complete {
            return;
        }
        if !setup.fore_named {
            // A turning point that has only its number is reached for the first time: it closes on nothing.
            return;
        }
        let (Some(visit), Some(point)) = (visit_of(run.number, setup), setup.fore_point.clone()) else { return };
        let level = visit.level;
        let known = ground.known.get(&point);
        if let Some(known) = known
            && run.chains[level.chain].datum.is_none()
        {
            run.chains[level.chain].datum = Some(given(known, level, setup.number));
        }
        let visits = self.visits.entry(point.clone()).or_default();
        match visits.iter_mut().find(|held| (held.run, held.setup) == (visit.run, visit.setup)) {
            Some(held) => *held = visit,
            None => visits.push(visit),
        }
        let closure = self.close(ground, at_run, at_setup, &point, visit, known);
        self.runs[at_run].setups[at_setup].closures.extend(closure);
    }

    /// What the elevation of a point just reached says against the one it has.
    fn close(
        &self,
        ground: Ground<'_>,
        at_run: usize,
        at_setup: usize,
        point: &PointName,
        visit: Visit,
        known: Option<&KnownPoint>,
    ) -> Option<Closure> {
        let run = &self.runs[at_run];
        let setup = &run.setups[at_setup];
        let lacks = setup.before.distance_lacks || setup.reduced.length().is_none();
        let datum = run.chains[visit.level.chain].datum.as_ref()?;
        if let Some(known) = known {
            if datum.setup == setup.number {
                return None;
            }
            let misclosure = run.elevation(visit.level)? - known.elevation.value();
            let (from, from_setups) = distance_at(run, datum.setup);
            let kind = if datum.point == *point { LineKind::Loop } else { LineKind::BetweenKnown };
            return Some(closed(
                ground,
                kind,
                point,
                ClosesOn::Known,
                misclosure,
                (!lacks).then(|| visit.distance - from + datum.distance_before),
                visit.setups - from_setups + datum.setups_before,
                datum.setup,
            ));
        }
        let earlier = self.first_visit(point, visit.run, visit.setup)?;
        let on = ClosesOn::Earlier { run: earlier.run, setup: earlier.setup };
        if earlier.run == visit.run && earlier.level.chain == visit.level.chain {
            let misclosure = visit.level.height - earlier.level.height;
            let length = (!lacks).then(|| visit.distance - earlier.distance);
            let setups = visit.setups - earlier.setups;
            return Some(closed(ground, LineKind::Loop, point, on, misclosure, length, setups, earlier.setup));
        }
        let misclosure = run.elevation(visit.level)? - self.visit_elevation(&earlier)?;
        // There and back: the section is half of the way that both took.
        let length = (!lacks).then(|| (visit.distance + earlier.distance).divide(2));
        let setups = visit.setups + earlier.setups;
        Some(closed(ground, LineKind::Section, point, on, misclosure, length, setups, 0))
    }
}

/// How a turning point is called that nobody has named, before its number.
const TURNING: &str = "TP";

fn visit_of(run: u32, setup: &Setup) -> Option<Visit> {
    Some(Visit {
        run,
        setup: setup.number,
        level: setup.fore_level()?,
        distance: setup.distance(),
        setups: setup.setups(),
    })
}

/// The next open place of a setup.
pub(super) fn next_role(sequence: Sequence, setup: &Setup) -> Option<Role> {
    let (mut backs, mut fores) = (filled(setup, Role::Back), filled(setup, Role::Fore));
    for slot in 0.. {
        let role = sequence.role(setup.number, slot)?;
        let left = if role == Role::Back { &mut backs } else { &mut fores };
        if *left == 0 {
            return Some(role);
        }
        *left -= 1;
    }
    None
}

/// The shots that were booked in a role, whatever they are taken for.
fn booked(setup: &Setup, role: Role) -> &[Shot] {
    setup.shots(setup.taken_for(role))
}

/// How many places of a role are taken.
fn filled(setup: &Setup, role: Role) -> usize {
    booked(setup, role).iter().filter(|shot| shot.standing != ShotStanding::Extra).count()
}

fn distance_at(run: &Run, setup: u32) -> (Length, u32) {
    match setup.checked_sub(1).and_then(|index| run.setups.get(index as usize)) {
        Some(setup) => (setup.distance(), setup.setups()),
        None => (Length::ZERO, 0),
    }
}

fn given(known: &KnownPoint, level: Level, setup: u32) -> Datum {
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

#[expect(clippy::too_many_arguments, reason = "one closure, each part once, from two callers in this file")]
fn closed(
    ground: Ground<'_>,
    kind: LineKind,
    point: &PointName,
    on: ClosesOn,
    misclosure: Length,
    length: Option<Length>,
    setups: u32,
    from_setup: u32,
) -> Closure {
    let allowance =
        closure::allowance(&ground.settings.class, kind, length, setups, None, sigma_setup_mm(ground.settings));
    Closure { point: point.clone(), on, misclosure, length, setups, allowance, from_setup }
}

/// Standard deviation of a setup's rise, from that of one reading and the sequence.
pub(super) fn sigma_setup_mm(settings: &Settings) -> f64 {
    closure::setup_sd_mm(settings.instrument.reading_sd, settings.sequence.wanted())
}

fn reduce(sequence: Sequence, setup: &Setup) -> Reduced {
    let mean = |shots: &[Shot]| Length::mean(shots.iter().filter(|shot| shot.counts()).map(|shot| shot.value));
    let sight = |shots: &[Shot]| Length::mean(shots.iter().filter(|shot| shot.counts()).filter_map(|shot| shot.sight));
    let (back_sight, fore_sight) = (sight(&setup.back), sight(&setup.fore));
    let (back, fore) = (mean(&setup.back), mean(&setup.fore));
    let complete = back.is_some()
        && fore.is_some()
        && filled(setup, Role::Back) >= sequence.wanted()
        && filled(setup, Role::Fore) >= sequence.wanted();
    let differences = if complete && sequence.two_differences() { differences(sequence, setup) } else { None };
    Reduced {
        back,
        fore,
        back_sight,
        fore_sight,
        imbalance: back_sight.zip(fore_sight).map(|(back, fore)| back - fore),
        differences,
        variance_mm2: if complete { variance_mm2(setup, differences) } else { None },
        complete,
    }
}

/// Variance of a setup's rise, from what its shots show: two height differences, else repeats, else what the
/// instrument states.
///
/// Two differences `d1`, `d2` of equal weight: the variance of their mean is `(d1 - d2)^2 / 4` in expectation.
/// Repeats: pooled `s^2 = sum (x - mean)^2 / (m - 1)`, of the mean `s^2 / m`. Stated: the deviations added in
/// quadrature. Source: propagation of independent errors, standard textbooks, from memory.
fn variance_mm2(setup: &Setup, differences: Option<(Length, Length)>) -> Option<f64> {
    if let Some((first, second)) = differences {
        return Some((first - second).to_f64_mm().powi(2) / 4.0);
    }
    let of_mean = |shots: &[Shot]| {
        let counted = || shots.iter().filter(|shot| shot.counts());
        let m = counted().count();
        if m < 2 {
            let spread = counted().next()?.spread?;
            return Some(spread.to_f64_mm().powi(2));
        }
        let mean = counted().map(|shot| shot.value.to_f64_mm()).sum::<f64>() / m as f64;
        let squares: f64 = counted().map(|shot| (shot.value.to_f64_mm() - mean).powi(2)).sum();
        Some(squares / (m as f64 - 1.0) / m as f64)
    };
    Some(of_mean(&setup.back)? + of_mean(&setup.fore)?)
}

/// The setup's two height differences: first half of the backsights less first half of the foresights, and the rest.
fn differences(sequence: Sequence, setup: &Setup) -> Option<(Length, Length)> {
    let half = sequence.wanted() / 2;
    let part = |shots: &[Shot], second: bool| {
        let places = shots.iter().filter(|shot| shot.standing != ShotStanding::Extra).enumerate();
        let of_half = places.filter(|(place, _)| (*place >= half) == second).map(|(_, shot)| shot);
        Length::mean(of_half.filter(|shot| shot.counts()).map(|shot| shot.value))
    };
    let difference = |second| Some(part(&setup.back, second)? - part(&setup.fore, second)?);
    Some((difference(false)?, difference(true)?))
}
