//! The commands of the rest of the day. Each is said in the words of `tell`: to the daemon that records the job, at the
//! desk to a job that nobody records, or to nothing at all where it is only to be reckoned.

mod cards;
mod desk;
mod marks;
mod set;
mod today;

use std::fmt::Display;
use std::path::Path;

use super::Failure;
use super::arguments::{Activity, Desk as DeskArguments, MarksVerb, SetVerb};
use crate::units::Unit;
use desk::Desk;

pub(super) use cards::run as cards;
pub(super) use today::run as today;

/// `closerun test`, `reciprocal`, `tape`: an activity, from its words and what was written down for it.
pub(super) fn activity(verb: &str, arguments: &Activity) -> Result<(), Failure> {
    let words = [&[verb.to_owned()][..], &arguments.words].concat();
    begin(&words, &arguments.desk)
}

/// `closerun marks`.
pub(super) fn marks(verb: MarksVerb) -> Result<(), Failure> {
    match verb {
        MarksVerb::List { of, csv } => marks::list(&of, if csv { Form::Csv } else { Form::Text }),
        MarksVerb::Add { register, job } => marks::add(&register, &job),
        MarksVerb::Check { words, desk } => begin(&[&["check".to_owned()][..], &words].concat(), &desk),
        MarksVerb::Compare { first, second } => marks::compare(&first, &second),
    }
}

/// `closerun set`.
pub(super) fn set(verb: SetVerb) -> Result<(), Failure> {
    match verb {
        SetVerb::List { list, line_of_sight } => set::list(&list, line_of_sight.as_deref()),
        SetVerb::Load { list, job } => set::load(&list, &job),
        SetVerb::State { job, feet, metres, csv } => {
            let unit = feet.then_some(Unit::Foot).or(metres.then_some(Unit::Metre));
            set::state(&job, unit, if csv { Form::Csv } else { Form::Text })
        }
    }
}

fn begin(words: &[String], arguments: &DeskArguments) -> Result<(), Failure> {
    let readings = desk::readings(arguments)?;
    let mut desk = Desk::open(arguments, readings.is_empty())?;
    desk.say(words)?;
    for reading in readings {
        desk.say(&reading)?;
    }
    desk.close()
}

/// In which form something is printed.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Form {
    /// For people.
    Text,
    /// Comma-separated values.
    Csv,
}

fn read_file(file: &Path) -> Result<Vec<u8>, Failure> {
    std::fs::read(file).map_err(|error| Failure::input(format!("{}: {error}", file.display())))
}

fn in_file(file: &Path, error: &dyn Display) -> Failure {
    Failure::input(format!("{}, {error}", file.display()))
}
