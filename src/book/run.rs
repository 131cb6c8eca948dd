//! The reduced book: runs of setups, the heights that they carry, and how they close.
//!
//! | symbol | meaning | unit |
//! |---|---|---|
//! | b, f | mean of a setup's counted backsights, foresights; inverted staff negative | 1e-10 m |
//! | rise | b - f, from the back point to the fore point | 1e-10 m |
//! | level | height of a point above the first point of its chain | 1e-10 m |
//! | offset | what makes a level an elevation, once the chain has met a known point | 1e-10 m |
//!
//! `HI = E(back) + b` and `E(fore) = HI - f`, so sum b - sum f = E(last) - E(first) is an equality in whole numbers.
//! A mean of several shots is taken to the nearest 1e-10 m (ties to even) and then is the sight's booked reading.
//! Source: US Navy training manual 14071, Level Computations.

use smallvec::SmallVec;

use super::closure::Allowance;
use super::event::ReadingNumber;
use super::finding::{Finding, FindingKey};
use super::reading::{PointName, Role};
use crate::units::Length;

/// Levelling from a first point through turning points to a last one.
#[derive(Clone, Debug, PartialEq)]
pub struct Run {
    /// Counted from 1 through the job.
    pub number: u32,
    /// Where it starts.
    pub start: PointName,
    /// Its setups, in order, broken ones left out.
    pub setups: Vec<Setup>,
    /// Its chains of heights: one, and one more after each gap.
    pub chains: Vec<Chain>,
    /// A person ended it.
    pub ended: bool,
    /// Findings about the run as it stands, as against those at its setups.
    pub findings: Vec<Finding>,
    /// Those of them that the crew has been told of.
    pub(super) announced: Vec<FindingKey>,
}

/// Heights that hang together without a gap.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Chain {
    /// What ties it to the datum.
    pub datum: Option<Datum>,
}

/// What ties a chain of heights to the datum.
#[derive(Clone, Debug, PartialEq)]
pub struct Datum {
    /// The point.
    pub point: PointName,
    /// The setup at which it was met; 0 for the start of the run.
    pub setup: u32,
    /// Elevation of a point less its level in the chain.
    pub offset: Length,
    /// How the point's elevation is known.
    pub origin: DatumOrigin,
    /// The run and setup that carried it there, if an earlier run did; setup 0 is the start of that run.
    pub carried_by: Option<(u32, u32)>,
    /// Length over which an earlier run carried it there from its own datum; zero for a given one.
    pub distance_before: Length,
    /// Setups of that way.
    pub setups_before: u32,
}

/// How the elevation of a datum point is known.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum DatumOrigin {
    /// Somebody else set it.
    Given,
    /// It was made up.
    Assumed,
    /// An earlier run of this job carried it there.
    Carried,
}

/// A height within a chain.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Level {
    /// Index of the chain within its run.
    pub chain: usize,
    /// Height above the chain's first point.
    pub height: Length,
}

/// One position of the instrument.
#[derive(Clone, Debug, PartialEq)]
pub struct Setup {
    /// Counted from 1 through the run.
    pub number: u32,
    /// The point that the elevation is carried in from.
    pub back_point: PointName,
    /// The point that it is carried to, once a foresight stands.
    pub fore_point: Option<PointName>,
    /// The fore point was named, not numbered as a turning point.
    pub fore_named: bool,
    /// A person took its backsights for foresights and the reverse: each shot stands where it was taken for.
    pub exchanged: bool,
    /// Backsights, in order.
    pub back: Shots,
    /// Foresights, in order.
    pub fore: Shots,
    /// Intermediate sights, in order.
    pub sides: Vec<Side>,
    /// What stood before this setup.
    pub before: Carried,
    /// What its sights come to.
    pub reduced: Reduced,
    /// What closes at its fore point.
    pub closures: Vec<Closure>,
    /// What was found at it.
    pub findings: Vec<Finding>,
    /// Those findings that the crew has been told of.
    pub(super) announced: Vec<FindingKey>,
}

/// The shots of one sight. Most sequences take one, which needs no memory of its own.
pub type Shots = SmallVec<[Shot; 1]>;

/// One shot that has a place in a setup.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Shot {
    /// The reading.
    pub reading: ReadingNumber,
    /// Its staff reading after corrections.
    pub value: Length,
    /// Its sight length.
    pub sight: Option<Length>,
    /// The deviation that the instrument stated for it.
    pub spread: Option<Length>,
    /// How it stands.
    pub standing: ShotStanding,
}

/// How a shot stands in its setup.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum ShotStanding {
    /// It counts, in a place of the sequence.
    Counted,
    /// It counts, as one more shot on the staff just read.
    Extra,
    /// It is struck, and its place stays empty.
    Struck,
}

impl Shot {
    /// Whether it counts.
    pub fn counts(&self) -> bool {
        self.standing != ShotStanding::Struck
    }
}

/// An intermediate sight: single, unchecked.
#[derive(Clone, Debug, PartialEq)]
pub struct Side {
    /// The shot.
    pub shot: Shot,
    /// Where its staff stood.
    pub point: PointName,
}

/// What a setup takes over from the one before.
#[derive(Clone, Debug, PartialEq)]
pub struct Carried {
    /// Level of the back point.
    pub level: Level,
    /// Length of the run so far: all counted sights.
    pub distance: Length,
    /// Some setup so far had no sight lengths, so distances are too short.
    pub distance_lacks: bool,
    /// Setups with a rise so far.
    pub setups: u32,
    /// Sum of (back - fore) sight length since the section began.
    pub imbalance_sum: Length,
    /// First setup of the section.
    pub section_from: u32,
    /// Distance at which the section began.
    pub section_distance: Length,
    /// Setups with a rise before the section began.
    pub section_setups: u32,
    /// Sum of the variances that setups showed for their rise, mm^2.
    pub noise_mm2: f64,
    /// How many setups showed one.
    pub noise_setups: u32,
}

/// What a setup's sights come to.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Reduced {
    /// Mean of the counted backsights.
    pub back: Option<Length>,
    /// Mean of the counted foresights.
    pub fore: Option<Length>,
    /// Mean sight length to the back staff.
    pub back_sight: Option<Length>,
    /// Mean sight length to the fore staff.
    pub fore_sight: Option<Length>,
    /// Back less fore sight length, when both are known.
    pub imbalance: Option<Length>,
    /// The two height differences of a setup that has two.
    pub differences: Option<(Length, Length)>,
    /// Variance of the rise as its own shots show it, mm^2.
    pub variance_mm2: Option<f64>,
    /// Every place of the sequence is taken.
    pub complete: bool,
}

impl Reduced {
    /// Rise from the back point to the fore point.
    pub fn rise(&self) -> Option<Length> {
        Some(self.back? - self.fore?)
    }

    /// Length of both sights.
    pub fn length(&self) -> Option<Length> {
        Some(self.back_sight? + self.fore_sight?)
    }
}

impl Setup {
    /// Level of the line of sight.
    pub fn instrument(&self) -> Option<Level> {
        let back = self.reduced.back?;
        Some(Level { chain: self.before.level.chain, height: self.before.level.height + back })
    }

    /// Level of the fore point.
    pub fn fore_level(&self) -> Option<Level> {
        let rise = self.reduced.rise()?;
        Some(Level { chain: self.before.level.chain, height: self.before.level.height + rise })
    }

    /// Level of an intermediate sight.
    pub fn side_level(&self, side: &Side) -> Option<Level> {
        let instrument = self.instrument().filter(|_| side.shot.counts())?;
        Some(Level { height: instrument.height - side.shot.value, ..instrument })
    }

    /// Distance from the start of the run to the fore point.
    pub fn distance(&self) -> Length {
        self.before.distance + self.reduced.length().unwrap_or(Length::ZERO)
    }

    /// Setups with a rise up to and including this one.
    pub fn setups(&self) -> u32 {
        self.before.setups + u32::from(self.reduced.rise().is_some())
    }

    /// Sum of (back - fore) sight length over the section up to and including this setup.
    pub fn imbalance_sum(&self) -> Length {
        self.before.imbalance_sum + self.reduced.imbalance.unwrap_or(Length::ZERO)
    }

    /// What a shot counts as that was booked in a role.
    pub fn taken_for(&self, booked: Role) -> Role {
        if self.exchanged { booked.exchanged() } else { booked }
    }

    /// The shots that were booked in a role, whatever they are taken for.
    pub(super) fn booked(&self, role: Role) -> &[Shot] {
        self.shots(self.taken_for(role))
    }

    /// How many places of a role are taken.
    pub(super) fn filled(&self, role: Role) -> usize {
        self.booked(role).iter().filter(|shot| shot.standing != ShotStanding::Extra).count()
    }

    /// All its shots with their roles: backsights, foresights, intermediate sights.
    pub(super) fn all_shots(&self) -> impl Iterator<Item = (Role, &Shot)> {
        let back = self.back.iter().map(|shot| (Role::Back, shot));
        let fore = self.fore.iter().map(|shot| (Role::Fore, shot));
        let sides = self.sides.iter().map(|side| (Role::Intermediate, &side.shot));
        back.chain(fore).chain(sides)
    }

    /// Shots of a role, in order.
    pub fn shots(&self, role: Role) -> &[Shot] {
        match role {
            Role::Back => &self.back,
            Role::Fore => &self.fore,
            Role::Intermediate => &[],
        }
    }
}

impl Run {
    /// A level as an elevation, once its chain is tied to the datum.
    pub fn elevation(&self, level: Level) -> Option<Length> {
        Some(level.height + self.chains.get(level.chain)?.datum.as_ref()?.offset)
    }

    /// Elevation of the point that the run has reached.
    pub fn last_elevation(&self) -> Option<Length> {
        self.elevation(self.setups.iter().rev().find_map(Setup::fore_level)?)
    }

    /// The point that the run has reached.
    pub fn last_point(&self) -> &PointName {
        self.setups.iter().rev().find_map(|setup| setup.fore_point.as_ref()).unwrap_or(&self.start)
    }

    /// Length of the run, all counted sights.
    pub fn distance(&self) -> Length {
        self.setups.last().map_or(Length::ZERO, Setup::distance)
    }

    /// Everything that closed on it, in order.
    pub fn closures(&self) -> impl DoubleEndedIterator<Item = &Closure> {
        self.setups.iter().flat_map(|setup| &setup.closures)
    }

    /// How the run ends, as far as it has come.
    pub fn ending(&self) -> Ending {
        match self.setups.last().map(|setup| &setup.closures[..]) {
            Some([.., closure]) => match closure.on {
                ClosesOn::Known if closure.point == self.start => Ending::OnItsStart,
                ClosesOn::Known => Ending::OnKnownPoint,
                ClosesOn::Earlier { .. } => Ending::OnCommonPoint,
            },
            _ => Ending::Open,
        }
    }
}

/// On what a run ends.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Ending {
    /// On its own start: a loop.
    OnItsStart,
    /// On another known point.
    OnKnownPoint,
    /// On a point that was reached before.
    OnCommonPoint,
    /// On nothing that could show a mistake.
    Open,
}

/// An observed elevation against another for the same point.
#[derive(Clone, Debug, PartialEq)]
pub struct Closure {
    /// The point.
    pub point: PointName,
    /// Against what.
    pub on: ClosesOn,
    /// Observed less known, or later less earlier.
    pub misclosure: Length,
    /// Length of the line between.
    pub length: Option<Length>,
    /// Setups of it.
    pub setups: u32,
    /// What the class allows, and by which rule.
    pub allowance: Option<Allowance>,
    /// The setup after which the line begins; 0 for the start of the run.
    pub from_setup: u32,
}

impl Closure {
    /// Over the allowance. A misclosure equal to it is inside.
    pub fn over(&self) -> bool {
        self.allowance.as_ref().is_some_and(|allowance| self.misclosure.abs() > allowance.value)
    }
}

/// Against what an elevation is compared.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum ClosesOn {
    /// The elevation that was given for the point.
    Known,
    /// The elevation with which the point was reached before.
    Earlier {
        /// In this run.
        run: u32,
        /// At this setup; 0 for the start of the run.
        setup: u32,
    },
}
