//! What is looked for at each setup. A new check is one function and one row of the table below.
//!
//! A check compares what was measured, unrounded, with its limit; a value equal to the limit is inside.
//! It finds; whether the crew is told, and when, is decided in `judge`.

mod balance;
mod closing;
mod collimation;
mod observing;
mod setup;
mod shot;

use smallvec::SmallVec;

use super::Entry;
use super::amend::Amendments;
use super::classes::{Class, Limit};
use super::event::ReadingNumber;
use super::finding::{Amount, Finding, FindingId, FindingKey, Place, Priority};
use super::flow::{Flow, Ground};
use super::reading::Role;
use super::run::{Run, Setup, Shot};
use super::settings::Settings;
use super::wording::Wording;
use crate::units::{Length, Measured};

/// The checks of its counted shots, and of the setup as a whole, made each time a reading falls in it.
const ON_SHOTS: &[fn(&At<'_>, &Counted<'_>, &mut Vec<Finding>)] =
    &[shot::reading_off_staff, shot::line_low, shot::sight_length, shot::spread, shot::same_sight];
const AT_SETUP: &[fn(&At<'_>, &mut Vec<Finding>)] = &[
    balance::balance,
    observing::uncorrected,
    setup::two_differences,
    setup::gap,
    setup::height_unchanged,
    setup::staff_parity,
    closing::misclosure,
    closing::point_moved,
    closing::offer,
];

/// The checks made on the run as it stands, after its latest setup.
const ON_RUN: &[fn(&At<'_>, &mut Vec<Finding>)] =
    &[balance::balance_sum, collimation::due, collimation::effect, closing::outlook, observing::sequence];

/// Share of its limit that a value must fall below before a finding is taken back, so that one which hovers about
/// its limit is said once; in tenths, so that lengths are compared in whole numbers.
const RELEASE_TENTHS: i64 = 9;
const RELEASE: f64 = RELEASE_TENTHS as f64 / 10.0;

/// Where a check looks.
pub(super) struct At<'a> {
    pub(super) ground: Ground<'a>,
    pub(super) flow: &'a Flow,
    pub(super) entries: &'a [Entry],
    pub(super) run: &'a Run,
    pub(super) setup: &'a Setup,
}

/// The counted shots of a setup, each with its role: backsights, foresights, intermediate sights.
type Counted<'a> = [(Role, &'a Shot)];

/// Everything found at one setup.
pub(super) fn at_setup(at: &At<'_>) -> Vec<Finding> {
    let mut found = Vec::new();
    let shots: SmallVec<[_; 4]> = at.setup.all_shots().filter(|(_, shot)| shot.counts()).collect();
    for check in ON_SHOTS {
        check(at, &shots, &mut found);
    }
    for check in AT_SETUP {
        check(at, &mut found);
    }
    found
}

/// Everything found on the run as it stands.
pub(super) fn on_run(at: &At<'_>) -> Vec<Finding> {
    let mut found = Vec::new();
    for check in ON_RUN {
        check(at, &mut found);
    }
    found
}

impl<'a> At<'a> {
    fn settings(&self) -> &'a Settings {
        self.ground.settings
    }

    fn class(&self) -> &'a Class {
        &self.ground.settings.class
    }

    fn amendments(&self) -> &'a Amendments {
        self.ground.amendments
    }

    /// What the staff is taken to have read.
    fn staff(&self, number: ReadingNumber) -> Measured {
        self.amendments().staff(number, &self.entries[number as usize - 1].reading)
    }

    fn wording(&self) -> Wording {
        Wording::new(self.settings().unit)
    }

    fn here(&self) -> Place {
        Place::Setup { run: self.run.number, setup: self.setup.number }
    }

    /// Whether the setup is the one that the crew stands at.
    fn is_latest(&self) -> bool {
        self.run.setups.last().is_some_and(|last| last.number == self.setup.number)
    }

    /// The class's name behind a limit, with how the value is known.
    fn basis(&self, limit: &Limit) -> String {
        format!("{}{}", self.class().title, limit.basis.remark())
    }
}

/// How a value stands to its limit.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Stands {
    /// Over it.
    Over,
    /// Inside, but not far enough to take a finding back.
    Near,
}

/// Compares sizes. `None` is well inside.
fn compare(value: Length, limit: Length) -> Option<Stands> {
    let value = value.abs();
    let tenths = |length: Length, times: i64| i128::from(length.tenth_nm()) * i128::from(times);
    if value > limit {
        Some(Stands::Over)
    } else if tenths(value, 10) > tenths(limit, RELEASE_TENTHS) {
        Some(Stands::Near)
    } else {
        None
    }
}

/// A finding without a compared value.
fn plain(id: FindingId, place: Place, priority: Priority, fact: String, todo: String) -> Finding {
    let key = FindingKey { place, id };
    Finding { key, priority, fact, todo, value: None, limit: None, basis: None, over: true }
}

/// A finding with its value, its limit and where the limit comes from.
fn measured(base: Finding, stands: Stands, value: Amount, limit: Amount, basis: String) -> Finding {
    Finding { value: Some(value), limit: Some(limit), basis: Some(basis), over: stands == Stands::Over, ..base }
}
