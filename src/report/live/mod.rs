//! What a run says while it happens: one [`Line`] for each thing a crew should see, made from an event and the book
//! after it. The terminal, the `--json` lines and later the page print the same lines.
//!
//! A line is versioned by `schema`; a field is added freely, removed or changed only with a new number. Lengths are
//! decimal text in the unit that stands beside them, so that no digit is lost on the way.

mod activity;
mod text;

use schemars::JsonSchema;
use serde::Serialize;

use crate::book::decimals::reading_shown;
use crate::book::event::{Body, Command, Event, LinkState, Origin, Taken, Target, Verdict};
use crate::book::finding::{Amount, FindingKey, Priority};
use crate::book::reading::{Heard, Role};
use crate::book::run::{ClosesOn, Closure};
use crate::book::wording::Wording;
use crate::book::{Book, Came, NextStaff, SpotState, next_staff};
use crate::report::causes::{Causes, causes};
use crate::units::{Length, Unit};

pub use activity::{ActivityLine, ShotLine, activity_answer, activity_words};
pub use text::{Ink, Painter, standing_line, status_block};

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
    pub remarks: Vec<&'static str>,
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

/// The lines that an event comes to, given the book after it.
pub fn lines(book: &Book, event: &Event) -> Vec<Line> {
    let line = |what| Line {
        schema: SCHEMA,
        instrument: None,
        event: event.seq,
        at: event.at.to_string(),
        simulated: event.simulated || book.simulated(),
        what,
    };
    let activity = book.activities().latest();
    let what = match &event.body {
        Body::JobOpened { .. } | Body::Resettled { .. } => What::Job(job_line(book)),
        Body::ListeningBegan { link, format, .. } => What::Listening { link: link.clone(), format: format.clone() },
        Body::LinkChanged { state } => link_line(state),
        Body::Heard { heard } => heard_line(book, event, heard),
        Body::Commanded { command: Command::KeyIn { .. } | Command::KeyInWires { .. }, .. } => taken_line(book, event),
        Body::Commanded { command, by } if command.of_activity() => {
            let said = What::Command { text: command_words(command), by: by.clone() };
            let stands = activity.filter(|_| *command != Command::LeaveActivity);
            let stands = stands.map(|activity| activity::activity_line(book, activity, None));
            return [said].into_iter().chain(stands).map(line).collect();
        }
        Body::Commanded { command, by } => What::Command { text: command_words(command), by: by.clone() },
        Body::Announced { key, priority, fact, todo } => finding_line(book, key, *priority, fact, todo),
        Body::Withdrawn { key } => What::Withdrawn { key: key.to_string() },
        Body::VerdictGiven { run, setup, verdict, text } => What::Verdict(VerdictLine {
            run: *run,
            setup: *setup,
            verdict: *verdict,
            text: text.clone(),
            status: status(book),
        }),
        Body::ClockStepped { .. } | Body::MachineSlept { .. } => return Vec::new(),
        Body::RecordingResumed { cause } => What::Notice {
            priority: Priority::Warn,
            text: format!("recording again; what came meanwhile follows (it had stopped: {cause})"),
        },
        Body::ActivityDone { .. } => match activity {
            Some(activity) => activity::activity_line(book, activity, None),
            None => return Vec::new(),
        },
        Body::ListeningEnded { reason } => What::Ended { reason: reason.clone() },
    };
    let mut lines = vec![line(what)];
    if let Body::Announced { key, priority: Priority::Hold, .. } = &event.body {
        lines.extend(causes(book, key).map(|causes| line(What::Causes(causes))));
    }
    lines
}

/// A line about the recording itself, which no event can hold.
pub fn notice(book: &Book, priority: Priority, text: String) -> Line {
    Line {
        schema: SCHEMA,
        instrument: None,
        event: book.last_event(),
        at: book.last_at().to_string(),
        simulated: book.simulated(),
        what: What::Notice { priority, text },
    }
}

/// A line for a job that is taken up again as it was left.
pub fn taken_up(book: &Book) -> Line {
    Line {
        schema: SCHEMA,
        instrument: None,
        event: book.last_event(),
        at: book.last_at().to_string(),
        simulated: book.simulated(),
        what: What::Job(job_line(book)),
    }
}

/// A verdict in words.
pub fn given_words(given: &crate::book::Given) -> String {
    match given.verdict {
        Verdict::Hold => format!("hold: {}", given.text),
        Verdict::ClearToMove => format!("clear to move: {}", given.text),
    }
}

/// How the run stands, in words.
pub fn status_in_words(book: &Book) -> Vec<String> {
    let status = status(book);
    let mut words = activity_words(book);
    words.push(format!("run {}, setup {}, {} readings", status.run, status.setup, book.entries().len()));
    words.extend(book.last_verdict().map(given_words));
    words.extend(status.balance_sum.map(|sum| format!("balance {}, sum {sum}", status.balance.unwrap_or_default())));
    words.extend(status.next);
    words.extend(status.closure.map(|closure| format!("closure {closure}")));
    words.extend(status.holding.into_iter().map(|fact| format!("hold: {fact}")));
    words
}

/// How the runs have closed, the verdict first, as lines of at most `width` columns.
pub fn closing_lines(book: &Book, width: usize) -> Vec<String> {
    let say = Wording::new(book.settings().unit);
    let painter = Painter::new(Ink::Plain, width);
    let lines = book.runs().iter().flat_map(|run| {
        let words = match run.closures().next_back() {
            None => "provisional, it has not closed".to_owned(),
            Some(closure) => closure_words(say, closure),
        };
        painter.wrap(&format!("run {}: ", run.number), &words)
    });
    lines.collect()
}

/// JSON Schema of the lines.
pub fn schema() -> serde_json::Value {
    schemars::schema_for!(Line).to_value()
}

/// How many facts that hold the crew are said at once: nobody mends more of them before the next line.
const HOLDING_MAX: usize = 8;

/// How the run stands now.
pub fn status(book: &Book) -> Status {
    let activity = activity_words(book);
    let Some((run, setup)) = book.current() else { return Status { activity, ..Status::default() } };
    let say = Wording::new(book.settings().unit);
    let sum = setup.imbalance_sum();
    let known_balance = setup.reduced.imbalance.is_some() || setup.before.imbalance_sum != Length::ZERO;
    let sum = known_balance.then(|| match &book.settings().class.sum_imbalance_max {
        Some(limit) => format!("{} of {}", say.signed_sight(sum), say.sight(limit.value)),
        None => say.signed_sight(sum),
    });
    let holding = book.standing().iter().rev().filter(|(_, s)| s.priority == Priority::Hold && !s.acknowledged);
    let facts = holding.filter_map(|(key, _)| book.finding(key)).map(|finding| finding.fact.clone());
    let mut facts: Vec<String> = facts.take(HOLDING_MAX).collect();
    facts.reverse();
    Status {
        run: run.number,
        setup: setup.number,
        balance: setup.reduced.imbalance.map(|imbalance| say.signed_sight(imbalance)),
        balance_sum: sum,
        next: next_staff(book).map(|next| next_words(say, next)),
        due: Some(book.next_role()),
        activity,
        closure: run.closures().next_back().map(|closure| closure_words(say, closure)),
        holding: facts,
    }
}

pub(super) fn next_words(say: Wording, next: NextStaff) -> String {
    match next {
        NextStaff::At { role, best, from, to } => {
            format!("{} staff at {} ({} to {})", role.word(), say.sight(best), say.bare_sight(from), say.bare_sight(to))
        }
        NextStaff::ForeLonger(by) if by > Length::ZERO => {
            format!("next setup: foresight {} longer than backsight", say.sight(by))
        }
        NextStaff::ForeLonger(by) => format!("next setup: foresight {} shorter than backsight", say.sight(by.abs())),
    }
}

/// A closure with its allowance, its share of it, and the rule that gave the allowance.
pub fn closure_words(say: Wording, closure: &Closure) -> String {
    let against = match closure.on {
        ClosesOn::Known => format!("at {}", closure.point),
        ClosesOn::Earlier { run, setup } => format!("at {}, against run {run} setup {setup}", closure.point),
    };
    match &closure.allowance {
        Some(allowance) => {
            let share = say.share(closure.misclosure, allowance.value);
            let verdict = if closure.over() { "does not close" } else { "closes" };
            format!("{against}: {verdict}, {share}; {}", allowance.words)
        }
        None => format!("{against}: {}, the class has no allowance for it", say.signed_height(closure.misclosure)),
    }
}

pub(super) fn job_line(book: &Book) -> JobLine {
    let settings = book.settings();
    let shown = |known: &crate::book::settings::KnownPoint| {
        let assumed = if known.assumed { " assumed" } else { "" };
        (known.name.to_string(), format!("{} {}{assumed}", known.elevation.digits(), known.elevation.unit()))
    };
    JobLine {
        unit: settings.unit,
        class: settings.class.title.clone(),
        sequence: settings.sequence.to_string(),
        known: book.known().values().map(shown).collect(),
        readings: book.entries().len(),
    }
}

fn link_line(state: &LinkState) -> What {
    let (state, text) = link_words(state);
    What::Link { state, text }
}

/// The state of the link: its word and a sentence.
pub fn link_words(state: &LinkState) -> (&'static str, String) {
    match state {
        LinkState::Open => ("open", "the link is open".to_owned()),
        LinkState::Quiet { for_s } => ("quiet", format!("nothing heard for {for_s} s")),
        LinkState::Babble { sample } => ("babble", format!("bytes but no records: {sample}")),
        LinkState::Lost { why } => ("lost", format!("link lost: {why}")),
        LinkState::Waiting { why } => ("waiting", format!("waiting: {why}")),
        LinkState::Finished => ("finished", "the input has ended".to_owned()),
    }
}

fn heard_line(book: &Book, event: &Event, heard: &Heard) -> What {
    let (kind, text) = match heard {
        Heard::Reading(_) => return taken_line(book, event),
        Heard::Status(status) => ("status", instrument_words(status)),
        Heard::Fault { code, meaning } => {
            ("fault", format!("instrument reports {}", meaning.as_deref().unwrap_or(code)))
        }
        Heard::Echo => ("echo", "our own command coming back".to_owned()),
        Heard::Ignored { rule } => ("ignored", rule.clone()),
        Heard::SetAside { why, .. } => ("set-aside", format!("not booked: {why}")),
        Heard::Refused(refusal) => ("refused", format!("{}, at byte {}", refusal.reason, refusal.at_byte)),
        Heard::Unfinished => ("unfinished", "a record that never ended, kept".to_owned()),
        Heard::Fragment => ("fragment", "the end of a record that began before we listened, kept".to_owned()),
        Heard::Repeated { of } => ("repeated", format!("the record of event {of} came again: used once")),
    };
    What::Record { kind, bytes: event.raw.len(), text }
}

fn instrument_words(status: &crate::book::reading::Status) -> String {
    let mut parts = Vec::new();
    parts.extend(status.battery_percent.map(|percent| format!("battery {percent:.0} %")));
    parts.extend(status.temperature_c.map(|degrees| format!("{degrees:.1} C")));
    parts.extend(status.tilt_arcmin.map(|tilt| format!("tilt {tilt:.1}'")));
    parts.extend(status.other.iter().map(|(name, value)| format!("{name} {value}")));
    if parts.is_empty() { "instrument status".to_owned() } else { parts.join(", ") }
}

/// The reading just taken, as it stands in the book or with the activity that it went to.
fn taken_line(book: &Book, event: &Event) -> What {
    match book.activities().took(event.seq) {
        Some(activity) => activity::activity_line(book, activity, activity::shot_line(book, activity)),
        None => What::Reading(reading_view(book, book.entries().len() as u32).expect("a reading was just booked")),
    }
}

/// A reading as it stands in the book.
pub fn reading_view(book: &Book, number: u32) -> Option<ReadingLine> {
    let (entry, spot) = (book.entry(number)?, book.spot(number)?);
    let unit = book.settings().unit;
    let say = Wording::new(unit);
    let run = book.runs().get(spot.run as usize - 1)?;
    let setup = (spot.setup as usize).checked_sub(1).and_then(|index| run.setups.get(index));
    let decimals = book.decimals();
    let side = setup.and_then(|setup| setup.sides.iter().find(|side| side.shot.reading == number));
    let (point, level) = match (spot.role, setup) {
        (_, None) => (None, None),
        (Role::Back, Some(setup)) => (Some(setup.back_point.clone()), None),
        (Role::Fore, Some(setup)) => (setup.fore_point.clone(), setup.fore_level()),
        (Role::Intermediate, Some(setup)) => {
            (side.map(|side| side.point.clone()), side.and_then(|side| setup.side_level(side)))
        }
    };
    let counts = matches!(spot.state, SpotState::Counted | SpotState::Extra);
    let elevation = level.filter(|_| counts).and_then(|level| run.elevation(level));
    let staff = entry.reading.staff;
    let remarks = [
        (spot.state == SpotState::Extra, "repeat"),
        (spot.role == Role::Intermediate, "single, unchecked"),
        (entry.came == Came::KeyedIn, "keyed in"),
        (entry.reading.unprotected, "unprotected"),
        (book.amendments().of(number).is_some_and(|said| said.read_as.is_some()), "taken for another value"),
    ];
    Some(ReadingLine {
        number,
        run: spot.run,
        setup: spot.setup,
        role: spot.role,
        point: point.map(|point| point.to_string()).unwrap_or_default(),
        staff: staff.digits().to_string(),
        staff_unit: staff.unit(),
        staff_shown: reading_shown(&staff, unit),
        sight: entry.reading.sight.map(|sight| say.bare_sight(sight.value())),
        elevation: elevation.map(|elevation| elevation.show(unit, decimals)),
        unit,
        state: match spot.state {
            SpotState::Counted => "counted",
            SpotState::Extra => "extra",
            SpotState::Struck => "struck",
            SpotState::Broken => "broken",
        },
        remarks: remarks.into_iter().filter(|(so, _)| *so).map(|(_, remark)| remark).collect(),
    })
}

fn finding_line(book: &Book, key: &FindingKey, priority: Priority, fact: &str, todo: &str) -> What {
    let found = book.finding(key);
    let say = Wording::new(book.settings().unit);
    let amount = |amount: Option<Amount>| amount.map(|amount| say.amount(amount));
    What::Finding(FindingLine {
        key: key.to_string(),
        priority,
        fact: fact.to_owned(),
        todo: todo.to_owned(),
        value: amount(found.and_then(|finding| finding.value)),
        limit: amount(found.and_then(|finding| finding.limit)),
        basis: found.and_then(|finding| finding.basis.clone()),
    })
}

/// A command in words, as it is shown and printed.
pub fn command_words(command: &Command) -> String {
    let which = |target: &Target| match target {
        Target::Number(number) => format!("reading {number}"),
        Target::Next => "the next reading".to_owned(),
    };
    match command {
        Command::Strike { reading, .. } => format!("reading {reading} struck out"),
        Command::Restore { reading } => format!("reading {reading} restored"),
        Command::Repeat { reading } => format!("reading {reading} is a repeat of the staff before it"),
        Command::Role { reading, role, point } => {
            let at = point.as_ref().map(|point| format!(" on {point}")).unwrap_or_default();
            format!("{} is {}{at}", which(reading), role_words(*role))
        }
        Command::Point { reading, point } => format!("{} stands on {point}", which(reading)),
        Command::Rename { from, to } => format!("{from} is called {to}"),
        Command::Know { known } => {
            format!("{} is known: {} {}", known.name, known.elevation.digits(), known.elevation.unit())
        }
        Command::Note { reading: Some(reading), text } => format!("note on reading {reading}: {text}"),
        Command::Note { reading: None, text } => format!("note: {text}"),
        Command::Break { .. } => "setup broken: begin it anew from its back point".to_owned(),
        Command::TakeOffer { reading, point } => match (reading, point) {
            (Some(reading), Some(point)) => format!("reading {reading} stands on {point}, as offered"),
            _ => "the offer is taken".to_owned(),
        },
        Command::EndRun { .. } => "the run ends here".to_owned(),
        Command::StartRun { point, .. } => format!("a run starts on {point}"),
        Command::Acknowledge { key } => format!("seen: {key}"),
        Command::KeyIn { .. } => "a reading keyed in".to_owned(),
        Command::KeyInWires { .. }
        | Command::BeginActivity { .. }
        | Command::LeaveActivity
        | Command::StrikeShot { .. }
        | Command::MarkHere { .. }
        | Command::Design { .. }
        | Command::Register { .. }
        | Command::Collimation { .. } => activity::command_words(command).expect("every one of these has its words"),
        Command::Accept { finding, cause, taken } => match taken_words(taken) {
            Some(taken) => format!("{finding} is explained: {cause}: {taken}"),
            None => format!("{finding} is explained: {cause}; booked as it was"),
        },
        Command::Undo { event } => format!("event {event} taken back"),
    }
}

/// What readings or points are taken for, without naming the one that the words stand beside.
pub(super) fn taken_words(taken: &Taken) -> Option<String> {
    Some(match taken {
        Taken::Exchanged { .. } => "backsight and foresight are exchanged".to_owned(),
        Taken::Read { staff, .. } => format!("taken for {} {}", staff.digits(), staff.unit()),
        Taken::Repeat { .. } => "made a repeat".to_owned(),
        Taken::Struck { .. } => "struck out".to_owned(),
        Taken::Point { point, .. } => format!("put on {point}"),
        Taken::Known { known } => {
            format!("{} is taken for {} {}", known.name, known.elevation.digits(), known.elevation.unit())
        }
        Taken::Booked => return None,
    })
}

pub(super) fn role_words(role: Role) -> &'static str {
    match role {
        Role::Back => "a backsight",
        Role::Fore => "a foresight",
        Role::Intermediate => "an intermediate sight",
    }
}
