//! Joins link, format, book, store and outlets: the one loop, and how it is started and stopped.
//!
//! ```text
//! wake ─▶ inputs ─▶ decide ─▶ append (durable) ─▶ apply ─▶ judge ─▶ append ─▶ apply ─▶ publish
//! ```
//!
//! [`Session`] is that way without any waiting: it is given what woke it and the time. [`run`] waits, for everything
//! that can wake it, and nothing else. [`attend`] runs several beside each other.

mod clock;
pub mod control;
mod desk;
mod keep;
pub mod outlet;
mod post;
mod recognise;
pub mod replay;
mod session;
pub mod words;

use std::time::Duration;

use tokio::sync::{mpsc, oneshot};

use crate::book::event::Origin;
use crate::link::{EventReceiver, Gone, LinkEvent, Stop};

pub use clock::{Clock, SystemClock};
pub use desk::{Desk, NothingKept};
pub use keep::{Keep, Kept, NotKept, Worry, fold};
pub use post::{Outcome, Post, attend};
pub use recognise::{Listener, Recognised};
pub use session::{Ending, Session, Setting};

/// How often the loop looks at silence, the disk and the clock when nothing else wakes it.
const TICK: Duration = Duration::from_secs(1);

/// The same while a record is half received, so that one which ends by silence is not late.
const TICK_IN_RECORD: Duration = Duration::from_millis(50);

/// How much of what waits on the link one turn takes, as the queue counts it: some hundred records, so that the disk is
/// waited for once for all of them, and nobody else for long.
const TURN_BYTES: usize = 16 * 1024;

/// How many commands wait; a person gives one at a time.
pub const ASKS_MAX: usize = 64;

/// Everything that can wake the loop.
#[derive(Debug)]
pub enum Wake {
    /// The link has something, in order.
    Link(Vec<LinkEvent>),
    /// The link's thread is gone: it had nothing more, or it died.
    LinkGone(Gone),
    /// A person said something.
    Ask(Ask),
    /// Time has passed.
    Tick,
    /// Somebody wants it to stop.
    Stop,
}

/// What a person said, and where the answer goes.
#[derive(Debug)]
pub struct Ask {
    /// The words of the command.
    pub words: Vec<String>,
    /// Over which way they came.
    pub by: Origin,
    /// Where the answer goes, if anybody waits for it.
    pub answer: Option<oneshot::Sender<Answer>>,
}

/// The answer to a command.
#[derive(Clone, Debug, PartialEq, Eq, serde::Serialize, serde::Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Answer {
    /// It was done and kept: what came of it, in words.
    Done(Vec<String>),
    /// It could not be done, and why.
    Refused(String),
    /// The words were not understood, and what would do.
    NotUnderstood(String),
}

/// Runs a session until its input ends or somebody wants it to stop.
///
/// The session is given everything: the link's queue, the commands, the wish to stop. While nothing can be kept the
/// link is not listened to, so that its bytes wait, in order and with their times, in the queue that is bounded for it.
pub async fn run<K: Keep>(
    session: &mut Session<K>,
    mut link: EventReceiver,
    mut asks: mpsc::Receiver<Ask>,
    stop: Stop,
) -> Ending {
    session.start();
    let mut link_open = true;
    let mut asks_open = true;
    loop {
        let tick = if session.in_record() { TICK_IN_RECORD } else { TICK };
        let wake = tokio::select! {
            biased;
            () = stop.wait() => Wake::Stop,
            ask = asks.recv(), if asks_open => match ask {
                Some(ask) => Wake::Ask(ask),
                None => { asks_open = false; continue }
            },
            events = link.recv_some(TURN_BYTES), if link_open && session.keeps() => match events {
                Ok(events) => Wake::Link(events),
                Err(gone) => { link_open = false; Wake::LinkGone(gone) }
            },
            () = tokio::time::sleep(tick) => Wake::Tick,
        };
        let stopping = matches!(wake, Wake::Stop);
        session.turn(wake);
        if stopping {
            // What the port's thread had read by now is kept too; it closes the port within a bounded time.
            while link_open {
                if !session.keeps() {
                    // The store failed meanwhile: it is tried once more before what is still to be read is given up.
                    session.turn(Wake::Stop);
                    if !session.keeps() {
                        break;
                    }
                }
                match tokio::time::timeout(TICK, link.recv_some(TURN_BYTES)).await {
                    Ok(Ok(events)) => session.turn(Wake::Link(events)),
                    Ok(Err(_)) | Err(_) => link_open = false,
                }
            }
        }
        if let Some(ending) = session.ended() {
            return ending;
        }
        // Whoever has much to hear lets the others on this thread have their turn.
        tokio::task::yield_now().await;
    }
}
