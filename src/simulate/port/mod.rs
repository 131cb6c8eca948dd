//! Where a simulated instrument can be heard: a pseudo-terminal or a TCP port.

#[cfg(unix)]
mod pty;
mod tcp;

use std::io;
use std::path::PathBuf;
use std::time::Duration;

use tokio::time::{Instant, sleep};

/// Where to be heard.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Place {
    /// A pseudo-terminal, which listeners open like a serial port. Unix only.
    PseudoTerminal {
        /// A symbolic link to it, so that its name is known before, and stays when the cable is pulled.
        link: Option<PathBuf>,
    },
    /// A TCP port.
    Tcp {
        /// `host:port`; port 0 takes a free one.
        address: String,
    },
}

/// How often an emptying terminal is looked at.
const DRAIN_LOOK: Duration = Duration::from_millis(10);
/// So many looks in a row must find nothing: bytes on their way through the kernel are in nobody's count.
const DRAIN_LOOKS: u32 = 5;
/// How long nobody may read before what is left is given up.
const DRAIN_PATIENCE: Duration = Duration::from_secs(5);

/// A port that nobody waits on yet: it has its name, and can be moved to the thread that will.
pub(super) enum Port {
    #[cfg(unix)]
    Pty(pty::Pty),
    Tcp(tcp::Tcp),
}

impl Port {
    pub(super) fn open(place: &Place) -> io::Result<Self> {
        match place {
            #[cfg(unix)]
            Place::PseudoTerminal { link } => pty::Pty::open(link.as_deref()).map(Port::Pty),
            #[cfg(not(unix))]
            Place::PseudoTerminal { .. } => {
                let why = "there are no pseudo-terminals on this system: a TCP port was wanted";
                Err(io::Error::new(io::ErrorKind::Unsupported, why))
            }
            Place::Tcp { address } => tcp::Tcp::open(address).map(Port::Tcp),
        }
    }

    /// The name by which it is registered as simulated: the device node, or `host:port`.
    pub(super) fn registered_as(&self) -> String {
        match self {
            #[cfg(unix)]
            Port::Pty(pty) => pty.node().to_owned(),
            Port::Tcp(tcp) => tcp.address().to_string(),
        }
    }

    /// The name to open it by.
    pub(super) fn name(&self) -> String {
        match self {
            #[cfg(unix)]
            Port::Pty(pty) => pty.name(),
            Port::Tcp(tcp) => tcp.address().to_string(),
        }
    }

    /// The same place, for the next time: with the port that was taken if any was to do.
    pub(super) fn same_again(&self, place: &Place) -> Place {
        match (self, place) {
            (Port::Tcp(tcp), Place::Tcp { .. }) => Place::Tcp { address: tcp.address().to_string() },
            _ => place.clone(),
        }
    }

    /// Ready to be read and written, inside a runtime.
    pub(super) fn live(self) -> io::Result<LivePort> {
        match self {
            #[cfg(unix)]
            Port::Pty(pty) => pty.live().map(LivePort::Pty),
            Port::Tcp(tcp) => tcp.live().map(LivePort::Tcp),
        }
    }
}

/// A port in use. Reading and writing may go on side by side.
pub(super) enum LivePort {
    #[cfg(unix)]
    Pty(pty::LivePty),
    Tcp(tcp::LiveTcp),
}

/// What became of bytes that were to be written.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Written {
    /// All went out.
    All,
    /// The listener went away in the middle.
    Part(usize),
}

impl LivePort {
    /// Some bytes from the listener; waits for them.
    pub(super) async fn read(&self, buffer: &mut [u8]) -> io::Result<usize> {
        match self {
            #[cfg(unix)]
            LivePort::Pty(pty) => pty.read(buffer).await,
            LivePort::Tcp(tcp) => tcp.read(buffer).await,
        }
    }

    /// Writes all bytes, as fast as they are taken.
    pub(super) async fn write(&self, bytes: &[u8]) -> io::Result<Written> {
        let mut done = 0;
        while done < bytes.len() {
            let length = match self {
                #[cfg(unix)]
                LivePort::Pty(pty) => pty.write(&bytes[done..]).await?,
                LivePort::Tcp(tcp) => tcp.write(&bytes[done..]).await?,
            };
            if length == 0 {
                return Ok(Written::Part(done));
            }
            done += length;
        }
        Ok(Written::All)
    }

    /// How many bytes are known to be written and not read yet.
    pub(super) fn unread(&self) -> io::Result<u64> {
        match self {
            #[cfg(unix)]
            LivePort::Pty(pty) => pty.unread(),
            LivePort::Tcp(_) => Ok(0),
        }
    }

    /// Waits until all that was written has been read, as far as that can be known: closing a pseudo-terminal throws
    /// away what it holds, a connection delivers it. Returns how many bytes were given up.
    pub(super) async fn drain(&self) -> io::Result<u64> {
        match self {
            #[cfg(unix)]
            LivePort::Pty(pty) => {
                let (mut quiet, mut left, mut moved) = (0, u64::MAX, Instant::now());
                while quiet < DRAIN_LOOKS {
                    let unread = pty.unread()?;
                    quiet = if unread == 0 { quiet + 1 } else { 0 };
                    if unread != left {
                        (left, moved) = (unread, Instant::now());
                    }
                    if left > 0 && moved.elapsed() >= DRAIN_PATIENCE {
                        return Ok(left);
                    }
                    sleep(DRAIN_LOOK).await;
                }
                Ok(0)
            }
            LivePort::Tcp(_) => Ok(0),
        }
    }
}
