//! The report of a job as data: the field book, and what a reader who was not there needs beside it. Types only.
//!
//! Every output prints this one tree, so that all say the same digits. A field is added freely, removed or changed only
//! with a new [`SCHEMA`].

use schemars::JsonSchema;
use serde::Serialize;

use crate::adjust::outcome::Standing;
use crate::book::event::Origin;
use crate::book::finding::Priority;
use crate::report::causes::Causes;
use crate::report::document::tree::{Closes, FieldBook, Figure, Reached};
use crate::report::plot::{Drawing, Plot};

/// Version of the tree.
pub const SCHEMA: u32 = 2;

/// The report of a job.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct Report {
    /// Version of this form: 2.
    pub schema: u32,
    /// The run that it is about; all of them if absent.
    pub run: Option<u32>,
    /// The record that it was made from.
    pub record: RecordView,
    /// What a reader looks for first.
    pub answer: Answer,
    /// Every mark with its elevation.
    pub results: Vec<ResultRow>,
    /// How they were adjusted.
    pub adjustment: AdjustmentView,
    /// What could be behind each misclosure that is over its allowance; nothing was altered. In the job's unit.
    pub misclosures: Vec<Causes>,
    /// What people said and changed, in order, with the reason where one was given.
    pub changes: Vec<ChangeRow>,
    /// Drawings, with what each shows in words.
    pub plots: Vec<PlotView>,
    /// The field book.
    pub book: FieldBook,
}

/// The record that a report was made from.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct RecordView {
    /// Events in it.
    pub events: u64,
    /// Hash of the last event, which covers all before it: the job file's digest, SHA-256.
    pub digest: String,
    /// How it is not as it was kept, in words; none if it is.
    pub damage: Option<String>,
}

/// What a reader looks for first: what was carried where, how well it closed, may it be used.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct Answer {
    /// In one word.
    pub standing: JobStanding,
    /// The word with what speaks for it, in one sentence.
    pub verdict: String,
    /// What was carried where, a sentence for each run.
    pub carried: Vec<String>,
    /// What closed.
    pub closed: Vec<ClosedRow>,
    /// May it be used: what a reader must know before relying on it, the weightiest first.
    pub reliance: Vec<String>,
}

/// Whether the job may be relied on.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum JobStanding {
    /// Every run closes within its allowance.
    Closes,
    /// Every run closed, and the class has no allowance for some of it.
    NotJudged,
    /// Something has not closed yet.
    Provisional,
    /// Something does not close.
    DoesNotClose,
    /// Nothing was levelled.
    Empty,
}

impl JobStanding {
    /// The word, as on the first page.
    pub fn word(self) -> &'static str {
        match self {
            JobStanding::Closes => "closes",
            JobStanding::NotJudged => "not judged",
            JobStanding::Provisional => "PROVISIONAL",
            JobStanding::DoesNotClose => "DOES NOT CLOSE",
            JobStanding::Empty => "nothing levelled yet",
        }
    }
}

/// A closure as the first page lists it.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct ClosedRow {
    /// The run, counted from 1.
    pub run: u32,
    /// The setup within it.
    pub setup: u32,
    /// The point.
    pub point: String,
    /// Against what, in words.
    pub against: String,
    /// Length of the line; none if some setup had no sight lengths.
    pub length: Option<Figure>,
    /// Its setups.
    pub setups: u32,
    /// Observed less known, or later less earlier.
    pub misclosure: Figure,
    /// What is allowed; none if the class has no allowance for it.
    pub allowance: Option<Figure>,
    /// The misclosure as a share of it, per cent.
    pub share: Option<u32>,
    /// Whether it closes.
    pub verdict: Closes,
}

/// A mark with its elevation.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct ResultRow {
    /// Its name.
    pub point: String,
    /// What kind of point it is.
    pub kind: MarkKind,
    /// Its elevation as observed when it was last reached; none for a point that was not.
    pub observed: Option<Figure>,
    /// Its elevation: adjusted where the network could be, else as observed.
    pub elevation: Figure,
    /// Standard deviation, in the unit of misclosures; none if not adjusted, and for a known point.
    pub deviation: Option<Figure>,
    /// Half of the interval that holds the true elevation with the stated confidence.
    pub interval: Option<Figure>,
    /// What must be said of it.
    pub remarks: Vec<String>,
    /// The runs that reached it.
    pub runs: Vec<u32>,
}

/// What kind of point a mark is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum MarkKind {
    /// Its elevation was given, and it is held at it.
    Known,
    /// Its elevation was made up to have one to start from.
    Assumed,
    /// Elevation was carried to it.
    Carried,
    /// It was seen by an intermediate sight only.
    Intermediate,
}

/// How the elevations were adjusted.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct AdjustmentView {
    /// Why there is none, in words.
    pub not_adjusted: Option<String>,
    /// The method in words.
    pub method: String,
    /// How good the lines were taken to be, in words.
    pub weights: String,
    /// The adjustment; none if there is none.
    pub figures: Option<AdjustedFigures>,
    /// What stands in the job and not in the network, in words.
    pub left_out: Vec<String>,
}

/// An adjustment in figures.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct AdjustedFigures {
    /// All known marks were held; else one in each part.
    pub held_to_all: bool,
    /// Observed lines, intermediate sights among them.
    pub observations: usize,
    /// Heights that were not held.
    pub unknowns: usize,
    /// Observations less unknowns.
    pub degrees_of_freedom: usize,
    /// Deviation of unit weight as the residuals show it; its value beforehand is 1. None without degrees of freedom.
    pub s0: Option<f64>,
    /// The test of the whole; none without degrees of freedom.
    pub global: Option<GlobalView>,
    /// Chance in per cent that an interval holds the true value.
    pub confidence: f64,
    /// Which deviation of unit weight the deviations and intervals stand on, in words.
    pub sigma: String,
    /// What |w| is compared with.
    pub critical_w: f64,
    /// What |tau| is compared with; none with fewer than two degrees of freedom.
    pub critical_tau: Option<f64>,
    /// The levels of the tests, in words.
    pub levels: String,
    /// The lines.
    pub lines: Vec<AdjustedLine>,
    /// Other known marks against what the new work alone gives for them.
    pub known: Vec<KnownCheckRow>,
    /// What the tests would doubt first, in words; nothing was taken out.
    pub doubts: Vec<String>,
}

impl AdjustedFigures {
    /// How much was adjusted, in words.
    pub fn extent(&self) -> String {
        let spare = self.degrees_of_freedom;
        let (heights, freedom) =
            (if self.unknowns == 1 { "height" } else { "heights" }, if spare == 1 { "degree" } else { "degrees" });
        format!("{} observations, {} unknown {heights}, {spare} {freedom} of freedom", self.observations, self.unknowns)
    }
}

/// The test of an adjustment as a whole.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct GlobalView {
    /// Sum of the weighted squares of the residuals.
    pub statistic: f64,
    /// Smallest value that is taken for chance.
    pub lower: f64,
    /// Largest.
    pub upper: f64,
    /// Whether it lies between.
    pub passed: bool,
    /// What it says, in words.
    pub words: String,
}

/// A line between two marks, adjusted.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct AdjustedLine {
    /// The run; none for a rise that was observed otherwise.
    pub run: Option<u32>,
    /// Its first setup.
    pub first_setup: Option<u32>,
    /// Its last.
    pub last_setup: Option<u32>,
    /// The activity that observed it, up a tape or across a gap; none for a line of a run.
    pub activity: Option<u32>,
    /// From.
    pub from: String,
    /// To.
    pub to: String,
    /// Its length; none if some setup had no sight lengths.
    pub length: Option<Figure>,
    /// Its setups; none for a rise that was observed otherwise.
    pub setups: Option<u32>,
    /// Rise as observed.
    pub observed: Figure,
    /// Adjusted less observed.
    pub residual: Figure,
    /// Rise as adjusted.
    pub adjusted: Figure,
    /// Standard deviation of that.
    pub deviation: Figure,
    /// Share of a mistake that shows in the residual, 0 to 1.
    pub redundancy: f64,
    /// Residual over its deviation, a priori; none where nothing checks the line.
    pub w: Option<f64>,
    /// The same a posteriori; none where it says nothing.
    pub tau: Option<f64>,
    /// The smallest mistake that the test finds with the stated power.
    pub detectable: Option<Figure>,
    /// Beyond what is taken for chance.
    pub doubtful: bool,
}

/// A known mark against the new work.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct KnownCheckRow {
    /// The mark.
    pub point: String,
    /// The known mark from which its elevation was carried.
    pub datum: String,
    /// Elevation by the new work alone less the known one.
    pub difference: Figure,
    /// Standard deviation of the difference, a priori.
    pub deviation: Figure,
    /// The first over the second.
    pub ratio: Option<f64>,
}

/// Something that a person said or changed.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct ChangeRow {
    /// The event.
    pub event: u64,
    /// When.
    pub at: String,
    /// Over which way; none for a change of settings when the job was taken up again.
    pub by: Option<Origin>,
    /// What, in words.
    pub what: String,
    /// Whether it changes what is booked, or only says something.
    pub kind: ChangeKind,
    /// The reading that it is about.
    pub reading: Option<u32>,
    /// The setup to which that belongs.
    pub setup: Option<Reached>,
    /// Why, in the words of a note on the same reading.
    pub reason: Option<String>,
    /// The event that took it back.
    pub taken_back_by: Option<u64>,
}

/// Whether what was said changes the book.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum ChangeKind {
    /// It does.
    Change,
    /// It only says something.
    Note,
}

/// A drawing.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct PlotView {
    /// What it is called among the files: `run-1-profile`.
    pub name: String,
    /// The run that it shows; none for the network.
    pub run: Option<u32>,
    /// What it shows, in one sentence.
    pub words: String,
    /// The drawing, for a file of its own.
    #[serde(skip)]
    pub plot: Plot,
    /// The same as wide as paper has room for it.
    #[serde(skip)]
    pub paper: Drawing,
}

/// How many findings of each priority stand.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct StandingCount {
    /// The priority.
    pub priority: Priority,
    /// How many stand.
    pub standing: usize,
    /// How many of them nobody has acknowledged.
    pub open: usize,
}

/// What stands behind an adjusted elevation, in words; nothing where it is checked.
pub(super) fn standing_words(standing: Standing) -> Option<&'static str> {
    match standing {
        Standing::Held | Standing::Checked => None,
        Standing::HangsOn(_) => Some("hangs on a single line, unchecked"),
    }
}
