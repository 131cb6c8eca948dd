//! A session on the table: link, clock, store and outlets are the test's own, and time stands still unless it is told
//! to pass. So a whole run is the same every time.
//!
//! A test is a script, played beside the program's own loop.

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
use closerun::daemon::{ASKS_MAX, Answer, Ask, Clock, Ending, Listener, NotKept, Post, Session, Setting, run};
use closerun::link::{EventSender, Gone, LinkEvent, LinkHandle, Simulated, Stop, queue};
use closerun::protocol::{self, Format};
use closerun::report::live::{self, What};
use tokio::sync::{mpsc, oneshot};

use crate::harness::crew::settings;
use crate::stand_ins::{Hands, Ledger, Seen, Witness};

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
        self.witness.outlet_dies(words);
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
        self.witness.look_away();
    }

    pub(crate) fn seen(&self) -> Seen {
        self.witness.seen()
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

/// A session with its link and its commands, and what moves them.
pub(crate) fn set_up(name: Option<&str>, start: Start, stop: &Stop) -> (Post<Ledger>, Floor) {
    let (sender, link) = queue();
    let (asks, taken) = mpsc::channel(ASKS_MAX);
    let (handle, instrument) = LinkHandle::detached(Stop::new());
    let (clock, ledger, witness) = (Hands::new(), Ledger::new(start.kept), Witness::default());
    let mut book = Book::fold(&ledger.events());
    book.reconsider();
    let session = Session::new(Setting {
        name: name.map(str::to_owned),
        store: ledger.clone(),
        book,
        settings: start.settings,
        listener: Listener::named(start.format),
        link: handle,
        clock: Box::new(clock.clone()),
        outlets: vec![Box::new(witness.eye(&ledger, name))],
        simulated: start.simulated,
        quiet_after: start.quiet_after,
    });
    let bytes = ledger.events().iter().map(|event| event.raw.len() as u64).sum();
    let line =
        Line { queue: Rc::new(RefCell::new(Some(sender))), clock: clock.clone(), bytes: Rc::new(Cell::new(bytes)) };
    let floor = Floor { clock, ledger, instrument, stop: stop.clone(), line, asks, witness };
    (Post { session, link, asks: taken }, floor)
}

/// Plays a script beside the program's own loop, then stops it as a signal would.
pub(crate) async fn play<T>(start: Start, script: impl AsyncFnOnce(&mut Floor) -> T) -> Done<T> {
    let stop = Stop::new();
    let (Post { mut session, link, asks }, mut floor) = set_up(None, start, &stop);
    let playing = async {
        let gave = script(&mut floor).await;
        stop.ask();
        if let Some(line) = floor.line.take() {
            line.end(Gone::Ended);
        }
        (gave, floor)
    };
    let (ending, (gave, floor)) = tokio::join!(run(&mut session, link, asks, stop.clone()), playing);
    Done::of(floor, ending, session.close("the test is over"), gave)
}

impl<T> Done<T> {
    pub(crate) fn of(floor: Floor, ending: Ending, closed: Result<Book, NotKept>, gave: T) -> Self {
        let bytes = floor.line.bytes.get();
        Done { ending, closed, events: floor.ledger.events(), seen: floor.seen(), bytes, gave }
    }

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
