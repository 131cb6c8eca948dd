//! A Unix socket in a folder that only this user may enter.

use std::io::{self, BufRead, BufReader, Read, Write};
use std::os::unix::fs::PermissionsExt;
use std::os::unix::net::UnixStream as Stream;
use std::path::{Path, PathBuf};

use tokio::net::UnixListener;
use tokio::sync::mpsc;
use tokio::task::JoinHandle;

use super::exchange::{self, LINE_MAX, PATIENCE};
use crate::daemon::Ask;

/// How many connections are served at once; a person has one.
const CONNECTIONS_MAX: usize = 16;

/// An open door; it is taken away when dropped.
pub(super) struct Door {
    path: PathBuf,
    task: JoinHandle<()>,
}

impl Drop for Door {
    fn drop(&mut self) {
        self.task.abort();
        // What stays behind is found dead by whoever knocks next, and replaced by the next daemon.
        let _ = std::fs::remove_file(&self.path);
    }
}

/// Opens a door at `path`. One left behind by a daemon that was killed is replaced: the job's own lock has already
/// made sure that no other daemon records this job.
pub(super) fn open(path: &Path, job: &str, asks: mpsc::Sender<Ask>) -> io::Result<Door> {
    match std::fs::remove_file(path) {
        Err(error) if error.kind() != io::ErrorKind::NotFound => return Err(error),
        _ => {}
    }
    let listener = UnixListener::bind(path)?;
    std::fs::set_permissions(path, std::fs::Permissions::from_mode(0o600))?;
    let job = job.to_owned();
    let task = tokio::spawn(async move {
        let room = std::sync::Arc::new(tokio::sync::Semaphore::new(CONNECTIONS_MAX));
        loop {
            let Ok(permit) = std::sync::Arc::clone(&room).acquire_owned().await else { return };
            let Ok((stream, _)) = listener.accept().await else { return };
            let (job, asks) = (job.clone(), asks.clone());
            tokio::spawn(async move {
                exchange::serve(stream, &job, None, &asks).await;
                drop(permit);
            });
        }
    });
    Ok(Door { path: path.to_owned(), task })
}

/// One request and its answer.
pub(super) fn exchange(path: &Path, request: &str) -> io::Result<String> {
    let mut stream = Stream::connect(path)?;
    stream.set_read_timeout(Some(PATIENCE))?;
    stream.set_write_timeout(Some(PATIENCE))?;
    stream.write_all(request.as_bytes())?;
    let mut answer = String::new();
    BufReader::new(stream.take(LINE_MAX)).read_line(&mut answer)?;
    Ok(answer)
}
