//! Is the job still where it was? A file that was removed or replaced goes on being written to, and nothing of that
//! would ever be found again. Looked at before each append; the file is not opened for it.

use std::fmt;
use std::fs::{self, Metadata};
use std::path::Path;
use std::time::SystemTime;

use super::hold::FileId;
use super::room::beside;

/// What the job's name leads to now.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum PathState {
    /// To the file that is being written.
    Same,
    /// To nothing: removed or moved away, or its folder was.
    Gone,
    /// To another file.
    Replaced,
    /// To the file that is being written, but its log is gone or another one.
    LogGone,
    /// To the file that is being written, but something else has written into it.
    Overwritten,
}

impl fmt::Display for PathState {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            PathState::Same => "still there",
            PathState::Gone => "removed or moved away",
            PathState::Replaced => "replaced by another file",
            PathState::LogGone => "robbed of its log (the file of the same name with -wal)",
            PathState::Overwritten => "overwritten by another program",
        })
    }
}

/// The files of a job, as this program left them.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Trace {
    log: Option<FileId>,
    bytes: u64,
    written: Option<SystemTime>,
}

impl Trace {
    /// What is there now, to be compared with later. Before the first event and after a failure nothing may be there.
    pub(super) fn of(path: &Path) -> Trace {
        let log = beside(path, "-wal").metadata().ok().map(|log| FileId::of(&log));
        let (bytes, written) = path.metadata().map_or((0, None), |job| stamp(&job));
        Trace { log, bytes, written }
    }

    /// After we have written into the file.
    pub(super) fn renew(&mut self, path: &Path) {
        if let Ok(job) = path.metadata() {
            (self.bytes, self.written) = stamp(&job);
        }
    }

    /// Takes away the log of a job that is no longer at `path`, once everything in it is safe elsewhere: whatever file
    /// has that name, or gets it, would be read together with this log, and spoilt.
    pub(super) fn clear_log(&self, path: &Path) {
        let log = beside(path, "-wal");
        if self.log.is_some() && log.metadata().ok().map(|log| FileId::of(&log)) == self.log {
            for ours in [log, beside(path, "-shm")] {
                // A folder that is closed by now keeps them; a new job is then refused that name.
                let _ = fs::remove_file(ours);
            }
        }
    }

    /// Where the file `id`, which was left like this, is now.
    pub(super) fn look(&self, path: &Path, id: FileId) -> PathState {
        let Ok(job) = path.metadata() else { return PathState::Gone };
        let log = beside(path, "-wal").metadata().ok().map(|log| FileId::of(&log));
        if FileId::of(&job) != id {
            PathState::Replaced
        } else if log != self.log {
            PathState::LogGone
        } else if stamp(&job) != (self.bytes, self.written) {
            PathState::Overwritten
        } else {
            PathState::Same
        }
    }
}

/// Size and time of the last change: only we change it, and only when the log is moved into it.
fn stamp(job: &Metadata) -> (u64, Option<SystemTime>) {
    (job.len(), job.modified().ok())
}
