//! The field book as data: the one tree that every output prints. Types only.
//!
//! A number stands here twice, exact and as shown, so that text, tables, JSON and later the paper print the same
//! digits. A field is added freely, removed or changed only with a new [`SCHEMA`].

use schemars::JsonSchema;
use serde::Serialize;

use crate::book::event::{Origin, Verdict};
use crate::book::finding::Priority;
use crate::book::reading::Role;
use crate::book::settings::Booking;
use crate::units::{Length, Unit};

/// Version of the tree.
pub const SCHEMA: u32 = 1;

/// The field book of a job.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct FieldBook {
    /// Version of this form: 1.
    pub schema: u32,
    /// Name of the job.
    pub job: String,
    /// Something in it came from a simulated instrument: nothing here was measured.
    pub simulated: bool,
    /// The program that opened the job, with its version.
    pub program: String,
    /// When the job was opened, RFC 3339 in UTC, as all times here.
    pub opened_at: String,
    /// Number of the last event in it.
    pub last_event: u64,
    /// When that was.
    pub last_at: String,
    /// How its numbers are shown.
    pub shown: Shown,
    /// The accuracy class.
    pub class: ClassView,
    /// The observing sequence in the trade's letters.
    pub sequence: String,
    /// Staffs and instrument in words.
    pub equipment: Vec<String>,
    /// Corrections that are on, in words; none is on if empty.
    pub corrections: Vec<String>,
    /// Points whose elevation is given.
    pub known: Vec<KnownRow>,
    /// What was listened to.
    pub listened: Vec<ListenedRow>,
    /// Events that changed the settings after the job was opened.
    pub resettled: Vec<Told>,
    /// The runs, in order.
    pub runs: Vec<RunPart>,
    /// Every reading by its number, struck ones included. Lines name their readings by number.
    pub readings: Vec<ReadingRow>,
    /// What was found: what stands first, the most urgent first; then what is gone.
    pub findings: Vec<FindingRow>,
    /// The verdicts as the crew was given them.
    pub verdicts: Vec<VerdictRow>,
    /// What people said, in the order in which they said it. Keyed-in readings are among the readings.
    pub said: Vec<SaidRow>,
    /// What the link brought beside readings.
    pub records: RecordsView,
    /// What anyone who uses it must mind.
    pub cautions: Vec<String>,
}

/// A length: exact, and as it is shown.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct Figure {
    /// Exact, as decimal metres.
    #[serde(rename = "m")]
    #[schemars(with = "String")]
    pub exact: Length,
    /// As shown: rounded once, in the unit that [`Shown`] gives its kind.
    pub shown: String,
}

/// A value as it was sent or typed: its digits and their unit, nothing altered.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct Sent {
    /// The digits.
    pub digits: String,
    /// Their unit.
    pub unit: Unit,
}

/// How numbers are shown.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct Shown {
    /// The form of the book.
    pub form: Booking,
    /// Unit of readings, elevations and heights of instrument.
    pub unit: Unit,
    /// Decimals of elevations, heights of instrument and means: as many as the readings had, and one more where a mean
    /// needs it. A reading has its own.
    pub decimals: u8,
    /// Unit of misclosures, allowances and corrections.
    pub height_unit: Unit,
    /// Unit of sight lengths and distances.
    pub sight_unit: Unit,
    /// The unit of the job itself, in which findings and verdicts were said.
    pub job_unit: Unit,
    /// How a shown number was rounded.
    pub rounding: String,
    /// How misclosures are shared out.
    pub distribution: Distribution,
}

/// How a misclosure is shared out along its line.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Distribution {
    /// In proportion to the length from the start.
    ByLength,
    /// In proportion to the setups from the start.
    BySetups,
    /// Not at all.
    None,
}

/// The accuracy class and where its limits come from.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct ClassView {
    /// Name to choose it by.
    pub id: String,
    /// Name to print.
    pub title: String,
    /// The document it comes from.
    pub source: String,
    /// Its limits.
    pub limits: Vec<LimitRow>,
}

/// One limit.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct LimitRow {
    /// Of what.
    pub what: String,
    /// The limit with its unit.
    pub limit: String,
    /// How it is known: published, from memory, common practice and so on.
    pub basis: String,
}

/// A point whose elevation is given.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct KnownRow {
    /// The point.
    pub point: String,
    /// The digits as given.
    pub given: Sent,
    /// Its elevation.
    pub elevation: Figure,
    /// Made up to have one to start from.
    pub assumed: bool,
}

/// One spell of listening.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct ListenedRow {
    /// The event.
    pub event: u64,
    /// When it began.
    pub at: String,
    /// The link in words.
    pub link: String,
    /// The format's name.
    pub format: String,
    /// SHA-256 of the format file.
    pub digest: String,
}

/// An event that is only pointed at.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct Told {
    /// The event.
    pub event: u64,
    /// When.
    pub at: String,
}

/// One run.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct RunPart {
    /// Counted from 1.
    pub number: u32,
    /// Where it starts.
    pub from: String,
    /// The point that it has reached.
    pub to: String,
    /// A person ended it.
    pub ended: bool,
    /// Setups with a rise.
    pub setups: u32,
    /// Length, all counted sights; too short where `length_lacks`.
    pub length: Figure,
    /// Some setup had no sight lengths.
    pub length_lacks: bool,
    /// What its elevations rest on, in words: one, and one more after each gap.
    pub datums: Vec<String>,
    /// The same as data, in the same order; none where nothing ties them to a known point.
    pub ties: Vec<Option<Tie>>,
    /// Whether it may be relied on.
    pub standing: RunStanding,
    /// The same in words, with where.
    pub standing_words: String,
    /// Its page of the book.
    pub lines: Vec<Line>,
    /// The page check: one, and one more after each gap.
    pub page_checks: Vec<PageCheck>,
    /// What closed.
    pub closures: Vec<ClosureRow>,
    /// The misclosures shared out, section by section.
    pub sections: Vec<Section>,
}

/// What ties heights to the datum.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct Tie {
    /// The point.
    pub point: String,
    /// The setup at which it was met; 0 for the start of the run.
    pub setup: u32,
    /// How its elevation is known.
    pub origin: TieOrigin,
    /// Its elevation.
    pub elevation: Figure,
    /// Where an earlier run reached it, if its elevation was carried there.
    pub carried_from: Option<Reached>,
}

/// How the elevation of a tie is known.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum TieOrigin {
    /// Somebody else set it.
    Given,
    /// It was made up to have one to start from.
    Assumed,
    /// An earlier run carried it there.
    Carried,
}

/// The fore point of a setup, or the start of a run.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, JsonSchema)]
pub struct Reached {
    /// The run, counted from 1.
    pub run: u32,
    /// The setup within it; 0 for the start of the run.
    pub setup: u32,
}

/// Whether a run may be relied on.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum RunStanding {
    /// It closes within the allowance, up to its last point.
    Closes,
    /// It closes, and then goes on beyond.
    ClosesInPart,
    /// A misclosure is over its allowance.
    DoesNotClose,
    /// It closed, and the class has no allowance for that.
    NotJudged,
    /// It has not closed.
    Provisional,
}

/// One line of the book: a point with what was read on it.
#[derive(Clone, Debug, Default, PartialEq, Serialize, JsonSchema)]
pub struct Line {
    /// The point; none for a struck foresight whose point nobody named.
    pub point: Option<String>,
    /// The foresight that ends a setup here.
    pub foresight: Option<Sight>,
    /// An intermediate sight.
    pub intermediate: Option<Sight>,
    /// The backsight that begins a setup here.
    pub backsight: Option<Sight>,
    /// Readings of setups that were begun here and then broken off.
    pub broken: Vec<u32>,
    /// Height of instrument of the setup that begins here.
    pub height_of_instrument: Option<Figure>,
    /// Rise from the sight before.
    pub rise: Option<Figure>,
    /// Fall from the sight before.
    pub fall: Option<Figure>,
    /// Elevation.
    pub elevation: Option<Figure>,
    /// On which of the run's ties it rests, counted from 1: one more after each gap.
    pub tie: u32,
    /// What must be said of the point or of its sights; what is said of a reading stands with the reading.
    pub remarks: Vec<String>,
}

/// A sight: one staff in one place, with all shots on it.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct Sight {
    /// The setup, counted from 1 through the run.
    pub setup: u32,
    /// What is booked: the mean of the shots that count, corrected. None if all are struck.
    pub booked: Option<Figure>,
    /// Mean sight length of the shots that count.
    pub sight_length: Option<Figure>,
    /// How many shots count.
    pub counted: u32,
    /// The readings, struck ones included.
    pub shots: Vec<u32>,
}

/// The page check over lines that hang together.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct PageCheck {
    /// First point.
    pub from: String,
    /// Last point.
    pub to: String,
    /// The line of the run on which it begins, counted from 1.
    pub first_line: u32,
    /// The line on which it ends.
    pub last_line: u32,
    /// Sum of the backsights of setups that have both sights.
    pub sum_backsights: Figure,
    /// Sum of their foresights.
    pub sum_foresights: Figure,
    /// The first sum less the second.
    pub backsights_less_foresights: Figure,
    /// Sum of the rises.
    pub sum_rises: Figure,
    /// Sum of the falls.
    pub sum_falls: Figure,
    /// The first sum less the second.
    pub rises_less_falls: Figure,
    /// First elevation, if the lines are tied to a datum.
    pub first: Option<Figure>,
    /// Last elevation.
    pub last: Option<Figure>,
    /// Last less first.
    pub last_less_first: Option<Figure>,
    /// All differences are equal, exactly.
    pub holds: bool,
    /// The largest disagreement between them, if they are not.
    pub off_by: Option<Figure>,
    /// Sum of the sight lengths to the back staff; none if one is not known.
    pub sum_back_sights: Option<Figure>,
    /// Sum of the sight lengths to the fore staff.
    pub sum_fore_sights: Option<Figure>,
    /// Some summed value has more digits than are shown, so that sums by hand may differ in the last one.
    pub rounded: bool,
}

/// How an elevation agreed with another for the same point.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct ClosureRow {
    /// The point.
    pub point: String,
    /// The setup that reached it.
    pub setup: u32,
    /// Against what, in words.
    pub against: String,
    /// The earlier time that the point was reached, if it is against that and not against a known elevation.
    pub earlier: Option<Reached>,
    /// Observed less known, or later less earlier.
    pub misclosure: Figure,
    /// Length of the line; none if some setup had no sight lengths.
    pub length: Option<Figure>,
    /// Setups of it.
    pub setups: u32,
    /// The allowance; none if the class has none for it.
    pub allowance: Option<Figure>,
    /// The rule that gave it.
    pub rule: Option<RuleView>,
    /// The rule in words, with its numbers and where they come from.
    pub allowance_words: Option<String>,
    /// Misclosure with allowance and share of it, in words.
    pub words: String,
    /// Whether it closes.
    pub verdict: Closes,
}

/// What an allowance is reckoned by.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum RuleView {
    /// The root of the length.
    ByLength,
    /// The root of the number of setups.
    BySetups,
    /// What the readings themselves can carry.
    ReadingNoise,
}

/// Whether a line closes.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Closes {
    /// Within the allowance; equal to it is within.
    Closes,
    /// Over it.
    DoesNotClose,
    /// There is no allowance.
    NotJudged,
}

impl Closes {
    /// Over the allowance.
    pub fn is_over(self) -> bool {
        self == Closes::DoesNotClose
    }

    /// The words.
    pub fn words(self) -> &'static str {
        match self {
            Closes::Closes => "closes",
            Closes::DoesNotClose => "does not close",
            Closes::NotJudged => "not judged: the class has no allowance for it",
        }
    }
}

/// A line between two ties, with its misclosure shared out.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct Section {
    /// Where it begins.
    pub from: String,
    /// The point on which it closes; none where it hangs beyond the last.
    pub to: Option<String>,
    /// Whether the closing point is within its allowance; none where the section hangs.
    pub verdict: Option<Closes>,
    /// Misclosure of this section alone: what is taken out between its ends.
    pub misclosure: Figure,
    /// By what it was shared out.
    pub by: Distribution,
    /// Length; none if some setup had no sight lengths.
    pub length: Option<Figure>,
    /// Setups.
    pub setups: u32,
    /// What must be said of it.
    pub remarks: Vec<String>,
    /// Its points, in order.
    pub points: Vec<SectionPoint>,
}

/// A point of a section.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct SectionPoint {
    /// The run.
    pub run: u32,
    /// The setup from which it was seen; 0 for the start of the run.
    pub setup: u32,
    /// The point.
    pub point: String,
    /// Foresight or intermediate sight; none for the point on which the section begins.
    pub sight: Option<Role>,
    /// Length from the start of the section to the end of its setup.
    pub length: Option<Figure>,
    /// Setups from the start of the section, its own among them.
    pub setups: u32,
    /// Elevation as observed.
    pub observed: Figure,
    /// What is added: one for all points seen from one setup.
    pub correction: Figure,
    /// Elevation with it.
    pub adjusted: Figure,
}

/// One reading.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct ReadingRow {
    /// Its number, counted from 1 through the job.
    pub number: u32,
    /// The event that brought it.
    pub event: u64,
    /// When.
    pub at: String,
    /// It came from a simulated instrument, or belongs to a job in which one was heard.
    pub simulated: bool,
    /// Run, from 1.
    pub run: u32,
    /// Setup within the run, from 1.
    pub setup: u32,
    /// What it was taken for.
    pub role: Role,
    /// Whether it counts.
    pub state: State,
    /// Where the staff stood; none if nobody named it and it does not count.
    pub point: Option<String>,
    /// The staff reading as sent.
    pub staff: Sent,
    /// The staff reading.
    pub reading: Figure,
    /// The staff reading with its corrections, if any correction is on.
    pub corrected: Option<Figure>,
    /// What became of each correction that is on.
    pub corrections: Vec<CorrectionRow>,
    /// Sight length as sent.
    pub sight: Option<Sent>,
    /// Sight length.
    pub sight_length: Option<Figure>,
    /// Deviation that the instrument stated, as sent.
    pub spread: Option<Sent>,
    /// How many single measurements the instrument took.
    pub measurements: Option<u32>,
    /// Air temperature at the instrument, in degrees Celsius.
    pub temperature_c: Option<f64>,
    /// The instrument's own number for the record.
    pub instrument_number: Option<u64>,
    /// The instrument's own time, as sent.
    pub instrument_time: Option<String>,
    /// Height of instrument of its setup, if it counts.
    pub height_of_instrument: Option<Figure>,
    /// Elevation of its point by its sight, if it counts.
    pub elevation: Option<Figure>,
    /// How it came.
    pub came: CameView,
    /// No checksum stood over its record.
    pub unprotected: bool,
    /// What must be said beside it.
    pub remarks: Vec<String>,
    /// What people said of it: numbers of events in `said`.
    pub said: Vec<u64>,
}

/// Whether a reading counts.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum State {
    /// It counts.
    Counted,
    /// It counts, as one more shot on the staff just read.
    Extra,
    /// It is struck out.
    Struck,
    /// Its setup was broken off.
    Broken,
}

impl State {
    /// The word.
    pub fn word(self) -> &'static str {
        match self {
            State::Counted => "counted",
            State::Extra => "extra",
            State::Struck => "struck",
            State::Broken => "broken",
        }
    }

    /// Whether it counts.
    pub fn counts(self) -> bool {
        matches!(self, State::Counted | State::Extra)
    }
}

/// How a reading came.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum CameView {
    /// From the instrument.
    Heard,
    /// Typed in by a person.
    KeyedIn,
}

/// What became of one correction.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct CorrectionRow {
    /// Which.
    pub what: String,
    /// What was added; none if it was not made.
    pub added: Option<Figure>,
    /// Why it was not made.
    pub not_made: Option<String>,
}

/// A finding, with what the crew was told of it and when.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct FindingRow {
    /// Its key: `balance@setup-1.7`.
    pub key: String,
    /// Whether its cause is still there.
    pub state: FindingState,
    /// How urgent.
    pub priority: Priority,
    /// The fact with its limit, in the job's unit.
    pub fact: String,
    /// What to do.
    pub todo: String,
    /// The compared value with its unit.
    pub value: Option<String>,
    /// Its limit with its unit.
    pub limit: Option<String>,
    /// Where the limit comes from.
    pub basis: Option<String>,
    /// When the crew was told, and how urgently.
    pub announced: Vec<Announcement>,
    /// When a person acknowledged it.
    pub acknowledged: Vec<Acknowledgement>,
    /// When the crew was told that its cause was gone.
    pub withdrawn: Vec<Told>,
}

/// Whether a finding's cause is still there.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum FindingState {
    /// It is.
    Stands,
    /// It is not.
    Gone,
}

/// That the crew was told of a finding.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct Announcement {
    /// The event.
    pub event: u64,
    /// When.
    pub at: String,
    /// How urgent it was said to be.
    pub priority: Priority,
    /// What was said.
    pub fact: String,
}

/// That a person has seen a finding.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct Acknowledgement {
    /// The event.
    pub event: u64,
    /// When.
    pub at: String,
    /// Over which way.
    pub by: Origin,
}

/// A verdict as it was given.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct VerdictRow {
    /// The event.
    pub event: u64,
    /// When.
    pub at: String,
    /// Run, from 1.
    pub run: u32,
    /// Setup within it, from 1.
    pub setup: u32,
    /// hold or clear-to-move.
    pub verdict: Verdict,
    /// What was said.
    pub text: String,
}

/// What a person said.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct SaidRow {
    /// The event.
    pub event: u64,
    /// When.
    pub at: String,
    /// Over which way.
    pub by: Origin,
    /// In words.
    pub words: String,
    /// The reading that it is about, if about one.
    pub reading: Option<u32>,
    /// It acknowledges a finding; which one stands with the finding.
    pub acknowledges: bool,
    /// The event that took it back.
    pub taken_back_by: Option<u64>,
}

/// What the link brought beside readings.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct RecordsView {
    /// Bytes in records that were understood.
    pub bytes_understood: u64,
    /// Bytes set aside by a rule of the format, or noise between frames.
    pub bytes_ignored: u64,
    /// Bytes in records that were refused.
    pub bytes_refused: u64,
    /// Bytes in records whose end or start was never seen.
    pub bytes_unfinished: u64,
    /// Records that did not become readings though they might have been one.
    pub not_booked: Vec<NotBooked>,
}

/// A record that did not become a reading.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct NotBooked {
    /// The event that keeps its bytes.
    pub event: u64,
    /// When.
    pub at: String,
    /// Why, in words.
    pub why: String,
}
