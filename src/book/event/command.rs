//! What a person can say about the book.

use serde::{Deserialize, Serialize};

use super::ReadingNumber;
use crate::book::activity::{DesignTarget, Task};
use crate::book::finding::FindingKey;
use crate::book::marks::Mark;
use crate::book::reading::{PointName, Reading, Role};
use crate::book::settings::KnownPoint;
use crate::units::Measured;

/// A reading that a command is about.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Target {
    /// This one, before or after the fact.
    Number(ReadingNumber),
    /// The next that comes.
    Next,
}

/// What a person can say about the book. The same from keys, from another process, and later from a page.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(tag = "do", rename_all = "kebab-case")]
pub enum Command {
    /// Strike a reading out: it stays, and counts no more.
    Strike {
        /// Which.
        reading: ReadingNumber,
        /// Whether its place is to be taken by the next shot. Filled in by the rules.
        #[serde(default)]
        place: StruckPlace,
    },
    /// Take a strike back.
    Restore {
        /// Which.
        reading: ReadingNumber,
    },
    /// This reading is one more shot on the staff that the reading before it was on.
    Repeat {
        /// Which.
        reading: ReadingNumber,
    },
    /// Give a reading its role.
    Role {
        /// Which.
        reading: Target,
        /// What it is for.
        role: Role,
        /// On which point, if it is named too.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        point: Option<PointName>,
    },
    /// Say on which point a reading's staff stood.
    Point {
        /// Which.
        reading: Target,
        /// On which point.
        point: PointName,
    },
    /// Give a point of this job another name wherever it stands.
    Rename {
        /// The name it has.
        from: PointName,
        /// The name it gets.
        to: PointName,
    },
    /// Give a point a known elevation.
    Know {
        /// The point and its elevation.
        known: KnownPoint,
    },
    /// A remark, on a reading or on the job.
    Note {
        /// On which reading, if on one.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        reading: Option<ReadingNumber>,
        /// The remark.
        text: String,
    },
    /// The setup was disturbed: it counts no more, and is begun anew from its back point.
    Break {
        /// A reading of it; the latest setup if absent. Filled in by the rules.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        reading: Option<ReadingNumber>,
    },
    /// Yes, this foresight stood on the known point that was offered.
    TakeOffer {
        /// Which; the latest offer if absent. Filled in by the rules.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        reading: Option<ReadingNumber>,
        /// The point that was offered. Filled in by the rules.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        point: Option<PointName>,
    },
    /// The run ends here.
    EndRun {
        /// With this reading; the latest if absent. Filled in by the rules.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        reading: Option<ReadingNumber>,
    },
    /// A new run starts here.
    StartRun {
        /// On this point.
        point: PointName,
        /// After this reading; the latest if absent. Filled in by the rules.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        after: Option<ReadingNumber>,
    },
    /// Seen: the finding stays in the record and holds nobody any longer.
    Acknowledge {
        /// Which.
        key: FindingKey,
    },
    /// A reading taken by eye and typed in.
    KeyIn {
        /// The reading.
        reading: Box<Reading>,
    },
    /// Yes, this is why the run does not close.
    Accept {
        /// The misclosure that it explains.
        finding: FindingKey,
        /// What is taken to have happened, in the words in which it was proposed.
        cause: String,
        /// What the record is taken for from here on.
        taken: Taken,
    },
    /// Take back what the event of this number said.
    Undo {
        /// The number of the event that held the command.
        event: u64,
    },
    /// Three wires read by eye and typed in.
    KeyInWires {
        /// The wires, as they were typed.
        wires: Box<[Measured; 3]>,
        /// What they come to: their mean, and the sight length from the interval.
        reading: Box<Reading>,
    },
    /// From here on readings go to this activity, until it is done or left.
    BeginActivity {
        /// What is done.
        task: Box<Task>,
    },
    /// The activity is left without a result; readings are the run's again.
    LeaveActivity,
    /// Strike a shot of the latest activity: it stays, and its place is to be taken again.
    StrikeShot {
        /// Which, counted from 1.
        shot: u32,
    },
    /// The mark of the target is made where the staff now stands.
    MarkHere {
        /// The shot that stood there; the latest if absent. Filled in by the rules.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        shot: Option<u32>,
        /// Who made it, as entered.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        by: Option<String>,
    },
    /// Put a target on the list of those that are to be set.
    Design {
        /// The target.
        target: DesignTarget,
    },
    /// Put a mark into the job's register: its elevation is known from here on.
    Register {
        /// The mark.
        mark: Box<Mark>,
    },
    /// Take the inclination of the line of sight out of readings, or no longer.
    Collimation {
        /// From this reading on; the next if absent. Filled in by the rules.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        from: Option<ReadingNumber>,
        /// The inclination, mm per m; none takes nothing out.
        mm_per_m: Option<f64>,
    },
}

impl Command {
    /// Whether it is about an activity beside the run, and so about no reading of the run and not to be undone.
    pub fn of_activity(&self) -> bool {
        matches!(
            self,
            Command::BeginActivity { .. }
                | Command::LeaveActivity
                | Command::StrikeShot { .. }
                | Command::MarkHere { .. }
        )
    }
}

/// What the record is taken for once a person has accepted why a run does not close. Nothing in it is altered.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(tag = "as", rename_all = "kebab-case")]
pub enum Taken {
    /// The backsights of one setup were the foresights, and the foresights the backsights.
    Exchanged {
        /// All readings of the setup.
        readings: Vec<ReadingNumber>,
    },
    /// The staff read this, and not what was booked.
    Read {
        /// Which reading.
        reading: ReadingNumber,
        /// What it is taken for.
        staff: Measured,
    },
    /// One more shot on the staff that the reading before it was on.
    Repeat {
        /// Which reading.
        reading: ReadingNumber,
    },
    /// A reading that counts no more.
    Struck {
        /// Which.
        reading: ReadingNumber,
    },
    /// The staff stood on another point.
    Point {
        /// Which reading's.
        reading: ReadingNumber,
        /// On this one.
        point: PointName,
    },
    /// A known point has another elevation.
    Known {
        /// The point, and the elevation that it is taken to have.
        known: KnownPoint,
    },
    /// As it is booked: the cause is known, and no reading can be taken for another.
    Booked,
}

impl Taken {
    /// The readings that are taken for something else.
    pub fn readings(&self) -> &[ReadingNumber] {
        match self {
            Taken::Exchanged { readings } => readings,
            Taken::Read { reading, .. }
            | Taken::Repeat { reading }
            | Taken::Struck { reading }
            | Taken::Point { reading, .. } => std::slice::from_ref(reading),
            Taken::Known { .. } | Taken::Booked => &[],
        }
    }
}

/// What happens to the place of a struck reading in the sequence of sights.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum StruckPlace {
    /// It stays empty: later readings have been booked after it.
    #[default]
    Empty,
    /// The next shot takes it: its setup is still standing.
    Free,
}
