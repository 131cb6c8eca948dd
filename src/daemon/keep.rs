//! What the session needs of a store: to keep events durably, and to go on after it could not.

use std::path::PathBuf;

use crate::book::Book;
use crate::book::event::Event;
use crate::store::{Fault, GoesOn, Job, PathState, Room, StoreError};

/// Keeps events.
pub trait Keep {
    /// Keeps events, all or none, and returns when they are durable.
    ///
    /// # Errors
    /// Why not, and whether anything can be kept before [`Keep::recover`].
    fn append(&mut self, events: &[Event]) -> Result<(), NotKept>;

    /// Tries to go on after a failure.
    ///
    /// # Errors
    /// The cause is still there.
    fn recover(&mut self) -> Result<Kept, NotKept>;

    /// The events that are kept and come after this one.
    ///
    /// # Errors
    /// What is kept cannot be read.
    fn kept_after(&self, seq: u64) -> Result<Vec<Event>, NotKept>;

    /// Writes what is in a log into the one file.
    ///
    /// # Errors
    /// Why not; it stops the recording.
    fn checkpoint(&mut self) -> Result<(), NotKept>;

    /// Something that the crew should know about the place where events are kept: little room, a file moved away.
    fn worry(&self) -> Option<Worry>;

    /// Ends the keeping and leaves one complete file.
    ///
    /// # Errors
    /// Why not.
    fn close(self) -> Result<(), NotKept>;
}

/// Why something could not be kept.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct NotKept {
    /// In words.
    pub cause: String,
    /// Nothing more is kept until a recovery; else only this once.
    pub stops: bool,
}

/// Where a recovery goes on.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Kept {
    /// A fresh file, where the old one cannot be trusted or found any more.
    pub fresh: Option<PathBuf>,
}

/// What is worth knowing about the place where events are kept.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Worry {
    /// So many bytes are left.
    LittleRoom(u64),
    /// Only the last events still find room.
    LastEvents,
    /// The file's name leads elsewhere: what is written now would never be found.
    Moved(PathState),
}

/// The book that everything kept in a job comes to.
///
/// # Errors
/// What is kept cannot be read.
pub fn fold(job: &Job) -> Result<Book, NotKept> {
    let mut book = Book::new();
    for event in job.events() {
        book.apply(&event?);
    }
    book.reconsider();
    Ok(book)
}

impl From<StoreError> for NotKept {
    fn from(error: StoreError) -> Self {
        NotKept { stops: error.fault.stops_recording(), cause: error.to_string() }
    }
}

impl Keep for Job {
    fn append(&mut self, events: &[Event]) -> Result<(), NotKept> {
        Ok(Job::append(self, events)?)
    }

    fn recover(&mut self) -> Result<Kept, NotKept> {
        let recovery = Job::recover(self)?;
        let fresh = match recovery.place {
            GoesOn::InSameFile => None,
            GoesOn::InFreshCopy(path) => Some(path),
        };
        Ok(Kept { fresh })
    }

    fn kept_after(&self, seq: u64) -> Result<Vec<Event>, NotKept> {
        if self.head().seq <= seq {
            return Ok(Vec::new());
        }
        let events = self.events().filter(|event| event.as_ref().map_or(true, |event| event.seq > seq));
        Ok(events.collect::<Result<_, _>>()?)
    }

    fn checkpoint(&mut self) -> Result<(), NotKept> {
        match Job::checkpoint(self) {
            Err(error) if error.fault == Fault::Busy => Ok(()),
            other => Ok(other?),
        }
    }

    fn worry(&self) -> Option<Worry> {
        let place = self.still_there();
        if place != PathState::Same {
            return Some(Worry::Moved(place));
        }
        match self.room() {
            Room::Plenty => None,
            Room::Low { free } => Some(Worry::LittleRoom(free)),
            Room::LastEvents => Some(Worry::LastEvents),
        }
    }

    fn close(self) -> Result<(), NotKept> {
        Job::close(self)?;
        Ok(())
    }
}
