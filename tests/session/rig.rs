//! A session on the table: link, clock, store and outlets are the test's own, and time stands still unless it is told
//! to pass. So a whole run is the same every time.
//!
//! A test is a script, played beside the program's own loop. The store writes through a closure, so that a test can
//! make it slow, broken, or dishonest.

use std::cell::{Cell, RefCell};
use std::rc::Rc;
use std::sync::{Arc, LazyLock};
use std::time::Duration;

use closerun::book::event::{Body, Event, Origin};
use closerun::book::finding::FindingId;
use closerun::book::moment::Moment;
use closerun::book::reading::Heard;
use closerun::book::settings::Settings;
use closerun::book::{Book, judge};
use closerun::daemon::outlet::{Outlet, Shown};
use closerun::daemon::{
    ASKS_MAX, Answer, Ask, Clock, Ending, Keep, Kept, Listener, NotKept, Session, Setting, Worry, run,
};
use closerun::link::{EventSender, Gone, LinkEvent, LinkHandle, Simulated, Stop, queue};
use closerun::protocol::{self, Format};
use closerun::report::live::{self, Ink, Painter, What, status, status_block};
use tokio::sync::{mpsc, oneshot};
use tokio::time::Instant;

use crate::harness::crew::settings;

/// 2026-09-21T14:13:20Z: when every run here begins.
const BEGIN_US: i64 = 1_790_000_000_000_000;

/// A shipped format, read once.
pub(crate) fn shipped(name: &str) -> Arc<Format> {
    static FORMATS: LazyLock<Vec<Arc<Format>>> = LazyLock::new(|| {
        let parse = |(_, text): &(&str, &str)| Arc::new(Format::parse(text).unwrap());
        protocol::shipped().iter().map(parse).collect()
    });
    Arc::clone(FORMATS.iter().find(|format| format.name() == name).expect("a shipped format"))
}

/// A format of the test's own.
pub(crate) fn invented(text: &str) -> Arc<Format> {
    Arc::new(Format::parse(text).unwrap())
}

/// What a run begins with.
pub(crate) struct Start {
    pub(crate) settings: Settings,
    pub(crate) format: Arc<Format>,
    /// Events of an earlier run of the same job.
    pub(crate) kept: Vec<Event>,
    pub(crate) simulated: Simulated,
    pub(crate) quiet_after: Option<Duration>,
}

impl Start {
    /// A metre job that hears this shipped format.
    pub(crate) fn hearing(format: &str) -> Self {
        Start::speaking(shipped(format))
    }

    /// The same with a format of the test's own.
    pub(crate) fn speaking(format: Arc<Format>) -> Self {
        Start { settings: settings(), format, kept: Vec::new(), simulated: Simulated::No, quiet_after: None }
    }
}

/// A clock whose steady side is the runtime's, paused or not, and whose wall side can be set wrong.
#[derive(Clone)]
pub(crate) struct Hands {
    start: Instant,
    /// What passed while the loop itself was held up.
    held: Rc<Cell<Duration>>,
    stepped_us: Rc<Cell<i64>>,
}

impl Hands {
    fn new() -> Self {
        Hands { start: Instant::now(), held: Rc::default(), stepped_us: Rc::default() }
    }

    /// Time passes while the loop waits for something that is not async: a disk.
    pub(crate) fn hold(&self, time: Duration) {
        self.held.set(self.held.get() + time);
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
    fn new(events: Vec<Event>) -> Self {
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

/// Events that are kept in one go, at most.
const LATE_MAX: usize = 64;

struct Eye {
    witness: Witness,
    ledger: Ledger,
    painter: Painter,
}

impl Outlet for Eye {
    fn show(&mut self, shown: &Shown<'_>) {
        let mut seen = self.witness.0.borrow_mut();
        let kept =
            |event: &&Event| self.ledger.0.events.borrow().iter().rev().take(LATE_MAX).any(|held| held == *event);
        seen.too_soon.extend(shown.event.filter(|event| !kept(event)).map(|event| event.seq));
        seen.lines.extend_from_slice(shown.lines);
        seen.text.extend(shown.lines.iter().flat_map(|line| self.painter.paint(line)));
    }

    fn stands(&mut self, book: &Book, heard_ago: Option<Duration>) {
        let mut seen = self.witness.0.borrow_mut();
        seen.heard_ago = heard_ago;
        let simulated = if book.simulated() { "SIMULATED" } else { "" };
        seen.block = status_block(&status(book), simulated, Ink::Plain, 80);
    }

    fn trouble(&mut self) -> Option<String> {
        self.witness.0.borrow_mut().trouble.take()
    }
}

/// What a script has in its hands.
pub(crate) struct Floor {
    pub(crate) clock: Hands,
    pub(crate) ledger: Ledger,
    /// What is sent to the instrument.
    pub(crate) instrument: mpsc::Receiver<Vec<u8>>,
    pub(crate) stop: Stop,
    pub(crate) line: Line,
    asks: mpsc::Sender<Ask>,
    witness: Witness,
}

/// The port's side of the link. A clone of it may speak from within the store.
#[derive(Clone)]
pub(crate) struct Line {
    queue: Rc<RefCell<Option<EventSender>>>,
    clock: Hands,
    bytes: Rc<Cell<u64>>,
}

impl Line {
    /// Something happens on the link.
    pub(crate) fn link(&self, event: LinkEvent) {
        if let LinkEvent::Chunk { bytes, .. } = &event {
            self.bytes.set(self.bytes.get() + bytes.len() as u64);
        }
        self.queue.borrow().as_ref().expect("the link lives").push(event);
    }

    /// Bytes arrive, as one chunk, now.
    pub(crate) fn send(&self, bytes: &[u8]) {
        self.send_at(self.clock.wall(), bytes);
    }

    /// Bytes arrive with this time on them.
    pub(crate) fn send_at(&self, at: Moment, bytes: &[u8]) {
        self.link(LinkEvent::Chunk { at_us: at.us(), bytes: bytes.to_vec() });
    }

    /// The port's end of the queue, to end it otherwise than in good order.
    pub(crate) fn take(&self) -> Option<EventSender> {
        self.queue.borrow_mut().take()
    }
}

impl Floor {
    /// Another outlet dies.
    pub(crate) fn outlet_dies(&self, words: &str) {
        self.witness.0.borrow_mut().trouble = Some(words.to_owned());
    }

    /// The wall clock, as it stands.
    pub(crate) fn now(&self) -> Moment {
        self.clock.wall()
    }

    /// Time passes, and the loop does what it does meanwhile.
    pub(crate) async fn pass(&self, time: Duration) {
        tokio::time::sleep(time).await;
    }

    /// Until the loop has nothing left to do: the paused clock goes on only then.
    pub(crate) async fn settle(&self) {
        self.pass(Duration::from_nanos(1)).await;
    }

    /// Something happens on the link.
    pub(crate) fn link(&self, event: LinkEvent) {
        self.line.link(event);
    }

    /// The port is opened, and stays quiet long enough that a record can begin.
    pub(crate) async fn open(&self) {
        self.link(LinkEvent::Opened { what: "test line".to_owned(), simulated: Simulated::No });
        self.pass(Duration::from_secs(1)).await;
    }

    /// Bytes arrive, as one chunk, now.
    pub(crate) fn send(&self, bytes: &[u8]) {
        self.line.send(bytes);
    }

    /// Bytes arrive, are taken in, and a crew needs a while for the next.
    pub(crate) async fn hear(&self, bytes: &[u8]) {
        self.send(bytes);
        self.pass(Duration::from_secs(4)).await;
    }

    /// The cable is pulled.
    pub(crate) fn unplug(&self) {
        self.link(LinkEvent::Lost { why: "the cable was pulled".to_owned() });
    }

    /// A person says something, over this way.
    pub(crate) async fn say(&self, words: &str, by: Origin) -> Answer {
        let (to, answer) = oneshot::channel();
        let words = words.split_whitespace().map(str::to_owned).collect();
        self.asks.send(Ask { words, by, answer: Some(to) }).await.expect("the loop lives");
        answer.await.expect("every command is answered")
    }

    pub(crate) async fn told(&self, words: &str) {
        let answer = self.say(words, Origin::Tell).await;
        assert!(matches!(answer, Answer::Done(_)), "{words}: {answer:?}");
    }

    /// What was seen so far is forgotten.
    pub(crate) fn look_away(&self) {
        *self.witness.0.borrow_mut() = Seen::default();
    }

    pub(crate) fn seen(&self) -> Seen {
        self.witness.0.borrow().clone()
    }
}

/// What became of a run.
pub(crate) struct Done<T> {
    pub(crate) ending: Ending,
    pub(crate) closed: Result<Book, NotKept>,
    pub(crate) events: Vec<Event>,
    pub(crate) seen: Seen,
    /// Bytes that the link gave, those of earlier runs included.
    pub(crate) bytes: u64,
    /// What the script gave.
    pub(crate) gave: T,
}

/// Plays a script beside the program's own loop, then stops it as a signal would.
pub(crate) async fn play<T>(start: Start, script: impl AsyncFnOnce(&mut Floor) -> T) -> Done<T> {
    let (sender, events) = queue();
    let (asks, taken) = mpsc::channel(ASKS_MAX);
    let stop = Stop::new();
    let (handle, instrument) = LinkHandle::detached(stop.clone());
    let (clock, ledger, witness) = (Hands::new(), Ledger::new(start.kept), Witness::default());
    let mut book = Book::fold(&ledger.events());
    book.reconsider();
    let eye = Eye { witness: witness.clone(), ledger: ledger.clone(), painter: Painter::new(Ink::Plain, 80) };
    let mut session = Session::new(Setting {
        store: ledger.clone(),
        book,
        settings: start.settings,
        listener: Listener::named(start.format),
        link: handle,
        clock: Box::new(clock.clone()),
        outlets: vec![Box::new(eye)],
        simulated: start.simulated,
        quiet_after: start.quiet_after,
    });
    let bytes = ledger.events().iter().map(|event| event.raw.len() as u64).sum();
    let line =
        Line { queue: Rc::new(RefCell::new(Some(sender))), clock: clock.clone(), bytes: Rc::new(Cell::new(bytes)) };
    let mut floor = Floor { clock, ledger, instrument, stop: stop.clone(), line, asks, witness };
    let playing = async {
        let gave = script(&mut floor).await;
        stop.ask();
        if let Some(line) = floor.line.take() {
            line.end(Gone::Ended);
        }
        (gave, floor)
    };
    let (ending, (gave, floor)) = tokio::join!(run(&mut session, events, taken, stop.clone()), playing);
    let closed = session.close("the test is over");
    Done { ending, closed, events: floor.ledger.events(), seen: floor.seen(), bytes: floor.line.bytes.get(), gave }
}

impl<T> Done<T> {
    pub(crate) fn book(&self) -> &Book {
        self.closed.as_ref().expect("the run was closed in good order")
    }

    /// What holds for every run: nothing was shown before it was kept; every byte is in one event; the book folded from
    /// what was kept is the live one, and it has nothing new to say.
    pub(crate) fn sound(&self) -> Result<(), String> {
        let seen = &self.seen;
        want(seen.too_soon.is_empty(), || format!("shown before they were kept: {:?}", seen.too_soon))?;
        let numbers: Vec<u64> = self.events.iter().map(|event| event.seq).collect();
        want(numbers.iter().copied().eq(1..=self.events.len() as u64), || format!("numbers of events: {numbers:?}"))?;
        let raw: u64 = self.events.iter().map(|event| event.raw.len() as u64).sum();
        let book = self.closed.as_ref().map_err(|not| format!("not closed in good order: {}", not.cause))?;
        let sum = book.records().bytes.total();
        want((raw, sum) == (self.bytes, self.bytes), || {
            format!("{} bytes came, {raw} are kept, {sum} are counted", self.bytes)
        })?;
        let mut folded = Book::fold(&self.events);
        let told = judge(&folded);
        want(told.is_empty(), || format!("a restart would tell anew: {told:?}"))?;
        folded.settled();
        want(folded == *book, || "the folded book is not the live one".to_owned())
    }

    pub(crate) fn assert_sound(&self) {
        self.sound().unwrap();
    }

    /// What the bytes were taken for, in order.
    pub(crate) fn heard(&self) -> Vec<(&Heard, &[u8])> {
        self.events
            .iter()
            .filter_map(|event| match &event.body {
                Body::Heard { heard } => Some((heard, &event.raw[..])),
                _ => None,
            })
            .collect()
    }

    /// Digits of the readings in the book.
    pub(crate) fn digits(&self) -> Vec<String> {
        digits(&self.events)
    }

    /// How often this was announced.
    pub(crate) fn announced(&self, id: FindingId) -> usize {
        announced(&self.events, id)
    }

    /// Digits of the readings that the crew was shown, in order.
    pub(crate) fn shown(&self) -> Vec<String> {
        let digits = |line: &live::Line| match &line.what {
            What::Reading(reading) => Some(reading.staff.clone()),
            _ => None,
        };
        self.seen.lines.iter().filter_map(digits).collect()
    }
}

pub(crate) fn digits(events: &[Event]) -> Vec<String> {
    let digits = |event: &Event| match &event.body {
        Body::Heard { heard: Heard::Reading(reading) } => Some(reading.staff.digits().to_string()),
        _ => None,
    };
    events.iter().filter_map(digits).collect()
}

pub(crate) fn announced(events: &[Event], id: FindingId) -> usize {
    events.iter().filter(|event| matches!(&event.body, Body::Announced { key, .. } if key.id == id)).count()
}

pub(crate) fn is_reading(event: &Event) -> bool {
    matches!(event.body, Body::Heard { heard: Heard::Reading(_) })
}

/// A promise, or in words how it was broken.
pub(crate) fn want(kept: bool, broken: impl FnOnce() -> String) -> Result<(), String> {
    if kept { Ok(()) } else { Err(broken()) }
}

/// The planted counterpart of a check: it must turn red, and for the planted reason.
#[track_caller]
pub(crate) fn assert_red(found: Result<(), String>, because: &str) {
    match found {
        Ok(()) => panic!("the promise was broken on purpose and the check did not see it"),
        Err(why) => assert!(why.contains(because), "red for another reason: {why}"),
    }
}

/// A record of the shipped comma-separated format.
pub(crate) fn comma(number: usize, staff: &str, sight: &str) -> Vec<u8> {
    format!("R,{number},,{staff},{sight},\r\n").into_bytes()
}
