//! Recording a job: the one writer of its file.

use std::fmt;
use std::fs;
use std::path::{Path, PathBuf};

use rusqlite::config::DbConfig;
use rusqlite::{Connection, OpenFlags, TransactionBehavior};

use super::backup;
use super::chain::Head;
use super::fault::{Fault, StoreError, Trouble};
use super::hold::{Hold, UseAs};
use super::reader::{Events, Reader};
use super::room::{self, Reserve, Room, beside};
use super::row::{self, Row};
use super::whereabouts::{PathState, Trace};
use super::{schema, verify};
use crate::book::event::Event;

/// The log beside the job is written into the job when it has grown beyond this, if nobody has asked for it before:
/// it keeps the log far below 8 MiB, and a plain copy of a running job nearly complete.
const LOG_MAX: u64 = 2 << 20;

/// A job being recorded.
///
/// What [`Job::append`] has returned `Ok` for is on the disk. After a storage error nothing is appended until
/// [`Job::recover`] has succeeded.
pub struct Job {
    pub(super) path: PathBuf,
    // Dropped before the hold: see `hold`.
    pub(super) connection: Connection,
    pub(super) hold: Hold,
    pub(super) head: Head,
    pub(super) failure: Option<Fault>,
    pub(super) reserve: Reserve,
    pub(super) trace: Trace,
}

/// How a job was left.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Closing {
    /// In one complete file.
    OneFile,
    /// Complete, but somebody is still reading, so a log lies beside it until the job is next opened.
    StillRead,
}

impl Job {
    /// Begins a new job in a new file.
    ///
    /// # Errors
    /// A file that is there already or an old log beside the name, a folder that is missing, closed, full or on a
    /// network.
    pub fn create(path: &Path) -> Result<Job, StoreError> {
        let path = absolute(path)?;
        if path.symlink_metadata().is_ok() {
            return Err(Fault::Exists.on(&path));
        }
        Job::make(path, Hold::create, &backup::BESIDE)
    }

    /// Begins a new job in an empty file: a making that was cut short leaves one, see [`Fault::Unmade`].
    ///
    /// # Errors
    /// As [`Job::create`]; a file in which there is something.
    pub fn create_in_empty(path: &Path) -> Result<Job, StoreError> {
        // A journal beside an empty file is of the same making: there is nothing in it to roll back to, and SQLite
        // removes it.
        Job::make(absolute(path)?, Hold::take_empty, &["-wal", "-shm"])
    }

    fn make(path: PathBuf, hold: fn(&Path) -> Result<Hold, Fault>, unwanted: &[&str]) -> Result<Job, StoreError> {
        let fault = |trouble: Trouble| trouble.on(&path);
        schema::check_engine().map_err(|fault| fault.on(&path))?;
        let checked = backup::check_name(&path, unwanted).and_then(|()| room::check_folder(&path));
        let hold = checked.and_then(|()| hold(&path)).map_err(|fault| fault.on(&path))?;
        let made = connect(&path).and_then(|connection| {
            schema::create(&connection)?;
            schema::settle_writer(&connection, &path)?;
            Ok(connection)
        });
        match made {
            Ok(connection) => Ok(Job::of(path, connection, hold, Head::start())),
            Err(trouble) => {
                drop(hold);
                for ending in ["", "-wal", "-shm", "-journal"] {
                    // We made them, a moment ago; what stays is met by its name the next time.
                    let _ = fs::remove_file(beside(&path, ending));
                }
                Err(fault(trouble))
            }
        }
    }

    /// Takes up a job that was begun before, after whatever end it had, and verifies its record from the first event.
    ///
    /// # Errors
    /// A file that is missing, closed, in use by another run, no job, of a newer version, or whose chain breaks. It is
    /// left untouched then; [`Job::read`] may still read it.
    pub fn open(path: &Path) -> Result<Job, StoreError> {
        let path = absolute(path)?;
        schema::check_engine().map_err(|fault| fault.on(&path))?;
        let hold = Hold::take(&path, UseAs::Writer).map_err(|fault| fault.on(&path))?;
        let (connection, head) = reopen(&path).map_err(|trouble| trouble.on(&path))?;
        Ok(Job::of(path, connection, hold, head))
    }

    /// Opens a job for reading, also while another process records it.
    ///
    /// # Errors
    /// A file that is missing, closed, no job, or of a newer version.
    pub fn read(path: &Path) -> Result<Reader, StoreError> {
        Reader::open(path)
    }

    /// Keeps events, all or none of them, and returns when they are on the disk.
    ///
    /// # Errors
    /// A storage error stops the recording: see [`Fault::stops_recording`]. Busy, and events that were offered wrongly,
    /// change nothing.
    pub fn append(&mut self, events: &[Event]) -> Result<(), StoreError> {
        if let Some(failure) = &self.failure {
            return Err(failure.clone().on(&self.path));
        }
        let mut head = self.head;
        let mut rows = Vec::with_capacity(events.len());
        for event in events {
            let row = Row::of(event, head).map_err(|fault| fault.on(&self.path))?;
            head = row.head();
            rows.push(row);
        }
        if rows.is_empty() {
            return Ok(());
        }
        self.check_place().and_then(|()| self.write(&rows)).map_err(|trouble| self.note(trouble))?;
        self.head = head;
        if self.log_bytes() > LOG_MAX {
            // The events are kept, whatever becomes of this; its failure is told with the next ones.
            let _ = self.checkpoint();
        }
        Ok(())
    }

    /// How far the record goes.
    pub fn head(&self) -> Head {
        self.head
    }

    /// Where the record is.
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// The storage error that has stopped the recording, if one has.
    pub fn failure(&self) -> Option<&Fault> {
        self.failure.as_ref()
    }

    /// The events in order, from the first.
    pub fn events(&self) -> Events<'_> {
        Events::new(&self.connection, &self.path)
    }

    /// Writes the log into the job, as far as no reader needs it: after each setup, and when nothing is to be done.
    ///
    /// # Errors
    /// A storage error, which stops the recording.
    pub fn checkpoint(&mut self) -> Result<(), StoreError> {
        if let Some(failure) = &self.failure {
            return Err(failure.clone().on(&self.path));
        }
        self.reserve.renew(&self.path);
        self.check_place().and_then(|()| self.move_log("PASSIVE")).map_err(|trouble| self.note(trouble))?;
        Ok(())
    }

    /// Whether the job's name still leads to the file that is being written. Each append looks too; this is for the
    /// time between.
    pub fn still_there(&self) -> PathState {
        self.trace.look(&self.path, self.hold.id())
    }

    /// How much room it has on its disk. Cheap.
    pub fn room(&self) -> Room {
        self.reserve.room(&self.path)
    }

    /// Ends the recording and leaves one complete file.
    ///
    /// # Errors
    /// A storage error, now or before; what was kept is then in the file and the log beside it.
    pub fn close(mut self) -> Result<Closing, StoreError> {
        if let Some(failure) = &self.failure {
            return Err(failure.clone().on(&self.path));
        }
        let closing = self.check_place().and_then(|()| self.move_log("TRUNCATE"));
        let closing = closing.map_err(|trouble| self.note(trouble))?;
        let Job { path, connection, hold, .. } = self;
        connection.close().map_err(|(_, error)| Trouble::from(error).on(&path))?;
        drop(hold);
        Ok(closing)
    }

    fn of(path: PathBuf, connection: Connection, hold: Hold, head: Head) -> Job {
        let (reserve, trace) = (Reserve::take(&path), Trace::of(&path));
        Job { path, connection, hold, head, failure: None, reserve, trace }
    }

    /// One transaction. It sees the end of the file before it adds to it: whatever another program did is noticed.
    fn write(&mut self, rows: &[Row]) -> Result<(), Trouble> {
        let transaction = self.connection.transaction_with_behavior(TransactionBehavior::Immediate)?;
        let found = row::last(&transaction)?;
        if found != self.head {
            return Err(Fault::Overtaken { found: found.seq, wanted: self.head.seq }.into());
        }
        for row in rows {
            row::insert(&transaction, row)?;
        }
        Ok(transaction.commit()?)
    }

    /// Refuses to write where nobody would find it. What merely looks changed is read anew, from the disk.
    fn check_place(&mut self) -> Result<(), Trouble> {
        match self.still_there() {
            PathState::Same => Ok(()),
            PathState::Overwritten => {
                let spoilt = || Fault::Elsewhere { state: PathState::Overwritten };
                let trace = Trace::of(&self.path);
                self.hold.check(&self.path).map_err(|_| spoilt())?;
                let (connection, head) = reopen(&self.path).map_err(|_| spoilt())?;
                leave_log(&connection);
                self.check_kept(&connection, head).map_err(|_| spoilt())?;
                self.trace = trace;
                Ok(())
            }
            state => Err(Fault::Elsewhere { state }.into()),
        }
    }

    fn move_log(&mut self, how: &str) -> Result<Closing, Trouble> {
        let moved = self.connection.query_row(&format!("PRAGMA wal_checkpoint({how})"), [], |row| row.get(0));
        // Also when it failed: it was us who wrote into the file.
        self.trace.renew(&self.path);
        let busy: i64 = moved?;
        Ok(if busy == 0 { Closing::OneFile } else { Closing::StillRead })
    }

    fn log_bytes(&self) -> u64 {
        beside(&self.path, "-wal").metadata().map_or(0, |log| log.len())
    }

    /// Makes an error of a fault, and lets it stop the recording if it has to.
    pub(super) fn note(&mut self, trouble: Trouble) -> StoreError {
        let fault = trouble.fault(&self.path);
        if fault.stops_recording() {
            leave_log(&self.connection);
            self.failure = Some(fault.clone());
        }
        fault.on(&self.path)
    }
}

impl fmt::Debug for Job {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_struct("Job").field("path", &self.path).field("head", &self.head).finish_non_exhaustive()
    }
}

fn connect(path: &Path) -> Result<Connection, Trouble> {
    let connection = Connection::open_with_flags(path, OpenFlags::SQLITE_OPEN_READ_WRITE)?;
    schema::settle(&connection)?;
    schema::settle_cache(&connection)?;
    Ok(connection)
}

/// Connects and verifies; a file that breaks is left untouched.
pub(super) fn reopen(path: &Path) -> Result<(Connection, Head), Trouble> {
    let connection = connect(path)?;
    leave_log(&connection);
    schema::check_made(&connection)?;
    let head = verify::whole(&connection)?;
    schema::settle_writer(&connection, path)?;
    connection.set_db_config(DbConfig::SQLITE_DBCONFIG_NO_CKPT_ON_CLOSE, false)?;
    Ok((connection, head))
}

fn absolute(path: &Path) -> Result<PathBuf, StoreError> {
    std::path::absolute(path).map_err(|error| Fault::of_io(&error, path).on(path))
}

/// Lets the connection end without writing the log into the job.
pub(super) fn leave_log(connection: &Connection) {
    // Refused only for a connection that is closed already.
    let _ = connection.set_db_config(DbConfig::SQLITE_DBCONFIG_NO_CKPT_ON_CLOSE, true);
}
