//! What can go wrong with a job file, in words that say what to do.
//!
//! The errors of SQLite are sorted here, once: which of them mean "the disk is full", which mean "a sync failed" (what
//! was written may be gone although it can still be read), which mean "try again".

use std::fmt;
use std::io;
use std::path::{Path, PathBuf};

use rusqlite::{Error as SqlError, ErrorCode, ffi};

use super::room;
use super::whereabouts::PathState;

/// A job file, and what went wrong with it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct StoreError {
    /// The job file.
    pub path: PathBuf,
    /// What went wrong.
    pub fault: Fault,
}

/// What went wrong.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Fault {
    /// There is no such file, or no such folder.
    Missing,
    /// The file or its folder is closed to this user.
    NotAllowed,
    /// Another run of this program writes it.
    InUse,
    /// A new file was wanted, and one is there.
    Exists,
    /// A new file was wanted, and this file beside it belongs to an older one of the same name.
    Leftover {
        /// The file beside it.
        beside: PathBuf,
    },
    /// An empty file: nothing was ever kept in it.
    Unmade,
    /// No job file.
    NotOurs {
        /// What it is, as far as its first bytes tell.
        found: String,
    },
    /// A job file of a newer version of this program.
    Newer {
        /// The version of the file.
        found: i32,
    },
    /// The chain of events breaks.
    BrokenChain {
        /// The first event that is not as it was kept.
        at: u64,
        /// How it breaks there, in words.
        what: String,
    },
    /// The file contradicts itself, and where it does cannot be told by an event's number.
    Damaged {
        /// What the database library said.
        what: String,
    },
    /// Another program held the file locked for longer than we wait. Nothing was changed; try again.
    Busy,
    /// No room on the disk.
    DiskFull,
    /// The disk, the folder or the file cannot be written any more.
    ReadOnly,
    /// Too little room on the disk to begin a new job.
    LowSpace {
        /// How much there is, in bytes.
        free: u64,
    },
    /// The folder is on a network, where a job cannot be kept safe.
    NetworkFolder {
        /// What kind of file system it is.
        kind: &'static str,
    },
    /// Reading or writing failed.
    Io {
        /// What the system said.
        what: String,
    },
    /// What was written could not be forced to the disk: it may be gone although it can still be read.
    Sync {
        /// What the system said.
        what: String,
    },
    /// An event was offered out of order: a mistake of the caller, nothing was changed.
    Gap {
        /// The number that had to come.
        wanted: u64,
        /// The number that came.
        found: u64,
    },
    /// An event was offered that would not read back as it is: a mistake of the caller, nothing was changed.
    Unkeepable {
        /// Its number.
        seq: u64,
        /// What is wrong with it.
        why: String,
    },
    /// An event that is kept cannot be understood.
    Unreadable {
        /// Its number.
        seq: u64,
        /// What is wrong with it.
        why: String,
    },
    /// The end of the file is not where this program left it: another program has changed it.
    Overtaken {
        /// The last event that is there now.
        found: u64,
        /// The last event that this program kept.
        wanted: u64,
    },
    /// The file is not where it was, or not as it was left.
    Elsewhere {
        /// What has become of it.
        state: PathState,
    },
    /// The database library does not do what a job needs.
    Engine {
        /// What was wanted of it, and what was found.
        what: String,
    },
}

impl Fault {
    /// After this fault of an append nothing more is kept until [`super::Job::recover`] has succeeded: what is on the
    /// disk is not known any more. The others have changed nothing.
    pub fn stops_recording(&self) -> bool {
        !matches!(self, Fault::Busy | Fault::Gap { .. } | Fault::Unkeepable { .. })
    }

    /// Behind the file's name, so that a message can be built.
    pub(super) fn on(self, path: &Path) -> StoreError {
        StoreError { path: path.to_owned(), fault: self }
    }

    /// What an error of the system means for the job file at `path`.
    pub(super) fn of_io(error: &io::Error, path: &Path) -> Fault {
        match error.kind() {
            io::ErrorKind::NotFound => Fault::Missing,
            io::ErrorKind::PermissionDenied => Fault::NotAllowed,
            io::ErrorKind::AlreadyExists => Fault::Exists,
            io::ErrorKind::StorageFull | io::ErrorKind::QuotaExceeded => Fault::DiskFull,
            io::ErrorKind::ReadOnlyFilesystem => Fault::ReadOnly,
            _ if room::none_left(path) => Fault::DiskFull,
            _ => Fault::Io { what: error.to_string() },
        }
    }

    /// What an error of SQLite means for the job file at `path`.
    pub(super) fn of_sql(error: &SqlError, path: &Path) -> Fault {
        let SqlError::SqliteFailure(failure, text) = error else {
            return Fault::Engine { what: error.to_string() };
        };
        let what = || text.clone().unwrap_or_else(|| failure.to_string());
        match failure.code {
            ErrorCode::DiskFull => Fault::DiskFull,
            ErrorCode::SystemIoFailure => match failure.extended_code {
                ffi::SQLITE_IOERR_FSYNC | ffi::SQLITE_IOERR_DIR_FSYNC => Fault::Sync { what: what() },
                // A file-size limit and a quota are not told apart from other failed writes; a full disk can be seen.
                _ if room::none_left(path) => Fault::DiskFull,
                _ if room::is_read_only(path) => Fault::ReadOnly,
                code => Fault::Io { what: format!("{} (code {code})", what()) },
            },
            ErrorCode::ReadOnly if failure.extended_code == ffi::SQLITE_READONLY_DBMOVED => {
                Fault::Elsewhere { state: PathState::Gone }
            }
            ErrorCode::ReadOnly if room::is_read_only(path) => Fault::ReadOnly,
            ErrorCode::ReadOnly => Fault::NotAllowed,
            ErrorCode::DatabaseBusy | ErrorCode::DatabaseLocked => Fault::Busy,
            ErrorCode::CannotOpen => match path.metadata() {
                Err(error) => Fault::of_io(&error, path),
                Ok(_) if room::none_left(path) => Fault::DiskFull,
                Ok(_) if room::is_read_only(path) => Fault::ReadOnly,
                Ok(_) => Fault::NotAllowed,
            },
            ErrorCode::PermissionDenied => Fault::NotAllowed,
            _ if is_damage(error) => Fault::Damaged { what: what() },
            _ => Fault::Engine { what: format!("{} (code {})", what(), failure.extended_code) },
        }
    }
}

/// An error of SQLite, or one of ours found on the way; becomes a [`Fault`] once the file it is about is known.
#[derive(Debug)]
pub(super) enum Trouble {
    Sql(SqlError),
    Fault(Fault),
}

impl Trouble {
    pub(super) fn fault(self, path: &Path) -> Fault {
        match self {
            Trouble::Sql(error) => Fault::of_sql(&error, path),
            Trouble::Fault(fault) => fault,
        }
    }

    pub(super) fn on(self, path: &Path) -> StoreError {
        self.fault(path).on(path)
    }
}

impl From<SqlError> for Trouble {
    fn from(error: SqlError) -> Self {
        Trouble::Sql(error)
    }
}

impl From<Fault> for Trouble {
    fn from(fault: Fault) -> Self {
        Trouble::Fault(fault)
    }
}

/// Whether this says that the pages of the file contradict each other.
pub(super) fn is_damage(error: &SqlError) -> bool {
    match error {
        SqlError::SqliteFailure(failure, _) => matches!(
            failure.code,
            ErrorCode::DatabaseCorrupt | ErrorCode::NotADatabase | ErrorCode::TooBig | ErrorCode::Unknown
        ),
        SqlError::InvalidColumnType(..)
        | SqlError::IntegralValueOutOfRange(..)
        | SqlError::FromSqlConversionFailure(..)
        | SqlError::Utf8Error(..) => true,
        _ => false,
    }
}

impl fmt::Display for StoreError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "job file {}: {}", self.path.display(), self.fault)
    }
}

impl fmt::Display for Fault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Fault::Missing => write!(f, "missing: no file or folder of that name; check the name"),
            Fault::NotAllowed => write!(
                f,
                "not allowed: this user may not read and write it and its folder; change the permissions or work in \
                 another folder"
            ),
            Fault::InUse => write!(
                f,
                "in use: another run of this program is writing it; stop that one, or give this one another job file"
            ),
            Fault::Exists => write!(f, "there already: a new job needs a new name; nothing was changed"),
            Fault::Leftover { beside } => write!(
                f,
                "not begun, because {} lies there and belongs to an older job of that name; bring the older job back \
                 beside it, or take another name",
                beside.display()
            ),
            Fault::Unmade => write!(
                f,
                "an empty file found, a job file was wanted: the making of one may have been cut short; nothing was \
                 changed"
            ),
            Fault::NotOurs { found } => write!(f, "{found} found, a job file was wanted; nothing was changed"),
            Fault::Newer { found } => write!(
                f,
                "version {found} found, this program reads version {}; use a newer program; nothing was changed",
                super::schema::VERSION
            ),
            Fault::BrokenChain { at, what } => write!(
                f,
                "the record breaks at event {at}: {what}; nothing was changed; it can still be read, and a new job be \
                 begun beside it"
            ),
            Fault::Damaged { what } => write!(f, "the file is damaged: {what}; go back to a backup, and keep this one"),
            Fault::Busy => write!(f, "another program holds it locked; close that program"),
            Fault::DiskFull => write!(f, "not recording, the disk is full; make room on it"),
            Fault::ReadOnly => write!(f, "not recording, the disk or the folder has become read-only"),
            Fault::LowSpace { free } => write!(
                f,
                "not begun, {} MiB free on the disk, at least {} MiB were wanted; make room or take another disk",
                free >> 20,
                room::NEW_JOB_NEEDS >> 20
            ),
            Fault::NetworkFolder { kind } => write!(
                f,
                "not begun, its folder is on a network ({kind}), where a job cannot be kept safe; take a folder on \
                 this machine and copy backups to the network"
            ),
            Fault::Io { what } => write!(f, "not recording, cannot write: {what}"),
            Fault::Sync { what } => {
                write!(f, "not recording, the disk did not confirm what was written: {what}")
            }
            Fault::Gap { wanted, found } => write!(f, "event {found} offered, event {wanted} was wanted"),
            Fault::Unkeepable { seq, why } => write!(f, "event {seq} cannot be kept: {why}"),
            Fault::Unreadable { seq, why } => write!(f, "event {seq} cannot be understood: {why}"),
            Fault::Overtaken { found, wanted } => write!(
                f,
                "not recording, it ends with event {found} and this program left it at event {wanted}: another program \
                 has changed it"
            ),
            Fault::Elsewhere { state } => write!(f, "not recording, the file was {state}"),
            Fault::Engine { what } => write!(f, "the database library refuses: {what}"),
        }
    }
}

impl std::error::Error for StoreError {}

#[cfg(test)]
mod tests {
    use super::*;

    /// The sentences are read by a crew: what it is, and what to do.
    #[test]
    fn each_fault_is_a_sentence_of_the_same_make() {
        let what = || "it said so".to_owned();
        for (fault, wanted) in [
            (Fault::Missing, "missing: no file or folder of that name; check the name"),
            (Fault::Busy, "another program holds it locked; close that program"),
            (Fault::DiskFull, "not recording, the disk is full; make room on it"),
            (Fault::ReadOnly, "not recording, the disk or the folder has become read-only"),
            (Fault::Io { what: what() }, "not recording, cannot write: it said so"),
            (Fault::Sync { what: what() }, "not recording, the disk did not confirm what was written: it said so"),
            (Fault::Gap { wanted: 3, found: 5 }, "event 5 offered, event 3 was wanted"),
            (Fault::Elsewhere { state: PathState::Gone }, "not recording, the file was removed or moved away"),
            (
                Fault::NetworkFolder { kind: "NFS" },
                "not begun, its folder is on a network (NFS), where a job cannot be kept safe; take a folder on this \
                 machine and copy backups to the network",
            ),
            (
                Fault::Overtaken { found: 12, wanted: 10 },
                "not recording, it ends with event 12 and this program left it at event 10: another program has \
                 changed it",
            ),
        ] {
            let error = fault.on(Path::new("site/tower.job")).to_string();
            assert_eq!(error, format!("job file site/tower.job: {wanted}"));
            assert!(!error.ends_with('.'));
        }
    }

    #[test]
    fn a_failed_sync_is_told_from_a_failed_write() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("tower.job");
        let fault = |code| Fault::of_sql(&SqlError::SqliteFailure(ffi::Error::new(code), None), &path);
        assert!(matches!(fault(ffi::SQLITE_IOERR_FSYNC), Fault::Sync { .. }));
        assert!(matches!(fault(ffi::SQLITE_IOERR_DIR_FSYNC), Fault::Sync { .. }));
        assert!(matches!(fault(ffi::SQLITE_IOERR_WRITE), Fault::Io { .. }));
        assert_eq!(fault(ffi::SQLITE_FULL), Fault::DiskFull);
        assert_eq!(fault(ffi::SQLITE_BUSY_SNAPSHOT), Fault::Busy);
        assert_eq!(fault(ffi::SQLITE_READONLY_DBMOVED), Fault::Elsewhere { state: PathState::Gone });
        assert_eq!(fault(ffi::SQLITE_CANTOPEN), Fault::Missing);
        assert!(matches!(fault(ffi::SQLITE_CORRUPT), Fault::Damaged { .. }));
    }
}
