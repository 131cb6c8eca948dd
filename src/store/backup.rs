//! A complete copy of a job, also while it is recorded: by SQLite's own backup, never by copying the file.

use std::fs;
use std::path::Path;

use rusqlite::backup::{Backup, StepResult};
use rusqlite::{Connection, OpenFlags};

use super::chain::Head;
use super::fault::{Fault, StoreError, Trouble};
use super::hold::Hold;
use super::reader::{self, Reader};
use super::room::{beside, sync_folder};
use super::verify;

/// What was copied.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct BackupReport {
    /// The last event in the copy.
    pub head: Head,
    /// Size of the copy.
    pub bytes: u64,
}

/// Copies the job at `from`, as it stands now, into a new file `to`, forces it to the disk and verifies it.
///
/// # Errors
/// When `from` cannot be read or its chain is broken, when `to` is there already, or cannot be written. Nothing is left
/// of a copy that did not succeed.
pub fn backup(from: &Path, to: &Path) -> Result<BackupReport, StoreError> {
    let reader = Reader::open(from)?;
    copy(reader.connection(), from, to)
}

/// As [`backup`], from an open connection.
pub(super) fn copy(source: &Connection, from: &Path, to: &Path) -> Result<BackupReport, StoreError> {
    let wanted = verify::whole(source).map_err(|trouble| trouble.on(from))?;
    let to = std::path::absolute(to).map_err(|error| Fault::of_io(&error, to).on(to))?;
    if to.symlink_metadata().is_ok() {
        return Err(Fault::Exists.on(&to));
    }
    check_name(&to, &BESIDE).map_err(|fault| fault.on(&to))?;
    let hold = Hold::create(&to).map_err(|fault| fault.on(&to))?;
    let copied = fill(source, &to).and_then(|()| check(wanted, &to)).map_err(|trouble| trouble.on(&to));
    drop(hold);
    if copied.is_err() {
        for ending in ["", "-wal", "-shm", "-journal"] {
            // What cannot be removed is met by its name the next time.
            let _ = fs::remove_file(beside(&to, ending));
        }
    }
    copied
}

/// The endings of what an older job of the same name may have left beside it.
pub(super) const BESIDE: [&str; 3] = ["-wal", "-shm", "-journal"];

/// Refuses a name beside which one of these is left.
pub(super) fn check_name(path: &Path, endings: &[&str]) -> Result<(), Fault> {
    match endings.iter().map(|ending| beside(path, ending)).find(|beside| beside.exists()) {
        Some(beside) => Err(Fault::Leftover { beside }),
        None => Ok(()),
    }
}

/// Writes all pages of `source` into the empty file `to` and forces them to the disk.
fn fill(source: &Connection, to: &Path) -> Result<(), Trouble> {
    let mut target = Connection::open_with_flags(to, OpenFlags::SQLITE_OPEN_READ_WRITE)?;
    target.execute_batch("PRAGMA synchronous = FULL; PRAGMA fullfsync = ON")?;
    let backup = Backup::new(source, &mut target)?;
    // All in one step: the source stands on one state, and nobody waits for the copy.
    match backup.step(-1)? {
        StepResult::Done => {}
        _ => return Err(Fault::Busy.into()),
    }
    drop(backup);
    target.close().map_err(|(_, error)| error)?;
    Ok(sync_folder(to)?)
}

/// Reads the copy back and compares it with its source.
fn check(wanted: Head, to: &Path) -> Result<BackupReport, Trouble> {
    let connection = reader::connect(to)?;
    let head = verify::whole(&connection)?;
    if head != wanted {
        let what = format!("the copy ends with event {}, its source with event {}", head.seq, wanted.seq);
        return Err(Fault::Io { what }.into());
    }
    let bytes = to.metadata().map_err(|error| Fault::of_io(&error, to))?.len();
    Ok(BackupReport { head, bytes })
}
