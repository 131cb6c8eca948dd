//! What is kept: events, in order, and the commands and announcements among them.
//!
//! An event is a fact in the past tense. It is never altered; a later event may say otherwise.
//! Stored as JSON, so each name here is a promise, pinned by the goldens in `tests/store.rs`.

mod command;

use serde::{Deserialize, Serialize};

use super::activity::Outcome;
use super::finding::{FindingKey, Priority};
use super::moment::Moment;
use super::reading::Heard;
use super::settings::Settings;
pub use command::{Command, StruckPlace, Taken, Target};

/// The number of a reading in the book, counted from 1 through the whole job, struck ones included.
pub type ReadingNumber = u32;

/// One kept fact.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Event {
    /// Its place in the order, counted from 1, without gaps. Only this decides order.
    pub seq: u64,
    /// When it came, by the clock of the machine that kept it.
    pub at: Moment,
    /// It came from a simulated instrument, or was about one.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub simulated: bool,
    /// What happened.
    pub body: Body,
    /// The bytes as they arrived; empty for what did not come over the link.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub raw: Vec<u8>,
}

/// What happened.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(tag = "kind", rename_all = "kebab-case")]
pub enum Body {
    /// The job was opened. Always the first event.
    JobOpened {
        /// Version of the program that opened it.
        program: String,
        /// What the job was set to.
        settings: Box<Settings>,
    },
    /// The job was taken up again with other settings than before.
    Resettled {
        /// What the job is set to from here on.
        settings: Box<Settings>,
    },
    /// Listening began, with this link and this format.
    ListeningBegan {
        /// The link in words: `serial /dev/ttyUSB0 9600 8N1`.
        link: String,
        /// The format's name.
        format: String,
        /// SHA-256 of the format file, in hexadecimal.
        digest: String,
        /// The format file itself, so that the job can be recomputed alone.
        text: String,
    },
    /// The link came, went, or fell silent.
    LinkChanged {
        /// Its state from here on.
        state: LinkState,
    },
    /// Bytes came over the link, and this is what they were.
    Heard {
        /// What they were taken for.
        heard: Heard,
    },
    /// A person said something.
    Commanded {
        /// What.
        command: Command,
        /// Over which way it came.
        by: Origin,
    },
    /// The crew was told of a finding.
    Announced {
        /// Which.
        key: FindingKey,
        /// How urgent.
        priority: Priority,
        /// What was said: the fact with its limit.
        fact: String,
        /// What to do.
        todo: String,
    },
    /// The crew was told that a finding's cause is gone.
    Withdrawn {
        /// Which.
        key: FindingKey,
    },
    /// The crew was given the verdict on a setup.
    VerdictGiven {
        /// Run, counted from 1.
        run: u32,
        /// Setup within the run, counted from 1.
        setup: u32,
        /// `hold` or `clear to move`.
        verdict: Verdict,
        /// What was said.
        text: String,
    },
    /// The machine's clock jumped.
    ClockStepped {
        /// By how much, forward positive.
        by_ms: i64,
    },
    /// The machine was asleep, and has just woken.
    MachineSlept {
        /// For how long.
        for_s: u64,
    },
    /// Events could not be kept for a while; this is the first that could be again.
    RecordingResumed {
        /// What had gone wrong, in words.
        cause: String,
    },
    /// An activity beside the run came to something, and the crew was told.
    ActivityDone {
        /// Its number, counted from 1 through the job.
        activity: u32,
        /// What it came to.
        outcome: Outcome,
        /// What was said.
        said: Vec<String>,
    },
    /// Listening ended in good order.
    ListeningEnded {
        /// Why.
        reason: String,
    },
}

impl Body {
    /// The kind as stored.
    pub fn kind(&self) -> &'static str {
        match self {
            Body::JobOpened { .. } => "job-opened",
            Body::Resettled { .. } => "resettled",
            Body::ListeningBegan { .. } => "listening-began",
            Body::LinkChanged { .. } => "link-changed",
            Body::Heard { .. } => "heard",
            Body::Commanded { .. } => "commanded",
            Body::Announced { .. } => "announced",
            Body::Withdrawn { .. } => "withdrawn",
            Body::VerdictGiven { .. } => "verdict-given",
            Body::ClockStepped { .. } => "clock-stepped",
            Body::MachineSlept { .. } => "machine-slept",
            Body::RecordingResumed { .. } => "recording-resumed",
            Body::ActivityDone { .. } => "activity-done",
            Body::ListeningEnded { .. } => "listening-ended",
        }
    }
}

/// Whether the instrument can be heard.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(tag = "is", rename_all = "kebab-case")]
pub enum LinkState {
    /// Open and read.
    Open,
    /// Open, but nothing has come for longer than the format or the settings expect.
    Quiet {
        /// For how long.
        for_s: u64,
    },
    /// Bytes come, but no record is among them: wrong speed or wrong format.
    Babble {
        /// The first of them, as hexadecimal.
        sample: String,
    },
    /// Gone, with the reason; it is tried again.
    Lost {
        /// The reason in words.
        why: String,
    },
    /// Not there yet: it is waited for.
    Waiting {
        /// For what, in words.
        why: String,
    },
    /// Nothing more will come: the end of a capture or of standard input.
    Finished,
}

/// Over which way a command came.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, schemars::JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Origin {
    /// The keys of the terminal that listens.
    Terminal,
    /// Another process of the same user.
    Tell,
    /// The settings or flags at the start.
    Start,
    /// The demonstration's scripted crew.
    Demo,
    /// A paired browser.
    Page,
}

/// May the legs be lifted?
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, schemars::JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Verdict {
    /// No: something can still be mended from here.
    Hold,
    /// Yes.
    ClearToMove,
}
