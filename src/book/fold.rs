//! How the book takes events in: bookkeeping without rules, which cannot fail.
//!
//! A reading is placed and its setup looked at; a command has every reading placed anew, as if it had been said at the
//! start. Beside each setup, run and the records stands which of their findings the crew was told of, and the book
//! remembers which setups changed, so that `judge` need not look at all of it after each reading.

use std::collections::BTreeMap;

use super::activity::Activities;
use super::amend::{Amendments, Said};
use super::checks::{self, At};
use super::event::{Body, Command, Event, Origin};
use super::finding::{FindingKey, Place};
use super::flow::{Flow, Ground};
use super::reading::{Heard, PointName, Reading};
use super::run::Run;
use super::settings::{KnownPoint, Settings};
use super::{Book, Came, Entry, Given, Standing};

/// Setups changed since the crew was last told; beyond this many all are looked at.
const TOUCHED_MAX: usize = 8;

/// Which setups may hold something that the crew has not been told.
#[derive(Clone, Debug, PartialEq)]
pub(super) enum Touched {
    Setups(Vec<(usize, usize)>),
    All,
}

impl Default for Touched {
    fn default() -> Self {
        Touched::Setups(Vec::new())
    }
}

impl Book {
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
            Body::Commanded { command, by } => self.obey(event, command, by),
            Body::LinkChanged { state } => self.records.link_changed(event.seq, state),
            Body::ClockStepped { by_ms } => self.records.clock_stepped(event.seq, *by_ms),
            Body::MachineSlept { for_s } => self.records.slept(event.seq, *for_s),
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
                // In the room of the text before: there is one for every setup.
                let mut said = self.last_verdict.take().map_or_else(String::new, |given| given.text);
                said.clone_from(text);
                self.last_verdict = Some(Given { run: *run, setup: *setup, verdict: *verdict, text: said });
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

    /// The runs as they would be had this been said too: every reading placed anew, without checks.
    pub fn suppose(&self, command: &Command) -> Vec<Run> {
        let mut amendments = self.amendments.clone();
        let (event, at) = (self.last_event + 1, self.last_at);
        amendments.say(Said { event, at, by: Origin::Start, command: command.clone() });
        let known = known_points(self.settings(), &amendments);
        let ground = ground(&self.settings, &known, &amendments, &self.activities);
        let mut flow = Flow::default();
        flow.place_all(ground, &self.entries);
        flow.runs
    }

    pub(super) fn ground(&self) -> Ground<'_> {
        ground(&self.settings, &self.known, &self.amendments, &self.activities)
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
        self.finest.take(&reading.staff);
        self.entries.push(Entry { event: event.seq, at: event.at, reading: reading.clone(), came });
        let number = self.entries.len() as u32;
        let ground = ground(&self.settings, &self.known, &self.amendments, &self.activities);
        self.flow.place(ground, number, reading);
        let now = self.flow.current();
        if let Some((run, setup)) = before.filter(|before| Some(*before) != now) {
            // What is found only at the latest setup, or only at one that was left, is looked at again; and a backsight
            // may have brought the fore point its name.
            let left = self.flow.runs[run].setups.get(setup);
            if left.is_some_and(|left| left.fore_named || left.reduced.rise().is_none() || !left.findings.is_empty()) {
                self.check(run, setup);
            }
        }
        if let Some((run, setup)) = now {
            self.check(run, setup);
            self.check_run(run);
            self.verdict_due |= self.flow.runs[run].setups[setup].reduced.complete;
        }
    }

    fn obey(&mut self, event: &Event, command: &Command, by: &Origin) {
        let said = || Said { event: event.seq, at: event.at, by: by.clone(), command: command.clone() };
        match command {
            Command::Acknowledge { key } => {
                if let Some(standing) = self.standing.get_mut(key) {
                    standing.acknowledged = true;
                    self.touched = Touched::All;
                }
            }
            Command::KeyIn { reading } | Command::KeyInWires { reading, .. } => {
                self.amendments.say(said());
                self.take(event, reading, Came::KeyedIn);
            }
            _ if command.of_activity() => {
                self.amendments.say(said());
                self.activities.apply(event);
            }
            _ => {
                self.amendments.say(said());
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

/// What the placing rests on, part by part, so that the flow beside them may change.
fn ground<'a>(
    settings: &'a Option<Box<Settings>>,
    known: &'a BTreeMap<PointName, KnownPoint>,
    amendments: &'a Amendments,
    activities: &'a Activities,
) -> Ground<'a> {
    let settings = settings.as_deref().expect("the first event opens the job");
    Ground { settings, known, amendments, activities }
}

/// Points with a given elevation; what a person said while the job ran wins over the settings.
fn known_points(settings: &Settings, amendments: &Amendments) -> BTreeMap<PointName, KnownPoint> {
    let given = settings.known.iter().map(|known| (&known.name, known));
    given.chain(amendments.known()).map(|(name, known)| (name.clone(), known.clone())).collect()
}
