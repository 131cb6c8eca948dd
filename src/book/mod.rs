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
pub mod event;
pub mod finding;
mod flow;
mod judge;
pub mod marks;
pub mod moment;
mod next_staff;
pub mod reading;
mod records;
pub mod run;
pub mod sequence;
pub mod settings;
pub mod wording;

use std::collections::BTreeMap;

pub use amend::{Amendment, Amendments};
pub use decide::{Input, Refused, decide};
pub use flow::{Spot, SpotState};
pub use judge::judge;
pub use next_staff::{NextStaff, next_staff};
pub use records::{Bytes, Records};

use activity::Activities;
use checks::At;
use event::{Body, Command, Event, ReadingNumber, Verdict};
use finding::{Finding, FindingKey, Place, Priority};
use flow::{Flow, Ground};
use moment::Moment;
use reading::{Heard, PointName, Reading, Role};
use run::{Run, Setup};
use settings::{KnownPoint, Settings};

/// Setups changed since the crew was last told; beyond this many all are looked at.
const TOUCHED_MAX: usize = 8;

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
    flow: Flow,
    records: Records,
    standing: BTreeMap<FindingKey, Standing>,
    last_verdict: Option<Given>,
    verdict_due: bool,
    touched: Touched,
    last_event: u64,
    last_at: Moment,
}

/// Which setups may hold something that the crew has not been told.
#[derive(Clone, Debug, PartialEq)]
enum Touched {
    Setups(Vec<(usize, usize)>),
    All,
}

impl Default for Touched {
    fn default() -> Self {
        Touched::Setups(Vec::new())
    }
}

impl Book {
    /// A book without events: its first must be [`Body::JobOpened`].
    pub fn new() -> Self {
        Book::default()
    }

    /// The book that these events come to.
    pub fn fold<'a>(events: impl IntoIterator<Item = &'a Event>) -> Self {
        let mut book = Book::new();
        for event in events {
            book.apply(event);
        }
        book.touched = Touched::All;
        book
    }

    /// Takes one event in. Cannot fail: what may not be booked was refused before it became an event.
    ///
    /// # Panics
    /// If the first event does not open a job.
    pub fn apply(&mut self, event: &Event) {
        self.last_event = event.seq;
        self.last_at = event.at;
        self.simulated |= event.simulated;
        match &event.body {
            Body::JobOpened { settings, .. } | Body::Resettled { settings } => self.settle_on(settings),
            Body::Heard { heard } => {
                self.records.hear(event, heard);
                if let Heard::Reading(reading) = heard {
                    self.take(event, reading, Came::Heard);
                }
            }
            Body::Commanded { command, .. } => self.obey(event, command),
            Body::LinkChanged { state } => self.records.link_changed(event.seq, state),
            Body::ClockStepped { by_ms } => self.records.clock_stepped(event.seq, *by_ms),
            Body::Announced { key, priority, .. } => {
                let acknowledged = false;
                self.standing.insert(key.clone(), Standing { priority: *priority, acknowledged, at: event.at });
                let announced = self.announced_at(key);
                if !announced.contains(key) {
                    announced.push(key.clone());
                }
            }
            Body::Withdrawn { key } => {
                self.standing.remove(key);
                self.announced_at(key).retain(|held| held != key);
            }
            Body::VerdictGiven { run, setup, verdict, text } => {
                self.last_verdict = Some(Given { run: *run, setup: *setup, verdict: *verdict, text: text.clone() });
                self.verdict_due = false;
            }
            Body::ActivityDone { .. } => {
                self.activities.apply(event);
                // A tested line of sight bears on the run as it stands.
                if let Some(run) = self.flow.runs.len().checked_sub(1) {
                    self.check_run(run);
                }
            }
            Body::ListeningBegan { .. } | Body::ListeningEnded { .. } | Body::RecordingResumed { .. } => {}
        }
    }

    /// Everything is looked at again when the crew is next told: after events that were folded in one go.
    pub fn reconsider(&mut self) {
        self.touched = Touched::All;
    }

    /// The crew has been told everything: nothing is left to look at until the next event.
    pub fn settled(&mut self) {
        match &mut self.touched {
            Touched::Setups(touched) => touched.clear(),
            Touched::All => self.touched = Touched::default(),
        }
    }

    /// What the job is set to.
    ///
    /// # Panics
    /// Before the job was opened.
    pub fn settings(&self) -> &Settings {
        self.settings.as_deref().expect("the first event opens the job")
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
        let at = |setup: u32| sequence.role(setup, 0).expect("a sequence has a first place");
        match self.current() {
            Some((run, setup)) if !run.ended => {
                flow::next_role(sequence, setup).unwrap_or_else(|| at(setup.number + 1))
            }
            _ => at(1),
        }
    }

    /// The runs as they would be had this been said too: every reading placed anew, without checks.
    pub fn suppose(&self, command: &Command) -> Vec<Run> {
        let mut amendments = self.amendments.clone();
        amendments.say(self.last_event + 1, command);
        let known = known_points(self.settings(), &amendments);
        let activities = &self.activities;
        let ground = Ground { settings: self.settings(), known: &known, amendments: &amendments, activities };
        let mut flow = Flow::default();
        flow.place_all(ground, &self.entries);
        flow.runs
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

    /// The most decimals that a staff reading came with, in the job's unit: what elevations are shown with.
    pub fn decimals(&self) -> u8 {
        /// Nobody sets a mark closer than this; metres and feet alike.
        const LEAST: u8 = 3;
        let of = |entry: &Entry| {
            let staff = &entry.reading.staff;
            let shift = if staff.unit() == crate::units::Unit::Millimetre { 3 } else { 0 };
            staff.digits().decimals() + shift
        };
        let most = self.entries.iter().rev().take(32).map(of).max();
        let given = self.known.values().map(|known| known.elevation.digits().decimals()).max();
        most.max(given).unwrap_or(LEAST).clamp(LEAST, 6)
    }

    fn ground(&self) -> Ground<'_> {
        Ground {
            settings: self.settings(),
            known: &self.known,
            amendments: &self.amendments,
            activities: &self.activities,
        }
    }

    fn settle_on(&mut self, settings: &Settings) {
        self.settings = Some(Box::new(settings.clone()));
        self.know();
        self.place_all();
    }

    fn know(&mut self) {
        self.known = known_points(self.settings(), &self.amendments);
    }

    /// A reading is the activity's that is under way, else the run's.
    fn take(&mut self, event: &Event, reading: &Reading, came: Came) {
        if !self.activities.take(event, reading, came) {
            self.enter(event, reading, came);
        }
    }

    fn enter(&mut self, event: &Event, reading: &Reading, came: Came) {
        let before = self.flow.current();
        self.entries.push(Entry { event: event.seq, at: event.at, reading: reading.clone(), came });
        let mut flow = std::mem::take(&mut self.flow);
        flow.place(self.ground(), self.entries.len() as u32, reading);
        self.flow = flow;
        let now = self.flow.current();
        if let Some((run, setup)) = before.filter(|before| Some(*before) != now) {
            // What is found only at the latest setup, or only at one that was left, is looked at again.
            let left = self.flow.runs[run].setups.get(setup);
            if left.is_some_and(|left| left.reduced.rise().is_none() || !left.findings.is_empty()) {
                self.check(run, setup);
            }
        }
        if let Some((run, setup)) = now {
            self.check(run, setup);
            self.check_run(run);
            self.verdict_due |= self.flow.runs[run].setups[setup].reduced.complete;
        }
    }

    fn obey(&mut self, event: &Event, command: &Command) {
        match command {
            Command::Acknowledge { key } => {
                if let Some(standing) = self.standing.get_mut(key) {
                    standing.acknowledged = true;
                    self.touched = Touched::All;
                }
            }
            Command::KeyIn { reading } | Command::KeyInWires { reading, .. } => {
                self.amendments.say(event.seq, command);
                self.take(event, reading, Came::KeyedIn);
            }
            _ if command.of_activity() => {
                self.amendments.say(event.seq, command);
                self.activities.apply(event);
            }
            _ => {
                self.amendments.say(event.seq, command);
                self.know();
                if !matches!(command, Command::Note { .. } | Command::Design { .. }) {
                    self.place_all();
                }
            }
        }
    }

    /// Places every reading anew: the same as if everything that was said had been said at the start.
    fn place_all(&mut self) {
        let mut flow = Flow::default();
        flow.place_all(self.ground(), &self.entries);
        self.flow = flow;
        for run in 0..self.flow.runs.len() {
            for setup in 0..self.flow.runs[run].setups.len() {
                self.check(run, setup);
            }
            self.check_run(run);
        }
        self.records.announced.clear();
        for key in self.standing.keys().cloned().collect::<Vec<_>>() {
            self.announced_at(&key).push(key);
        }
        self.touched = Touched::All;
    }

    fn check(&mut self, run: usize, setup: usize) {
        if let Some(at) = self.at(run, setup) {
            let found = checks::at_setup(&at);
            self.flow.runs[run].setups[setup].findings = found;
            self.touch(run, setup);
        }
    }

    fn check_run(&mut self, run: usize) {
        let Some(last) = self.flow.runs[run].setups.len().checked_sub(1) else { return };
        if let Some(at) = self.at(run, last) {
            self.flow.runs[run].findings = checks::on_run(&at);
        }
    }

    fn at(&self, run: usize, setup: usize) -> Option<At<'_>> {
        let run = self.flow.runs.get(run)?;
        let setup = run.setups.get(setup)?;
        Some(At { ground: self.ground(), flow: &self.flow, entries: &self.entries, run, setup })
    }

    fn touch(&mut self, run: usize, setup: usize) {
        if let Touched::Setups(touched) = &mut self.touched {
            if touched.contains(&(run, setup)) {
                return;
            }
            if touched.len() == TOUCHED_MAX {
                self.touched = Touched::All;
            } else {
                touched.push((run, setup));
            }
        }
    }

    /// The list that remembers that a finding was announced, beside the setup, run or records that it is about.
    fn announced_at(&mut self, key: &FindingKey) -> &mut Vec<FindingKey> {
        let setup = match &key.place {
            Place::Reading(number) => self.spot(*number).map(|spot| (spot.run, spot.setup)),
            Place::Setup { run, setup } | Place::Point { run, setup, .. } => Some((*run, *setup)),
            Place::Section { run, .. } | Place::Run(run) => Some((*run, 0)),
            Place::Job | Place::Event(_) => None,
        };
        let run = setup.and_then(|(run, _)| (run as usize).checked_sub(1)).filter(|run| *run < self.flow.runs.len());
        let (Some((_, setup)), Some(run)) = (setup, run) else { return &mut self.records.announced };
        let run = &mut self.flow.runs[run];
        match (setup as usize).checked_sub(1) {
            Some(index) if index < run.setups.len() => &mut run.setups[index].announced,
            _ => &mut run.announced,
        }
    }
}

/// Points with a given elevation; what a person said while the job ran wins over the settings.
fn known_points(settings: &Settings, amendments: &Amendments) -> BTreeMap<PointName, KnownPoint> {
    let given = settings.known.iter().map(|known| (&known.name, known));
    given.chain(amendments.known()).map(|(name, known)| (name.clone(), known.clone())).collect()
}
