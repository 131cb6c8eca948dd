//! Reading a job, also while another process records it. Reading never changes a job.

use std::collections::VecDeque;
use std::fmt;
use std::path::{Path, PathBuf};

use rusqlite::config::DbConfig;
use rusqlite::{Connection, ErrorCode, OpenFlags};

use super::chain::Head;
use super::fault::{Fault, StoreError, Trouble};
use super::hold::{Hold, UseAs};
use super::room::beside;
use super::row::{self, Row};
use super::schema;
use super::verify::{self, Verification};
use crate::book::event::Event;

/// A job as it stood when it was opened for reading; what is recorded later is not seen.
///
/// Broken jobs can be opened too: [`Reader::verify`] says where they break.
pub struct Reader {
    path: PathBuf,
    // Dropped before the hold: see `hold`.
    connection: Connection,
    _hold: Hold,
}

impl Reader {
    pub(super) fn open(path: &Path) -> Result<Reader, StoreError> {
        let fault = |trouble: Trouble| trouble.on(path);
        schema::check_engine().map_err(|fault| fault.on(path))?;
        let absolute = std::path::absolute(path).map_err(|error| Fault::of_io(&error, path).on(path))?;
        let hold = Hold::take(&absolute, UseAs::Reader).map_err(|fault| fault.on(path))?;
        let connection = connect(&absolute).map_err(fault)?;
        Ok(Reader { path: absolute, connection, _hold: hold })
    }

    /// The events in order, from the first.
    ///
    /// The chain is not looked at: what can be read of a broken job is read.
    pub fn events(&self) -> Events<'_> {
        Events::new(&self.connection, &self.path)
    }

    /// The last event that is there.
    ///
    /// # Errors
    /// When the file cannot be read.
    pub fn head(&self) -> Result<Head, StoreError> {
        row::last(&self.connection).map_err(|trouble| trouble.on(&self.path))
    }

    /// An event's number and hash, if it is there: to be compared with a head that was written down.
    ///
    /// # Errors
    /// When the file cannot be read.
    pub fn head_at(&self, event: u64) -> Result<Option<Head>, StoreError> {
        row::head_at(&self.connection, event).map_err(|trouble| trouble.on(&self.path))
    }

    /// Whether the record is as it was kept.
    ///
    /// # Errors
    /// When the file cannot be read; damage inside it is no error but an answer.
    pub fn verify(&self) -> Result<Verification, StoreError> {
        verify::walk(&self.connection).map_err(|trouble| trouble.on(&self.path))
    }

    pub(super) fn connection(&self) -> &Connection {
        &self.connection
    }
}

impl Drop for Reader {
    fn drop(&mut self) {
        // The last connection to a job would write a log that was left behind into the job and remove it. A log with
        // something in it is evidence, and not ours; an empty one came with us and goes with us.
        let log = beside(&self.path, "-wal").metadata().map_or(0, |log| log.len());
        if log > 0 {
            let _ = self.connection.set_db_config(DbConfig::SQLITE_DBCONFIG_NO_CKPT_ON_CLOSE, true);
        }
        // Ends the snapshot; a failure leaves nothing behind that closing does not end too.
        let _ = self.connection.execute_batch("ROLLBACK");
    }
}

impl fmt::Debug for Reader {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_struct("Reader").field("path", &self.path).finish_non_exhaustive()
    }
}

/// A connection that reads, standing on one state of the job.
///
/// It asks for write access although it never writes: only then can it take away what SQLite lays beside a job for its
/// readers. Without that access SQLite reads with less, and in a folder where it may lay down nothing, the file is taken
/// to be at rest: who cannot write there cannot run a job there.
pub(super) fn connect(path: &Path) -> Result<Connection, Trouble> {
    let connection = match snapshot(Connection::open_with_flags(path, OpenFlags::SQLITE_OPEN_READ_WRITE)?) {
        Err(rusqlite::Error::SqliteFailure(failure, _))
            if matches!(failure.code, ErrorCode::CannotOpen | ErrorCode::ReadOnly)
                && !beside(path, "-wal").exists() =>
        {
            let flags = OpenFlags::SQLITE_OPEN_READ_ONLY | OpenFlags::SQLITE_OPEN_URI;
            snapshot(Connection::open_with_flags(at_rest(path), flags)?)?
        }
        other => other?,
    };
    schema::check_made(&connection)?;
    Ok(connection)
}

fn snapshot(connection: Connection) -> rusqlite::Result<Connection> {
    schema::settle(&connection)?;
    connection.pragma_update(None, "query_only", true)?;
    connection.execute_batch("BEGIN")?;
    // A transaction begins with its first reading.
    connection.pragma_query_value(None, "user_version", |_| Ok(()))?;
    Ok(connection)
}

/// The name of the file for SQLite, with the word that nothing changes it. Bytes that mean something in such a name are
/// written as numbers.
fn at_rest(path: &Path) -> String {
    let plain = |byte: u8| byte.is_ascii_alphanumeric() || b"/-_.".contains(&byte);
    let name: String = (path.as_os_str().as_encoded_bytes().iter())
        .map(|&byte| if plain(byte) { char::from(byte).to_string() } else { format!("%{byte:02x}") })
        .collect();
    format!("file:{name}?immutable=1")
}

/// The events of a job in order, some at a time.
pub struct Events<'a> {
    connection: &'a Connection,
    path: &'a Path,
    rows: VecDeque<Row>,
    last: u64,
    ended: bool,
}

impl<'a> Events<'a> {
    pub(super) fn new(connection: &'a Connection, path: &'a Path) -> Events<'a> {
        Events { connection, path, rows: VecDeque::new(), last: 0, ended: false }
    }
}

impl Iterator for Events<'_> {
    type Item = Result<Event, StoreError>;

    fn next(&mut self) -> Option<Self::Item> {
        if self.rows.is_empty() && !self.ended {
            match row::after(self.connection, self.last) {
                Ok(rows) => {
                    self.ended = rows.len() < usize::from(row::PAGE);
                    self.rows = rows.into();
                }
                Err(error) => {
                    self.ended = true;
                    return Some(Err(Trouble::from(error).on(self.path)));
                }
            }
        }
        let row = self.rows.pop_front()?;
        self.last = row.seq;
        Some(row.event().map_err(|fault| fault.on(self.path)))
    }
}
