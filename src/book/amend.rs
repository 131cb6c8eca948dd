//! What people said about readings, gathered by reading: the commands, folded.
//!
//! A command names its reading, so it means the same whether it came before the reading or long after.

use std::borrow::Cow;
use std::collections::{BTreeMap, BTreeSet};

use super::activity::DesignTarget;
use super::event::{Command, Origin, ReadingNumber, StruckPlace, Taken, Target};
use super::marks::Mark;
use super::moment::Moment;
use super::reading::{PointName, Reading, Role};
use super::settings::{Corrections, KnownPoint};
use crate::units::Measured;

/// Everything said about one reading. Number 0 stands for "before the first reading".
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Amendment {
    /// It is struck out, and this became of its place.
    pub struck: Option<StruckPlace>,
    /// It is one more shot on the staff just read.
    pub repeat: bool,
    /// The staff read this, and not what was booked.
    pub read_as: Option<Measured>,
    /// The backsights and foresights of its setup are exchanged.
    pub exchanged: bool,
    /// Its role.
    pub role: Option<Role>,
    /// Its point.
    pub point: Option<PointName>,
    /// Its setup was disturbed.
    pub broken: bool,
    /// The run ends with it.
    pub ends_run: bool,
    /// A run starts after it, on this point.
    pub starts_run: Option<PointName>,
    /// Remarks on it.
    pub notes: Vec<String>,
}

/// A command as it was given.
#[derive(Clone, Debug, PartialEq)]
pub struct Said {
    /// The number of its event.
    pub event: u64,
    /// When.
    pub at: Moment,
    /// Over which way.
    pub by: Origin,
    /// What was said.
    pub command: Command,
}

/// All commands of a job, and what they come to.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Amendments {
    said: Vec<Said>,
    by_reading: BTreeMap<ReadingNumber, Amendment>,
    renamed: BTreeMap<PointName, PointName>,
    known: BTreeMap<PointName, KnownPoint>,
    notes: Vec<String>,
    designs: Vec<DesignTarget>,
    marks: BTreeMap<PointName, Vec<Mark>>,
    /// The inclination that is taken out of readings from one of them on.
    collimation: BTreeMap<ReadingNumber, Option<f64>>,
}

impl Amendments {
    /// Takes one more command in.
    pub(super) fn say(&mut self, said: Said) {
        let undoes = matches!(said.command, Command::Undo { .. });
        if !undoes {
            self.fold(&said.command);
        }
        self.said.push(said);
        if undoes {
            self.gather();
        }
    }

    /// What was said about a reading.
    pub fn of(&self, reading: ReadingNumber) -> Option<&Amendment> {
        if self.by_reading.is_empty() { None } else { self.by_reading.get(&reading) }
    }

    /// What the staff is taken to have read: as the record says, unless a person accepted that it was otherwise.
    pub fn staff(&self, number: ReadingNumber, reading: &Reading) -> Measured {
        self.of(number).and_then(|amendment| amendment.read_as).unwrap_or(reading.staff)
    }

    /// The name that a point goes by, after all renaming.
    pub fn name(&self, point: PointName) -> PointName {
        let mut name = point;
        // Each renaming is followed once, so that a circle of them ends.
        for _ in 0..self.renamed.len() {
            match self.renamed.get(&name) {
                Some(next) => name = next.clone(),
                None => break,
            }
        }
        name
    }

    /// Points that a person gave an elevation while the job ran.
    pub fn known(&self) -> &BTreeMap<PointName, KnownPoint> {
        &self.known
    }

    /// The targets that are to be set, in the order in which they were listed.
    pub fn designs(&self) -> &[DesignTarget] {
        &self.designs
    }

    /// The register of marks, each with its history: the last entry counts.
    pub fn marks(&self) -> &BTreeMap<PointName, Vec<Mark>> {
        &self.marks
    }

    /// The corrections of a reading: those of the settings, unless a person said otherwise of its inclination.
    pub fn corrections<'a>(&self, reading: ReadingNumber, settings: &'a Corrections) -> Cow<'a, Corrections> {
        match self.collimation.range(..=reading).next_back() {
            Some((_, collimation)) => {
                Cow::Owned(Corrections { collimation_mm_per_m: *collimation, ..settings.clone() })
            }
            None => Cow::Borrowed(settings),
        }
    }

    /// From which readings on which inclination is taken out, as people said it; none takes nothing out.
    pub fn collimations(&self) -> impl Iterator<Item = (ReadingNumber, Option<f64>)> {
        self.collimation.iter().map(|(from, mm_per_m)| (*from, *mm_per_m))
    }

    /// Remarks on the job as a whole.
    pub fn notes(&self) -> &[String] {
        &self.notes
    }

    /// The commands in the order in which they came, undone ones included.
    pub fn said(&self) -> &[Said] {
        &self.said
    }

    /// Whether the command of this event stands: it was given, and no standing command undid it.
    pub fn stands(&self, event: u64) -> bool {
        let undone = self.undone();
        self.said.iter().any(|said| said.event == event) && !undone.contains(&event)
    }

    /// The latest command that stands and can be undone.
    pub fn latest(&self) -> Option<&Said> {
        let undone = self.undone();
        let undoable = |c: &Command| {
            !matches!(c, Command::Undo { .. } | Command::KeyIn { .. } | Command::KeyInWires { .. }) && !c.of_activity()
        };
        self.said.iter().rev().find(|said| undoable(&said.command) && !undone.contains(&said.event))
    }

    /// Events whose command was taken back. An undo that was itself undone takes nothing back.
    pub fn undone(&self) -> BTreeSet<u64> {
        let mut undone = BTreeSet::new();
        for said in self.said.iter().rev() {
            if let Command::Undo { event } = said.command
                && !undone.contains(&said.event)
            {
                undone.insert(event);
            }
        }
        undone
    }

    fn gather(&mut self) {
        let undone = self.undone();
        *self = Amendments { said: std::mem::take(&mut self.said), ..Amendments::default() };
        for said in std::mem::take(&mut self.said) {
            if !undone.contains(&said.event) {
                self.fold(&said.command);
            }
            self.said.push(said);
        }
    }

    fn fold(&mut self, command: &Command) {
        match command {
            Command::Strike { reading, place } => self.at(*reading).struck = Some(*place),
            Command::Restore { reading } => self.at(*reading).struck = None,
            Command::Repeat { reading } => self.at(*reading).repeat = true,
            Command::Role { reading: Target::Number(reading), role, point } => {
                let amendment = self.at(*reading);
                amendment.role = Some(*role);
                amendment.repeat = false;
                if point.is_some() {
                    amendment.point.clone_from(point);
                }
            }
            Command::Point { reading: Target::Number(reading), point } => self.at(*reading).point = Some(point.clone()),
            Command::Rename { from, to } => {
                self.renamed.remove(to);
                self.renamed.insert(from.clone(), to.clone());
            }
            Command::Know { known } => {
                self.known.insert(known.name.clone(), known.clone());
            }
            Command::Note { reading: Some(reading), text } => self.at(*reading).notes.push(text.clone()),
            Command::Note { reading: None, text } => self.notes.push(text.clone()),
            Command::Break { reading: Some(reading) } => self.at(*reading).broken = true,
            Command::TakeOffer { reading: Some(reading), point: Some(point) } => {
                self.at(*reading).point = Some(point.clone());
            }
            Command::Accept { taken, .. } => self.take(taken),
            Command::EndRun { reading: Some(reading) } => self.at(*reading).ends_run = true,
            Command::StartRun { point, after: Some(after) } => self.at(*after).starts_run = Some(point.clone()),
            Command::Design { target } => match self.designs.iter_mut().find(|held| held.name == target.name) {
                Some(held) => held.clone_from(target),
                None => self.designs.push(target.clone()),
            },
            Command::Register { mark } => {
                self.known.insert(mark.name.clone(), mark.known());
                self.marks.entry(mark.name.clone()).or_default().push((**mark).clone());
            }
            Command::Collimation { from: Some(from), mm_per_m } => {
                self.collimation.insert(*from, *mm_per_m);
            }
            // Nothing of these is about a reading's place in the book; the rest are never stored unresolved.
            Command::Acknowledge { .. } | Command::KeyIn { .. } | Command::KeyInWires { .. } | Command::Undo { .. } => {
            }
            Command::BeginActivity { .. }
            | Command::LeaveActivity
            | Command::StrikeShot { .. }
            | Command::MarkHere { .. } => {}
            Command::Role { reading: Target::Next, .. }
            | Command::Point { reading: Target::Next, .. }
            | Command::Break { reading: None }
            | Command::TakeOffer { .. }
            | Command::EndRun { reading: None }
            | Command::StartRun { after: None, .. }
            | Command::Collimation { from: None, .. } => {}
        }
    }

    fn take(&mut self, taken: &Taken) {
        match taken {
            Taken::Exchanged { readings } => readings.iter().for_each(|reading| self.at(*reading).exchanged = true),
            Taken::Read { reading, staff } => self.at(*reading).read_as = Some(*staff),
            Taken::Repeat { reading } => self.at(*reading).repeat = true,
            Taken::Struck { reading } => self.at(*reading).struck = Some(StruckPlace::Empty),
            Taken::Point { reading, point } => self.at(*reading).point = Some(point.clone()),
            Taken::Known { known } => {
                self.known.insert(known.name.clone(), known.clone());
            }
            Taken::Booked => {}
        }
    }

    fn at(&mut self, reading: ReadingNumber) -> &mut Amendment {
        self.by_reading.entry(reading).or_default()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn said(event: u64, command: Command) -> Said {
        Said { event, at: Moment::from_us(0), by: Origin::Terminal, command }
    }

    #[test]
    fn an_undo_takes_back_and_its_own_undo_brings_back() {
        let mut amendments = Amendments::default();
        amendments.say(said(10, Command::Strike { reading: 3, place: StruckPlace::Empty }));
        amendments.say(said(11, Command::Undo { event: 10 }));
        assert_eq!(amendments.of(3), None);
        assert!(!amendments.stands(10));
        amendments.say(said(12, Command::Undo { event: 11 }));
        assert!(amendments.of(3).unwrap().struck.is_some());
        assert_eq!(amendments.latest().unwrap().event, 10);
    }

    #[test]
    fn what_was_accepted_is_taken_back_like_any_command() {
        let finding = "misclosure@point-1.3-BM".parse().unwrap();
        let taken = Taken::Exchanged { readings: vec![3, 4] };
        let mut amendments = Amendments::default();
        amendments.say(said(7, Command::Accept { finding, cause: "exchanged".to_owned(), taken }));
        assert!([3, 4].into_iter().all(|reading| amendments.of(reading).unwrap().exchanged));
        assert_eq!(amendments.latest().unwrap().event, 7);
        amendments.say(said(8, Command::Undo { event: 7 }));
        assert_eq!(amendments, Amendments { said: amendments.said.clone(), ..Amendments::default() });
    }

    #[test]
    fn a_circle_of_names_ends() {
        let name = |text| PointName::new(text).unwrap();
        let mut amendments = Amendments::default();
        amendments.say(said(1, Command::Rename { from: name("A"), to: name("B") }));
        assert_eq!(amendments.name(name("A")), name("B"));
        amendments.say(said(2, Command::Rename { from: name("B"), to: name("A") }));
        assert_eq!(amendments.name(name("B")), name("A"));
    }
}
