//! Room on the disk: how much is left, how much a job needs, and a reserve for its last events.

use std::fs::{self, File, OpenOptions};
use std::io;
use std::path::{Path, PathBuf};

use super::fault::Fault;

/// Free space below which no new job is begun: a long day of readings takes a few MiB, and the rest of the machine
/// writes too.
pub const NEW_JOB_NEEDS: u64 = 20 << 20;

/// Free space below which the crew should be warned. Common practice, no source: hours of notice, not minutes.
pub const WARN_BELOW: u64 = 200 << 20;

/// What is held back for the last events: some thousand commits of one log page each.
const RESERVE: u64 = 8 << 20;

/// Less than this is a full disk: no single page of the log fits any more.
const NONE: u64 = 64 << 10;

/// How much room a running job has.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Room {
    /// Enough.
    Plenty,
    /// Less than [`WARN_BELOW`]: so many bytes.
    Low {
        /// Bytes left.
        free: u64,
    },
    /// The disk is full, and the reserve for the last events has been given up.
    LastEvents,
}

/// Space held back while a job is recorded, given up when the disk is full.
///
/// It is a file without a name: it lies in the job's folder, cannot be seen, and goes with the process however that
/// ends.
#[derive(Debug)]
pub(super) struct Reserve {
    file: Option<File>,
}

impl Reserve {
    /// Takes the space, if there is plenty of it beside the reserve.
    pub(super) fn take(job: &Path) -> Reserve {
        let file = match free(job) {
            Ok(free) if free >= NEW_JOB_NEEDS => hold_back(job).ok(),
            _ => None,
        };
        Reserve { file }
    }

    /// Gives the space up.
    pub(super) fn give_up(&mut self) {
        self.file = None;
    }

    /// Takes the space again once there is room.
    pub(super) fn renew(&mut self, job: &Path) {
        if self.file.is_none() {
            *self = Reserve::take(job);
        }
    }

    /// How much room the job has with it.
    pub(super) fn room(&self, job: &Path) -> Room {
        match free(job) {
            Ok(free) if free < NEW_JOB_NEEDS && self.file.is_none() => Room::LastEvents,
            Ok(free) if free < WARN_BELOW => Room::Low { free },
            _ => Room::Plenty,
        }
    }
}

/// A file of [`RESERVE`] bytes in the job's folder, without a name.
fn hold_back(job: &Path) -> io::Result<File> {
    let name = beside(job, "-reserve");
    let file = OpenOptions::new().write(true).create(true).truncate(true).open(&name)?;
    fs::remove_file(&name)?;
    fill(&file)?;
    Ok(file)
}

#[cfg(target_os = "linux")]
fn fill(file: &File) -> io::Result<()> {
    Ok(rustix::fs::fallocate(file, rustix::fs::FallocateFlags::empty(), 0, RESERVE)?)
}

#[cfg(not(target_os = "linux"))]
fn fill(mut file: &File) -> io::Result<()> {
    let zeros = vec![0; RESERVE as usize];
    io::Write::write_all(&mut file, &zeros)
}

/// Bytes that this user may still write on the disk of the job's folder.
#[cfg(unix)]
fn free(job: &Path) -> io::Result<u64> {
    let disk = rustix::fs::statvfs(folder(job))?;
    Ok(disk.f_bavail.saturating_mul(disk.f_frsize))
}

/// Not known on this system: taken as plenty.
#[cfg(not(unix))]
pub fn free(_job: &Path) -> io::Result<u64> {
    Ok(u64::MAX)
}

/// Whether the disk of the job's folder is full.
pub(super) fn none_left(job: &Path) -> bool {
    free(job).is_ok_and(|free| free < NONE)
}

/// Whether the disk of the job's folder is mounted for reading only.
#[cfg(unix)]
pub(super) fn is_read_only(job: &Path) -> bool {
    rustix::fs::statvfs(folder(job)).is_ok_and(|disk| disk.f_flag.contains(rustix::fs::StatVfsMountFlags::RDONLY))
}

#[cfg(not(unix))]
pub(super) fn is_read_only(_job: &Path) -> bool {
    false
}

/// Refuses a folder in which no job should be begun.
pub(super) fn check_folder(job: &Path) -> Result<(), Fault> {
    let free = free(job).map_err(|error| Fault::of_io(&error, job))?;
    if let Some(kind) = file_system(job).and_then(network) {
        return Err(Fault::NetworkFolder { kind });
    }
    if free < NEW_JOB_NEEDS { Err(Fault::LowSpace { free }) } else { Ok(()) }
}

/// The number that Linux gives the kind of file system.
#[cfg(target_os = "linux")]
fn file_system(job: &Path) -> Option<u64> {
    rustix::fs::statfs(folder(job)).ok().map(|disk| disk.f_type as u64)
}

#[cfg(not(target_os = "linux"))]
fn file_system(_job: &Path) -> Option<u64> {
    None
}

/// The name of a file system that reaches over a network: its locks and its shared memory cannot be relied upon.
/// Numbers from statfs(2).
fn network(kind: u64) -> Option<&'static str> {
    Some(match kind & 0xffff_ffff {
        0x6969 => "NFS",
        0x517b | 0xfe53_4d42 => "SMB",
        0xff53_4d42 => "CIFS",
        0x0102_1997 => "9P",
        0x5346_414f => "AFS",
        0x00c3_6400 => "Ceph",
        _ => return None,
    })
}

/// The folder that a file lies in.
pub(super) fn folder(file: &Path) -> &Path {
    match file.parent() {
        Some(folder) if !folder.as_os_str().is_empty() => folder,
        _ => Path::new("."),
    }
}

/// Forces the name of a new file to the disk: a file that is safe under no name is lost.
pub(super) fn sync_folder(file: &Path) -> Result<(), Fault> {
    // Not on Windows, where a folder cannot be opened and its names are kept by the file system itself.
    if cfg!(unix) {
        let folder = File::open(folder(file)).map_err(|error| Fault::of_io(&error, file))?;
        folder.sync_all().map_err(|error| Fault::Sync { what: error.to_string() })?;
    }
    Ok(())
}

/// The name of a file beside the job: `tower.job` and `-wal` give `tower.job-wal`.
pub(super) fn beside(job: &Path, ending: &str) -> PathBuf {
    let mut name = job.as_os_str().to_owned();
    name.push(ending);
    PathBuf::from(name)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn network_folders_are_told_from_disks() {
        assert_eq!(network(0x6969), Some("NFS"));
        assert_eq!(network(0xffff_ffff_ff53_4d42), Some("CIFS"), "a sign that was carried along does not matter");
        for local in [0xef53, 0x0102_1994, 0x9123_683e, 0x5846_5342] {
            assert_eq!(network(local), None, "{local:x}");
        }
    }

    #[test]
    fn the_reserve_takes_space_and_no_name() {
        let folder = tempfile::tempdir().unwrap();
        let job = folder.path().join("a.job");
        let mut reserve = Reserve::take(&job);
        assert_eq!(fs::read_dir(folder.path()).unwrap().count(), 0);
        let blocks = reserve.file.as_ref().unwrap().metadata().unwrap();
        assert_eq!(std::os::unix::fs::MetadataExt::blocks(&blocks) * 512, RESERVE);
        reserve.give_up();
        assert!(reserve.file.is_none());
    }

    #[test]
    fn names_beside_a_job() {
        assert_eq!(beside(Path::new("a/tower.job"), "-wal"), Path::new("a/tower.job-wal"));
        assert_eq!(folder(Path::new("tower.job")), Path::new("."));
    }
}
