//! The hold on a job file: who has it open, and that only one writes it.
//!
//! *One writer.* The writer takes the advisory lock of the whole file (`flock`). SQLite does not use that kind of lock
//! on any local Linux file system (it uses record locks), so its readers, and its backup, come and go as they like, and
//! the kernel gives the lock back however the writer ends. No other file is needed, and a second name for the same
//! file is locked with it. Other programs are not bound by it; what they change is noticed when the next event is
//! appended.
//!
//! *The trap.* When a process closes *any* descriptor of a file, the kernel drops *all* record locks that this process
//! holds on that file, SQLite's among them; another process (with an SQLite that does not look twice) could then take
//! the log of a running job away. So each file is opened by plain calls here and nowhere else, once, and stays open until
//! the last connection of this process to it is gone.

use std::fs::{File, Metadata, OpenOptions, TryLockError};
use std::io::{self, Read, Seek};
use std::path::Path;
use std::sync::{Mutex, MutexGuard, PoisonError};

use super::fault::Fault;
use super::schema::{APPLICATION_ID, VERSION};

/// The files that this process has open.
static HELD: Mutex<Vec<Held>> = Mutex::new(Vec::new());

struct Held {
    id: FileId,
    file: File,
    users: usize,
    writer: bool,
}

/// One use of a job file by this process, given back when dropped: after the connection, never before it.
#[derive(Debug)]
pub(super) struct Hold {
    id: FileId,
    use_as: UseAs,
}

/// What the file is used for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum UseAs {
    Reader,
    Writer,
}

impl Hold {
    /// Takes hold of a job file that is there. Refuses what is no job file without touching it.
    pub(super) fn take(path: &Path, use_as: UseAs) -> Result<Hold, Fault> {
        let mut held = held();
        let id = FileId::of(&path.metadata().map_err(|error| Fault::of_io(&error, path))?);
        if let Some(known) = held.iter_mut().find(|known| known.id == id) {
            known.admit(use_as, path)?;
            return Ok(Hold { id, use_as });
        }
        let file = open(path, use_as)?;
        let id = id_of(&file, path)?;
        if held.iter().any(|known| known.id == id) {
            // Renamed to this name at this instant. Not closed: see the trap above.
            std::mem::forget(file);
            return Err(Fault::Busy);
        }
        check_header(&file, path)?;
        let mut fresh = Held { id, file, users: 0, writer: false };
        fresh.admit(use_as, path)?;
        held.push(fresh);
        Ok(Hold { id, use_as })
    }

    /// Makes an empty file and takes hold of it for writing.
    pub(super) fn create(path: &Path) -> Result<Hold, Fault> {
        let file = OpenOptions::new().read(true).write(true).create_new(true).open(path);
        // Whatever comes between leaves an empty file, which the next making takes.
        Hold::of_empty(file.map_err(|error| Fault::of_io(&error, path))?, path)
    }

    /// Takes hold for writing of an empty file that an earlier making left.
    pub(super) fn take_empty(path: &Path) -> Result<Hold, Fault> {
        Hold::of_empty(open(path, UseAs::Writer)?, path)
    }

    fn of_empty(file: File, path: &Path) -> Result<Hold, Fault> {
        let mut held = held();
        let id = id_of(&file, path)?;
        if held.iter().any(|known| known.id == id) {
            // Not closed: see the trap above.
            std::mem::forget(file);
            return Err(Fault::InUse);
        }
        let mut fresh = Held { id, file, users: 0, writer: false };
        fresh.admit(UseAs::Writer, path)?;
        // Looked at only now that nobody else can be making a job in it.
        let length = fresh.file.metadata().map_err(|error| Fault::of_io(&error, path))?.len();
        if length > 0 {
            return Err(Fault::Exists);
        }
        held.push(fresh);
        Ok(Hold { id, use_as: UseAs::Writer })
    }

    /// Whether the file that is held still begins as a job does. SQLite, asked about a file that was emptied, takes the
    /// log for a leftover and removes it.
    pub(super) fn check(&self, path: &Path) -> Result<(), Fault> {
        match held().iter().find(|known| known.id == self.id) {
            Some(known) => check_header(&known.file, path),
            None => Err(Fault::Missing),
        }
    }

    /// Which file it is, whatever its name is now.
    pub(super) fn id(&self) -> FileId {
        self.id
    }
}

impl Drop for Hold {
    fn drop(&mut self) {
        let mut held = held();
        let Some(at) = held.iter().position(|known| known.id == self.id) else { return };
        let known = &mut held[at];
        known.users -= 1;
        if self.use_as == UseAs::Writer {
            known.writer = false;
            // A failure here is put right by closing the file, below or when its last reader goes.
            let _ = known.file.unlock();
        }
        if known.users == 0 {
            held.swap_remove(at);
        }
    }
}

impl Held {
    fn admit(&mut self, use_as: UseAs, path: &Path) -> Result<(), Fault> {
        if use_as == UseAs::Writer {
            if self.writer {
                return Err(Fault::InUse);
            }
            self.file.try_lock().map_err(|error| match error {
                TryLockError::WouldBlock => Fault::InUse,
                TryLockError::Error(error) => Fault::of_io(&error, path),
            })?;
            self.writer = true;
        }
        self.users += 1;
        Ok(())
    }
}

fn held() -> MutexGuard<'static, Vec<Held>> {
    // The list is whole after each of its changes, so a panic elsewhere does not spoil it.
    HELD.lock().unwrap_or_else(PoisonError::into_inner)
}

fn open(path: &Path, use_as: UseAs) -> Result<File, Fault> {
    OpenOptions::new().read(true).write(use_as == UseAs::Writer).open(path).map_err(|error| of_folder(&error, path))
}

/// What an error of the system means, when it may come of opening a folder.
fn of_folder(error: &io::Error, path: &Path) -> Fault {
    match error.kind() {
        io::ErrorKind::IsADirectory => Fault::NotOurs { found: "a folder".into() },
        _ => Fault::of_io(error, path),
    }
}

fn id_of(file: &File, path: &Path) -> Result<FileId, Fault> {
    file.metadata().map(|metadata| FileId::of(&metadata)).map_err(|error| Fault::of_io(&error, path))
}

/// What tells one file from another, whatever they are called.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct FileId {
    device: u64,
    inode: u64,
}

impl FileId {
    #[cfg(unix)]
    pub(super) fn of(metadata: &Metadata) -> FileId {
        use std::os::unix::fs::MetadataExt;
        FileId { device: metadata.dev(), inode: metadata.ino() }
    }
}

/// The first bytes of every SQLite file, by its file format description, part 1.3.
const SQLITE: &[u8; 16] = b"SQLite format 3\0";

/// Length of the header, and where in it the two numbers stand, by the same description.
const HEADER: usize = 100;
const USER_VERSION_AT: usize = 60;
const APPLICATION_ID_AT: usize = 68;

/// Refuses a file that is no job, by its first bytes alone: SQLite itself, asked to look, might repair it.
fn check_header(file: &File, path: &Path) -> Result<(), Fault> {
    let header = read_header(file).map_err(|error| of_folder(&error, path))?;
    let number =
        |at: usize| header.get(at..at + 4).map(|four| i32::from_be_bytes([four[0], four[1], four[2], four[3]]));
    let not_ours = |found: String| Err(Fault::NotOurs { found });
    if header.is_empty() {
        return Err(Fault::Unmade);
    }
    if !header.starts_with(SQLITE) {
        return not_ours(format!(
            "a file that begins with {:?}",
            String::from_utf8_lossy(&header[..header.len().min(8)])
        ));
    }
    match (number(APPLICATION_ID_AT), number(USER_VERSION_AT)) {
        (Some(APPLICATION_ID), Some(VERSION)) => Ok(()),
        (Some(APPLICATION_ID), Some(found)) if found > VERSION => Err(Fault::Newer { found }),
        (Some(APPLICATION_ID), _) => not_ours("a job file with a damaged beginning".into()),
        (Some(other), _) => not_ours(format!("a database of another program (application id {other:#010x})")),
        (None, _) => not_ours("the first few bytes of a database".into()),
    }
}

fn read_header(mut file: &File) -> io::Result<Vec<u8>> {
    let mut header = Vec::with_capacity(HEADER);
    file.rewind()?;
    file.take(HEADER as u64).read_to_end(&mut header)?;
    Ok(header)
}
