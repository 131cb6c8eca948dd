//! Where each reading goes: the sequence of sights, and the heights that follow. Arithmetic only, no judgement.
//!
//! A reading takes the next place of its setup's sequence. What its record says of role or point wins over that, and
//! what a person says wins over both. Readings are placed in the order of their numbers, so placing them all again
//! after a command gives what would have come had the command been there from the start.

mod begin;
mod closing;
mod visits;

use std::collections::{BTreeMap, HashMap};

use super::Entry;
use super::activity::Activities;
use super::amend::{Amendment, Amendments};
use super::corrections;
use super::event::{ReadingNumber, StruckPlace};
use super::reading::{PointName, Reading, Role};
use super::run::{Run, Setup, Shot, ShotStanding, Side};
use super::sequence::Sequence;
use super::settings::{KnownPoint, Settings};
use crate::units::Length;
use visits::Visit;

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

/// How a turning point is called that nobody has named, before its number.
const TURNING: &str = "TP";

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
            let role = said.unwrap_or_else(|| sequence.first(1));
            self.begin_setup(ground, point.filter(|_| role == Role::Back));
            return (role, ShotStanding::Counted);
        };
        if repeat && let Some(role) = self.role_just_read() {
            return (role, ShotStanding::Extra);
        }
        let open = |role| setup.filled(role) < sequence.wanted();
        match said {
            Some(Role::Intermediate) => (Role::Intermediate, ShotStanding::Counted),
            Some(role) if open(role) => (role, ShotStanding::Counted),
            Some(Role::Fore) => (Role::Fore, ShotStanding::Extra),
            Some(Role::Back) if setup.booked(Role::Fore).is_empty() => (Role::Back, ShotStanding::Extra),
            Some(Role::Back) => {
                self.begin_setup(ground, point);
                (Role::Back, ShotStanding::Counted)
            }
            None => match next_role(sequence, setup) {
                Some(role) => (role, ShotStanding::Counted),
                None => {
                    let role = sequence.first(setup.number + 1);
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
}

/// The next open place of a setup.
pub(super) fn next_role(sequence: Sequence, setup: &Setup) -> Option<Role> {
    let (mut backs, mut fores) = (setup.filled(Role::Back), setup.filled(Role::Fore));
    let shots = usize::from(sequence.shots);
    sequence.sights(setup.number).find(|role| {
        let left = if *role == Role::Back { &mut backs } else { &mut fores };
        let open = *left < shots;
        *left = left.saturating_sub(shots);
        open
    })
}
