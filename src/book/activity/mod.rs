//! Activities beside the run: an instrument test, a height matched, a target set, a mark checked, a gap crossed, a
//! height carried up. While one is under way the readings that come go to it, and not to the run.
//!
//! The book keeps what was done and read, and what it came to. What readings come to is reckoned elsewhere: the book
//! keeps the answer as an event, so that the record holds what the crew was told.

mod outcome;
mod task;

use super::event::{Body, Command, Event};
use super::moment::Moment;
use super::reading::Reading;
use super::{Came, event::ReadingNumber};
use crate::units::Length;

pub use outcome::{Agreement, Judged, Outcome};
pub use task::{DesignTarget, LineMarks, PegLayout, Procedure, StatedLimit, TapeSettings, Task};

/// One activity.
#[derive(Clone, Debug, PartialEq)]
pub struct Activity {
    /// Counted from 1 through the job.
    pub number: u32,
    /// The event that began it.
    pub event: u64,
    /// When.
    pub at: Moment,
    /// What is done.
    pub task: Task,
    /// What was read for it, struck shots included; shot 1 is the first.
    pub shots: Vec<TakenShot>,
    /// Shots at which a mark was made, in order.
    pub marked: Vec<u32>,
    /// Who made the marks, as entered.
    pub marked_by: Option<String>,
    /// How it stands.
    pub state: State,
}

/// One reading taken for an activity.
#[derive(Clone, Debug, PartialEq)]
pub struct TakenShot {
    /// The event that brought it.
    pub event: u64,
    /// When.
    pub at: Moment,
    /// What it read.
    pub reading: Reading,
    /// How it came.
    pub came: Came,
    /// The place that it takes in the order of the task, from 0.
    pub slot: u32,
    /// It was struck: it counts no more, and its place is free.
    pub struck: bool,
}

/// How an activity stands.
#[derive(Clone, Debug, PartialEq)]
pub enum State {
    /// Readings go to it.
    UnderWay,
    /// It came to something.
    Done(Done),
    /// It was left without a result.
    Left,
}

/// What an activity came to.
#[derive(Clone, Debug, PartialEq)]
pub struct Done {
    /// The event that says so.
    pub event: u64,
    /// When.
    pub at: Moment,
    /// What it came to.
    pub outcome: Outcome,
    /// What the crew was told.
    pub said: Vec<String>,
}

impl Activity {
    /// What it came to, if it has.
    pub fn done(&self) -> Option<&Done> {
        match &self.state {
            State::Done(done) => Some(done),
            State::UnderWay | State::Left => None,
        }
    }

    /// The shots that count, by their places.
    pub fn counted(&self) -> impl DoubleEndedIterator<Item = &TakenShot> {
        self.shots.iter().filter(|shot| !shot.struck)
    }

    /// The shot that takes a place.
    pub fn at_slot(&self, slot: u32) -> Option<&TakenShot> {
        self.counted().find(|shot| shot.slot == slot)
    }

    /// The shots of several places, all of them there.
    pub fn at_slots(&self, slots: std::ops::Range<u32>) -> Option<Vec<&TakenShot>> {
        slots.map(|slot| self.at_slot(slot)).collect()
    }

    /// The place that the next shot takes.
    pub fn next_slot(&self) -> u32 {
        match self.task.slots() {
            // Where no shot has a place of its own, none is ever free again.
            None => self.shots.len() as u32,
            Some(_) => (0..).find(|slot| self.at_slot(*slot).is_none()).expect("shots are finite"),
        }
    }

    /// Whether every place of the task is taken.
    pub fn full(&self) -> bool {
        self.task.slots().is_some_and(|slots| self.next_slot() >= slots)
    }
}

/// Everything done beside the runs.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Activities {
    list: Vec<Activity>,
}

impl Activities {
    /// All of them, in order.
    pub fn all(&self) -> &[Activity] {
        &self.list
    }

    /// The one that readings go to.
    pub fn under_way(&self) -> Option<&Activity> {
        self.list.last().filter(|last| last.state == State::UnderWay)
    }

    /// The latest, however it stands.
    pub fn latest(&self) -> Option<&Activity> {
        self.list.last()
    }

    /// The activity that an event brought a reading to.
    pub fn took(&self, event: u64) -> Option<&Activity> {
        self.list.last().filter(|last| last.shots.last().is_some_and(|shot| shot.event == event))
    }

    /// What activities came to, in order.
    pub fn outcomes(&self) -> impl DoubleEndedIterator<Item = (&Activity, &Done)> {
        self.list.iter().filter_map(|activity| Some((activity, activity.done()?)))
    }

    /// The inclination of an instrument's line of sight as it was last found before an event: mm per m, and its deviation.
    pub fn collimation(&self, instrument: Option<&str>, before: u64) -> Option<(f64, f64)> {
        self.tests(instrument, before).find_map(|done| match done.outcome {
            Outcome::Collimation { mm_per_m, sd_mm_per_m, .. } => Some((mm_per_m, sd_mm_per_m)),
            _ => None,
        })
    }

    /// When the line of sight of an instrument was last tested before an event. The full field test is made from the
    /// middle throughout, and says nothing of it.
    pub fn tested(&self, instrument: Option<&str>, before: u64) -> Option<Moment> {
        let tests = |outcome: &Outcome| {
            matches!(outcome, Outcome::Collimation { .. } | Outcome::FieldTest { procedure: Procedure::Simplified, .. })
        };
        self.tests(instrument, before).find(|done| tests(&done.outcome)).map(|done| done.at)
    }

    /// What came of tests before an event, the latest first. A test that names no instrument counts for each.
    fn tests(&self, instrument: Option<&str>, before: u64) -> impl Iterator<Item = &Done> {
        let of = move |task: &Task| match (task.instrument(), instrument) {
            (Some(tested), Some(wanted)) => tested == wanted,
            _ => true,
        };
        self.outcomes()
            .rev()
            .filter(move |(activity, done)| done.event < before && of(&activity.task))
            .map(|(_, done)| done)
    }

    /// Rises that were observed otherwise than by a run.
    pub fn rises(&self) -> impl Iterator<Item = ObservedRise<'_>> {
        self.outcomes().filter_map(|(activity, done)| {
            let Outcome::Rise { rise, sd } = done.outcome else { return None };
            Some(ObservedRise { activity, rise, sd })
        })
    }

    /// Takes a reading and says so, if an activity is under way; else the reading is the run's.
    pub(super) fn take(&mut self, event: &Event, reading: &Reading, came: Came) -> bool {
        let Some(activity) = self.list.last_mut().filter(|last| last.state == State::UnderWay) else {
            return false;
        };
        let slot = activity.next_slot();
        let (event, at, reading) = (event.seq, event.at, reading.clone());
        activity.shots.push(TakenShot { event, at, reading, came, slot, struck: false });
        true
    }

    /// Takes in what was said or has come of one.
    pub(super) fn apply(&mut self, event: &Event) {
        match &event.body {
            Body::Commanded { command: Command::BeginActivity { task }, .. } => self.list.push(Activity {
                number: self.list.len() as u32 + 1,
                event: event.seq,
                at: event.at,
                task: (**task).clone(),
                shots: Vec::new(),
                marked: Vec::new(),
                marked_by: None,
                state: State::UnderWay,
            }),
            Body::Commanded { command, .. } => {
                if let Some(latest) = self.list.last_mut() {
                    obey(latest, command);
                }
            }
            Body::ActivityDone { outcome, said, .. } => {
                if let Some(latest) = self.list.last_mut() {
                    let (outcome, said) = (outcome.clone(), said.clone());
                    latest.state = State::Done(Done { event: event.seq, at: event.at, outcome, said });
                }
            }
            _ => {}
        }
    }
}

fn obey(latest: &mut Activity, command: &Command) {
    match command {
        Command::LeaveActivity => latest.state = State::Left,
        Command::StrikeShot { shot } => {
            if let Some(struck) = (*shot as usize).checked_sub(1).and_then(|index| latest.shots.get_mut(index)) {
                struck.struck = true;
                latest.marked.retain(|marked| marked != shot);
                // Its place is to be taken again, so what it had come to holds no longer.
                latest.state = State::UnderWay;
            }
        }
        Command::MarkHere { shot: Some(shot), by } => {
            latest.marked.push(*shot);
            if by.is_some() {
                latest.marked_by.clone_from(by);
            }
        }
        _ => {}
    }
}

/// A rise that was observed otherwise than by a run: one observed difference of a network.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ObservedRise<'a> {
    /// The activity, whose task names the marks.
    pub activity: &'a Activity,
    /// From the first mark to the second.
    pub rise: Length,
    /// Its standard deviation.
    pub sd: Length,
}

/// The number of the latest shot that counts.
pub(super) fn latest_shot(activity: &Activity) -> Option<ReadingNumber> {
    activity.shots.iter().rposition(|shot| !shot.struck).map(|index| index as ReadingNumber + 1)
}
