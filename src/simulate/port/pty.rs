//! A pseudo-terminal: our end is the instrument's, the other looks like a serial port.
//!
//! The other end is kept open here as well. So it can be set raw before anybody listens (or we would hear ourselves),
//! what is written while nobody listens stays, and it can be asked how much of that has not been read. A listener that
//! is killed leaves its mark of exclusive use on a terminal that stays alive, where a real port would forget it; so
//! the mark is wiped. The lock by which listeners exclude each other is not touched.

use std::fs::{self, File};
use std::io;
use std::os::fd::OwnedFd;
use std::os::unix::fs::OpenOptionsExt;
use std::path::{Path, PathBuf};
use std::time::Duration;

use rustix::fs::{OFlags, fcntl_getfl, fcntl_setfl};
use rustix::pty::{OpenptFlags, grantpt, openpt, ptsname, unlockpt};
use rustix::termios::{OptionalActions, ioctl_tiocnxcl, tcgetattr, tcsetattr};
use tokio::net::unix::pipe;
use tokio::time::timeout;

/// How often the mark of exclusive use is wiped: sooner than anybody starts a listener again.
const WIPE_EVERY: Duration = Duration::from_millis(200);
/// How often a full terminal is tried again. A listener that throws away what waits makes room, and the system tells
/// nobody.
const TRY_EVERY: Duration = Duration::from_millis(100);

/// A pseudo-terminal that nobody waits on yet.
pub(in crate::simulate) struct Pty {
    ours: OwnedFd,
    theirs: File,
    node: String,
    link: Option<Link>,
}

/// A name of the caller's choice for it; removed when dropped.
struct Link {
    path: PathBuf,
    node: PathBuf,
}

impl Pty {
    /// Makes one, and a symbolic link to it if one is wanted. A link that is there already is moved, a file is not.
    pub(in crate::simulate) fn open(link: Option<&Path>) -> io::Result<Self> {
        let ours = openpt(OpenptFlags::RDWR | OpenptFlags::NOCTTY | OpenptFlags::CLOEXEC)?;
        grantpt(&ours)?;
        unlockpt(&ours)?;
        let node = ptsname(&ours, Vec::new())?.into_string().map_err(io::Error::other)?;
        // A program without a terminal would else be given this one for its own.
        let no_terminal = OFlags::NOCTTY.bits().cast_signed();
        let theirs = File::options().read(true).write(true).custom_flags(no_terminal).open(&node)?;
        let mut settings = tcgetattr(&theirs)?;
        settings.make_raw();
        tcsetattr(&theirs, OptionalActions::Now, &settings)?;
        fcntl_setfl(&ours, fcntl_getfl(&ours)? | OFlags::NONBLOCK)?;
        let link = link.map(|link| Link::make(link, Path::new(&node))).transpose()?;
        Ok(Pty { ours, theirs, node, link })
    }

    /// The device node, by which it is registered.
    pub(in crate::simulate) fn node(&self) -> &str {
        &self.node
    }

    /// The name to open it by.
    pub(in crate::simulate) fn name(&self) -> String {
        self.link.as_ref().map_or(self.node.clone(), |link| link.path.display().to_string())
    }

    /// Ready to be read and written, inside a runtime.
    pub(in crate::simulate) fn live(self) -> io::Result<LivePty> {
        // To the reactor a pipe is a file descriptor that does not block, and so is this.
        let to_us = pipe::Receiver::from_owned_fd_unchecked(self.ours.try_clone()?)?;
        let from_us = pipe::Sender::from_owned_fd_unchecked(self.ours)?;
        Ok(LivePty { to_us, from_us, theirs: self.theirs, _link: self.link })
    }
}

/// A pseudo-terminal in use.
pub(in crate::simulate) struct LivePty {
    to_us: pipe::Receiver,
    from_us: pipe::Sender,
    theirs: File,
    _link: Option<Link>,
}

impl LivePty {
    pub(in crate::simulate) async fn read(&self, buffer: &mut [u8]) -> io::Result<usize> {
        loop {
            // The mark of a listener that was killed must be gone before the next one comes.
            let _ = ioctl_tiocnxcl(&self.theirs);
            match timeout(WIPE_EVERY, self.to_us.readable()).await {
                Ok(ready) => ready?,
                Err(_) => continue,
            }
            match self.to_us.try_read(buffer) {
                Err(error) if error.kind() == io::ErrorKind::WouldBlock => {}
                outcome => return outcome,
            }
        }
    }

    /// Writes some of the bytes; waits while the terminal holds all that it can.
    pub(in crate::simulate) async fn write(&self, bytes: &[u8]) -> io::Result<usize> {
        loop {
            let outcome = match timeout(TRY_EVERY, self.from_us.writable()).await {
                Ok(ready) => ready.and_then(|()| self.from_us.try_write(bytes)),
                Err(_) => rustix::io::write(&self.from_us, bytes).map_err(io::Error::from),
            };
            match outcome {
                Err(error) if error.kind() == io::ErrorKind::WouldBlock => {}
                outcome => return outcome,
            }
        }
    }

    /// How many bytes are known to be unread at the other end.
    pub(in crate::simulate) fn unread(&self) -> io::Result<u64> {
        Ok(rustix::io::ioctl_fionread(&self.theirs)?)
    }
}

impl Link {
    fn make(path: &Path, node: &Path) -> io::Result<Self> {
        if fs::symlink_metadata(path).is_ok_and(|found| !found.is_symlink()) {
            let why = format!("{} is there and is no link: another name was wanted", path.display());
            return Err(io::Error::new(io::ErrorKind::AlreadyExists, why));
        }
        let half = path.with_extension(format!("half-{}", std::process::id()));
        std::os::unix::fs::symlink(node, &half)?;
        fs::rename(&half, path)?;
        Ok(Link { path: path.to_owned(), node: node.to_owned() })
    }
}

impl Drop for Link {
    fn drop(&mut self) {
        // Somebody else may have moved it on.
        if fs::read_link(&self.path).is_ok_and(|leads_to| leads_to == self.node) {
            let _ = fs::remove_file(&self.path);
        }
    }
}

#[cfg(test)]
mod tests {
    use rustix::termios::{QueueSelector, tcflush};

    use super::*;

    /// Longer than a full terminal is waited for between two tries.
    const FULL: Duration = Duration::from_millis(500);

    #[tokio::test]
    async fn a_listener_that_throws_away_what_waits_makes_room() {
        let pty = Pty::open(None).unwrap().live().unwrap();
        while let Ok(written) = timeout(FULL, pty.write(&[b'x'; 4096])).await {
            written.unwrap();
        }
        tcflush(&pty.theirs, QueueSelector::IFlush).unwrap();
        let written = timeout(10 * FULL, pty.write(b"R,1\r\n")).await;
        assert!(matches!(written, Ok(Ok(5))), "{written:?}");
    }
}
