//! What stands in for the world: a clock, a store and a pair of eyes that are the test's own.
//!
//! The store writes through a closure, so that a test can make it slow, broken, or dishonest.

use std::cell::{Cell, RefCell};
use std::rc::Rc;
use std::time::Duration;

use closerun::book::event::Event;
use closerun::book::moment::Moment;
use closerun::daemon::outlet::{Outlet, Shown, Standing};
use closerun::daemon::{Clock, Keep, Kept, NotKept, Worry};
use closerun::report::live::{self, Ink, Painter, status, status_block};
use tokio::time::Instant;

use crate::rig::is_reading;

/// 2026-09-21T14:13:20Z: when every run here begins.
const BEGIN_US: i64 = 1_790_000_000_000_000;

/// A clock whose steady side is the runtime's, paused or not, and whose wall side can be set wrong.
#[derive(Clone)]
pub(crate) struct Hands {
    start: Instant,
    /// What passed while the loop itself was held up.
    held: Rc<Cell<Duration>>,
    stepped_us: Rc<Cell<i64>>,
    slept: Rc<Cell<Duration>>,
}

impl Hands {
    pub(crate) fn new() -> Self {
        Hands { start: Instant::now(), held: Rc::default(), stepped_us: Rc::default(), slept: Rc::default() }
    }

    /// Time passes while the loop waits for something that is not async: a disk.
    pub(crate) fn hold(&self, time: Duration) {
        self.held.set(self.held.get() + time);
    }

    /// The machine sleeps: all its clocks go on, and nothing else does.
    pub(crate) fn sleep(&self, time: Duration) {
        self.hold(time);
        self.slept.set(self.slept.get() + time);
    }

    /// Somebody sets the wall clock.
    pub(crate) fn step_s(&self, seconds: i64) {
        self.stepped_us.set(self.stepped_us.get() + seconds * 1_000_000);
    }
}

impl Clock for Hands {
    fn wall(&self) -> Moment {
        let steady = i64::try_from(self.steady().as_micros()).unwrap();
        Moment::from_us(BEGIN_US + steady + self.stepped_us.get())
    }

    fn steady(&self) -> Duration {
        self.start.elapsed() + self.held.get()
    }

    fn slept(&self) -> Duration {
        self.slept.get()
    }
}

/// How a store writes: the events kept so far, and those to be kept now.
pub(crate) type Write = Box<dyn FnMut(&mut Vec<Event>, &[Event]) -> Result<(), NotKept>>;

/// A store in memory, open to the test.
#[derive(Clone)]
pub(crate) struct Ledger(Rc<LedgerState>);

struct LedgerState {
    events: RefCell<Vec<Event>>,
    write: RefCell<Write>,
    /// Why nothing can be kept, as long as it cannot.
    broken: RefCell<Option<NotKept>>,
    stopped: Cell<bool>,
    worry: Cell<Option<Worry>>,
}

/// Writes as a store should.
pub(crate) fn honest() -> Write {
    Box::new(|log, events| {
        log.extend_from_slice(events);
        Ok(())
    })
}

impl Ledger {
    pub(crate) fn new(events: Vec<Event>) -> Self {
        Ledger(Rc::new(LedgerState {
            events: RefCell::new(events),
            write: RefCell::new(honest()),
            broken: RefCell::default(),
            stopped: Cell::default(),
            worry: Cell::default(),
        }))
    }

    /// What is kept now.
    pub(crate) fn events(&self) -> Vec<Event> {
        self.0.events.borrow().clone()
    }

    pub(crate) fn readings(&self) -> usize {
        self.0.events.borrow().iter().filter(|event| is_reading(event)).count()
    }

    /// From now on it writes like this.
    pub(crate) fn write_by(&self, write: Write) {
        *self.0.write.borrow_mut() = write;
    }

    /// From now on nothing can be kept.
    pub(crate) fn break_down(&self, cause: &str) {
        *self.0.broken.borrow_mut() = Some(NotKept { cause: cause.to_owned(), stops: true });
    }

    /// It could keep again, once it is asked to recover.
    pub(crate) fn mend(&self) {
        *self.0.broken.borrow_mut() = None;
    }

    pub(crate) fn worry_about(&self, worry: Worry) {
        self.0.worry.set(Some(worry));
    }
}

impl Keep for Ledger {
    fn append(&mut self, events: &[Event]) -> Result<(), NotKept> {
        if let Some(cause) = self.0.broken.borrow().clone() {
            self.0.stopped.set(cause.stops);
            return Err(cause);
        }
        assert!(!self.0.stopped.get(), "nothing is appended between a failure and a recovery");
        let written = (self.0.write.borrow_mut())(&mut self.0.events.borrow_mut(), events);
        self.0.stopped.set(written.as_ref().is_err_and(|not| not.stops));
        written
    }

    fn recover(&mut self) -> Result<Kept, NotKept> {
        match self.0.broken.borrow().clone() {
            Some(cause) => Err(cause),
            None => {
                self.0.stopped.set(false);
                Ok(Kept { fresh: None })
            }
        }
    }

    fn kept_after(&self, seq: u64) -> Result<Vec<Event>, NotKept> {
        Ok(self.0.events.borrow().iter().filter(|event| event.seq > seq).cloned().collect())
    }

    fn checkpoint(&mut self) -> Result<(), NotKept> {
        Ok(())
    }

    fn worry(&self) -> Option<Worry> {
        self.0.worry.get()
    }

    fn close(self) -> Result<(), NotKept> {
        Ok(())
    }
}

/// Sees everything that is shown, and whether it was kept by then.
#[derive(Clone, Default)]
pub(crate) struct Witness(Rc<RefCell<Seen>>);

/// What the crew saw.
#[derive(Clone, Default)]
pub(crate) struct Seen {
    pub(crate) lines: Vec<live::Line>,
    /// The same as text in a pipe.
    pub(crate) text: Vec<String>,
    /// The status block at the foot, as last drawn.
    pub(crate) block: Vec<String>,
    /// The age of what was last heard, as last drawn.
    pub(crate) heard_ago: Option<Duration>,
    /// Events shown before they were kept.
    pub(crate) too_soon: Vec<u64>,
    /// What has gone wrong with another outlet.
    trouble: Option<String>,
}

struct Eye {
    witness: Witness,
    ledger: Ledger,
    painter: Painter,
}

impl Witness {
    /// An outlet that shows to this witness what the ledger should have by then.
    pub(crate) fn eye(&self, ledger: &Ledger, name: Option<&str>) -> impl Outlet + use<> {
        let painter = Painter::new(Ink::Plain, 80);
        let painter = name.map_or(painter.clone(), |name| painter.naming(name.len()));
        Eye { witness: self.clone(), ledger: ledger.clone(), painter }
    }

    pub(crate) fn seen(&self) -> Seen {
        self.0.borrow().clone()
    }

    /// What was seen so far is forgotten.
    pub(crate) fn look_away(&self) {
        *self.0.borrow_mut() = Seen::default();
    }

    /// Another outlet dies.
    pub(crate) fn outlet_dies(&self, words: &str) {
        self.0.borrow_mut().trouble = Some(words.to_owned());
    }
}

impl Outlet for Eye {
    fn show(&mut self, shown: &Shown<'_>) {
        let mut seen = self.witness.0.borrow_mut();
        let kept = |event: &&Event| self.ledger.0.events.borrow().get(event.seq as usize - 1) == Some(*event);
        seen.too_soon.extend(shown.event.filter(|event| !kept(event)).map(|event| event.seq));
        seen.lines.extend_from_slice(shown.lines);
        seen.text.extend(shown.lines.iter().flat_map(|line| self.painter.paint(line)));
    }

    fn stands(&mut self, standing: &Standing<'_>) {
        let book = standing.book;
        let mut seen = self.witness.0.borrow_mut();
        seen.heard_ago = standing.heard_ago;
        let simulated = if book.simulated() { "SIMULATED" } else { "" };
        seen.block = status_block(&status(book), simulated, Ink::Plain, 80);
    }

    fn trouble(&mut self) -> Option<String> {
        self.witness.0.borrow_mut().trouble.take()
    }
}
