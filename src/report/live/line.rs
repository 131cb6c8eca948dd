//! The lines as data. Types only.
//!
//! A field is added freely, removed or changed only with a new [`SCHEMA`].

use std::borrow::Cow;

use schemars::JsonSchema;
use serde::Serialize;

use super::activity::ActivityLine;
use crate::book::event::{Origin, Verdict};
use crate::book::finding::Priority;
use crate::book::reading::Role;
use crate::report::causes::Causes;
use crate::units::Unit;

/// Version of the lines.
pub const SCHEMA: u32 = 1;

/// One thing that the crew should see.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct Line {
    /// Version of this form: 1.
    pub schema: u32,
    /// Which instrument, where it has a name: several are heard at once.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub instrument: Option<String>,
    /// Number of the event in the job file that the line is about, or the last one before it.
    pub event: u64,
    /// When, RFC 3339 in UTC.
    pub at: String,
    /// The instrument is a simulated one.
    pub simulated: bool,
    /// What.
    #[serde(flatten)]
    pub what: What,
}

/// What a line says.
#[derive(Clone, Debug, Serialize, JsonSchema)]
#[serde(tag = "type", rename_all = "kebab-case")]
pub enum What {
    /// The job was opened or taken up again.
    Job(JobLine),
    /// Listening began.
    Listening {
        /// The link in words.
        link: String,
        /// The format's name.
        format: String,
    },
    /// A reading was booked.
    Reading(ReadingLine),
    /// A record came that is no reading, or none that is booked.
    Record {
        /// What it was: status, fault, echo, ignored, refused, unfinished, fragment, repeated, set-aside.
        kind: &'static str,
        /// Its length in bytes.
        bytes: usize,
        /// In words.
        text: String,
    },
    /// The link changed.
    Link {
        /// open, quiet, babble, lost, waiting or finished.
        state: &'static str,
        /// In words.
        text: String,
    },
    /// A person said something.
    Command {
        /// In words.
        text: String,
        /// terminal, tell, start, demo or page.
        by: Origin,
    },
    /// An activity beside the run: begun, read for, done.
    Activity(ActivityLine),
    /// The crew is told of a finding.
    Finding(FindingLine),
    /// What could be behind a misclosure that the crew was just told of.
    Causes(Causes),
    /// A finding's cause is gone.
    Withdrawn {
        /// Which.
        key: String,
    },
    /// The verdict on a setup.
    Verdict(VerdictLine),
    /// Something about the recording or the machine.
    Notice {
        /// How urgent.
        priority: Priority,
        /// In words.
        text: String,
    },
    /// Listening ended.
    Ended {
        /// Why.
        reason: String,
    },
}

/// The job at its opening.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct JobLine {
    /// Unit of everything shown.
    pub unit: Unit,
    /// The accuracy class.
    pub class: String,
    /// The observing sequence.
    pub sequence: String,
    /// Known points with their elevations as given.
    pub known: Vec<(String, String)>,
    /// Readings that it holds already.
    pub readings: usize,
}

/// A booked reading.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct ReadingLine {
    /// Its number in the book.
    pub number: u32,
    /// Run, from 1.
    pub run: u32,
    /// Setup within the run, from 1.
    pub setup: u32,
    /// back, fore or intermediate.
    pub role: Role,
    /// Where the staff stood.
    pub point: String,
    /// The digits as sent.
    pub staff: String,
    /// Their unit.
    pub staff_unit: Unit,
    /// The staff reading in the job's unit.
    pub staff_shown: String,
    /// Sight length in the job's unit.
    pub sight: Option<String>,
    /// Elevation of the point in the job's unit; none for a backsight or without a datum.
    pub elevation: Option<String>,
    /// The job's unit.
    pub unit: Unit,
    /// counted, extra, struck or broken.
    pub state: &'static str,
    /// keyed in, unprotected, single and unchecked: what must be said beside it.
    pub remarks: Vec<Cow<'static, str>>,
}

/// A finding as it is told.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct FindingLine {
    /// Its key, to acknowledge it by.
    pub key: String,
    /// How urgent.
    pub priority: Priority,
    /// The fact with its limit.
    pub fact: String,
    /// What to do now.
    pub todo: String,
    /// The compared value in words.
    pub value: Option<String>,
    /// Its limit in words.
    pub limit: Option<String>,
    /// Where the limit comes from.
    pub basis: Option<String>,
}

/// The verdict on a setup, with how the run stands.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct VerdictLine {
    /// Run, from 1.
    pub run: u32,
    /// Setup within the run, from 1.
    pub setup: u32,
    /// hold or clear-to-move.
    pub verdict: Verdict,
    /// In words.
    pub text: String,
    /// How the run stands.
    pub status: Status,
}

/// How the run stands.
#[derive(Clone, Debug, Default, Serialize, JsonSchema)]
pub struct Status {
    /// Run, from 1.
    pub run: u32,
    /// Setup, from 1.
    pub setup: u32,
    /// Back less fore sight length of the setup.
    pub balance: Option<String>,
    /// The sum of that over the section, with its limit.
    pub balance_sum: Option<String>,
    /// Where the next staff should stand.
    pub next: Option<String>,
    /// What is due next: back or fore.
    pub due: Option<Role>,
    /// The activity that readings go to instead of the run: its name, how it stands, what to do next.
    pub activity: Vec<String>,
    /// The latest closure with its allowance and share.
    pub closure: Option<String>,
    /// Facts that hold the crew, most recent last; of many the last few.
    pub holding: Vec<String>,
}
