//! One job being recorded: what comes in, what is kept, what the crew sees. It never waits.
//!
//! ```text
//! turn    what woke it ─▶ what is to be kept ─┐
//! drain   ┌───────────────────────────────────┘
//!         └▶ decide ─▶ keep (durable) ─▶ apply ─▶ show ─▶ judge ─▶ keep ─▶ apply ─▶ show
//! ```
//!
//! Where much waits, `waiting` decides and judges it on a copy of the book, keeps it in one go, and then shows it.
//!
//! Nothing is shown before it is kept. When nothing can be kept, that is said at once, and what has already been taken
//! from the link waits here, in order, until the store has recovered.
//!
//! Beside the loop: `hearing` takes in what the link has, `answering` what a person says, `watch` knows when the link
//! was heard, `clocks` the time, `keeper` how it is with the store, `crew` who looks.

mod answering;
mod clocks;
mod crew;
mod hearing;
mod keeper;
mod setting;
mod waiting;
mod watch;

use std::collections::VecDeque;

use tracing::warn;

use super::Wake;
use super::keep::{Keep, NotKept};
use super::recognise::Listener;
use crate::book::event::{Body, Event};
use crate::book::finding::Priority;
use crate::book::moment::Moment;
use crate::book::settings::Settings;
use crate::book::{Book, Input, judge};
use crate::field;
use crate::link::{LinkHandle, Simulated};
use clocks::Clocks;
use crew::Crew;
use keeper::{Concern, Keeper};
use waiting::{Due, Tried, Waiting};
use watch::LinkWatch;

pub use setting::{Ending, Setting};

/// One job being recorded.
pub struct Session<K> {
    keeper: Keeper<K>,
    book: Book,
    settings: Settings,
    listener: Listener,
    link: LinkHandle,
    watch: LinkWatch,
    clocks: Clocks,
    crew: Crew,
    simulated: Simulated,
    /// What was taken from the link and is not kept yet. Bounded by what one turn takes of it, because no more is taken
    /// before.
    waiting: VecDeque<Waiting>,
    /// What could not be kept when it was last tried.
    tried: Option<Tried>,
    /// The book with what waits in it, while much waits.
    ahead: Option<Book>,
    format_told: bool,
    ending: Option<Ending>,
}

impl<K: Keep> Session<K> {
    /// A session that has not begun.
    pub fn new(setting: Setting<K>) -> Self {
        Session {
            keeper: Keeper::new(setting.store),
            book: setting.book,
            settings: setting.settings,
            listener: setting.listener,
            link: setting.link,
            watch: LinkWatch::new(setting.quiet_after),
            clocks: Clocks::new(setting.clock),
            crew: Crew::new(setting.name, setting.outlets),
            simulated: setting.simulated,
            waiting: VecDeque::new(),
            tried: None,
            ahead: None,
            format_told: false,
            ending: None,
        }
    }

    /// Opens the job, or takes it up again.
    pub fn start(&mut self) {
        let settings = Box::new(self.settings.clone());
        if !self.book.is_open() {
            let program = concat!("closerun ", env!("CARGO_PKG_VERSION")).to_owned();
            self.fact(Body::JobOpened { program, settings });
        } else if *self.book.settings() != self.settings {
            self.fact(Body::Resettled { settings });
        } else {
            self.crew.taken_up(&self.book);
        }
        self.drain();
        self.tell_what_is_due();
    }

    /// One turn: takes what woke the loop all the way.
    pub fn turn(&mut self, wake: Wake) {
        if let Some(for_s) = self.clocks.slept_s() {
            // What comes now does not continue what came before.
            self.end_of_bytes();
            self.watch.understood();
            self.input(Input::MachineSlept { for_s });
        }
        if let Some(by_ms) = self.clocks.jumped_ms() {
            self.input(Input::ClockStepped { by_ms });
        }
        match wake {
            Wake::Link(events) => self.link_events(events),
            Wake::LinkGone(gone) => self.link_gone(gone),
            Wake::Ask(ask) => self.ask(ask),
            Wake::Tick => self.nothing_came(),
            Wake::Stop => self.stop(),
        }
        self.drain();
        self.look_after();
        self.crew.stands(&self.book, self.watch.heard_ago(self.clocks.steady()));
        self.clocks.rest();
    }

    /// Whether what comes can be kept; if not, the link is not to be asked for more.
    pub fn keeps(&self) -> bool {
        self.keeper.stopped().is_none()
    }

    /// The same after one more try to go on, if nothing could be kept: for who cannot wait for the next.
    pub fn can_go_on(&mut self) -> bool {
        self.recover();
        self.keeps()
    }

    /// Whether a record is half received.
    pub fn in_record(&self) -> bool {
        self.listener.waits() || self.watch.in_record()
    }

    /// How it ended, once it has.
    pub fn ended(&self) -> Option<Ending> {
        self.ending.clone()
    }

    /// The book as it stands.
    pub fn book(&self) -> &Book {
        &self.book
    }

    /// Tells the crew of something that is no event.
    pub fn warn(&mut self, text: String) {
        self.notice(Priority::Warn, text);
    }

    /// Ends the recording and leaves one complete file.
    ///
    /// # Errors
    /// The file could not be completed.
    pub fn close(mut self, reason: &str) -> Result<Book, NotKept> {
        self.end_of_bytes();
        self.fact(Body::ListeningEnded { reason: reason.to_owned() });
        self.drain();
        if !self.keeps() {
            self.recover();
            self.drain();
        }
        let Session { keeper, book, mut crew, waiting, .. } = self;
        let stopped = keeper.stopped().cloned();
        let closed = keeper.close();
        crew.end();
        match stopped {
            None => closed.map(|()| book),
            Some(not) => {
                let heard = |waiting: &&Waiting| matches!(waiting.due, Due::Input(Input::Heard { .. }));
                let records = waiting.iter().filter(heard).count();
                let cause =
                    format!("{records} records, and what was still to be read, could not be kept: {}", not.cause);
                Err(NotKept { cause, stops: true })
            }
        }
    }

    /// Keeps what the crew must be told, then tells it.
    fn tell_what_is_due(&mut self) {
        if let Some(done) = field::conclude(&self.book) {
            self.keep_now(vec![done]);
        }
        let bodies = judge(&self.book);
        if self.keep_now(bodies) {
            self.book.settled();
        }
    }

    /// The same, now and without bytes of the instrument.
    fn keep_now(&mut self, bodies: Vec<Body>) -> bool {
        self.keep(bodies, Vec::new(), self.clocks.wall())
    }

    /// Keeps events, the first of them with its bytes, and then shows them. `false`: nothing was kept, and the crew has
    /// been told.
    fn keep(&mut self, bodies: Vec<Body>, raw: Vec<u8>, at: Moment) -> bool {
        if bodies.is_empty() {
            return true;
        }
        if !self.keeps() {
            return false;
        }
        let events = self.numbered(self.book.last_event(), at, raw, bodies);
        self.keep_events(&events)
    }

    /// These bodies as the events behind the last one, the first of them with its bytes.
    fn numbered(&self, last: u64, at: Moment, raw: Vec<u8>, bodies: Vec<Body>) -> Vec<Event> {
        let simulated = self.simulated == Simulated::Yes;
        let mut raw = Some(raw);
        let event = |(body, seq)| Event { seq, at, simulated, body, raw: raw.take().unwrap_or_default() };
        bodies.into_iter().zip(last + 1..).map(event).collect()
    }

    /// Keeps events and then shows them. `false`: none was kept, and the crew has been told.
    fn keep_events(&mut self, events: &[Event]) -> bool {
        let began = self.clocks.steady();
        if let Err(not) = self.keeper.append(events) {
            self.stop_keeping(not);
            return false;
        }
        let lag = self.keeper.kept(began, self.clocks.steady());
        if events.iter().any(|event| matches!(event.body, Body::VerdictGiven { .. })) {
            self.keeper.setup_done();
        }
        events.iter().for_each(|event| self.take_in(event));
        if let Some(text) = lag {
            self.notice(Priority::Warn, text);
        }
        true
    }

    /// Books what is kept, and shows it.
    fn take_in(&mut self, event: &Event) {
        self.book.apply(event);
        self.crew.see(&self.book, event);
    }

    /// What is not driven by the link: the store's troubles and the outlets', and what the link becomes by staying as it
    /// is.
    fn look_after(&mut self) {
        let now = self.clocks.steady();
        if self.keeper.is_due(now) {
            self.recover();
        }
        self.watch_link(now);
        match self.keeper.look(now) {
            None => {}
            Some(Concern::Tell(priority, text)) => self.notice(priority, text),
            Some(Concern::Stop(not)) => {
                self.stop_keeping(not);
                self.recover();
            }
        }
        self.drain();
        self.crew.tell_troubles(&self.book);
        if let Err(not) = self.keeper.tidy(now) {
            self.stop_keeping(not);
        }
    }

    fn stop(&mut self) {
        self.link.stop();
        self.recover();
        self.ending.get_or_insert(Ending::Good);
    }

    fn stop_keeping(&mut self, not: NotKept) {
        warn!(cause = %not.cause, "not recording");
        let text = format!("NOT RECORDING: {}; what comes is held back until it can be kept", not.cause);
        self.keeper.stop(not, self.clocks.steady());
        self.notice(Priority::Hold, text);
    }

    /// Tries to go on, if nothing could be kept.
    fn recover(&mut self) {
        let last = self.book.last_event();
        let Some((not, kept, missed)) = self.keeper.recover(last, self.clocks.steady()) else { return };
        // An append that seemed to fail was kept after all: the file is right, and it is not kept twice.
        let kept_after_all = self.tried.take().filter(|tried| Some(tried.seq) == missed.first().map(|event| event.seq));
        if let Some(tried) = kept_after_all {
            self.were_kept(tried.items);
        }
        missed.iter().for_each(|event| self.take_in(event));
        let cause = match &kept.fresh {
            Some(path) => format!("{}; recording goes on in {}", not.cause, path.display()),
            None => not.cause,
        };
        if self.book.is_open() && self.keep_now(vec![Body::RecordingResumed { cause }]) {
            self.tell_what_is_due();
        }
    }

    fn notice(&mut self, priority: Priority, text: String) {
        self.crew.notice(&self.book, priority, text);
    }
}
