//! What the file looks like inside, and how a connection to it is set.
//!
//! The comments in the SQL are kept in the file: whoever opens it with another tool reads there how it is made.

use std::path::Path;
use std::time::Duration;

use rusqlite::Connection;
use rusqlite::config::DbConfig;
use rusqlite::types::ValueRef;

use super::fault::{Fault, Trouble};
use super::room::sync_folder;

/// `clsr`: marks an SQLite file as a job of this program.
pub(super) const APPLICATION_ID: i32 = 0x636c_7372;

/// The version of the file. Another one is another chain, another [`super::chain`], and a way to read this one.
pub(super) const VERSION: i32 = 1;

/// The oldest SQLite that a job is trusted to: those before it can damage a file in WAL mode when two connections
/// write and checkpoint at the same instant.
pub(super) const OLDEST_SQLITE: i32 = 3_051_003;

/// How long another program's lock is waited for before the caller is told. Short, because the crew is to be told
/// soon; the caller tries again for as long as it likes.
const BUSY_WAIT: Duration = Duration::from_millis(500);

/// Pages that a writer keeps in memory. It is also what a job is rescued from when something overwrites it: the record
/// of a day or two fits in.
const CACHE_KIB: i32 = 8 << 10;

/// The table and its guards.
const TABLES: &str = "
CREATE TABLE event (
  seq INTEGER PRIMARY KEY CHECK (seq >= 1), -- its place in the order: 1, 2, 3 and so on without a gap
  at TEXT NOT NULL,                         -- when it was kept, by this machine's clock (UTC); decides nothing
  kind TEXT NOT NULL CHECK (kind = body ->> '$.kind'),
  simulated INTEGER NOT NULL CHECK (simulated IN (0, 1)), -- 1: from a simulated instrument
  body TEXT NOT NULL,                       -- what happened, as JSON
  raw BLOB NOT NULL,                        -- the bytes as they came over the link
  hash BLOB NOT NULL CHECK (length(hash) = 32)
  -- hash: SHA-256 of the hash before (before event 1: of the text 'closerun job 1'), then of seq, at, kind, simulated,
  -- body, raw in this order, each as its length (8 bytes, most significant first) and its bytes; numbers in digits
) STRICT;
CREATE TRIGGER event_is_never_altered BEFORE UPDATE ON event BEGIN
  SELECT RAISE(ABORT, 'an event is never altered: append another that says otherwise');
END;
CREATE TRIGGER event_is_never_deleted BEFORE DELETE ON event BEGIN
  SELECT RAISE(ABORT, 'an event is never deleted: append another that says otherwise');
END;
CREATE TRIGGER event_follows_the_last BEFORE INSERT ON event
WHEN NEW.seq IS NOT (SELECT ifnull(max(seq), 0) + 1 FROM event) BEGIN
  SELECT RAISE(ABORT, 'an event follows the last one: seq goes up by one, none is replaced');
END;
";

/// Makes the tables in an empty file: all of them or, if it is cut short, none.
pub(super) fn create(connection: &Connection) -> rusqlite::Result<()> {
    connection.execute_batch(&format!(
        "PRAGMA synchronous = FULL; BEGIN; PRAGMA application_id = {APPLICATION_ID}; PRAGMA user_version = {VERSION}; \
         {TABLES} COMMIT;"
    ))
}

/// Settings that hold for each connection, reading ones too.
pub(super) fn settle(connection: &Connection) -> rusqlite::Result<()> {
    connection.busy_timeout(BUSY_WAIT)?;
    // A file from elsewhere must not be able to run anything, and a page that lies about its cells is to be noticed.
    connection.set_db_config(DbConfig::SQLITE_DBCONFIG_DEFENSIVE, true)?;
    connection.set_db_config(DbConfig::SQLITE_DBCONFIG_TRUSTED_SCHEMA, false)?;
    connection.pragma_update(None, "cell_size_check", true)?;
    // Read by read(2), not by mapping: a file that shrinks under us is then an error and not the end of the process.
    connection.pragma_update(None, "mmap_size", 0)
}

/// Refuses a file whose making, or whose copying, was cut short: SQLite has just taken it back to the empty file that
/// it was before.
pub(super) fn check_made(connection: &Connection) -> Result<(), Trouble> {
    let found: i32 = connection.pragma_query_value(None, "application_id", |row| row.get(0))?;
    if found == APPLICATION_ID { Ok(()) } else { Err(Fault::Unmade.into()) }
}

/// Settings that a writer needs, read back: a pragma that does not take says nothing.
pub(super) fn settle_writer(connection: &Connection, path: &Path) -> Result<(), Trouble> {
    // Checkpoints are ours, so that a failed one is noticed; SQLite's own swallow their errors.
    for (name, value, wanted) in [
        ("journal_mode", "WAL", "wal"),
        ("synchronous", "FULL", "2"),
        ("fullfsync", "ON", "1"),
        ("checkpoint_fullfsync", "ON", "1"),
        ("wal_autocheckpoint", "0", "0"),
    ] {
        pragma(connection, &format!("{name} = {value}"))?;
        let found = pragma(connection, name)?;
        if found != wanted {
            return Err(Fault::Engine { what: format!("{name} is {found}, {wanted} was wanted") }.into());
        }
    }
    // SQLite lays the log down with the first look into the file, and from then on it is there. Its name is forced to
    // the disk here: SQLite does that too, with the first commit, but goes on when it fails.
    connection.query_row("SELECT count(*) FROM sqlite_schema", [], |_| Ok(()))?;
    Ok(sync_folder(path)?)
}

/// Runs a pragma to its end: some do their work, and fail, only after they have answered.
fn pragma(connection: &Connection, text: &str) -> rusqlite::Result<String> {
    let mut statement = connection.prepare(&format!("PRAGMA {text}"))?;
    let mut rows = statement.query([])?;
    let mut answer = String::new();
    while let Some(row) = rows.next()? {
        answer = match row.get_ref(0)? {
            ValueRef::Integer(number) => number.to_string(),
            other => other.as_str()?.to_owned(),
        };
    }
    Ok(answer)
}

/// Room for the whole job in memory, before it is read for the first time.
pub(super) fn settle_cache(connection: &Connection) -> rusqlite::Result<()> {
    connection.pragma_update(None, "cache_size", -CACHE_KIB)
}

/// Refuses an SQLite library that is too old to be trusted.
pub(super) fn check_engine() -> Result<(), Fault> {
    if rusqlite::version_number() >= OLDEST_SQLITE {
        return Ok(());
    }
    let what = format!("SQLite {} found, 3.51.3 or newer was wanted", rusqlite::version());
    Err(Fault::Engine { what })
}

/// Whether the table and its guards are as [`create`] made them.
pub(super) fn guards_stand(connection: &Connection) -> rusqlite::Result<bool> {
    let mut statement = connection.prepare("SELECT sql FROM sqlite_schema ORDER BY rowid")?;
    let found = statement.query_map([], |row| row.get::<_, String>(0))?.collect::<rusqlite::Result<Vec<_>>>()?;
    let wanted = TABLES.trim().trim_end_matches(';');
    Ok(found.join(";\n") == wanted)
}
