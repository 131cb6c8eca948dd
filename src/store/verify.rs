//! Is the record as it was kept? Walks the chain from the first event to the last.
//!
//! What it can show: an event altered, removed from the middle, put in between, or damaged on the disk. What it cannot
//! show by itself: events cut off the end, or a whole chain computed anew by somebody who set out to forge it. For these
//! a [`Head`] written down elsewhere is compared.

use std::fmt;
use std::path::Path;

use rusqlite::Connection;

use super::chain::Head;
use super::fault::{Fault, StoreError, Trouble, is_damage};
use super::reader::Reader;
use super::row::{self, Row};
use super::schema;

/// What was found.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Verification {
    /// Every event is as it was kept.
    Whole {
        /// How many there are.
        events: u64,
        /// The last of them, to be compared with a head that was written down.
        head: Head,
        /// Whether the file still refuses changes by itself.
        guards: Guards,
    },
    /// An event is not as it was kept, or what should stand there is missing.
    Broken {
        /// The number of the first such event.
        at: u64,
        /// How it breaks.
        what: Break,
        /// The last event before it: up to here the record is whole.
        whole_to: Head,
    },
}

/// How a chain breaks.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Break {
    /// The event's content and its hash do not agree.
    Altered,
    /// The event is not there; the next one that is has this number.
    Missing {
        /// The next number that is there.
        next: u64,
    },
    /// The file is damaged where the event should be.
    Damaged {
        /// What the database library said.
        what: String,
    },
}

/// The triggers that refuse changes to what is kept.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Guards {
    /// As they were made.
    Standing,
    /// Removed, altered or damaged: the events are whole, but nothing in the file keeps them so.
    Removed,
}

impl fmt::Display for Verification {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Verification::Whole { events, head, guards } => {
                write!(f, "whole: {events} events, the last with hash {}", head.hash)?;
                match guards {
                    Guards::Standing => Ok(()),
                    Guards::Removed => write!(f, "; but what refuses changes to it was removed or damaged"),
                }
            }
            Verification::Broken { at, what, whole_to } => {
                write!(f, "broken at event {at}: {what}; whole up to event {}", whole_to.seq)
            }
        }
    }
}

impl fmt::Display for Break {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Break::Altered => write!(f, "its content and its hash do not agree, so it was altered or damaged"),
            Break::Missing { next } => write!(f, "it is not there, the next one is event {next}"),
            Break::Damaged { what } => write!(f, "the file is damaged there ({what})"),
        }
    }
}

/// Whether the job file at `path` is as it was kept; also while it is being recorded. The file is not changed.
///
/// # Errors
/// A file that cannot be read, or is no job. Damage inside it is no error but an answer.
pub fn verify(path: &Path) -> Result<Verification, StoreError> {
    Reader::open(path)?.verify()
}

/// As [`verify`], over an open connection.
pub(super) fn walk(connection: &Connection) -> Result<Verification, Trouble> {
    let mut head = Head::start();
    let mut rows: Vec<Row> = Vec::new();
    loop {
        rows.clear();
        let ended = row::collect_after(connection, head.seq, &mut rows);
        for row in &rows {
            let at = head.seq + 1;
            let what = if row.seq != at {
                Break::Missing { next: row.seq }
            } else if head.after(row.content()) != row.head() {
                Break::Altered
            } else {
                head = row.head();
                continue;
            };
            return Ok(Verification::Broken { at, what, whole_to: head });
        }
        match ended {
            Err(error) if is_damage(&error) => {
                let what = Break::Damaged { what: error.to_string() };
                return Ok(Verification::Broken { at: head.seq + 1, what, whole_to: head });
            }
            Err(error) => return Err(error.into()),
            Ok(()) if rows.is_empty() => break,
            Ok(()) => {}
        }
    }
    let guards = if schema::guards_stand(connection)? { Guards::Standing } else { Guards::Removed };
    Ok(Verification::Whole { events: head.seq, head, guards })
}

/// The head of a whole chain; the fault of a broken one.
pub(super) fn whole(connection: &Connection) -> Result<Head, Trouble> {
    match walk(connection)? {
        Verification::Whole { head, .. } => Ok(head),
        Verification::Broken { at, what, .. } => Err(Fault::BrokenChain { at, what: what.to_string() }.into()),
    }
}
