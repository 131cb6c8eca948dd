//! The queue between a port's own thread and the loop that keeps what it heard.
//!
//! Bounded by memory. The sending side never waits to send; at the bound it is asked to stop reading its port until
//! there is room, so that the kernel and the line's own flow control hold the rest. The receiving side is async and
//! always learns how the sending side ended, a panic included.

use std::collections::VecDeque;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

use tokio::sync::Notify;

use super::{LinkEvent, Trouble};

/// The most that waits here: at 115,200 baud it takes ten minutes or more to fill, so only a stopped loop reaches it.
pub const QUEUE_MAX_BYTES: usize = 8 * 1024 * 1024;
/// The same for a source that can wait: what is not read of it is nowhere lost, so no more is read ahead than keeps the
/// loop busy, and a stop has little left to keep.
const PATIENT_MAX_BYTES: usize = 64 * 1024;
/// From here on the user hears that keeping lags behind hearing: over a minute's worth at 115,200 baud.
pub const QUEUE_WARN_BYTES: usize = 1024 * 1024;
/// What an event is counted as beside the bytes it carries: about what it takes in memory, so that a million chunks
/// of one byte are bounded too.
const EVENT_BYTES: usize = 64;

/// A new queue with nothing in it. [`super::start`] makes its own; a test of the loop makes one to speak for a port.
pub fn queue() -> (EventSender, EventReceiver) {
    let shared = Arc::new(Shared::default());
    (EventSender { shared: Arc::clone(&shared) }, EventReceiver { shared })
}

/// How the sending side ended. No event comes after it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Gone {
    /// As asked, or because nothing more can come. The port is closed.
    Ended,
    /// By a fault of its own: nobody listens any more.
    Died {
        /// What is known of it.
        why: String,
    },
}

impl std::fmt::Display for Gone {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Gone::Ended => write!(f, "listening to the port has ended"),
            Gone::Died { why } => write!(f, "listening to the port stopped by a fault of the program: {why}"),
        }
    }
}

impl std::error::Error for Gone {}

#[derive(Default)]
struct Shared {
    state: Mutex<State>,
    arrived: Notify,
    room: Notify,
    left: Notify,
}

#[derive(Default)]
struct State {
    events: VecDeque<LinkEvent>,
    held_bytes: usize,
    source: Source,
    level: Level,
    gone: Option<Gone>,
    receiver_left: bool,
}

/// Whether bytes that are not read are lost.
#[derive(Clone, Copy, Default, PartialEq, Eq)]
enum Source {
    /// Some day, when the kernel's buffer is full.
    #[default]
    Pressing,
    /// Never: they are in a file, or whoever sends them waits.
    Patient,
}

/// How full the queue is, as last said to the user.
#[derive(Clone, Copy, Default, PartialEq, Eq, PartialOrd, Ord)]
enum Level {
    #[default]
    Easy,
    Lagging,
    Full,
}

impl Shared {
    /// A panic elsewhere must not become a second one here: the state is whole between any two statements.
    fn state(&self) -> MutexGuard<'_, State> {
        self.state.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

/// What an event counts for.
fn cost(event: &LinkEvent) -> usize {
    EVENT_BYTES
        + match event {
            LinkEvent::Chunk { bytes, .. } => bytes.len(),
            LinkEvent::Opened { what, .. } | LinkEvent::Lost { why: what } | LinkEvent::Warned { what } => what.len(),
            LinkEvent::Waiting { .. } | LinkEvent::StoodStill { .. } | LinkEvent::Finished => 0,
        }
}

/// The thread's side.
pub struct EventSender {
    shared: Arc<Shared>,
}

impl EventSender {
    /// Puts an event in; never waits. A warning follows it when the queue has become longer than it should be.
    pub fn push(&self, event: LinkEvent) {
        let mut state = self.shared.state();
        state.put(event);
        let level = match state.held_bytes {
            QUEUE_MAX_BYTES.. => Level::Full,
            QUEUE_WARN_BYTES.. => Level::Lagging,
            _ => Level::Easy,
        };
        if level > state.level {
            state.level = level;
            state.put(LinkEvent::Warned { what: lag_in_words(level) });
        }
        drop(state);
        self.shared.arrived.notify_one();
    }

    /// From now on what is sent comes of a source that can wait.
    pub fn is_patient(&self) {
        self.shared.state().source = Source::Patient;
    }

    /// Waits until the queue is below its bound, or nobody reads it any more. To be asked before each read of a port.
    pub async fn room(&self) {
        loop {
            let freed = self.shared.room.notified();
            {
                let state = self.shared.state();
                if state.held_bytes < state.most_bytes() || state.receiver_left {
                    return;
                }
            }
            freed.await;
        }
    }

    /// Waits until nobody reads the queue any more.
    pub async fn abandoned(&self) {
        loop {
            let left = self.shared.left.notified();
            if self.shared.state().receiver_left {
                return;
            }
            left.await;
        }
    }

    /// Says how it ended. Dropped without this, the receiver learns that the thread died.
    pub fn end(self, gone: Gone) {
        self.shared.state().gone = Some(gone);
    }
}

impl Drop for EventSender {
    fn drop(&mut self) {
        self.shared
            .state()
            .gone
            .get_or_insert_with(|| Gone::Died { why: "its thread ended without a word".to_owned() });
        self.shared.arrived.notify_one();
    }
}

impl State {
    fn most_bytes(&self) -> usize {
        match self.source {
            Source::Pressing => QUEUE_MAX_BYTES,
            Source::Patient => PATIENT_MAX_BYTES,
        }
    }

    fn put(&mut self, event: LinkEvent) {
        self.held_bytes += cost(&event);
        self.events.push_back(event);
    }
}

fn lag_in_words(level: Level) -> String {
    match level {
        Level::Full => format!(
            "{} MiB received and not yet kept: the port is not read until some of it is; the instrument may have to \
             wait or may lose records",
            QUEUE_MAX_BYTES / 1024 / 1024
        ),
        _ => format!(
            "{} MiB received and not yet kept: the disk is slower than the instrument, up to {} MiB are held",
            QUEUE_WARN_BYTES / 1024 / 1024,
            QUEUE_MAX_BYTES / 1024 / 1024
        ),
    }
}

/// The loop's side.
pub struct EventReceiver {
    shared: Arc<Shared>,
}

impl EventReceiver {
    /// The next event, in the order in which they happened. May be dropped at any await without losing one.
    ///
    /// # Errors
    /// When all events were received and no more can come: how the sending side ended.
    pub async fn recv(&mut self) -> Result<LinkEvent, Gone> {
        let shared = Arc::clone(&self.shared);
        loop {
            let arrived = shared.arrived.notified();
            if let Some(outcome) = self.try_recv() {
                return outcome;
            }
            arrived.await;
        }
    }

    /// The same with those that wait behind it: of so many bytes, as they are counted here, and one event at least.
    ///
    /// # Errors
    /// As [`EventReceiver::recv`].
    pub async fn recv_some(&mut self, most_bytes: usize) -> Result<Vec<LinkEvent>, Gone> {
        let first = self.recv().await?;
        let mut bytes = cost(&first);
        let mut events = vec![first];
        while bytes < most_bytes
            && let Some(Ok(event)) = self.try_recv()
        {
            bytes += cost(&event);
            events.push(event);
        }
        Ok(events)
    }

    /// Waits for the first event and leaves it here: the trouble, if it is that the link could not be opened. For who
    /// gives up then rather than wait until it can be.
    pub async fn first_trouble(&mut self) -> Option<Trouble> {
        let shared = Arc::clone(&self.shared);
        loop {
            let arrived = shared.arrived.notified();
            {
                let state = shared.state();
                match state.events.front() {
                    Some(LinkEvent::Waiting { why }) => return Some(why.clone()),
                    Some(_) => return None,
                    None if state.gone.is_some() => return None,
                    None => {}
                }
            }
            arrived.await;
        }
    }

    /// The next event if one is there, or how the sending side ended; `None` if there is only waiting.
    pub fn try_recv(&mut self) -> Option<Result<LinkEvent, Gone>> {
        let mut state = self.shared.state();
        let Some(event) = state.events.pop_front() else {
            return state.gone.clone().map(Err);
        };
        let was_full = state.held_bytes >= state.most_bytes();
        state.held_bytes -= cost(&event);
        if state.held_bytes < QUEUE_WARN_BYTES / 2 {
            state.level = Level::Easy;
        }
        if was_full && state.held_bytes < state.most_bytes() {
            self.shared.room.notify_one();
        }
        Some(Ok(event))
    }

    /// How much waits here, in bytes of memory: the lag, for a status page.
    pub fn held_bytes(&self) -> usize {
        self.shared.state().held_bytes
    }
}

impl Drop for EventReceiver {
    fn drop(&mut self) {
        self.shared.state().receiver_left = true;
        self.shared.room.notify_one();
        self.shared.left.notify_one();
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn chunk(length: usize) -> LinkEvent {
        LinkEvent::Chunk { at_us: 0, bytes: vec![b'x'; length] }
    }

    #[tokio::test]
    async fn events_come_in_order_and_then_the_end() {
        let (sender, mut receiver) = queue();
        sender.push(chunk(1));
        sender.push(LinkEvent::Finished);
        sender.end(Gone::Ended);
        assert_eq!(receiver.recv().await, Ok(chunk(1)));
        assert_eq!(receiver.recv().await, Ok(LinkEvent::Finished));
        assert_eq!(receiver.recv().await, Err(Gone::Ended));
        assert_eq!(receiver.recv().await, Err(Gone::Ended));
    }

    #[tokio::test]
    async fn some_are_those_that_wait_up_to_a_bound_and_the_end_comes_behind_them() {
        let (sender, mut receiver) = queue();
        (0..5).for_each(|_| sender.push(chunk(100 - EVENT_BYTES)));
        sender.end(Gone::Ended);
        assert_eq!(receiver.recv_some(1).await.map(|events| events.len()), Ok(1));
        assert_eq!(receiver.recv_some(201).await.map(|events| events.len()), Ok(3));
        assert_eq!(receiver.recv_some(1000).await, Ok(vec![chunk(100 - EVENT_BYTES)]));
        assert_eq!(receiver.recv_some(1000).await, Err(Gone::Ended));
    }

    #[tokio::test]
    async fn the_first_trouble_is_seen_and_still_received() {
        let missing = || Trouble::Missing { what: "serial port /dev/ttyUSB9".to_owned() };
        let (sender, mut receiver) = queue();
        let (trouble, ()) = tokio::join!(receiver.first_trouble(), async {
            sender.push(LinkEvent::Waiting { why: missing() });
        });
        assert_eq!(trouble, Some(missing()));
        assert_eq!(receiver.recv().await, Ok(LinkEvent::Waiting { why: missing() }));
        sender.push(chunk(1));
        sender.push(LinkEvent::Waiting { why: missing() });
        assert_eq!(receiver.first_trouble().await, None, "only what is first");
        drop(sender);
        while receiver.recv().await.is_ok() {}
        assert_eq!(receiver.first_trouble().await, None, "how it ended is told by the next call");
    }

    #[tokio::test]
    async fn a_thread_that_dies_is_noticed_after_what_it_had_heard() {
        let (sender, mut receiver) = queue();
        let thread = std::thread::spawn(move || {
            sender.push(chunk(3));
            panic!("planted");
        });
        assert_eq!(receiver.recv().await, Ok(chunk(3)));
        assert!(matches!(receiver.recv().await, Err(Gone::Died { .. })));
        assert!(thread.join().is_err());
    }

    #[tokio::test]
    async fn it_warns_once_a_climb_and_again_only_after_it_was_nearly_empty() {
        let (sender, mut receiver) = queue();
        let count =
            |sender: &EventSender, chunks: usize| (0..chunks).for_each(|_| sender.push(chunk(4096 - EVENT_BYTES)));
        let warnings = |receiver: &mut EventReceiver| {
            std::iter::from_fn(|| receiver.try_recv())
                .filter(|event| matches!(event, Ok(LinkEvent::Warned { .. })))
                .count()
        };
        count(&sender, 255);
        assert_eq!(warnings(&mut receiver), 0);
        count(&sender, 600);
        assert_eq!(warnings(&mut receiver), 1);
        assert_eq!(receiver.held_bytes(), 0);
        count(&sender, 3000);
        assert_eq!(warnings(&mut receiver), 2, "one for lagging, one for full");
    }

    #[tokio::test(start_paused = true)]
    async fn the_sender_is_held_at_the_bound_and_freed_below_it() {
        let (sender, mut receiver) = queue();
        while receiver.held_bytes() < QUEUE_MAX_BYTES {
            sender.room().await;
            sender.push(chunk(65536));
        }
        let most = QUEUE_MAX_BYTES + 65536 + EVENT_BYTES + 512;
        assert!(receiver.held_bytes() < most, "one chunk and the warnings beyond the bound");
        let held = tokio::time::timeout(std::time::Duration::from_secs(3600), sender.room()).await;
        assert!(held.is_err(), "no room at the bound");
        let (_, ()) = tokio::join!(sender.room(), async {
            while receiver.held_bytes() >= QUEUE_MAX_BYTES {
                receiver.recv().await.unwrap();
            }
        });
    }

    #[tokio::test(start_paused = true)]
    async fn a_source_that_can_wait_is_held_much_earlier() {
        let (sender, mut receiver) = queue();
        sender.is_patient();
        sender.push(chunk(PATIENT_MAX_BYTES));
        let held = tokio::time::timeout(std::time::Duration::from_secs(3600), sender.room()).await;
        assert!(held.is_err(), "no room at the bound");
        let (_, ()) = tokio::join!(sender.room(), async { drop(receiver.recv().await) });
    }

    #[tokio::test]
    async fn a_sender_is_not_held_by_a_receiver_that_left() {
        let (sender, receiver) = queue();
        sender.push(chunk(QUEUE_MAX_BYTES));
        let (_, ()) = tokio::join!(sender.abandoned(), async { drop(receiver) });
        sender.room().await;
    }
}
