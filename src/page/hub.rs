//! What the page knows of one instrument: the book, the latest lines, and those who follow it.
//!
//! One lock. A stream is opened by taking the backlog and joining under it, so that nothing falls between.

use std::collections::VecDeque;
use std::sync::{Mutex, MutexGuard, PoisonError};
use std::time::{Duration, Instant};

use serde::Serialize;
use tokio::sync::mpsc;

use super::site::Brief;
use super::stream::{Carries, Cut, For, Message, Streams, json, message};
use super::{BACKLOG_MAX, LOOP_PATIENCE};
use crate::book::Book;
use crate::book::event::{Body, Command, Event};
use crate::book::finding::Priority;
use crate::book::reading::Heard;
use crate::report::live::{self, Line, What};
use crate::report::state::{self, Now, Saying, State};

/// What the page knows of one instrument.
pub(super) struct Hub(Mutex<Inner>);

struct Inner {
    slug: String,
    name: String,
    book: Book,
    /// The latest lines in order, one an event, without gaps.
    backlog: VecDeque<(u64, Message)>,
    /// Every reading as it was last sent.
    rows: Vec<String>,
    /// What every row depends on: the decimals shown, and how many chains of heights are tied to the datum.
    shown_by: (u8, usize),
    not_recording: Option<String>,
    plots: u64,
    streams: Streams,
    heard: Option<Instant>,
    /// When the last reading came; none if it came before this program began.
    read: Option<Instant>,
    turned: Instant,
    ended: bool,
}

/// What came of the wish for a stream.
pub(super) enum Joined {
    /// What it missed, and what comes.
    Yes(Vec<Message>, mpsc::Receiver<Message>),
    /// It missed more than the backlog holds: lines up to and with this event must be read from the job.
    ReadUpTo(u64),
    /// The recording has ended: nothing more will come.
    Ended,
}

/// A change of the state, for pages.
#[derive(Serialize)]
struct Changes<'a> {
    event: u64,
    now: &'a Now,
    /// Readings that are new or have changed.
    rows: Vec<&'a serde_json::value::RawValue>,
    readings: usize,
    /// What people said, if somebody just said something.
    #[serde(skip_serializing_if = "Option::is_none")]
    said: Option<Vec<Saying>>,
}

#[derive(Serialize)]
struct Beat<'a> {
    instrument: &'a str,
    event: u64,
    heard_s: Option<u64>,
    reading_s: Option<u64>,
}

impl Hub {
    pub(super) fn new(slug: String, name: String) -> Self {
        Hub(Mutex::new(Inner {
            slug,
            name,
            book: Book::new(),
            backlog: VecDeque::new(),
            rows: Vec::new(),
            shown_by: (0, 0),
            not_recording: None,
            plots: 0,
            streams: Streams::default(),
            heard: None,
            read: None,
            turned: Instant::now(),
            ended: false,
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
        inner.streams.cut_all();
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
        if !inner.ended && inner.turned.elapsed() < LOOP_PATIENCE {
            let beat = inner.beat();
            inner.streams.send(For::All, &beat);
        }
    }

    /// Ends all streams in good order.
    pub(super) fn end(&self) {
        let mut inner = self.inner();
        if std::mem::replace(&mut inner.ended, true) {
            return;
        }
        let slug = &inner.slug;
        let bye = message("ended", None, &serde_json::json!({ "instrument": slug }));
        inner.streams.send(For::All, &bye);
        inner.streams.end();
    }

    /// Opens a stream on which so many messages may wait. `since` is the last event that it has seen; without one it
    /// begins now.
    pub(super) fn join(&self, carries: Carries, since: Option<u64>, waiting: usize, cut: Cut) -> Joined {
        let mut inner = self.inner();
        if inner.ended {
            return Joined::Ended;
        }
        let last = inner.book.last_event();
        let mut first: Vec<Message> = Vec::new();
        match since {
            None => {}
            // The number of another job.
            Some(since) if since > last => first.push(message("reset", None, &serde_json::json!({}))),
            Some(since) => {
                let floor = inner.backlog.front().map_or(last, |(event, _)| event - 1);
                if since < floor {
                    return Joined::ReadUpTo(floor);
                }
                first.extend(inner.backlog.iter().filter(|(event, _)| *event > since).map(|(_, m)| m.clone()));
            }
        }
        if carries == Carries::Changes {
            first.push(message("whole", None, &inner.state()));
        }
        first.push(inner.beat());
        let (to, from) = mpsc::channel(waiting);
        inner.streams.add(carries, to, cut);
        Joined::Yes(first, from)
    }

    /// Adds this instrument to a stream of the overview; gives what it sends first.
    pub(super) fn join_overview(&self, to: mpsc::Sender<Message>, cut: Cut) -> [Message; 2] {
        let mut inner = self.inner();
        let first = [message("instrument", None, &inner.brief()), inner.beat()];
        if !inner.ended {
            inner.streams.add(Carries::Overview, to, cut);
        }
        first
    }

    /// The whole state.
    pub(super) fn state(&self) -> State {
        self.inner().state()
    }

    /// The state in short.
    pub(super) fn brief(&self) -> Brief {
        self.inner().brief()
    }

    /// Looks at the book.
    pub(super) fn look<T>(&self, at: impl FnOnce(&Book) -> T) -> T {
        at(&self.inner().book)
    }

    /// For the metrics.
    pub(super) fn health(&self) -> Health {
        let inner = self.inner();
        let turning = !inner.ended && inner.turned.elapsed() < LOOP_PATIENCE;
        Health {
            cut: inner.streams.fell_behind(),
            heard_s: inner.heard.map(|heard| heard.elapsed().as_secs_f64()),
            recording: inner.not_recording.is_none() && turning,
        }
    }
}

/// How the recording is.
pub(super) struct Health {
    /// Streams that fell behind and were cut.
    pub(super) cut: u64,
    /// Seconds since the instrument was heard.
    pub(super) heard_s: Option<f64>,
    /// What comes is kept and the loop turns.
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
        self.backlog.push_back((event.seq, line.clone()));
        self.streams.send(For::Lines, &line);
        if is_reading(&event.body) {
            self.read = Some(Instant::now());
        }

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
        let said = matches!(event.body, Body::Commanded { .. }).then(|| state::said(&self.book));
        self.send_changes(&changed, said);
    }

    fn notice(&mut self, lines: &[Line]) {
        for line in lines {
            if let What::Notice { priority: Priority::Hold, text } = &line.what {
                self.not_recording = Some(text.clone());
            }
            let message = message("line", None, line);
            self.streams.send(For::Lines, &message);
        }
        self.send_changes(&[], None);
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

    fn send_changes(&mut self, changed: &[usize], said: Option<Vec<Saying>>) {
        if self.streams.any(For::Changes) {
            let now = self.now();
            let row = |index: &usize| serde_json::from_str(&self.rows[*index]).expect("written by us");
            let rows = changed.iter().map(row).collect();
            let event = self.book.last_event();
            let changes =
                message("changes", None, &Changes { event, now: &now, rows, readings: self.rows.len(), said });
            self.streams.send(For::Changes, &changes);
        }
        if self.streams.any(For::Overview) {
            let brief = message("instrument", None, &self.brief());
            self.streams.send(For::Overview, &brief);
        }
    }

    fn now(&self) -> Now {
        state::now(&self.book, self.not_recording.as_deref(), self.plots)
    }

    fn state(&self) -> State {
        state::state(&self.book, self.not_recording.as_deref(), self.plots)
    }

    fn brief(&self) -> Brief {
        let heard_s = self.heard.map(|heard| heard.elapsed().as_secs());
        Brief { instrument: self.slug.clone(), name: self.name.clone(), heard_s, now: self.now() }
    }

    fn beat(&self) -> Message {
        let seconds = |since: Option<Instant>| since.map(|since| since.elapsed().as_secs());
        let beat = Beat {
            instrument: &self.slug,
            event: self.book.last_event(),
            heard_s: seconds(self.heard),
            reading_s: seconds(self.read),
        };
        message("beat", None, &beat)
    }
}

fn is_reading(body: &Body) -> bool {
    matches!(body, Body::Heard { heard: Heard::Reading(_) } | Body::Commanded { command: Command::KeyIn { .. }, .. })
}

/// Which readings an event may have changed.
enum Entered {
    /// Those of the open setup, and a new one.
    AtMostHere,
    /// Any.
    Anything,
}

/// The message of a kept event: its lines, or its number alone if it comes to none. The number stands with the last of
/// the lines, so that a stream which breaks between them brings all of them again.
pub(super) fn line_message(book: &Book, event: &Event) -> Message {
    let lines = live::lines(book, event);
    let Some((last, before)) = lines.split_last() else {
        return message("kept", Some(event.seq), &serde_json::json!({ "event": event.seq }));
    };
    let last = message("line", Some(event.seq), last);
    if before.is_empty() {
        return last;
    }
    let before: Vec<Message> = before.iter().map(|line| message("line", None, line)).collect();
    [before.concat(), last.to_vec()].concat().into()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::book::moment::Moment;
    use crate::config::{Config, Given};

    /// Messages that may wait.
    const WAITING: usize = 256;

    /// So many kept events that no crew should see more of than a line.
    fn keep_some(hub: &Hub, from: u64, count: u64) {
        for seq in from..from + count {
            let body = Body::Heard { heard: Heard::Echo };
            hub.keep(&Event { seq, at: Moment::from_us(0), simulated: false, body, raw: Vec::new() });
        }
    }

    fn opened() -> Hub {
        let hub = Hub::new("level".to_owned(), "Level".to_owned());
        let settings = Box::new(Config::of(Given::default()).unwrap().settings);
        let body = Body::JobOpened { program: "test".to_owned(), settings };
        hub.keep(&Event { seq: 1, at: Moment::from_us(0), simulated: false, body, raw: Vec::new() });
        hub
    }

    fn ids(messages: impl IntoIterator<Item = Message>) -> Vec<u64> {
        let id = |message: &Message| text(message).strip_prefix("id: ")?.lines().next()?.parse().ok();
        messages.into_iter().filter_map(|message| id(&message)).collect()
    }

    fn text(message: &Message) -> &str {
        std::str::from_utf8(message).unwrap()
    }

    fn drained(from: &mut mpsc::Receiver<Message>) -> Vec<Message> {
        std::iter::from_fn(|| from.try_recv().ok()).collect()
    }

    fn joined(hub: &Hub, since: Option<u64>, cut: Cut) -> (Vec<Message>, mpsc::Receiver<Message>) {
        match hub.join(Carries::Lines, since, WAITING, cut) {
            Joined::Yes(missed, from) => (missed, from),
            Joined::ReadUpTo(_) | Joined::Ended => panic!("a stream of what memory holds"),
        }
    }

    #[test]
    fn one_who_never_reads_is_cut_and_another_misses_nothing() {
        let hub = opened();
        let cut = Cut::new();
        let (_, mut idle) = joined(&hub, None, cut.clone());
        let (_, mut busy) = joined(&hub, None, Cut::new());
        let mut got = Vec::new();
        for from in (2..602).step_by(100) {
            keep_some(&hub, from, 100);
            got.extend(ids(drained(&mut busy)));
        }
        assert_eq!(got, (2..602).collect::<Vec<_>>());
        assert!(cut.was_made(), "its connection is closed");
        assert_eq!(hub.health().cut, 1);
        let had = ids(drained(&mut idle));
        // It comes again with the last that it had: no gap, no repeat.
        let (missed, _) = joined(&hub, had.last().copied(), Cut::new());
        assert_eq!(had.into_iter().chain(ids(missed)).collect::<Vec<_>>(), (2..602).collect::<Vec<_>>());
    }

    #[test]
    fn what_memory_does_not_hold_is_asked_of_the_job() {
        let hub = opened();
        keep_some(&hub, 2, BACKLOG_MAX as u64 + 10);
        assert!(matches!(hub.join(Carries::Lines, Some(3), WAITING, Cut::new()), Joined::ReadUpTo(11)));
        let (missed, _) = joined(&hub, Some(11), Cut::new());
        assert_eq!(ids(missed).len(), BACKLOG_MAX);
    }

    #[test]
    fn a_loop_that_hangs_gives_no_beat() {
        let hub = opened();
        let (_, mut from) = joined(&hub, None, Cut::new());
        hub.turned(None);
        hub.beat();
        assert_eq!(drained(&mut from).len(), 1);
        hub.inner().turned = Instant::now().checked_sub(LOOP_PATIENCE).unwrap();
        hub.beat();
        assert_eq!(drained(&mut from).len(), 0);
    }

    #[test]
    fn the_overview_hears_how_it_stands_and_when_it_ends() {
        let hub = opened();
        let (to, mut from) = mpsc::channel(8);
        let first = hub.join_overview(to, Cut::new());
        let wanted = "event: instrument\ndata: {\"instrument\":\"level\",\"name\":\"Level\"";
        assert!(text(&first[0]).starts_with(wanted), "{}", text(&first[0]));
        keep_some(&hub, 2, 1);
        hub.end();
        let names: Vec<_> =
            drained(&mut from).iter().filter_map(|m| text(m).lines().next().map(str::to_owned)).collect();
        assert_eq!(names, ["event: instrument", "event: ended"]);
        assert!(matches!(hub.join(Carries::Lines, None, WAITING, Cut::new()), Joined::Ended));
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
