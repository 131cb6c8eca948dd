//! Going on after a storage error: in the same file when that is safe, else in a fresh copy.

use std::mem;
use std::path::{Path, PathBuf};

use rusqlite::Connection;

use super::chain::Head;
use super::fault::{Fault, StoreError};
use super::job::{self, Job};
use super::whereabouts::{PathState, Trace};
use super::{backup, row};

/// How many names are tried for a fresh copy.
const FRESH_NAMES: u32 = 1000;

/// How a job went on after a storage error.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Recovery {
    /// Where it goes on.
    pub place: GoesOn,
    /// How far the record goes. The events whose append failed may be among it: all of them or none. They are to be
    /// appended again only if this is less than their first number.
    pub head: Head,
}

/// Where a job goes on after a storage error.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum GoesOn {
    /// In the same file: it was opened anew, and every event is as it was kept.
    InSameFile,
    /// In this fresh copy, written, forced to the disk and verified. The old file, if it is still there, is left as it is.
    InFreshCopy(PathBuf),
}

impl Job {
    /// Goes on after a storage error, or after [`Job::still_there`] said no.
    ///
    /// After a failed *write* in the same file, opened anew and verified. After a failed *sync* only in a fresh copy
    /// beside it: the next sync may succeed although what was written is gone, and reading it back may be answered from
    /// memory. In a fresh copy too when the file was removed, replaced or spoilt by another program.
    ///
    /// # Errors
    /// When the cause is still there; to be tried again.
    pub fn recover(&mut self) -> Result<Recovery, StoreError> {
        let there = self.still_there();
        if self.failure.is_none() && there == PathState::Same {
            return Ok(Recovery { place: GoesOn::InSameFile, head: self.head });
        }
        self.reserve.give_up();
        let sync_failed = matches!(self.failure, Some(Fault::Sync { .. }));
        if sync_failed || matches!(there, PathState::Gone | PathState::Replaced | PathState::LogGone) {
            return self.go_on_in(&self.fresh_name()?);
        }
        match self.reopen() {
            // What another program did to the file is not yet in what this one remembers of it.
            Err(error) if there == PathState::Overwritten => self.go_on_in(&self.fresh_name()?).map_err(|_| error),
            other => other,
        }
    }

    /// Goes on in the new file `to`, which gets everything that was kept; the old file is left as it is.
    ///
    /// For a job whose file was removed or replaced under it, or whose disk cannot be trusted any more.
    ///
    /// # Errors
    /// When what was kept cannot be read any more or `to` cannot be written; the job stays as it was.
    pub fn go_on_in(&mut self, to: &Path) -> Result<Recovery, StoreError> {
        let there = self.still_there();
        let head = row::last(&self.connection).map_err(|trouble| trouble.on(&self.path))?;
        self.check_kept(&self.connection, head)?;
        backup::copy(&self.connection, &self.path, to)?;
        let fresh = Job::open(to)?;
        job::leave_log(&self.connection);
        let old = mem::replace(self, fresh);
        if matches!(there, PathState::Gone | PathState::Replaced | PathState::Overwritten) {
            old.trace.clear_log(&old.path);
        }
        Ok(Recovery { place: GoesOn::InFreshCopy(self.path.clone()), head: self.head })
    }

    /// Goes on in the same file, read anew from the disk.
    fn reopen(&mut self) -> Result<Recovery, StoreError> {
        let trace = Trace::of(&self.path);
        self.hold.check(&self.path).map_err(|fault| fault.on(&self.path))?;
        // A new failure takes the place of the old one: after a failed sync nothing goes on here.
        let (connection, head) = job::reopen(&self.path).map_err(|trouble| self.note(trouble))?;
        self.check_kept(&connection, head)?;
        job::leave_log(&self.connection);
        (self.connection, self.head, self.trace, self.failure) = (connection, head, trace, None);
        Ok(Recovery { place: GoesOn::InSameFile, head })
    }

    /// Every event that was kept is still there.
    pub(super) fn check_kept(&self, connection: &Connection, head: Head) -> Result<(), StoreError> {
        let kept = row::head_at(connection, self.head.seq).map_err(|trouble| trouble.on(&self.path))?;
        if head.seq < self.head.seq || kept != Some(self.head) {
            return Err(Fault::Overtaken { found: head.seq, wanted: self.head.seq }.on(&self.path));
        }
        Ok(())
    }

    /// The first free name for a fresh copy: `tower.job` gives `tower-rescued-1.job`.
    fn fresh_name(&self) -> Result<PathBuf, StoreError> {
        let stem = self.path.file_stem().unwrap_or_default().to_string_lossy();
        let ending = self.path.extension().map(|ending| format!(".{}", ending.to_string_lossy())).unwrap_or_default();
        let names = (1..=FRESH_NAMES).map(|n| self.path.with_file_name(format!("{stem}-rescued-{n}{ending}")));
        let mut free = names.filter(|name| name.symlink_metadata().is_err());
        free.next().ok_or_else(|| Fault::Exists.on(&self.path))
    }
}
