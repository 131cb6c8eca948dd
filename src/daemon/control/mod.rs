//! The way by which another process of the same user speaks to a running daemon: one request a connection, one answer.
//!
//! ```text
//! {"version":1,"say":["strike","14"]}      ->  {"version":1,"done":["event 31: reading 14 struck out", ...]}
//! {"version":1,"say":["strike","99"]}      ->  {"version":1,"refused":"no reading 99: ..."}
//! {"version":1,"who":true}                 ->  {"version":1,"job":"core-north.job"}
//! ```
//!
//! Where there are Unix sockets it is one, in a folder that only this user may enter. Elsewhere it is a TCP port of the
//! loopback address, and each request carries a secret from a file that only this user may read.

mod exchange;
#[cfg_attr(
    all(unix, not(test)),
    expect(dead_code, reason = "the way of systems without Unix sockets, compiled and tested everywhere")
)]
mod loopback;
#[cfg(unix)]
mod unix;

use std::path::{Path, PathBuf};
use std::{fmt, io};

use sha2::{Digest, Sha256};
use tokio::sync::mpsc;

use super::Ask;

pub use exchange::Reply;

#[cfg(not(unix))]
use loopback as system;
#[cfg(unix)]
use unix as system;

/// Hears commands until dropped.
pub struct Control {
    _door: system::Door,
}

impl Control {
    /// Opens the way to the daemon that records `job`.
    ///
    /// # Errors
    /// The folder or the socket cannot be made.
    pub fn open(job: &Path, asks: mpsc::Sender<Ask>) -> io::Result<Self> {
        let folder = crate::link::runtime_folder("tell")?;
        let door = system::open(&folder.join(name_of(job)), &job.display().to_string(), asks)?;
        Ok(Control { _door: door })
    }
}

/// Says words to the daemon that records `job`, or to the only one there is.
///
/// # Errors
/// No daemon, several, or none that answers.
pub fn tell(job: Option<&Path>, words: Vec<String>) -> Result<Reply, TellError> {
    let folder = crate::link::runtime_folder("tell").map_err(|error| TellError::Failed { why: error.to_string() })?;
    let door = match job {
        Some(job) => {
            let door = folder.join(name_of(job));
            if !door.exists() {
                return Err(TellError::NobodyRecords { job: job.to_owned() });
            }
            door
        }
        None => the_only(&folder)?,
    };
    let failed = |error: io::Error| TellError::Failed { why: error.to_string() };
    let answer = system::exchange(&door, &exchange::request(&words)).map_err(failed)?;
    exchange::read_reply(&answer).map_err(|why| TellError::Failed { why })
}

/// The only daemon that answers.
fn the_only(folder: &Path) -> Result<PathBuf, TellError> {
    let mut doors = Vec::new();
    for entry in std::fs::read_dir(folder).into_iter().flatten().flatten() {
        let path = entry.path();
        let Ok(answer) = system::exchange(&path, &exchange::who()) else { continue };
        if let Ok(Reply::Job(job)) = exchange::read_reply(&answer) {
            doors.push((path, job));
        }
    }
    match doors.len() {
        0 => Err(TellError::NobodyListens),
        1 => Ok(doors.remove(0).0),
        _ => Err(TellError::Several { jobs: doors.into_iter().map(|(_, job)| job).collect() }),
    }
}

/// The name of the socket of a job: short, whatever the job's path is.
fn name_of(job: &Path) -> String {
    let whole = std::fs::canonicalize(job).or_else(|_| std::path::absolute(job)).unwrap_or_else(|_| job.to_owned());
    let digest = Sha256::digest(whole.as_os_str().as_encoded_bytes());
    digest.iter().take(8).map(|byte| format!("{byte:02x}")).collect()
}

/// Why nothing could be said.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum TellError {
    /// Nobody records this job.
    NobodyRecords {
        /// The job.
        job: PathBuf,
    },
    /// Nobody listens at all.
    NobodyListens,
    /// Several do.
    Several {
        /// Their jobs.
        jobs: Vec<String>,
    },
    /// The daemon did not answer.
    Failed {
        /// Why.
        why: String,
    },
}

impl fmt::Display for TellError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            TellError::NobodyRecords { job } => {
                write!(f, "nobody is recording {}: start listen with this job first", job.display())
            }
            TellError::NobodyListens => write!(f, "nobody is listening: start listen first"),
            TellError::Several { jobs } => {
                write!(f, "several jobs are being recorded, name one with --job: {}", jobs.join(", "))
            }
            TellError::Failed { why } => write!(f, "the daemon did not answer: {why}"),
        }
    }
}

impl std::error::Error for TellError {}
