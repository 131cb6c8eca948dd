//! `closerun book`: prints the field book of a job, also while it is being recorded.

use std::io::{self, Write};
use std::path::Path;

use super::Failure;
use super::arguments::{Book as Arguments, BookForm, ShareOut};
use crate::book::Book;
use crate::book::event::Event;
use crate::book::settings::Booking;
use crate::report::document::{BookOptions, Distribution, document};
use crate::report::text::{Layout, Pages};
use crate::report::{csv as values, json, text};
use crate::store::Job;
use crate::units::Unit;

pub(super) fn run(arguments: &Arguments) -> Result<(), Failure> {
    let (book, events) = read(&arguments.job)?;
    let mut options = BookOptions::of(&book);
    if let Some(form) = arguments.form {
        options.form = match form {
            BookForm::HeightOfInstrument => Booking::HeightOfInstrument,
            BookForm::RiseAndFall => Booking::RiseAndFall,
        };
    }
    options.distribution = match arguments.share_out {
        ShareOut::Length => Distribution::ByLength,
        ShareOut::Setups => Distribution::BySetups,
        ShareOut::None => Distribution::None,
    };
    options.unit = match (arguments.feet, arguments.metres) {
        (true, _) => Some(Unit::Foot),
        (_, true) => Some(Unit::Metre),
        _ => None,
    };
    let field_book = document(&book, &events, &name(&arguments.job), options);
    let out = if arguments.csv {
        values::print(&field_book)
    } else if arguments.json {
        json::print(&field_book)
    } else {
        let pages = if arguments.pages { Pages::OfLines(Layout::LINES) } else { Pages::Continuous };
        text::print(&field_book, Layout { pages, ..Layout::default() })
    };
    print(&out)
}

/// Prints the book of a job that was just recorded.
pub(super) fn print_after(job: &Path) -> Result<(), Failure> {
    let (book, events) = read(job)?;
    let field_book = document(&book, &events, &name(job), BookOptions::of(&book));
    print(&text::print(&field_book, Layout::default()))
}

fn read(job: &Path) -> Result<(Book, Vec<Event>), Failure> {
    let reader = Job::read(job).map_err(Failure::input)?;
    let events: Vec<Event> = reader.events().collect::<Result<_, _>>().map_err(Failure::input)?;
    let book = Book::fold(&events);
    if !book.is_open() {
        return Err(Failure::input(format!("job file {}: it holds no events yet", job.display())));
    }
    Ok((book, events))
}

fn name(job: &Path) -> String {
    job.file_name().unwrap_or(job.as_os_str()).to_string_lossy().into_owned()
}

/// Prints to standard output. A reader that has had enough is no failure.
fn print(text: &str) -> Result<(), Failure> {
    let mut out = io::stdout().lock();
    match out.write_all(text.as_bytes()).and_then(|()| out.flush()) {
        Err(error) if error.kind() != io::ErrorKind::BrokenPipe => Err(Failure::outcome(error)),
        _ => Ok(()),
    }
}
