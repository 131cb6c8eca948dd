//! The live page: what has been kept, shown to browsers and programs over HTTP, and the commands that come back.
//!
//! It runs on a thread of its own, with books of its own that are folded from the same events, so that no client can
//! hold the recording up. It is told an event after that event was kept, never before. One page may show several
//! instruments: each has its feed, its hub, its addresses, and they share the door and the pairing.
//!
//! ```text
//! daemon ──Feed──▶ hub (book, lines, streams) ──▶ serve ──▶ guard ──▶ routes ──▶ browsers, programs
//!    ◀── Upstream: commands, older events ──────────────────────────────┘
//! ```

mod address;
mod assets;
mod feed;
mod guard;
mod hub;
mod metrics;
mod openapi;
mod pairing;
mod routes;
mod serve;
mod site;
mod stream;

use std::net::{SocketAddr, TcpListener};
use std::time::Duration;

use tokio::sync::oneshot;

use crate::book::event::Event;

pub use address::{Address, AddressError, DEFAULT_PORT};
pub use feed::Feed;

/// How many clients, how long, how much. The values are those of [`Limits::usual`].
#[derive(Clone, Copy, Debug)]
pub struct Limits {
    /// Connections at once; a further one is closed at once.
    pub connections: usize,
    /// Streams at once among them; a further one is refused with a request to come again.
    pub streams: usize,
    /// Messages that wait for one stream; beyond it the stream is cut and resumes from its last event.
    pub waiting: usize,
}

impl Limits {
    /// For a crew: each person has a tab or two, and a program may look on.
    pub const fn usual() -> Self {
        Limits { connections: 64, streams: 32, waiting: 256 }
    }
}

/// How long a client may take for the head of a request, and an idle connection may stay.
const HEAD_TIME: Duration = Duration::from_secs(10);
/// How long a client may take for the body of a request, and the page for the start of its answer.
const ANSWER_TIME: Duration = Duration::from_secs(30);
/// The largest body of a request, in bytes: a note of some pages.
const BODY_MAX: usize = 64 * 1024;
/// What the system holds of an answer that its client does not take, in bytes; Linux doubles it. Connections inherit it
/// from the listener.
#[cfg(unix)]
const SENDING_MAX: usize = 128 * 1024;
/// How often a stream says that the daemon is alive. The page's patience is three of these.
const BEAT: Duration = Duration::from_secs(2);
/// The daemon's loop turns once a second; after this long without a turn no beat is sent.
const LOOP_PATIENCE: Duration = Duration::from_secs(4);
/// Lines kept in memory for streams that resume; older ones are read from the job: some hours of work.
const BACKLOG_MAX: usize = 4096;
/// Lines that one resumption reads from the job; a stream that needs more is ended there and resumes.
const OLDER_MAX: usize = 50_000;
/// How long open connections get to finish when the page ends.
const ENDING_TIME: Duration = Duration::from_millis(500);

/// What came of a command.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Said {
    /// It was done and kept: what came of it, in words.
    Done(Vec<String>),
    /// It could not be done, and why.
    Refused(String),
    /// The words were not understood, and what would do.
    NotUnderstood(String),
}

/// What the page asks of those who started it.
pub trait Upstream: Send + Sync + 'static {
    /// Passes a command on. `None`: too many wait already, or nobody listens any more.
    fn say(&self, words: Vec<String>) -> Option<oneshot::Receiver<Said>>;

    /// Gives each kept event in order, from the first, until `each` wants no more. May wait for a disk.
    ///
    /// # Errors
    /// Why they cannot be read, in words.
    fn kept(&self, each: &mut dyn FnMut(&Event) -> Wanted) -> Result<(), String>;
}

/// Whether another event is wanted.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Wanted {
    /// Yes.
    More,
    /// No.
    Enough,
}

/// An instrument whose run the page is to show.
pub struct Instrument {
    name: String,
    upstream: Box<dyn Upstream>,
}

impl Instrument {
    /// By a name that people know it by; its address is made of the letters and digits of that name.
    pub fn new(name: impl Into<String>, upstream: impl Upstream) -> Self {
        Instrument { name: name.into(), upstream: Box::new(upstream) }
    }
}

/// A page that serves.
#[derive(Clone, Debug)]
pub struct Opened {
    /// Where it listens.
    pub address: SocketAddr,
    /// The code that lets a browser give commands.
    pub code: String,
}

impl Opened {
    /// The address for a browser on this machine, or on the network if the page listens there.
    pub fn url(&self) -> String {
        format!("http://{}/", self.reachable())
    }

    /// The address with the pairing code in its fragment, which a browser keeps to itself.
    pub fn pairing_url(&self) -> String {
        format!("http://{}/#pair={}", self.reachable(), self.code)
    }

    fn reachable(&self) -> SocketAddr {
        if self.address.ip().is_unspecified() {
            SocketAddr::new(address::own_address(self.address.ip()), self.address.port())
        } else {
            self.address
        }
    }
}

/// Starts to serve on a thread of its own; gives a feed for each instrument, in their order.
///
/// # Errors
/// The system gives no thread or no randomness.
pub fn open(
    listener: TcpListener,
    limits: Limits,
    instruments: Vec<Instrument>,
) -> Result<(Opened, Vec<Feed>), std::io::Error> {
    listener.set_nonblocking(true)?;
    #[cfg(unix)]
    rustix::net::sockopt::set_socket_send_buffer_size(&listener, SENDING_MAX)?;
    let pairing = pairing::Pairing::new()?;
    let opened = Opened { address: listener.local_addr()?, code: pairing.code().to_owned() };
    let feeds = feed::start(listener, opened.address, site::Site::new(limits, instruments), pairing)?;
    Ok((opened, feeds))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Nobody answers.
    pub(super) struct Nobody;

    impl Upstream for Nobody {
        fn say(&self, _words: Vec<String>) -> Option<oneshot::Receiver<Said>> {
            None
        }

        fn kept(&self, _each: &mut dyn FnMut(&Event) -> Wanted) -> Result<(), String> {
            Err("nothing is kept here".to_owned())
        }
    }
}
