//! How a job stands, as one document: what the live page draws and what programs read.
//!
//! Versioned by [`SCHEMA`] like the lines. Numbers are decimal text in the unit that stands beside them.

use schemars::JsonSchema;
use serde::Serialize;

use super::document::{about, by_words};
use super::live::{self, JobLine, ReadingLine, SCHEMA, Status};
use crate::book::activity::Task;
use crate::book::event::{Command, Verdict};
use crate::book::finding::{Finding, Priority};
use crate::book::reading::Role;
use crate::book::run::Run;
use crate::book::wording::Wording;
use crate::book::{Book, NextStaff, Said, next_staff};
use crate::field;
use crate::units::Unit;

/// How a job stands.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct State {
    /// Version of this form: 1.
    pub schema: u32,
    /// The last event that it holds.
    pub event: u64,
    /// The job's settings in short; none before it was opened.
    pub job: Option<JobLine>,
    /// Length of the staff in the job's unit: what is keyed in is checked against it.
    pub staff_length: Option<String>,
    /// What matters now.
    pub now: Now,
    /// Every reading, struck ones included.
    pub readings: Vec<Row>,
    /// What people said, the newest last.
    pub said: Vec<Saying>,
}

/// What matters now.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct Now {
    /// When the last event came, RFC 3339 in UTC.
    pub at: String,
    /// The instrument is a simulated one.
    pub simulated: bool,
    /// What is recorded is kept; else why it is not.
    pub not_recording: Option<String>,
    /// May the legs be lifted?
    pub verdict: Answer,
    /// The reason in a sentence.
    pub text: String,
    /// What to do.
    pub todo: Option<String>,
    /// How the run stands.
    pub status: Status,
    /// The link: open, quiet, babble, lost, waiting, finished or unknown.
    pub link: &'static str,
    /// The link in words.
    pub link_text: String,
    /// Where the next staff should stand.
    pub staff: Option<Staff>,
    /// The latest closure as numbers.
    pub closure: Option<Closing>,
    /// What the crew has been told and whose cause is not gone, the most urgent and newest first.
    pub findings: Vec<Told>,
    /// What goes on beside the run, or has just come to something; none while readings are the run's.
    pub beside: Option<Beside>,
    /// How many readings there are.
    pub readings: usize,
    /// Length of the run.
    pub distance: Option<String>,
    /// All runs of the job.
    pub runs: Vec<RunBrief>,
    /// The number of the last command that can be taken back.
    pub undo: Option<u64>,
    /// Counted up whenever the plots have changed: the last event that changed them.
    pub plots: u64,
}

/// An activity beside the run.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct Beside {
    /// What it is: two-peg test, target C-5, ...
    pub task: String,
    /// Readings go to it; else it is done.
    pub under_way: bool,
    /// How it stands, or what it came to.
    pub words: Vec<String>,
    /// What to do next.
    pub next: Option<String>,
    /// It waits for marks to be made.
    pub takes_marks: bool,
}

/// One run in short.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct RunBrief {
    /// Its number, from 1.
    pub number: u32,
    /// The point it starts on.
    pub start: String,
    /// How many setups it has.
    pub setups: usize,
    /// It was ended by a person.
    pub ended: bool,
    /// Its latest closure in words.
    pub closure: Option<String>,
}

/// May the legs be lifted?
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Answer {
    /// No: something can still be mended from here.
    Hold,
    /// Yes.
    ClearToMove,
    /// The setup is not finished.
    NotYet,
}

/// Where the next staff should stand.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct Staff {
    /// Which staff.
    pub role: Role,
    /// Best sight length, or how much longer than the backsight the next foresight should be.
    pub best: String,
    /// Shortest and longest that keep setup and section in balance; none for a difference.
    pub range: Option<(String, String)>,
    /// Unit of these.
    pub unit: Unit,
    /// In words.
    pub text: String,
}

/// A closure as numbers.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct Closing {
    /// Observed less known, with unit and sign.
    pub misclosure: String,
    /// What the class allows, with unit.
    pub allowance: Option<String>,
    /// Share of it in per cent.
    pub share: Option<f64>,
    /// In words, with the rule.
    pub text: String,
}

/// A finding that the crew has been told of.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct Told {
    /// Its key, to acknowledge it by.
    pub key: String,
    /// How urgent.
    pub priority: Priority,
    /// The fact with its limit.
    pub fact: String,
    /// What to do.
    pub todo: String,
    /// The compared value in words.
    pub value: Option<String>,
    /// Its limit in words.
    pub limit: Option<String>,
    /// Where the limit comes from.
    pub basis: Option<String>,
    /// A person has seen it.
    pub acknowledged: bool,
}

/// A reading as a row of the field book.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct Row {
    /// When, time of day in UTC.
    pub time: String,
    /// The reading.
    #[serde(flatten)]
    pub line: ReadingLine,
    /// Elevation of the line of sight, beside the first counted backsight.
    pub instrument: Option<String>,
    /// What people noted on it.
    pub notes: Vec<String>,
}

/// Something that a person said: a command, kept for ever.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct Saying {
    /// The number of its event.
    pub event: u64,
    /// When, time of day in UTC.
    pub time: String,
    /// Over which way: on the page, at the terminal, ...
    pub by: &'static str,
    /// What, in words.
    pub text: String,
    /// The reading that it is about.
    pub reading: Option<u32>,
    /// It has been taken back.
    pub taken_back: bool,
    /// It can be taken back.
    pub undoable: bool,
}

/// The whole document; `not_recording` is why nothing can be kept at the moment.
pub fn state(book: &Book, not_recording: Option<&str>, plots: u64) -> State {
    let readings = 1..=book.entries().len() as u32;
    State {
        schema: SCHEMA,
        event: book.last_event(),
        job: book.is_open().then(|| live::job_line(book)),
        staff_length: book.is_open().then(|| book.settings().staffs.length.show(book.settings().unit, 2)),
        now: now(book, not_recording, plots),
        readings: readings.filter_map(|number| row(book, number)).collect(),
        said: said(book),
    }
}

/// What people said, the newest last.
pub fn said(book: &Book) -> Vec<Saying> {
    let undone = book.amendments().undone();
    let saying = |said: &Said| {
        let taken_back = undone.contains(&said.event);
        Saying {
            event: said.event,
            time: said.at.time_of_day(),
            by: by_words(&said.by),
            text: live::command_words(&said.command),
            reading: about(&said.command),
            taken_back,
            undoable: !taken_back && !matches!(said.command, Command::KeyIn { .. }),
        }
    };
    book.amendments().said().iter().map(saying).collect()
}

/// What matters now.
pub fn now(book: &Book, not_recording: Option<&str>, plots: u64) -> Now {
    let findings = if book.is_open() { told(book) } else { Vec::new() };
    let status = if book.is_open() { live::status(book) } else { Status::default() };
    let (verdict, text, todo) = verdict(book, not_recording, &findings, &status);
    let (link, link_text) = match &book.records().link {
        Some(state) => live::link_words(state),
        None if book.records().heard_at.is_some() => ("open", "the link is open".to_owned()),
        None => ("unknown", "nothing heard yet".to_owned()),
    };
    let say = Wording::new(if book.is_open() { book.settings().unit } else { Unit::Metre });
    Now {
        at: book.last_at().to_string(),
        simulated: book.simulated(),
        not_recording: not_recording.map(str::to_owned),
        verdict,
        text,
        todo,
        status,
        link,
        link_text,
        staff: if book.is_open() { staff(book, say) } else { None },
        closure: closing(book, say),
        findings,
        beside: if book.is_open() { beside(book) } else { None },
        readings: book.entries().len(),
        distance: book.runs().last().map(|run| say.distance(run.distance())),
        runs: book.runs().iter().map(|run| brief(run, say)).collect(),
        undo: book.amendments().latest().map(|said| said.event),
        plots,
    }
}

/// The activity under way; or the latest, until the run goes on.
fn beside(book: &Book) -> Option<Beside> {
    let activity = book.activities().latest()?;
    let takes_marks = matches!(activity.task, Task::SetTarget { .. });
    let under_way = book.activities().under_way().is_some();
    let task = activity.task.title();
    if under_way {
        let guide = field::guide(book, activity);
        return Some(Beside { task, under_way, words: guide.so_far, next: guide.next, takes_marks });
    }
    let done = activity.done().filter(|done| book.entries().last().is_none_or(|entry| entry.event < done.event))?;
    Some(Beside { task, under_way, words: done.said.clone(), next: None, takes_marks })
}

/// One row of the book.
pub fn row(book: &Book, number: u32) -> Option<Row> {
    let line = live::reading_view(book, number)?;
    let entry = book.entry(number)?;
    let run = book.runs().get(line.run as usize - 1)?;
    let setup = (line.setup as usize).checked_sub(1).and_then(|index| run.setups.get(index));
    let first = setup.and_then(|setup| setup.back.iter().find(|shot| shot.counts()));
    let instrument = setup
        .filter(|_| first.is_some_and(|shot| shot.reading == number))
        .and_then(|setup| run.elevation(setup.instrument()?))
        .map(|elevation| elevation.show(book.settings().unit, book.decimals()));
    let notes = book.amendments().of(number).map_or_else(Vec::new, |amendment| amendment.notes.clone());
    Some(Row { time: entry.at.time_of_day(), line, instrument, notes })
}

fn told(book: &Book) -> Vec<Told> {
    let say = Wording::new(book.settings().unit);
    let standing = |finding: &Finding| book.standing().get(&finding.key).cloned();
    let mut told: Vec<_> = book.findings().filter_map(|finding| Some((finding, standing(finding)?))).collect();
    told.sort_by_key(|(_, standing)| {
        (standing.acknowledged, std::cmp::Reverse(standing.priority), std::cmp::Reverse(standing.at))
    });
    let told = told.into_iter().map(|(finding, standing)| Told {
        key: finding.key.to_string(),
        priority: standing.priority,
        fact: finding.fact.clone(),
        todo: finding.todo.clone(),
        value: finding.value.map(|value| say.amount(value)),
        limit: finding.limit.map(|limit| say.amount(limit)),
        basis: finding.basis.clone(),
        acknowledged: standing.acknowledged,
    });
    told.collect()
}

fn verdict(
    book: &Book,
    not_recording: Option<&str>,
    findings: &[Told],
    status: &Status,
) -> (Answer, String, Option<String>) {
    if let Some(why) = not_recording {
        return (Answer::Hold, why.to_owned(), None);
    }
    if let Some(hold) = findings.iter().find(|told| told.priority == Priority::Hold && !told.acknowledged) {
        return (Answer::Hold, hold.fact.clone(), Some(hold.todo.clone()));
    }
    let Some((run, setup)) = book.current() else {
        let text = if book.is_open() { "waiting for the first reading" } else { "waiting for the job to open" };
        return (Answer::NotYet, text.to_owned(), None);
    };
    if run.ended {
        return (Answer::ClearToMove, format!("run {} has ended", run.number), None);
    }
    let given = book.last_verdict().filter(|given| (given.run, given.setup) == (run.number, setup.number));
    match given {
        Some(given) if given.verdict == Verdict::ClearToMove && setup.reduced.complete => {
            (Answer::ClearToMove, given.text.clone(), None)
        }
        _ => {
            let due = match status.due {
                Some(Role::Back) => "the backsight is due",
                Some(Role::Fore) => "the foresight is due",
                Some(Role::Intermediate) => "an intermediate sight is due",
                None => "a reading is due",
            };
            (Answer::NotYet, format!("setup {}: {due}", setup.number), status.next.clone())
        }
    }
}

fn staff(book: &Book, say: Wording) -> Option<Staff> {
    let next = next_staff(book)?;
    let text = live::next_words(say, next);
    let unit = book.settings().unit;
    Some(match next {
        NextStaff::At { role, best, from, to } => Staff {
            role,
            best: say.bare_sight(best),
            range: Some((say.bare_sight(from), say.bare_sight(to))),
            unit,
            text,
        },
        NextStaff::ForeLonger(by) => Staff {
            role: Role::Fore,
            best: by.show_signed(unit, if unit.is_foot() { 1 } else { 2 }),
            range: None,
            unit,
            text,
        },
    })
}

fn brief(run: &Run, say: Wording) -> RunBrief {
    RunBrief {
        number: run.number,
        start: run.start.to_string(),
        setups: run.setups.len(),
        ended: run.ended,
        closure: run.closures().next_back().map(|closure| live::closure_words(say, closure)),
    }
}

fn closing(book: &Book, say: Wording) -> Option<Closing> {
    let closure = book.runs().last()?.closures().next_back()?;
    let allowance = closure.allowance.as_ref().map(|allowance| allowance.value);
    Some(Closing {
        misclosure: say.signed_height(closure.misclosure),
        allowance: allowance.map(|value| say.height(value)),
        share: allowance.map(|value| 100.0 * closure.misclosure.abs().to_f64_m() / value.to_f64_m()),
        text: live::closure_words(say, closure),
    })
}

/// JSON Schema of the document.
pub fn schema() -> serde_json::Value {
    schemars::schema_for!(State).to_value()
}
