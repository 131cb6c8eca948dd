//! The words of a command: one grammar for the keys, for `tell`, and for scripts.
//!
//! Told apart by their first word. A reading is named by its number; the latest is meant where a number may be left out.

mod activities;

use std::fmt;

use crate::adjust::explain::misclosures;
use crate::book::Book;
use crate::book::event::{Command, ReadingNumber, StruckPlace, Target};
use crate::book::finding::{FindingKey, Priority};
use crate::book::reading::{PointName, Reading, Role};
use crate::book::settings::KnownPoint;
use crate::nearest::nearest;
use crate::report::causes;
use crate::units::{Measured, Unit};

/// One command: its first word, what follows it, and what it does.
pub struct Verb {
    /// The first word.
    pub word: &'static str,
    /// What follows, for the help: `[READING]`.
    pub follows: &'static str,
    /// What it does.
    pub does: &'static str,
}

/// Every command that can be said.
pub const VERBS: &[Verb] = &[
    Verb { word: "strike", follows: "[READING] | shot N", does: "strike a reading out; it stays and counts no more" },
    Verb { word: "restore", follows: "READING", does: "take a strike back" },
    Verb { word: "repeat", follows: "[READING]", does: "it is one more shot on the staff just read" },
    Verb { word: "role", follows: "READING|next back|fore|inter [POINT]", does: "what a reading is for" },
    Verb { word: "inter", follows: "[POINT]", does: "the next reading is an intermediate sight" },
    Verb { word: "point", follows: "READING|next NAME", does: "where a reading's staff stood" },
    Verb { word: "rename", follows: "OLD NEW", does: "another name for a point, wherever it stands" },
    Verb { word: "know", follows: "NAME=ELEVATION", does: "give a point a known elevation, in the job's unit" },
    Verb { word: "note", follows: "[READING] TEXT", does: "a remark" },
    Verb { word: "break", follows: "[READING]", does: "the setup was disturbed: begin it anew" },
    Verb { word: "take", follows: "[READING]", does: "yes, that foresight stood on the known point offered" },
    Verb { word: "end", follows: "[READING]", does: "the run ends here" },
    Verb { word: "start", follows: "POINT", does: "a new run starts here" },
    Verb { word: "ack", follows: "[FINDING]", does: "seen: it stays in the record and holds nobody" },
    Verb { word: "key", follows: "STAFF [SIGHT] [back|fore|inter]", does: "a reading taken by eye, in the job's unit" },
    Verb { word: "wires", follows: "UPPER MIDDLE LOWER [back|fore|inter]", does: "three wires read by eye" },
    Verb { word: "accept", follows: "NUMBER [READING] [FINDING]", does: "yes, that is why the run does not close" },
    Verb { word: "undo", follows: "[EVENT]", does: "take a command back" },
    Verb {
        word: "test",
        follows: "two-peg LAYOUT [LENGTH [BEYOND]] [xSHOTS] | field simplified|full",
        does: "test the level, guided shot by shot",
    },
    Verb { word: "correct", follows: "collimation on|off|MM/M", does: "take the line of sight's inclination out" },
    Verb {
        word: "register",
        follows: "NAME=ELEVATION [sd S] [date D] [datum T]",
        does: "put a mark into the register",
    },
    Verb { word: "check", follows: "MARK against MARK", does: "does a mark agree with another?" },
    Verb { word: "match", follows: "ELEVATION [on POINT] [within T]", does: "bring the line of sight to a height" },
    Verb { word: "target", follows: "NAME ELEVATION [offset O] [within T]", does: "put a target on the list" },
    Verb {
        word: "set",
        follows: "NAME [ELEVATION] [within T] [line APART width W]",
        does: "set a target from this line of sight",
    },
    Verb { word: "mark", follows: "[SHOT] [by INITIALS]", does: "the mark is made where the staff stands" },
    Verb { word: "reciprocal", follows: "FROM TO DISTANCE [xSETS]", does: "cross a gap from both banks" },
    Verb {
        word: "tape",
        follows: "FROM TO certified L plummet W temperature T",
        does: "carry a height up a hung tape",
    },
    Verb { word: "leave", follows: "", does: "leave test, target or transfer without a result" },
    Verb { word: "status", follows: "", does: "how the run stands" },
    Verb { word: "today", follows: "", does: "what is due, open, provisional and checked" },
];

/// What was said.
#[derive(Clone, Debug, PartialEq)]
pub enum Spoken {
    /// Something to be done.
    Command(Command),
    /// A question: how the run stands.
    Status,
    /// A question: what is due, open, provisional and checked.
    Today,
}

/// Understands words, in a book that says what "the latest" is.
///
/// # Errors
/// Words that are no command, with what would do.
pub fn understand(words: &[String], book: &Book) -> Result<Spoken, Misunderstood> {
    let words: Vec<&str> = words.iter().map(String::as_str).collect();
    let Some((&verb, rest)) = words.split_first() else { return Err(Misunderstood::Nothing) };
    let latest = book.entries().len() as ReadingNumber;
    let reading_or_latest = || match rest {
        [] => Ok(latest),
        [number] => reading(verb, number),
        _ => Err(wrong(verb, rest)),
    };
    let command = match verb {
        "strike" if activities::strikes_shot(rest, book) => activities::strike_shot(rest, book)?,
        "strike" => Command::Strike { reading: reading_or_latest()?, place: StruckPlace::default() },
        "restore" => match rest {
            [number] => Command::Restore { reading: reading(verb, number)? },
            _ => return Err(wrong(verb, rest)),
        },
        "repeat" => Command::Repeat { reading: reading_or_latest()? },
        "role" => match rest {
            [which, role, point @ ..] if point.len() <= 1 => Command::Role {
                reading: target(verb, which)?,
                role: self::role(verb, role)?,
                point: point.first().map(|name| point_name(verb, name)).transpose()?,
            },
            _ => return Err(wrong(verb, rest)),
        },
        "inter" => match rest {
            [] => Command::Role { reading: Target::Next, role: Role::Intermediate, point: None },
            [point] => {
                Command::Role { reading: Target::Next, role: Role::Intermediate, point: Some(point_name(verb, point)?) }
            }
            _ => return Err(wrong(verb, rest)),
        },
        "point" => match rest {
            [which, name] => Command::Point { reading: target(verb, which)?, point: point_name(verb, name)? },
            _ => return Err(wrong(verb, rest)),
        },
        "rename" => match rest {
            [from, to] => Command::Rename { from: point_name(verb, from)?, to: point_name(verb, to)? },
            _ => return Err(wrong(verb, rest)),
        },
        "know" => match rest {
            [known] => Command::Know { known: known_point(known, book.settings().unit)? },
            _ => return Err(wrong(verb, rest)),
        },
        "note" => match rest {
            [number, text @ ..] if !text.is_empty() && number.parse::<ReadingNumber>().is_ok() => {
                Command::Note { reading: Some(reading(verb, number)?), text: text.join(" ") }
            }
            [] => return Err(wrong(verb, rest)),
            text => Command::Note { reading: None, text: text.join(" ") },
        },
        "break" => Command::Break { reading: some_reading(verb, rest)? },
        "take" => Command::TakeOffer { reading: some_reading(verb, rest)?, point: None },
        "end" => Command::EndRun { reading: some_reading(verb, rest)? },
        "start" => match rest {
            [point] => Command::StartRun { point: point_name(verb, point)?, after: None },
            _ => return Err(wrong(verb, rest)),
        },
        "ack" => match rest {
            [] => Command::Acknowledge { key: latest_hold(book).ok_or(Misunderstood::NothingStands)? },
            [key] => Command::Acknowledge { key: key.parse().map_err(|e| explained(verb, e))? },
            _ => return Err(wrong(verb, rest)),
        },
        "key" => Command::KeyIn { reading: Box::new(keyed(rest, book.settings().unit)?) },
        "accept" => accept(rest, book)?,
        "undo" => match rest {
            [] => Command::Undo { event: book.amendments().latest().ok_or(Misunderstood::NothingStands)?.event },
            [event] => Command::Undo { event: event.parse().map_err(|_| wrong(verb, rest))? },
            _ => return Err(wrong(verb, rest)),
        },
        "status" => return Ok(Spoken::Status),
        "today" => return Ok(Spoken::Today),
        _ => activities::understand(verb, rest, book)?,
    };
    Ok(Spoken::Command(command))
}

/// A cause by its number, of the latest misclosure or of the one that is named.
fn accept(rest: &[&str], book: &Book) -> Result<Command, Misunderstood> {
    let verb = "accept";
    let (finding, numbers) = match rest {
        [numbers @ .., key] if key.contains('@') => (Some(key.parse().map_err(|e| explained(verb, e))?), numbers),
        numbers => (misclosures(book, None).pop(), numbers),
    };
    let (number, reading) = match numbers {
        [number] => (*number, None),
        [number, reading] => (*number, Some(self::reading(verb, reading)?)),
        _ => return Err(wrong(verb, rest)),
    };
    let number = number.parse().map_err(|_| wrong(verb, rest))?;
    let finding = finding.ok_or(Misunderstood::NothingToExplain)?;
    causes::accept(book, &finding, number, reading).map_err(|error| explained(verb, error))
}

/// The newest finding that holds the crew.
fn latest_hold(book: &Book) -> Option<FindingKey> {
    let holds = book.standing().iter().filter(|(_, s)| s.priority == Priority::Hold && !s.acknowledged);
    holds.max_by_key(|(_, standing)| standing.at).map(|(key, _)| key.clone())
}

fn reading(verb: &str, text: &str) -> Result<ReadingNumber, Misunderstood> {
    text.parse().map_err(|_| wrong(verb, &[text]))
}

fn some_reading(verb: &str, rest: &[&str]) -> Result<Option<ReadingNumber>, Misunderstood> {
    match rest {
        [] => Ok(None),
        [number] => reading(verb, number).map(Some),
        _ => Err(wrong(verb, rest)),
    }
}

fn target(verb: &str, text: &str) -> Result<Target, Misunderstood> {
    if text == "next" { Ok(Target::Next) } else { reading(verb, text).map(Target::Number) }
}

fn role(verb: &str, text: &str) -> Result<Role, Misunderstood> {
    match text {
        "back" | "B" => Ok(Role::Back),
        "fore" | "F" => Ok(Role::Fore),
        "inter" | "I" => Ok(Role::Intermediate),
        _ => Err(wrong(verb, &[text])),
    }
}

fn point_name(verb: &str, text: &str) -> Result<PointName, Misunderstood> {
    PointName::new(text).map_err(|error| explained(verb, error))
}

fn known_point(text: &str, unit: Unit) -> Result<KnownPoint, Misunderstood> {
    let (name, elevation) = text.rsplit_once('=').ok_or_else(|| wrong("know", &[text]))?;
    let elevation = Measured::parse(elevation, unit).map_err(|error| explained("know", error))?;
    Ok(KnownPoint { name: point_name("know", name)?, elevation, assumed: false })
}

fn keyed(rest: &[&str], unit: Unit) -> Result<Reading, Misunderstood> {
    let measured = |text: &str| Measured::said(text, unit).map_err(|error| explained("key", error));
    let (staff, rest) = rest.split_first().ok_or_else(|| wrong("key", rest))?;
    let mut reading = Reading::of(measured(staff)?);
    let mut rest = rest;
    if let Some((sight, after)) = rest.split_first()
        && role("key", sight).is_err()
    {
        reading.sight = Some(measured(sight)?);
        rest = after;
    }
    if let Some((said, after)) = rest.split_first() {
        reading.role = Some(role("key", said)?);
        rest = after;
    }
    if rest.is_empty() { Ok(reading) } else { Err(wrong("key", rest)) }
}

fn wrong(verb: &str, rest: &[&str]) -> Misunderstood {
    let follows = VERBS.iter().find(|known| known.word == verb).map_or("", |known| known.follows);
    Misunderstood::WrongWords { verb: verb.to_owned(), found: rest.join(" "), wanted: follows }
}

fn explained(verb: &str, error: impl fmt::Display) -> Misunderstood {
    Misunderstood::Explained { verb: verb.to_owned(), why: error.to_string() }
}

/// Words that are no command.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Misunderstood {
    /// No word at all.
    Nothing,
    /// The first word is none of ours.
    NoSuchVerb {
        /// The word.
        found: String,
    },
    /// What follows is not what is wanted.
    WrongWords {
        /// The command.
        verb: String,
        /// What followed.
        found: String,
        /// What was wanted.
        wanted: &'static str,
    },
    /// What follows is wrong in itself.
    Explained {
        /// The command.
        verb: String,
        /// Why.
        why: String,
    },
    /// No misclosure is over its allowance.
    NothingToExplain,
    /// Nothing to acknowledge or to undo.
    NothingStands,
}

impl fmt::Display for Misunderstood {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Misunderstood::Nothing => write!(f, "no command found, one such as \"strike 14\" was wanted"),
            Misunderstood::NoSuchVerb { found } => {
                write!(f, "unknown command {found:?}")?;
                match nearest(found, VERBS.iter().map(|verb| verb.word)) {
                    Some(meant) => write!(f, ", {meant} was probably meant"),
                    None => {
                        let words: Vec<&str> = VERBS.iter().map(|verb| verb.word).collect();
                        write!(f, ", one of {} was wanted", words.join(", "))
                    }
                }
            }
            Misunderstood::WrongWords { verb, found, wanted } if found.is_empty() => {
                write!(f, "nothing found after {verb}, \"{verb} {wanted}\" was wanted")
            }
            Misunderstood::WrongWords { verb, found, wanted } => {
                write!(f, "{found:?} found after {verb}, \"{verb} {wanted}\" was wanted")
            }
            Misunderstood::Explained { verb, why } => write!(f, "{verb}: {why}"),
            Misunderstood::NothingToExplain => write!(f, "no misclosure is over its allowance: nothing to explain"),
            Misunderstood::NothingStands => write!(f, "nothing stands that could be taken back or seen"),
        }
    }
}

impl std::error::Error for Misunderstood {}
