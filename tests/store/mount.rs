//! A small disk of its own for a test, where root is at hand.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;

/// A mounted disk, taken away when dropped.
pub(crate) struct Disk {
    folder: tempfile::TempDir,
}

/// The kind of disk.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Kind {
    /// Memory.
    Tmpfs,
    /// An ext4 file system in a file.
    Ext4,
}

impl Disk {
    /// A disk of so many MiB; `None`, with the reason printed, where that is not possible.
    pub(crate) fn new(kind: Kind, mib: u64) -> Option<Disk> {
        let folder = tempfile::tempdir().unwrap();
        let disk = Disk { folder };
        fs::create_dir(disk.path()).unwrap();
        let made = match kind {
            Kind::Tmpfs => {
                let size = format!("size={mib}m");
                run(Command::new("mount").args(["-t", "tmpfs", "-o", &size, "tmpfs"]).arg(disk.path()))
            }
            Kind::Ext4 => {
                fs::File::create(disk.image()).and_then(|image| image.set_len(mib << 20)).unwrap();
                run(Command::new("mkfs.ext4").args(["-q", "-F", "-m", "0"]).arg(disk.image()))
                    .and_then(|()| disk.mount())
            }
        };
        match made {
            Ok(()) => Some(disk),
            Err(why) => {
                eprintln!("skipped: no {kind:?} to be had here, it needs root: {why}");
                None
            }
        }
    }

    /// Where it is mounted.
    pub(crate) fn path(&self) -> PathBuf {
        self.folder.path().join("disk")
    }

    /// A file beside it that is not on it.
    pub(crate) fn beside(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    /// Mounts an ext4 disk again.
    pub(crate) fn mount(&self) -> Result<(), String> {
        run(Command::new("mount").args(["-o", "loop"]).arg(self.image()).arg(self.path()))
    }

    /// Takes it away.
    pub(crate) fn unmount(&self) -> Result<(), String> {
        run(Command::new("umount").arg(self.path()))
    }

    fn image(&self) -> PathBuf {
        self.beside("image")
    }
}

impl Drop for Disk {
    fn drop(&mut self) {
        // Not mounted, if making it failed.
        let _ = self.unmount();
    }
}

pub(crate) fn run(command: &mut Command) -> Result<(), String> {
    let output = command.output().map_err(|error| format!("{command:?}: {error}"))?;
    let said = String::from_utf8_lossy(&output.stderr).trim().to_owned();
    if output.status.success() { Ok(()) } else { Err(said) }
}

/// Fills the disk of a folder to the last byte with a file, and gives its name.
pub(crate) fn fill(folder: &Path) -> PathBuf {
    use std::io::Write;
    let filler = folder.join("filler");
    let mut file = fs::File::options().create(true).append(true).open(&filler).unwrap();
    for size in [1 << 20, 4096, 1] {
        while file.write(&vec![0x55; size]).is_ok_and(|written| written > 0) {}
    }
    filler
}
