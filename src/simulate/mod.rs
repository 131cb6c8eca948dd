//! A simulated instrument: heard on a pseudo-terminal or a TCP port like a real one, in any record format.
//!
//! It is there so that a demonstration, a test and an integrator need no instrument. What it sends is made in three
//! steps that know nothing of each other: a [`scene`] turns true heights into readings with the errors of a real
//! level; the format turns readings into bytes; and the instrument itself sends the bytes, at the speed of its line,
//! with faults on demand, and answers acknowledgements, commands and polls as the format says. Everything left to
//! chance comes from a seed.
//!
//! Whoever starts one must say where it is registered as simulated, before anybody can open it: see [`Register`].

mod act;
mod ear;
mod instrument;
mod port;
mod rng;
pub mod scene;
mod voice;
mod wire;

use std::any::Any;
use std::io;
use std::thread::JoinHandle;

use tokio::sync::{mpsc, watch};

pub use act::{Act, Answers, Frame, Rates, SILENCE, Spoil, strew};
pub use ear::{Echo, Manners, Speaks, Told};
pub use instrument::Tempo;
pub use port::Place;
pub use rng::Chance;
pub use voice::Voice;
pub use wire::Wire;

/// Scripts that wait to be taken up; a script may be as long as it likes.
const SCRIPTS_MAX_WAITING: usize = 64;

/// Registers a port (a device node, or `host:port`) as simulated for as long as what it returns lives. Asked before the
/// port's name is told to anybody, and again whenever the cable was pulled and a new port took its place; an error
/// ends the instrument.
pub type Register = Box<dyn FnMut(&str) -> io::Result<Box<dyn Any + Send>> + Send>;

/// What happens at an instrument, for whoever watches it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Seen<'s> {
    /// After the cable was pulled it can be heard again, under this name.
    At(&'s str),
    /// It sent this.
    Sent {
        /// The bytes, as far as they went out.
        bytes: &'s [u8],
        /// What they are.
        sort: Sort,
    },
    /// It has done all its acts.
    Idle,
}

/// What was sent.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Sort {
    /// A record.
    Record,
    /// A record with changed bytes.
    Damaged,
    /// The beginning of a record.
    Truncated,
    /// The same record a second time, unasked.
    Repeated,
    /// The same record again, for want of a good answer.
    Again,
    /// Several records in one go.
    Burst,
    /// Bytes that belong to no record.
    Noise,
    /// The state, as asked.
    Status,
    /// What the listener said.
    Echo,
}

/// What an instrument has done, counted.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Tally {
    /// Bytes that went out.
    pub bytes: u64,
    /// Whole records, those in bursts included, repetitions not.
    pub records: u64,
    /// Records with changed bytes.
    pub damaged: u64,
    /// Records without their end.
    pub truncated: u64,
    /// Records sent a second time, unasked.
    pub repeated: u64,
    /// Records sent again for want of a good answer.
    pub again: u64,
    /// Good answers.
    pub acknowledged: u64,
    /// Records given up without a good answer.
    pub unanswered: u64,
    /// Times that several records were sent in one go.
    pub bursts: u64,
    /// Times that noise was sent.
    pub noise: u64,
    /// Times that the state was sent as asked.
    pub states: u64,
    /// Times that the cable was pulled.
    pub unplugged: u64,
    /// Times that a listener went away in the middle of something.
    pub cut_off: u64,
    /// Bytes that went out and were never read.
    pub undelivered: u64,
}

/// How an instrument is made.
pub struct Make {
    /// Where it is heard.
    pub place: Place,
    /// How fast it speaks.
    pub tempo: Tempo,
    /// How it behaves.
    pub manners: Manners,
    /// What it says of its state when asked, to begin with.
    pub status: Option<Frame>,
    /// Chance for damage and noise.
    pub seed: u64,
}

/// An instrument at work on a thread of its own. Dropped, it stops at once.
#[derive(Debug)]
pub struct Instrument {
    port: String,
    acts: mpsc::Sender<Vec<Act>>,
    status: watch::Sender<Option<Frame>>,
    stop: watch::Sender<bool>,
    thread: JoinHandle<io::Result<Tally>>,
}

/// Starts an instrument. Its port is there and registered when this returns.
///
/// # Errors
/// When the port cannot be made or registered, or the thread not started.
pub fn start(
    make: Make,
    mut register: Register,
    observe: impl FnMut(Seen<'_>) + Send + 'static,
) -> io::Result<Instrument> {
    let port = port::Port::open(&make.place)?;
    let guard = register(&port.registered_as())?;
    let name = port.name();
    let (acts, acts_to_do) = mpsc::channel(SCRIPTS_MAX_WAITING);
    let (status, status_now) = watch::channel(make.status);
    let (stop, stop_asked) = watch::channel(false);
    let work = instrument::Work {
        place: make.place,
        tempo: make.tempo,
        manners: make.manners,
        status: status_now,
        acts: acts_to_do,
        stop: stop_asked,
        chance: Chance::seeded(make.seed),
        busy: false,
        register,
        observe: Box::new(observe),
    };
    let on_thread = move || {
        let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build()?;
        runtime.block_on(instrument::work(work, port, guard))
    };
    let thread = std::thread::Builder::new().name("instrument".to_owned()).spawn(on_thread)?;
    Ok(Instrument { port: name, acts, status, stop, thread })
}

/// Why a script was not taken.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum NotTaken {
    /// Too many scripts wait already.
    Busy,
    /// The instrument has ended; [`Instrument::finish`] says why.
    Ended,
}

impl std::fmt::Display for NotTaken {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            NotTaken::Busy => write!(f, "the simulated instrument has {SCRIPTS_MAX_WAITING} scripts to do already"),
            NotTaken::Ended => write!(f, "the simulated instrument has ended"),
        }
    }
}

impl std::error::Error for NotTaken {}

impl Instrument {
    /// The name to open it by: a path, or `host:port`.
    pub fn port(&self) -> &str {
        &self.port
    }

    /// Gives it more to do, behind what it has.
    ///
    /// # Errors
    /// When it cannot take it.
    pub fn play(&self, acts: Vec<Act>) -> Result<(), NotTaken> {
        self.acts.try_send(acts).map_err(|error| match error {
            mpsc::error::TrySendError::Full(_) => NotTaken::Busy,
            mpsc::error::TrySendError::Closed(_) => NotTaken::Ended,
        })
    }

    /// Waits until it has ended, as it does when its port fails; [`Instrument::finish`] then says why.
    pub async fn ended(&self) {
        self.acts.closed().await;
    }

    /// Changes what it says of its state when asked.
    pub fn set_status(&self, status: Frame) {
        self.status.send_replace(Some(status));
    }

    /// Lets it do what it was given, waits until that was read, closes its port. Blocks; a listener that never reads is
    /// waited for 5 s.
    ///
    /// # Errors
    /// When its port failed.
    pub fn finish(self) -> io::Result<Tally> {
        let Instrument { acts, stop, thread, .. } = self;
        drop(acts);
        let tally = joined(thread);
        drop(stop);
        tally
    }

    /// Ends it at once, as by pulling the cable.
    ///
    /// # Errors
    /// When its port had failed.
    pub fn stop(self) -> io::Result<Tally> {
        self.stop.send_replace(true);
        joined(self.thread)
    }
}

fn joined(thread: JoinHandle<io::Result<Tally>>) -> io::Result<Tally> {
    thread.join().unwrap_or_else(|_| Err(io::Error::other("the thread of the simulated instrument panicked")))
}
