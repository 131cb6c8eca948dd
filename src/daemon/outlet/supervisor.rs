//! The supervisor that started the program, systemd or another that speaks its protocol, as an outlet: it hears that
//! recording has begun, how things stand, again and again that the loop turns, and that it has ended.
//!
//! Who has no supervisor has no such outlet. Several instruments speak with one voice, which says that they live only if
//! all of them do. What is said goes out on a thread of its own, since the supervisor's socket may be full; but the thread
//! says nothing by itself: without loops that turn it is silent, and that is the point.

use std::cell::RefCell;
use std::rc::Rc;
use std::sync::mpsc::{SyncSender, TrySendError, sync_channel};
use std::thread::JoinHandle;
use std::time::{Duration, Instant};

use sd_notify::NotifyState;

use super::lines::wait_for;
use super::{Outlet, Shown, Standing};
use crate::report::live::link_words;

/// How many notes wait for a busy supervisor; a newer one says all that an older one did.
const NOTES_MAX: usize = 4;

/// Tells the supervisor of one instrument.
pub struct Supervisor {
    place: usize,
    voice: Rc<RefCell<Voice>>,
}

impl Supervisor {
    /// One for each of so many instruments, if a supervisor started this program; none otherwise.
    pub fn of_environment(instruments: usize) -> Vec<Self> {
        let Some(voice) = Voice::of_environment(instruments) else { return Vec::new() };
        let voice = Rc::new(RefCell::new(voice));
        (0..instruments).map(|place| Supervisor { place, voice: Rc::clone(&voice) }).collect()
    }
}

impl Outlet for Supervisor {
    fn show(&mut self, _shown: &Shown<'_>) {}

    fn stands(&mut self, standing: &Standing<'_>) {
        self.voice.borrow_mut().stands(self.place, status(standing));
    }

    fn end(&mut self) {
        self.voice.borrow_mut().instruments[self.place].life = Life::Over;
    }
}

/// One instrument, as the others' voice knows it.
struct Instrument {
    life: Life,
    /// How it stands; empty until it has begun.
    status: String,
}

/// Whether an instrument's loop turns.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Life {
    /// Nothing was heard of it since the last sign of life.
    Unheard,
    /// It has turned since.
    Turned,
    /// It has ended, and nothing is expected of it.
    Over,
}

/// What speaks for all instruments.
struct Voice {
    notes: Option<SyncSender<Note>>,
    thread: Option<JoinHandle<()>>,
    instruments: Vec<Instrument>,
    /// How often it wants to hear that the loops turn, if it does.
    alive_every: Option<Duration>,
    alive_said: Option<Instant>,
    /// How things stand, as last said.
    said: String,
}

/// What is said.
enum Note {
    /// Recording goes on like this; the first says that it has begun.
    Recording { status: String },
    /// The loops turn.
    Alive,
    /// It is over.
    Ended,
}

impl Voice {
    fn of_environment(instruments: usize) -> Option<Self> {
        std::env::var_os("NOTIFY_SOCKET")?;
        let (notes, waiting) = sync_channel::<Note>(NOTES_MAX);
        let tell = move || {
            // A supervisor that does not listen any more cannot be told so.
            waiting.iter().for_each(|note| drop(sd_notify::notify(&note.states())));
        };
        let thread = std::thread::Builder::new().name("supervisor".to_owned()).spawn(tell).ok()?;
        let unheard = || Instrument { life: Life::Unheard, status: String::new() };
        Some(Voice {
            notes: Some(notes),
            thread: Some(thread),
            instruments: std::iter::repeat_with(unheard).take(instruments).collect(),
            // Twice in the time after which it would be taken for dead.
            alive_every: sd_notify::watchdog_enabled().map(|patience| patience / 2),
            alive_said: None,
            said: String::new(),
        })
    }

    /// That instrument's loop has turned, and it stands like this.
    fn stands(&mut self, place: usize, status: String) {
        let turned = &mut self.instruments[place];
        (turned.life, turned.status) = (Life::Turned, status);
        if self.instruments.iter().any(|instrument| instrument.life == Life::Unheard) {
            return;
        }
        let now = Instant::now();
        let due = |every: Duration| self.alive_said.is_none_or(|said| now.duration_since(said) >= every);
        if self.alive_every.is_some_and(due) && self.tell(Note::Alive) {
            self.alive_said = Some(now);
            let living = self.instruments.iter_mut().filter(|instrument| instrument.life == Life::Turned);
            living.for_each(|instrument| instrument.life = Life::Unheard);
        }
        let statuses: Vec<&str> = self.instruments.iter().map(|instrument| &*instrument.status).collect();
        let status = statuses.join(" | ");
        if status != self.said && self.tell(Note::Recording { status: status.clone() }) {
            self.said = status;
        }
    }

    /// Whether it was taken; the next turn says it again if not.
    fn tell(&self, note: Note) -> bool {
        match self.notes.as_ref().map(|notes| notes.try_send(note)) {
            Some(Err(TrySendError::Full(_))) => false,
            Some(Ok(())) | Some(Err(TrySendError::Disconnected(_))) | None => true,
        }
    }
}

impl Drop for Voice {
    fn drop(&mut self) {
        self.tell(Note::Ended);
        self.notes = None;
        if let Some(thread) = self.thread.take() {
            wait_for(&thread);
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

/// Part of one line, as `systemctl status` shows it.
fn status(standing: &Standing<'_>) -> String {
    let lead = standing.instrument.map(|name| format!("{name}: ")).unwrap_or_default();
    let readings = standing.book.entries().len();
    let link = standing.book.records().link.as_ref().map(|state| format!("; {}", link_words(state).1));
    format!("{lead}{readings} readings{}", link.unwrap_or_default())
}
