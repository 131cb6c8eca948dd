//! `closerun cards`: a card for each set target.

use super::super::Failure;
use super::super::arguments::Cards as Arguments;
use super::super::job::{name, print};
use crate::book::Book;
use crate::book::event::Event;
use crate::book::reading::PointName;
use crate::report::cards::{Cards, Wanted, cards, text};
use crate::store::Job;

/// How many digits of a hash stand on a card: enough that no two records share them.
const DIGITS: usize = 16;

pub(in crate::cli) fn run(arguments: &Arguments) -> Result<(), Failure> {
    print(&text(&of_job(arguments)?))
}

fn of_job(arguments: &Arguments) -> Result<Cards, Failure> {
    let reader = Job::read(&arguments.job).map_err(Failure::input)?;
    let events: Vec<Event> = reader.events().collect::<Result<_, _>>().map_err(Failure::input)?;
    let book = Book::fold(&events);
    if !book.is_open() {
        return Err(Failure::input(format!("job file {}: it holds no events yet", arguments.job.display())));
    }
    let names = arguments.target.iter().map(|name| PointName::new(name));
    let names = names.collect::<Result<_, _>>().map_err(|error| Failure::input(format!("--target: {error}")))?;
    let wanted = Wanted { by: arguments.by.clone(), names };
    let hash = |event| match reader.head_at(event) {
        Ok(Some(head)) => format!("{:.DIGITS$}", head.hash),
        // An event that was just read is there; a disk that fails in between is told by the next reading of it.
        Ok(None) | Err(_) => String::new(),
    };
    cards(&book, &name(&arguments.job), &wanted, hash).map_err(Failure::outcome)
}
