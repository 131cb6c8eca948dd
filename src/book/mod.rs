//! The level book: a pure fold of events. No clock, thread, file, socket, environment, logging or async.
//!
//! ```text
//! input ──decide──▶ bodies of events ──(kept)──▶ apply ──▶ book ──judge──▶ what the crew must be told ──(kept)──▶ apply
//! ```
//!
//! `decide` holds the rules of what may be booked, `apply` the bookkeeping, `judge` what the crew is told. The same
//! events give the same book, findings and elevations, to the last digit.

pub mod activity;
mod amend;
mod checks;
pub mod classes;
pub mod closure;
pub mod corrections;
mod decide;
pub mod decimals;
pub mod event;
pub mod finding;
mod flow;
mod fold;
mod judge;
pub mod marks;
pub mod moment;
mod next_staff;
pub mod reading;
mod records;
mod reduce;
pub mod run;
pub mod sequence;
pub mod settings;
pub mod wording;

use std::collections::BTreeMap;

pub use amend::{Amendment, Amendments, Said};
pub use decide::{Input, Refused, decide};
pub use flow::{Spot, SpotState};
pub use judge::judge;
pub use next_staff::{NextStaff, next_staff};
pub use records::{Bytes, Records};

use activity::Activities;
use event::{ReadingNumber, Verdict};
use finding::{Finding, FindingKey, Place, Priority};
use flow::Flow;
use fold::Touched;
use moment::Moment;
use reading::{PointName, Reading, Role};
use run::{Run, Setup};
use settings::{KnownPoint, Settings};

/// A reading in the book.
#[derive(Clone, Debug, PartialEq)]
pub struct Entry {
    /// The event that brought it.
    pub event: u64,
    /// When.
    pub at: Moment,
    /// What it read.
    pub reading: Reading,
    /// How it came.
    pub came: Came,
}

/// How a reading came.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Came {
    /// From the instrument.
    Heard,
    /// Typed in by a person.
    KeyedIn,
}

/// A finding that the crew has been told of and whose cause is not gone.
#[derive(Clone, Debug, PartialEq)]
pub struct Standing {
    /// How urgent it was said to be.
    pub priority: Priority,
    /// A person has seen it.
    pub acknowledged: bool,
    /// When it was said.
    pub at: Moment,
}

/// The verdict on a setup, as it was given.
#[derive(Clone, Debug, PartialEq)]
pub struct Given {
    /// Run, counted from 1.
    pub run: u32,
    /// Setup within it, counted from 1.
    pub setup: u32,
    /// Which.
    pub verdict: Verdict,
    /// What was said.
    pub text: String,
}

/// The level book of one job.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Book {
    settings: Option<Box<Settings>>,
    simulated: bool,
    known: BTreeMap<PointName, KnownPoint>,
    amendments: Amendments,
    activities: Activities,
    entries: Vec<Entry>,
    finest: decimals::Finest,
    flow: Flow,
    records: Records,
    standing: BTreeMap<FindingKey, Standing>,
    last_verdict: Option<Given>,
    verdict_due: bool,
    touched: Touched,
    last_event: u64,
    last_at: Moment,
}

impl Book {
    /// A book without events: its first must be [`Body::JobOpened`].
    pub fn new() -> Self {
        Book::default()
    }

    /// What the job is set to.
    ///
    /// # Panics
    /// Before the job was opened.
    pub fn settings(&self) -> &Settings {
        self.ground().settings
    }

    /// Whether the job was opened.
    pub fn is_open(&self) -> bool {
        self.settings.is_some()
    }

    /// Whether anything in it came from a simulated instrument.
    pub fn simulated(&self) -> bool {
        self.simulated
    }

    /// Points with a given elevation.
    pub fn known(&self) -> &BTreeMap<PointName, KnownPoint> {
        &self.known
    }

    /// What people said about readings.
    pub fn amendments(&self) -> &Amendments {
        &self.amendments
    }

    /// What was done beside the runs.
    pub fn activities(&self) -> &Activities {
        &self.activities
    }

    /// All readings, struck ones included; number 1 is the first. Those that went to an activity are kept with it.
    pub fn entries(&self) -> &[Entry] {
        &self.entries
    }

    /// A reading by its number.
    pub fn entry(&self, number: ReadingNumber) -> Option<&Entry> {
        self.entries.get((number as usize).checked_sub(1)?)
    }

    /// The place of a reading.
    pub fn spot(&self, number: ReadingNumber) -> Option<Spot> {
        self.flow.spots.get((number as usize).checked_sub(1)?).copied()
    }

    /// The runs, in order.
    pub fn runs(&self) -> &[Run] {
        &self.flow.runs
    }

    /// The run and setup that the last reading fell in.
    pub fn current(&self) -> Option<(&Run, &Setup)> {
        let (run, setup) = self.flow.current()?;
        let run = &self.flow.runs[run];
        Some((run, &run.setups[setup]))
    }

    /// What is due next at the open setup, or at the next.
    pub fn next_role(&self) -> Role {
        let sequence = self.settings().sequence;
        match self.current() {
            Some((run, setup)) if !run.ended => {
                flow::next_role(sequence, setup).unwrap_or_else(|| sequence.first(setup.number + 1))
            }
            _ => sequence.first(1),
        }
    }

    /// What the link has brought.
    pub fn records(&self) -> &Records {
        &self.records
    }

    /// Everything found, as the book stands: at setups, on runs, about records. Those inside their limit are left out.
    pub fn findings(&self) -> impl Iterator<Item = &Finding> {
        let at_setups = self
            .flow
            .runs
            .iter()
            .flat_map(|run| run.setups.iter().flat_map(|setup| &setup.findings).chain(&run.findings));
        at_setups
            .chain(self.records.findings())
            .filter(|finding| finding.over || self.standing.contains_key(&finding.key))
    }

    /// What is found under this key, as the book stands.
    pub fn finding(&self, key: &FindingKey) -> Option<&Finding> {
        let is_it = |finding: &&Finding| finding.key == *key && (finding.over || self.standing.contains_key(key));
        // Mostly it is found where it is about; a later setup may have found it too.
        let setup = match &key.place {
            Place::Reading(number) => self.spot(*number).map(|spot| (spot.run, spot.setup)),
            Place::Setup { run, setup } | Place::Point { run, setup, .. } => Some((*run, *setup)),
            _ => None,
        };
        let setup = setup.and_then(|(run, setup)| {
            self.flow.runs.get((run as usize).checked_sub(1)?)?.setups.get((setup as usize).checked_sub(1)?)
        });
        setup.and_then(|setup| setup.findings.iter().find(is_it)).or_else(|| self.findings().find(is_it))
    }

    /// Findings that the crew has been told of, whose cause is not gone.
    pub fn standing(&self) -> &BTreeMap<FindingKey, Standing> {
        &self.standing
    }

    /// The verdict given last.
    pub fn last_verdict(&self) -> Option<&Given> {
        self.last_verdict.as_ref()
    }

    /// The latest elevation with which a point was reached.
    pub fn elevation(&self, point: &PointName) -> Option<crate::units::Length> {
        self.flow.latest_elevation(point)
    }

    /// Number of the last event taken in.
    pub fn last_event(&self) -> u64 {
        self.last_event
    }

    /// Time of the last event taken in.
    pub fn last_at(&self) -> Moment {
        self.last_at
    }

    /// The decimals of elevations and means in the job's unit.
    pub fn decimals(&self) -> u8 {
        decimals::decimals(self, self.settings().unit)
    }
}
