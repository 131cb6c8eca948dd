//! Which ports are simulated: a directory of this user's, with one small file a port for as long as its simulator
//! lives.
//!
//! A pseudo-terminal looks like a port, and a simulated shot like a real one. So whoever starts a simulator registers
//! its port here before anybody can know its name, and whoever opens a port asks here. A file left by a simulator that
//! was killed does not count, for its process is gone: it is known by its number and by when it began.
//!
//! It knows this user's simulators on this machine, and no others.

use std::fs;
use std::io;
use std::net::SocketAddr;
use std::path::PathBuf;

use serde::{Deserialize, Serialize};

use super::host;

/// The largest entry that is read: a port, a number and a name.
const ENTRY_MAX_BYTES: u64 = 4096;

/// The directory.
#[derive(Clone, Debug)]
pub struct Registry {
    dir: PathBuf,
}

/// A registered port; dropped, it is registered no more.
#[derive(Debug)]
pub struct Registration {
    file: PathBuf,
}

/// One registered port.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Entry {
    /// The device node with all links resolved, or `host:port`.
    pub port: String,
    /// What is simulated there, in words.
    pub what: String,
    /// The simulator's process.
    pub pid: u32,
    /// When that process began, in the system's own ticks.
    pub began: u64,
}

impl Registry {
    /// This user's.
    pub fn of_user() -> Self {
        Registry::at(host::runtime_dir().join("simulated"))
    }

    /// One in a directory of the caller's choice.
    pub fn at(dir: PathBuf) -> Self {
        Registry { dir }
    }

    /// Registers `port` as simulated by this process: a device node with all links resolved, or `host:port`.
    ///
    /// # Errors
    /// When the directory cannot be made, is not this user's alone, or cannot be written to.
    pub fn register(&self, port: &str, what: &str) -> io::Result<Registration> {
        host::private_dir(&self.dir)?;
        let pid = std::process::id();
        let began = host::process_began(pid).unwrap_or(0);
        let entry = Entry { port: port.to_owned(), what: what.to_owned(), pid, began };
        let file = self.dir.join(file_name(port));
        let half = self.dir.join(format!("{}.{pid}.half", file_name(port)));
        fs::write(&half, serde_json::to_vec(&entry)?)?;
        fs::rename(&half, &file)?;
        Ok(Registration { file })
    }

    /// The entry of `port`, if it is simulated now.
    pub fn entry(&self, port: &str) -> Option<Entry> {
        self.read(&self.dir.join(file_name(port))).filter(|entry| entry.port == port)
    }

    /// Whether `port` is simulated now.
    pub fn holds(&self, port: &str) -> bool {
        self.entry(port).is_some()
    }

    /// Whether the other end of a connection is simulated now. A simulator that listens on every address of this
    /// machine is found by any of them.
    pub(super) fn holds_connection(&self, peer: SocketAddr, local: SocketAddr) -> bool {
        let same_machine = peer.ip().is_loopback() || peer.ip() == local.ip();
        let everywhere = ["0.0.0.0", "[::]"].map(|any| format!("{any}:{}", peer.port()));
        self.holds(&peer.to_string()) || (same_machine && everywhere.iter().any(|port| self.holds(port)))
    }

    /// All ports that are simulated now, by name.
    pub fn entries(&self) -> Vec<Entry> {
        let files = fs::read_dir(&self.dir).into_iter().flatten().flatten().map(|entry| entry.path());
        let mut entries: Vec<Entry> = files
            .filter(|file| file.extension().is_some_and(|e| e == "json"))
            .filter_map(|file| self.read(&file))
            .collect();
        entries.sort_by(|a, b| a.port.cmp(&b.port));
        entries
    }

    /// Reads an entry whose process lives.
    fn read(&self, file: &PathBuf) -> Option<Entry> {
        if fs::metadata(file).ok()?.len() > ENTRY_MAX_BYTES {
            return None;
        }
        let entry: Entry = serde_json::from_slice(&fs::read(file).ok()?).ok()?;
        (host::process_began(entry.pid) == Some(entry.began)).then_some(entry)
    }
}

impl Drop for Registration {
    fn drop(&mut self) {
        // Should it stay, it stops counting with the process all the same.
        let _ = fs::remove_file(&self.file);
    }
}

/// A file name for a port. Two ports may share one; the entry itself says whose it is.
fn file_name(port: &str) -> String {
    let name: String =
        port.chars().map(|c| if c.is_ascii_alphanumeric() || matches!(c, '.' | '-') { c } else { '_' }).collect();
    format!("{name}.json")
}

#[cfg(test)]
mod tests {
    use super::*;

    fn registry() -> (tempfile::TempDir, Registry) {
        let dir = tempfile::tempdir().unwrap();
        let registry = Registry::at(dir.path().join("simulated"));
        (dir, registry)
    }

    #[test]
    fn a_port_is_simulated_while_its_registration_lives() {
        let (_dir, registry) = registry();
        assert!(!registry.holds("/dev/pts/3"));
        let registration = registry.register("/dev/pts/3", "a level").unwrap();
        assert!(registry.holds("/dev/pts/3"));
        assert!(!registry.holds("/dev/pts_3"), "shares the file name");
        assert_eq!(registry.entries().len(), 1);
        drop(registration);
        assert!(!registry.holds("/dev/pts/3"));
        assert_eq!(registry.entries(), []);
    }

    #[test]
    fn an_entry_of_a_process_that_is_gone_does_not_count() {
        let (dir, registry) = registry();
        let _registration = registry.register("/dev/pts/3", "a level").unwrap();
        let file = dir.path().join("simulated").join(file_name("/dev/pts/3"));
        let mut entry = registry.entry("/dev/pts/3").unwrap();
        entry.began += 1; // the number was given to another process since
        fs::write(&file, serde_json::to_vec(&entry).unwrap()).unwrap();
        assert!(!registry.holds("/dev/pts/3"));
        fs::write(&file, "not an entry").unwrap();
        assert!(!registry.holds("/dev/pts/3"));
    }

    #[test]
    fn a_simulator_on_every_address_is_known_by_any_of_this_machine() {
        let (_dir, registry) = registry();
        let _registration = registry.register("0.0.0.0:4001", "a level").unwrap();
        let address = |text: &str| text.parse::<SocketAddr>().unwrap();
        assert!(registry.holds_connection(address("127.0.0.1:4001"), address("127.0.0.1:50000")));
        assert!(registry.holds_connection(address("10.0.0.5:4001"), address("10.0.0.5:50000")));
        assert!(!registry.holds_connection(address("10.0.0.9:4001"), address("10.0.0.5:50000")));
        assert!(!registry.holds_connection(address("127.0.0.1:4002"), address("127.0.0.1:50000")));
    }
}
