//! From a job file to standard output: what the commands share that print something of a job.

use std::io::{self, Write};
use std::path::Path;

use super::Failure;
use crate::book::Book;
use crate::book::event::Event;
use crate::store::Job;

/// The book of a job with the events that it was folded from, also while it is being recorded.
pub(super) fn read(job: &Path) -> Result<(Book, Vec<Event>), Failure> {
    let reader = Job::read(job).map_err(Failure::input)?;
    let events: Vec<Event> = reader.events().collect::<Result<_, _>>().map_err(Failure::input)?;
    let book = Book::fold(&events);
    if !book.is_open() {
        return Err(Failure::input(format!("job file {}: it holds no events yet", job.display())));
    }
    Ok((book, events))
}

/// What a job is called: the name of its file.
pub(super) fn name(job: &Path) -> String {
    job.file_name().unwrap_or(job.as_os_str()).to_string_lossy().into_owned()
}

/// Prints to standard output. A reader that has had enough is no failure.
pub(super) fn print(text: &str) -> Result<(), Failure> {
    let mut out = io::stdout().lock();
    match out.write_all(text.as_bytes()).and_then(|()| out.flush()) {
        Err(error) if error.kind() != io::ErrorKind::BrokenPipe => Err(Failure::outcome(error)),
        _ => Ok(()),
    }
}
