//! A TCP port of the loopback address, with a secret in a file that only this user may read.

use std::io::{self, BufRead, BufReader, Read, Write};
use std::net::{Ipv4Addr, SocketAddr, TcpStream};
use std::path::{Path, PathBuf};

use sha2::{Digest, Sha256};
use tokio::sync::mpsc;
use tokio::task::JoinHandle;

use super::exchange::{self, LINE_MAX, PATIENCE};
use crate::daemon::Ask;

/// An open door; it is taken away when dropped.
pub(super) struct Door {
    path: PathBuf,
    task: JoinHandle<()>,
}

impl Drop for Door {
    fn drop(&mut self) {
        self.task.abort();
        // What stays behind is found dead by whoever knocks next.
        let _ = std::fs::remove_file(&self.path);
    }
}

/// Opens a door whose address and secret stand in the file at `path`.
pub(super) fn open(path: &Path, job: &str, asks: mpsc::Sender<Ask>) -> io::Result<Door> {
    let listener = std::net::TcpListener::bind((Ipv4Addr::LOCALHOST, 0))?;
    listener.set_nonblocking(true)?;
    let port = listener.local_addr()?.port();
    let secret = secret();
    std::fs::write(path, format!("{port} {secret}\n"))?;
    let listener = tokio::net::TcpListener::from_std(listener)?;
    let job = job.to_owned();
    let task = tokio::spawn(async move {
        while let Ok((stream, _)) = listener.accept().await {
            // One at a time: whoever does not ask within the patience is dropped.
            exchange::serve(stream, &job, Some(&secret), &asks).await;
        }
    });
    Ok(Door { path: path.to_owned(), task })
}

/// One request and its answer.
pub(super) fn exchange(path: &Path, request: &str) -> io::Result<String> {
    let file = std::fs::read_to_string(path)?;
    let bad = || io::Error::new(io::ErrorKind::InvalidData, "not the address of a daemon");
    let (port, secret) = file.trim().split_once(' ').ok_or_else(bad)?;
    let address = SocketAddr::from((Ipv4Addr::LOCALHOST, port.parse().map_err(|_| bad())?));
    let mut stream = TcpStream::connect_timeout(&address, PATIENCE)?;
    stream.set_read_timeout(Some(PATIENCE))?;
    stream.set_write_timeout(Some(PATIENCE))?;
    stream.write_all(exchange::with_secret(request, secret).as_bytes())?;
    let mut answer = String::new();
    BufReader::new(stream.take(LINE_MAX)).read_line(&mut answer)?;
    Ok(answer)
}

/// 256 bits from the system's randomness, by way of the standard library's hash keys.
fn secret() -> String {
    use std::hash::{BuildHasher, Hasher};
    let mut digest = Sha256::new();
    for _ in 0..8 {
        digest.update(std::collections::hash_map::RandomState::new().build_hasher().finish().to_le_bytes());
    }
    digest.finalize().iter().map(|byte| format!("{byte:02x}")).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[tokio::test(flavor = "multi_thread", worker_threads = 2)]
    async fn whoever_can_read_the_file_is_heard() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("door");
        let (asks, _taken) = mpsc::channel(1);
        let _door = open(&path, "a.job", asks).unwrap();
        let ask = |request: String| {
            let path = path.clone();
            tokio::task::spawn_blocking(move || exchange(&path, &request).unwrap())
        };
        assert!(ask(exchange::who()).await.unwrap().contains("a.job"));
        let address = std::fs::read_to_string(&path).unwrap();
        std::fs::write(&path, address.replace(' ', " x")).unwrap();
        assert!(ask(exchange::who()).await.unwrap().contains("refused"));
    }
}
