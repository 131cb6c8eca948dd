//! What may be booked: every rule that stands between an input and an event.

use std::fmt;

use super::Book;
use super::activity::{self, Activity, State, Task};
use super::event::{Body, Command, LinkState, Origin, ReadingNumber, StruckPlace, Taken, Target};
use super::finding::{FindingId, FindingKey, Place};
use super::marks::Mark;
use super::moment::Moment;
use super::reading::{Heard, PointName};
use crate::units::{Measured, Unit};

/// What came, from the link or from a person.
#[derive(Clone, Debug)]
pub enum Input {
    /// Bytes, and what the format takes them for.
    Heard {
        /// When they arrived.
        at: Moment,
        /// As they arrived.
        raw: Vec<u8>,
        /// What they were taken for.
        heard: Heard,
    },
    /// The link came, went, or fell silent.
    Link(LinkState),
    /// A person's word.
    Command {
        /// What.
        command: Command,
        /// Over which way.
        by: Origin,
    },
    /// The machine's clock jumped.
    ClockStepped {
        /// By how much, forward positive.
        by_ms: i64,
    },
    /// The machine was asleep.
    MachineSlept {
        /// For how long.
        for_s: u64,
    },
}

/// The event that follows from an input, to be kept before anyone sees its effect; none if the book knows it already.
///
/// # Errors
/// A command that names nothing in the book, or asks for what cannot be.
pub fn decide(book: &Book, input: &Input) -> Result<Option<Body>, Refused> {
    Ok(Some(match input {
        Input::Heard { at, raw, heard } => Body::Heard { heard: hear(book, *at, raw, heard) },
        Input::Link(state) if book.records().link.as_ref() == Some(state) => return Ok(None),
        Input::Link(state) => Body::LinkChanged { state: state.clone() },
        Input::ClockStepped { by_ms } => Body::ClockStepped { by_ms: *by_ms },
        Input::MachineSlept { for_s } => Body::MachineSlept { for_s: *for_s },
        Input::Command { command, by } => Body::Commanded { command: resolve(book, command)?, by: by.clone() },
    }))
}

/// A reading that was sent before, or in a unit that nobody declared, does not enter the book.
fn hear(book: &Book, at: Moment, raw: &[u8], heard: &Heard) -> Heard {
    let Heard::Reading(reading) = heard else { return heard.clone() };
    if let Some(of) = book.records().repeats(at, raw, reading) {
        return Heard::Repeated { of };
    }
    let units = [Some(reading.staff), reading.sight].into_iter().flatten().map(|measured| measured.unit());
    match units.into_iter().find(|unit| !book.settings().takes(*unit)) {
        Some(unit) => Heard::SetAside {
            reading: reading.clone(),
            why: format!(
                "the record is in {unit}, the job in {}, and no conversion was declared",
                book.settings().unit
            ),
        },
        None => heard.clone(),
    }
}

/// Fills in what a command leaves open, so that the event means the same for ever.
fn resolve(book: &Book, command: &Command) -> Result<Command, Refused> {
    let known = |reading: ReadingNumber| in_book(book, reading);
    let soon = |target: Target| match target {
        // A command may name a reading that is yet to come, but not one far beyond.
        Target::Number(number) if number as usize == book.entries().len() + 1 => Ok(number),
        Target::Number(number) => known(number),
        Target::Next => Ok(book.entries().len() as ReadingNumber + 1),
    };
    let latest = || known(book.entries().len() as ReadingNumber);
    Ok(match command {
        Command::Strike { reading, .. } => {
            let reading = known(*reading)?;
            if book.amendments().of(reading).is_some_and(|a| a.struck.is_some()) {
                return Err(Refused::Already { reading, what: "struck" });
            }
            Command::Strike { reading, place: struck_place(book, reading) }
        }
        Command::Restore { reading } => {
            let reading = known(*reading)?;
            if book.amendments().of(reading).is_none_or(|a| a.struck.is_none()) {
                return Err(Refused::Already { reading, what: "standing" });
            }
            Command::Restore { reading }
        }
        Command::Repeat { reading } => {
            let reading = known(*reading)?;
            if reading == 1 {
                return Err(Refused::NothingBefore);
            }
            Command::Repeat { reading }
        }
        Command::Role { reading, role, point } => {
            Command::Role { reading: Target::Number(soon(*reading)?), role: *role, point: point.clone() }
        }
        Command::Point { reading, point } => {
            Command::Point { reading: Target::Number(soon(*reading)?), point: point.clone() }
        }
        Command::Rename { from, to } => {
            if !stands_somewhere(book, from) {
                return Err(Refused::NoSuchPoint { found: from.clone() });
            }
            Command::Rename { from: from.clone(), to: to.clone() }
        }
        Command::Note { reading, text } => {
            let text = text.trim();
            if text.is_empty() {
                return Err(Refused::EmptyNote);
            }
            Command::Note { reading: reading.map(known).transpose()?, text: text.to_owned() }
        }
        Command::Break { reading } => Command::Break { reading: Some(last_of_setup(book, *reading)?) },
        Command::TakeOffer { reading, .. } => take_offer(book, *reading)?,
        Command::EndRun { reading } => {
            let reading = reading.map_or_else(latest, known)?;
            Command::EndRun { reading: Some(reading) }
        }
        Command::StartRun { point, after } => {
            let after = match after {
                Some(0) => 0,
                Some(after) => known(*after)?,
                None => book.entries().len() as ReadingNumber,
            };
            Command::StartRun { point: point.clone(), after: Some(after) }
        }
        Command::Acknowledge { key } => {
            if !book.standing().contains_key(key) {
                return Err(Refused::NoSuchFinding { found: key.clone() });
            }
            command.clone()
        }
        Command::Accept { taken, .. } => {
            taken.readings().iter().try_for_each(|reading| known(*reading).map(drop))?;
            if let Taken::Read { staff, .. } = taken {
                check_unit(book, staff.unit())?;
            }
            command.clone()
        }
        Command::Undo { event } => {
            let said = book.amendments().said().iter().find(|said| said.event == *event);
            match said.map(|said| &said.command) {
                None => return Err(Refused::NothingToUndo { event: *event }),
                Some(Command::KeyIn { .. } | Command::KeyInWires { .. }) => return Err(Refused::StrikeInstead),
                Some(command) if command.of_activity() => return Err(Refused::LeaveInstead),
                Some(_) if !book.amendments().stands(*event) => return Err(Refused::NothingToUndo { event: *event }),
                Some(_) => command.clone(),
            }
        }
        Command::KeyIn { reading } | Command::KeyInWires { reading, .. } => {
            check_unit(book, reading.staff.unit())?;
            command.clone()
        }
        Command::Know { .. } | Command::Design { .. } => command.clone(),
        Command::BeginActivity { .. } => match book.activities().under_way() {
            Some(activity) => return Err(Refused::UnderWay { what: activity.task.name() }),
            None => command.clone(),
        },
        Command::LeaveActivity => {
            under_way(book)?;
            command.clone()
        }
        Command::StrikeShot { shot } => {
            strike_shot(book, *shot)?;
            command.clone()
        }
        Command::MarkHere { shot, by } => {
            Command::MarkHere { shot: Some(mark_here(under_way(book)?, *shot)?), by: by.clone() }
        }
        Command::Register { mark } => {
            one_elevation(book, mark)?;
            command.clone()
        }
        Command::Collimation { from, mm_per_m } => {
            let next = book.entries().len() as ReadingNumber + 1;
            let from = match from {
                Some(number) if *number == next => next,
                Some(number) => known(*number)?,
                None => next,
            };
            Command::Collimation { from: Some(from), mm_per_m: *mm_per_m }
        }
    })
}

fn under_way(book: &Book) -> Result<&Activity, Refused> {
    book.activities().under_way().ok_or(Refused::NothingUnderWay)
}

/// A shot of the latest activity can be struck, also after it came to something: then it is under way again.
fn strike_shot(book: &Book, shot: u32) -> Result<(), Refused> {
    let latest = book.activities().latest().filter(|latest| latest.state != State::Left);
    let latest = latest.ok_or(Refused::NothingUnderWay)?;
    match (shot as usize).checked_sub(1).and_then(|index| latest.shots.get(index)) {
        None => Err(Refused::NoSuchShot { found: shot, held: latest.shots.len() as u32 }),
        Some(held) if held.struck => Err(Refused::ShotAlready { shot, what: "struck" }),
        Some(_) => Ok(()),
    }
}

fn mark_here(activity: &Activity, shot: Option<u32>) -> Result<u32, Refused> {
    if !matches!(activity.task, Task::SetTarget { .. }) {
        return Err(Refused::NoTarget { what: activity.task.name() });
    }
    let shot = shot.or_else(|| activity::latest_shot(activity)).ok_or(Refused::NotShotYet)?;
    let held = activity.shots.len() as u32;
    match (shot as usize).checked_sub(1).and_then(|index| activity.shots.get(index)) {
        None => Err(Refused::NoSuchShot { found: shot, held }),
        Some(taken) if taken.struck => Err(Refused::ShotAlready { shot, what: "struck" }),
        Some(_) if activity.marked.contains(&shot) => Err(Refused::ShotAlready { shot, what: "marked" }),
        Some(_) => Ok(shot),
    }
}

/// A mark has one elevation, unless a later date says that it was found anew.
fn one_elevation(book: &Book, mark: &Mark) -> Result<(), Refused> {
    let Some(held) = book.known().get(&mark.name) else { return Ok(()) };
    let dates = book.amendments().marks().get(&mark.name).and_then(|history| history.last()?.date.as_ref());
    let dated = mark.date.is_some() && mark.date.as_ref() != dates;
    if held.elevation.value() == mark.elevation.value() || dated {
        return Ok(());
    }
    Err(Refused::TwoElevations { mark: mark.name.clone(), held: held.elevation, found: mark.elevation })
}

fn in_book(book: &Book, reading: ReadingNumber) -> Result<ReadingNumber, Refused> {
    let held = book.entries().len() as ReadingNumber;
    if (1..=held).contains(&reading) { Ok(reading) } else { Err(Refused::NoSuchReading { found: reading, held }) }
}

/// The place of a struck reading is free as long as its setup still stands; else later readings were booked after it.
fn struck_place(book: &Book, reading: ReadingNumber) -> StruckPlace {
    let here = book.current().map(|(run, setup)| (run.number, setup.number));
    let there = book.spot(reading).map(|spot| (spot.run, spot.setup));
    if here == there { StruckPlace::Free } else { StruckPlace::Empty }
}

fn last_of_setup(book: &Book, reading: Option<ReadingNumber>) -> Result<ReadingNumber, Refused> {
    let reading = in_book(book, reading.unwrap_or(book.entries().len() as ReadingNumber))?;
    let spot = book.spot(reading).ok_or(Refused::NoSuchReading { found: reading, held: 0 })?;
    let same = |number: &ReadingNumber| {
        book.spot(*number).is_some_and(|other| (other.run, other.setup) == (spot.run, spot.setup))
    };
    Ok((reading..=book.entries().len() as ReadingNumber).take_while(same).last().unwrap_or(reading))
}

fn take_offer(book: &Book, reading: Option<ReadingNumber>) -> Result<Command, Refused> {
    let offered = book.runs().iter().rev().flat_map(|run| run.setups.iter().rev()).find_map(|setup| {
        let shot =
            setup.fore.iter().rfind(|shot| shot.counts() && reading.is_none_or(|wanted| wanted == shot.reading))?;
        let point = setup.findings.iter().find_map(|finding| match &finding.key {
            FindingKey { id: FindingId::Offer, place: Place::Point { point, .. } } => Some(point.clone()),
            _ => None,
        })?;
        Some((shot.reading, point))
    });
    let (reading, point) = offered.ok_or(Refused::NoOffer)?;
    Ok(Command::TakeOffer { reading: Some(reading), point: Some(point) })
}

fn stands_somewhere(book: &Book, point: &PointName) -> bool {
    book.known().contains_key(point) || book.elevation(point).is_some() || {
        let named = |setup: &super::run::Setup| {
            setup.back_point == *point
                || setup.fore_point.as_ref() == Some(point)
                || setup.sides.iter().any(|side| side.point == *point)
        };
        book.runs().iter().any(|run| run.start == *point || run.setups.iter().any(named))
    }
}

fn check_unit(book: &Book, unit: Unit) -> Result<(), Refused> {
    if book.settings().takes(unit) {
        Ok(())
    } else {
        Err(Refused::OtherUnit { found: unit, wanted: book.settings().unit })
    }
}

/// Why a command cannot be followed. The book is as it was.
#[derive(Clone, Debug, PartialEq)]
pub enum Refused {
    /// It names a reading that is not there.
    NoSuchReading {
        /// The number that was named.
        found: ReadingNumber,
        /// How many readings the book holds.
        held: ReadingNumber,
    },
    /// The reading is so already.
    Already {
        /// The reading.
        reading: ReadingNumber,
        /// What it already is.
        what: &'static str,
    },
    /// The first reading has none before it to repeat.
    NothingBefore,
    /// It names a point that the job does not have.
    NoSuchPoint {
        /// The name.
        found: PointName,
    },
    /// It names a finding that does not stand.
    NoSuchFinding {
        /// The finding.
        found: FindingKey,
    },
    /// No foresight is offered as a known point.
    NoOffer,
    /// That event holds no command that stands.
    NothingToUndo {
        /// The event.
        event: u64,
    },
    /// A keyed-in reading is not undone but struck.
    StrikeInstead,
    /// A note without text.
    EmptyNote,
    /// What is about an activity is not undone.
    LeaveInstead,
    /// An activity is under way already.
    UnderWay {
        /// Which.
        what: &'static str,
    },
    /// None is.
    NothingUnderWay,
    /// It names a shot that the activity does not have.
    NoSuchShot {
        /// The number that was named.
        found: u32,
        /// How many shots there are.
        held: u32,
    },
    /// The shot is so already.
    ShotAlready {
        /// The shot.
        shot: u32,
        /// What it already is.
        what: &'static str,
    },
    /// No target is being set.
    NoTarget {
        /// What is done instead.
        what: &'static str,
    },
    /// A mark is to be made where nothing was shot.
    NotShotYet,
    /// A mark would have two elevations.
    TwoElevations {
        /// The mark.
        mark: PointName,
        /// The elevation that it has.
        held: Measured,
        /// The other.
        found: Measured,
    },
    /// A keyed-in reading in a unit that nobody declared.
    OtherUnit {
        /// Its unit.
        found: Unit,
        /// The job's.
        wanted: Unit,
    },
}

impl fmt::Display for Refused {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Refused::NoSuchReading { found, held: 0 } => write!(f, "no reading {found}: the book holds none yet"),
            Refused::NoSuchReading { found, held } => {
                write!(f, "no reading {found}: the book holds readings 1 to {held}")
            }
            Refused::Already { reading, what } => write!(f, "reading {reading} is {what} already"),
            Refused::NothingBefore => write!(f, "reading 1 repeats nothing: there is no reading before it"),
            Refused::NoSuchPoint { found } => write!(f, "no point {found} in this job"),
            Refused::NoSuchFinding { found } => write!(f, "the finding {found} does not stand"),
            Refused::NoOffer => write!(f, "no foresight is offered as a known point"),
            Refused::NothingToUndo { event } => write!(f, "event {event} holds no command that stands"),
            Refused::StrikeInstead => write!(f, "a keyed-in reading is not undone: strike it"),
            Refused::EmptyNote => write!(f, "an empty note found, some text was wanted"),
            Refused::LeaveInstead => write!(f, "what an activity has done is not undone: strike its shot, or leave it"),
            Refused::UnderWay { what } => {
                write!(f, "the {what} is under way: bring it to its end, or say leave")
            }
            Refused::NothingUnderWay => write!(f, "no activity is under way: readings go to the run"),
            Refused::NoSuchShot { found, held: 0 } => write!(f, "no shot {found}: none has been taken yet"),
            Refused::NoSuchShot { found, held } => write!(f, "no shot {found}: there are shots 1 to {held}"),
            Refused::ShotAlready { shot, what } => write!(f, "shot {shot} is {what} already"),
            Refused::NoTarget { what } => write!(f, "the {what} sets no target: nothing is marked"),
            Refused::NotShotYet => write!(f, "nothing has been shot yet: shoot the staff where the mark is to be made"),
            Refused::TwoElevations { mark, held, found } => write!(
                f,
                "{mark} has the elevation {} {} and would have {} {} too: one was wanted, or the date of the later one",
                held.digits(),
                held.unit(),
                found.digits(),
                found.unit()
            ),
            Refused::OtherUnit { found, wanted } => {
                write!(f, "a reading in {found} found, {wanted} was wanted, or {found} declared for this job")
            }
        }
    }
}

impl std::error::Error for Refused {}
