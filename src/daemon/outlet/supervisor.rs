//! The supervisor that started the program, systemd or another that speaks its protocol, as an outlet: it hears that
//! recording has begun, how things stand, again and again that the loop turns, and that it has ended.
//!
//! Who has no supervisor has no such outlet. What is said goes out on a thread of its own, since the supervisor's socket
//! may be full; but the thread says nothing by itself: without a loop that turns it is silent, and that is the point.

use std::sync::mpsc::{SyncSender, TrySendError, sync_channel};
use std::thread::JoinHandle;
use std::time::{Duration, Instant};

use sd_notify::NotifyState;

use super::lines::wait_for;
use super::{Outlet, Shown};
use crate::book::Book;
use crate::report::live::link_words;

/// How many notes wait for a busy supervisor; a newer one says all that an older one did.
const NOTES_MAX: usize = 4;

/// Tells the supervisor.
pub struct Supervisor {
    notes: Option<SyncSender<Note>>,
    thread: Option<JoinHandle<()>>,
    /// How often it wants to hear that the loop turns, if it does.
    alive_every: Option<Duration>,
    alive_said: Option<Instant>,
    /// How things stand, as last said.
    status: String,
}

/// What is said.
enum Note {
    /// Recording goes on like this; the first says that it has begun.
    Recording { status: String },
    /// The loop turns.
    Alive,
    /// It is over.
    Ended,
}

impl Supervisor {
    /// The one that started this program, if one did.
    pub fn of_environment() -> Option<Self> {
        std::env::var_os("NOTIFY_SOCKET")?;
        let (notes, waiting) = sync_channel::<Note>(NOTES_MAX);
        let tell = move || {
            // A supervisor that does not listen any more cannot be told so.
            waiting.iter().for_each(|note| drop(sd_notify::notify(&note.states())));
        };
        let thread = std::thread::Builder::new().name("supervisor".to_owned()).spawn(tell).ok()?;
        Some(Supervisor {
            notes: Some(notes),
            thread: Some(thread),
            // Twice in the time after which it would be taken for dead.
            alive_every: sd_notify::watchdog_enabled().map(|patience| patience / 2),
            alive_said: None,
            status: String::new(),
        })
    }

    /// Whether it was taken; the next turn says it again if not.
    fn tell(&mut self, note: Note) -> bool {
        match self.notes.as_ref().map(|notes| notes.try_send(note)) {
            Some(Err(TrySendError::Full(_))) => false,
            Some(Ok(())) | Some(Err(TrySendError::Disconnected(_))) | None => true,
        }
    }
}

impl Note {
    fn states(&self) -> Vec<NotifyState<'_>> {
        match self {
            Note::Recording { status } => vec![NotifyState::Ready, NotifyState::Status(status)],
            Note::Alive => vec![NotifyState::Watchdog],
            Note::Ended => vec![NotifyState::Stopping],
        }
    }
}

impl Outlet for Supervisor {
    fn show(&mut self, _shown: &Shown<'_>) {}

    fn stands(&mut self, book: &Book, _heard_ago: Option<Duration>) {
        let now = Instant::now();
        let due = |every: Duration| self.alive_said.is_none_or(|said| now.duration_since(said) >= every);
        if self.alive_every.is_some_and(due) && self.tell(Note::Alive) {
            self.alive_said = Some(now);
        }
        let status = status(book);
        if status != self.status && self.tell(Note::Recording { status: status.clone() }) {
            self.status = status;
        }
    }

    fn end(&mut self) {
        self.tell(Note::Ended);
        self.notes = None;
        if let Some(thread) = self.thread.take() {
            wait_for(&thread);
        }
    }
}

/// One line, as `systemctl status` shows it.
fn status(book: &Book) -> String {
    let readings = book.entries().len();
    match &book.records().link {
        Some(state) => format!("{readings} readings; {}", link_words(state).1),
        None => format!("{readings} readings"),
    }
}
