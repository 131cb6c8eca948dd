//! What the page knows, and the streams that follow it: the book, the latest lines, who listens.
//!
//! One lock. A stream is opened by taking the backlog and joining under it, so that nothing falls between.

use std::collections::VecDeque;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::{Duration, Instant};

use serde::Serialize;
use tokio::sync::{mpsc, watch};

use super::{BACKLOG_MAX, LOOP_PATIENCE, Limits, STREAM_WAITING_MAX};
use crate::book::Book;
use crate::book::event::{Body, Event};
use crate::book::finding::Priority;
use crate::report::live::{self, Line, What};
use crate::report::state::{self, Now, State};

/// A message of a stream as it goes over the wire, shared by all who get it.
pub(super) type Message = Arc<str>;

/// What a stream carries.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Carries {
    /// The lines of `--json`.
    Lines,
    /// Those, and what has changed in the state: for pages.
    Changes,
}

/// What the page knows.
pub(super) struct Hub(Mutex<Inner>);

struct Inner {
    limits: Limits,
    book: Book,
    /// The latest lines in order, one an event, without gaps.
    backlog: VecDeque<(u64, Message)>,
    /// Every reading as it was last sent.
    rows: Vec<String>,
    /// What every row depends on: the decimals shown, and how many chains of heights are tied to the datum.
    shown_by: (u8, usize),
    not_recording: Option<String>,
    plots: u64,
    streams: Vec<Stream>,
    heard: Option<Instant>,
    turned: Instant,
    ended: bool,
    counts: Counts,
}

struct Stream {
    carries: Carries,
    to: mpsc::Sender<Message>,
    cut: Cut,
}

/// Cuts a connection when told to.
#[derive(Clone)]
pub(super) struct Cut(watch::Sender<bool>);

impl Cut {
    pub(super) fn new() -> Self {
        Cut(watch::Sender::new(false))
    }

    pub(super) fn now(&self) {
        self.0.send_replace(true);
    }

    pub(super) async fn wait(&self) {
        // The sender cannot go while it is borrowed here.
        let _ = self.0.subscribe().wait_for(|cut| *cut).await;
    }
}

/// What has been counted since the page opened.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Counts {
    /// Streams that fell behind and were cut.
    pub(super) cut: u64,
    /// Requests that were not heard: foreign host, foreign origin, not paired.
    pub(super) refused: u64,
    /// Connections beyond the limit.
    pub(super) turned_away: u64,
    /// Connections that are open.
    pub(super) connections: usize,
}

/// What came of the wish for a stream.
pub(super) enum Joined {
    /// What it missed, and what comes.
    Yes(Vec<Message>, mpsc::Receiver<Message>),
    /// It missed more than the backlog holds: lines up to and with this event must be read from the job.
    ReadUpTo(u64),
    /// As many streams as may be are open.
    Full,
}

/// A change of the state, for pages.
#[derive(Serialize)]
struct Changes<'a> {
    event: u64,
    now: &'a Now,
    /// Readings that are new or have changed, by their number.
    rows: Vec<&'a serde_json::value::RawValue>,
    readings: usize,
}

#[derive(Serialize)]
struct Beat {
    event: u64,
    heard_s: Option<u64>,
}

impl Hub {
    pub(super) fn new(limits: Limits) -> Self {
        Hub(Mutex::new(Inner {
            limits,
            book: Book::new(),
            backlog: VecDeque::new(),
            rows: Vec::new(),
            shown_by: (0, 0),
            not_recording: None,
            plots: 0,
            streams: Vec::new(),
            heard: None,
            turned: Instant::now(),
            ended: false,
            counts: Counts::default(),
        }))
    }

    fn inner(&self) -> MutexGuard<'_, Inner> {
        self.0.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Takes a kept event in and sends what came of it.
    pub(super) fn keep(&self, event: &Event) {
        self.inner().keep(event);
    }

    /// Takes a whole book instead of the events that led to it. Streams are cut: they resume from the job.
    pub(super) fn take(&self, book: Book) {
        let mut inner = self.inner();
        inner.book = book;
        inner.backlog.clear();
        inner.changed_rows(1);
        inner.plots = inner.book.last_event();
        for stream in inner.streams.drain(..) {
            stream.cut.now();
        }
    }

    /// Sends lines about the recording itself, which no event holds.
    pub(super) fn notice(&self, lines: &[Line]) {
        self.inner().notice(lines);
    }

    /// The daemon's loop has turned.
    pub(super) fn turned(&self, heard_ago: Option<Duration>) {
        let mut inner = self.inner();
        let now = Instant::now();
        inner.turned = now;
        inner.heard = heard_ago.and_then(|ago| now.checked_sub(ago));
    }

    /// Says that the daemon is alive, if its loop turns.
    pub(super) fn beat(&self) {
        let mut inner = self.inner();
        if inner.turned.elapsed() < LOOP_PATIENCE {
            let beat = inner.beat();
            inner.send(&beat, None);
        }
    }

    /// Ends all streams in good order.
    pub(super) fn end(&self) {
        let mut inner = self.inner();
        inner.ended = true;
        let bye: Message = "event: ended\ndata: {}\n\n".into();
        inner.send(&bye, None);
        inner.streams.clear();
    }

    /// Opens a stream. `since` is the last event that it has seen; without one it begins now.
    pub(super) fn join(&self, carries: Carries, since: Option<u64>, cut: Cut) -> Joined {
        let mut inner = self.inner();
        inner.streams.retain(|stream| !stream.to.is_closed());
        if inner.ended || inner.streams.len() >= inner.limits.streams {
            return Joined::Full;
        }
        let last = inner.book.last_event();
        let mut first: Vec<Message> = Vec::new();
        match since {
            None => {}
            // The number of another job.
            Some(since) if since > last => first.push("event: reset\ndata: {}\n\n".into()),
            Some(since) => {
                let floor = inner.backlog.front().map_or(last, |(event, _)| event - 1);
                if since < floor {
                    return Joined::ReadUpTo(floor);
                }
                first.extend(inner.backlog.iter().filter(|(event, _)| *event > since).map(|(_, m)| Arc::clone(m)));
            }
        }
        if carries == Carries::Changes {
            first.push(message("whole", None, &inner.state()));
        }
        first.push(inner.beat());
        let (to, from) = mpsc::channel(STREAM_WAITING_MAX);
        inner.streams.push(Stream { carries, to, cut });
        Joined::Yes(first, from)
    }

    /// The whole state.
    pub(super) fn state(&self) -> State {
        self.inner().state()
    }

    /// Looks at the book.
    pub(super) fn look<T>(&self, at: impl FnOnce(&Book) -> T) -> T {
        at(&self.inner().book)
    }

    /// Counts something.
    pub(super) fn count(&self, what: impl FnOnce(&mut Counts)) {
        what(&mut self.inner().counts);
    }

    /// How many connections may be open.
    pub(super) fn limits(&self) -> Limits {
        self.inner().limits
    }

    /// For the metrics: the counts, the open streams, seconds since the instrument was heard, and whether what comes is
    /// kept.
    pub(super) fn health(&self) -> Health {
        let inner = self.inner();
        Health {
            counts: inner.counts,
            streams: inner.streams.iter().filter(|stream| !stream.to.is_closed()).count(),
            heard_s: inner.heard.map(|heard| heard.elapsed().as_secs_f64()),
            recording: inner.not_recording.is_none() && inner.turned.elapsed() < LOOP_PATIENCE,
        }
    }
}

/// How the page and the recording are.
pub(super) struct Health {
    pub(super) counts: Counts,
    pub(super) streams: usize,
    pub(super) heard_s: Option<f64>,
    pub(super) recording: bool,
}

impl Inner {
    fn keep(&mut self, event: &Event) {
        self.book.apply(event);
        if matches!(event.body, Body::RecordingResumed { .. }) {
            self.not_recording = None;
        }
        let line = line_message(&self.book, event);
        if self.backlog.len() == BACKLOG_MAX {
            self.backlog.pop_front();
        }
        self.backlog.push_back((event.seq, Arc::clone(&line)));
        self.send(&line, None);

        let tied = self.book.runs().iter().flat_map(|run| &run.chains).filter(|chain| chain.datum.is_some()).count();
        let shown_by = (self.book.decimals(), tied);
        let entered = match &event.body {
            Body::JobOpened { .. } | Body::Resettled { .. } | Body::Commanded { .. } => Entered::Anything,
            _ => Entered::AtMostHere,
        };
        let from = match (entered, self.book.current()) {
            (Entered::AtMostHere, Some((_, setup))) if shown_by == self.shown_by => {
                let sides = setup.sides.iter().map(|side| &side.shot);
                let shots = setup.back.iter().chain(&setup.fore).chain(sides);
                let first = shots.map(|shot| shot.reading).min().unwrap_or(1);
                // The setup before is looked at too: a repeat that opens none belongs to it.
                first.min(self.rows.len() as u32 + 1)
            }
            _ => 1,
        };
        self.shown_by = shown_by;
        let changed = self.changed_rows(from);
        if !changed.is_empty() {
            self.plots = event.seq;
        }
        self.send_changes(&changed);
    }

    fn notice(&mut self, lines: &[Line]) {
        for line in lines {
            if let What::Notice { priority: Priority::Hold, text } = &line.what {
                self.not_recording = Some(text.clone());
            }
            let message = message("line", None, line);
            self.send(&message, None);
        }
        self.send_changes(&[]);
    }

    /// Brings the rows up to date from a reading on; gives the numbers of those that are new or have changed.
    fn changed_rows(&mut self, from: u32) -> Vec<usize> {
        let mut changed = Vec::new();
        for number in from.max(1)..=self.book.entries().len() as u32 {
            let row = state::row(&self.book, number);
            let text = row.map_or_else(|| "null".to_owned(), |row| json(&row));
            let index = number as usize - 1;
            match self.rows.get_mut(index) {
                Some(old) if *old == text => continue,
                Some(old) => *old = text,
                None => self.rows.push(text),
            }
            changed.push(index);
        }
        self.rows.truncate(self.book.entries().len());
        changed
    }

    fn send_changes(&mut self, changed: &[usize]) {
        if !self.streams.iter().any(|stream| stream.carries == Carries::Changes) {
            return;
        }
        let now = state::now(&self.book, self.not_recording.as_deref(), self.plots);
        let row = |index: &usize| serde_json::from_str(&self.rows[*index]).expect("written by us");
        let rows = changed.iter().map(row).collect();
        let changes = Changes { event: self.book.last_event(), now: &now, rows, readings: self.rows.len() };
        let message = message("changes", None, &changes);
        self.send(&message, Some(Carries::Changes));
    }

    /// Sends to all, or only to those that carry something. Who is too far behind is cut.
    fn send(&mut self, message: &Message, only: Option<Carries>) {
        let mut cut = 0;
        self.streams.retain(|stream| {
            if only.is_some_and(|only| only != stream.carries) {
                return true;
            }
            match stream.to.try_send(Arc::clone(message)) {
                Ok(()) => true,
                Err(mpsc::error::TrySendError::Closed(_)) => false,
                Err(mpsc::error::TrySendError::Full(_)) => {
                    stream.cut.now();
                    cut += 1;
                    false
                }
            }
        });
        self.counts.cut += cut;
    }

    fn state(&self) -> State {
        state::state(&self.book, self.not_recording.as_deref(), self.plots)
    }

    fn beat(&self) -> Message {
        let heard_s = self.heard.map(|heard| heard.elapsed().as_secs());
        message("beat", None, &Beat { event: self.book.last_event(), heard_s })
    }
}

/// Which readings an event may have changed.
enum Entered {
    /// Those of the open setup, and a new one.
    AtMostHere,
    /// Any.
    Anything,
}

/// The message of a kept event: its line, or its number alone if it comes to no line.
pub(super) fn line_message(book: &Book, event: &Event) -> Message {
    match live::lines(book, event).first() {
        Some(line) => message("line", Some(event.seq), line),
        None => message("kept", Some(event.seq), &serde_json::json!({ "event": event.seq })),
    }
}

fn message(name: &str, id: Option<u64>, data: &impl Serialize) -> Message {
    let id = id.map(|id| format!("id: {id}\n")).unwrap_or_default();
    format!("{id}event: {name}\ndata: {}\n\n", json(data)).into()
}

fn json(data: &impl Serialize) -> String {
    serde_json::to_string(data).expect("plain data")
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::book::moment::Moment;
    use crate::book::reading::Heard;
    use crate::config::{Config, Given};

    /// So many kept events that no crew should see more of than a line.
    fn keep_some(hub: &Hub, from: u64, count: u64) {
        for seq in from..from + count {
            let body = Body::Heard { heard: Heard::Echo };
            hub.keep(&Event { seq, at: Moment::from_us(0), simulated: false, body, raw: Vec::new() });
        }
    }

    fn opened() -> Hub {
        let hub = Hub::new(Limits { connections: 4, streams: 2 });
        let settings = Box::new(Config::from(None, Given::default()).unwrap().settings);
        let body = Body::JobOpened { program: "test".to_owned(), settings };
        hub.keep(&Event { seq: 1, at: Moment::from_us(0), simulated: false, body, raw: Vec::new() });
        hub
    }

    fn ids(messages: impl IntoIterator<Item = Message>) -> Vec<u64> {
        let id = |message: &Message| message.strip_prefix("id: ")?.lines().next()?.parse().ok();
        messages.into_iter().filter_map(|message| id(&message)).collect()
    }

    fn drained(from: &mut mpsc::Receiver<Message>) -> Vec<Message> {
        std::iter::from_fn(|| from.try_recv().ok()).collect()
    }

    #[test]
    fn one_who_never_reads_is_cut_and_another_misses_nothing() {
        let hub = opened();
        let cut = Cut::new();
        let Joined::Yes(_, mut idle) = hub.join(Carries::Lines, None, cut.clone()) else { panic!("room for two") };
        let Joined::Yes(_, mut busy) = hub.join(Carries::Lines, None, Cut::new()) else { panic!("room for two") };
        assert!(matches!(hub.join(Carries::Lines, None, Cut::new()), Joined::Full));
        let mut got = Vec::new();
        for from in (2..602).step_by(100) {
            keep_some(&hub, from, 100);
            got.extend(ids(drained(&mut busy)));
        }
        assert_eq!(got, (2..602).collect::<Vec<_>>());
        assert!(*cut.0.borrow(), "its connection is closed");
        assert_eq!(hub.health().counts.cut, 1);
        let had = ids(drained(&mut idle));
        // It comes again with the last that it had: no gap, no repeat.
        let last = *had.last().unwrap();
        let Joined::Yes(missed, _) = hub.join(Carries::Lines, Some(last), Cut::new()) else { panic!("room again") };
        assert_eq!(had.into_iter().chain(ids(missed)).collect::<Vec<_>>(), (2..602).collect::<Vec<_>>());
    }

    #[test]
    fn what_memory_does_not_hold_is_asked_of_the_job() {
        let hub = opened();
        keep_some(&hub, 2, BACKLOG_MAX as u64 + 10);
        assert!(matches!(hub.join(Carries::Lines, Some(3), Cut::new()), Joined::ReadUpTo(11)));
        let Joined::Yes(missed, _) = hub.join(Carries::Lines, Some(11), Cut::new()) else { panic!("memory holds it") };
        assert_eq!(ids(missed).len(), BACKLOG_MAX);
    }

    #[test]
    fn a_loop_that_hangs_gives_no_beat() {
        let hub = opened();
        let Joined::Yes(_, mut from) = hub.join(Carries::Lines, None, Cut::new()) else { panic!("room") };
        hub.turned(None);
        hub.beat();
        assert_eq!(drained(&mut from).len(), 1);
        hub.inner().turned = Instant::now().checked_sub(LOOP_PATIENCE).unwrap();
        hub.beat();
        assert_eq!(drained(&mut from).len(), 0);
    }

    #[test]
    fn what_is_not_recorded_holds_until_it_is_again() {
        let hub = opened();
        let line = hub.look(|book| live::notice(book, Priority::Hold, "NOT RECORDING: disk full".to_owned()));
        hub.notice(&[line]);
        let state = hub.state();
        assert_eq!(state.now.not_recording.as_deref(), Some("NOT RECORDING: disk full"));
        assert_eq!(state.now.verdict, state::Answer::Hold);
        let body = Body::RecordingResumed { cause: "disk full".to_owned() };
        hub.keep(&Event { seq: 2, at: Moment::from_us(0), simulated: false, body, raw: Vec::new() });
        assert_eq!(hub.state().now.not_recording, None);
    }
}
