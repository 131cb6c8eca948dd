//! One job being recorded: what comes in, what is kept, what the crew sees. It never waits.
//!
//! Nothing is shown before it is kept. When nothing can be kept, that is said at once, and what has already been taken
//! from the link waits here, in order, until the store has recovered.

use std::collections::VecDeque;
use std::time::Duration;

use tracing::{debug, info, warn};

use super::clock::Clock;
use super::keep::{Keep, Kept, NotKept, Worry};
use super::outlet::{Outlet, Shown};
use super::recognise::Listener;
use super::words::{self, Spoken};
use super::{Answer, Ask, Wake};
use crate::book::event::{Body, Event, LinkState};
use crate::book::finding::Priority;
use crate::book::moment::Moment;
use crate::book::reading::Heard;
use crate::book::settings::Settings;
use crate::book::{Book, Input, decide, judge};
use crate::field;
use crate::link::{Gone, LinkEvent, LinkHandle, Simulated, TroubleKind};
use crate::protocol::Piece;
use crate::report::live::{self, Line};

/// How long after a failure the store is tried again.
const RECOVER_EVERY: Duration = Duration::from_secs(2);
/// How often the place of the job file is looked at.
const LOOK_EVERY: Duration = Duration::from_secs(2);
/// Idle for this long, the log is written into the job file.
const CHECKPOINT_AFTER: Duration = Duration::from_secs(1);
/// Bytes without a record for this long are told as such.
const BABBLE_AFTER: Duration = Duration::from_secs(3);
/// At least so many bytes, so that a few stray ones at opening are not told.
const BABBLE_BYTES: usize = 32;
/// How many of them are shown.
const BABBLE_SAMPLE: usize = 16;
/// A disk that takes longer than this to keep something makes the crew see it late, and that is told.
const DISK_SLOW: Duration = Duration::from_secs(1);
/// A disagreement of the two clocks beyond this is a jump; below it is the slow correction that all machines make.
const CLOCK_STEP: Duration = Duration::from_secs(2);

/// What a session is given.
pub struct Setting<K> {
    /// Where events are kept.
    pub store: K,
    /// The book that the kept events come to.
    pub book: Book,
    /// What the job is to be set to.
    pub settings: Settings,
    /// Bytes to records.
    pub listener: Listener,
    /// The way back to the instrument.
    pub link: LinkHandle,
    /// The time.
    pub clock: Box<dyn Clock>,
    /// Where the crew looks and hears.
    pub outlets: Vec<Box<dyn Outlet>>,
    /// Whether the instrument is known to be a simulated one.
    pub simulated: Simulated,
    /// Silence after which the link is said to be quiet.
    pub quiet_after: Option<Duration>,
    /// What to do about a port that cannot be opened at the start.
    pub at_start: AtStart,
}

/// What to do about a port that cannot be opened at the start.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum AtStart {
    /// Wait for it.
    Wait,
    /// End with the reason: somebody has just typed its name.
    GiveUp,
}

/// How a session ended.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Ending {
    /// In good order, everything kept.
    Good,
    /// The link could not be opened at the start.
    NoLink {
        /// Why, with what to do.
        why: String,
    },
    /// Something could not be kept, or the link's thread died.
    Bad {
        /// What.
        why: String,
    },
}

/// Something that was taken in and waits to be kept.
struct Waiting {
    due: Due,
    reply: Option<Vec<u8>>,
    /// The number of the event that it would have become when it could not be kept.
    tried_as: Option<u64>,
}

/// What is to be kept.
enum Due {
    /// What the rules make of it.
    Input(Input),
    /// As it stands.
    Fact(Body),
}

/// How the disk keeps up, as last told.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Disk {
    Prompt,
    Slow,
}

/// One job being recorded.
pub struct Session<K> {
    store: Option<K>,
    book: Book,
    settings: Settings,
    listener: Listener,
    link: LinkHandle,
    clock: Box<dyn Clock>,
    outlets: Vec<Box<dyn Outlet>>,
    simulated: bool,
    quiet_after: Option<Duration>,
    at_start: AtStart,
    /// What was taken from the link and is not kept yet. Bounded by one chunk of it, because no other is taken before.
    waiting: VecDeque<Waiting>,
    not_keeping: Option<NotKept>,
    link_words: String,
    format_told: bool,
    ever_opened: bool,
    heard_at: Option<Duration>,
    babble: Babble,
    /// When each poll of the format was last sent.
    polled: Vec<Duration>,
    last_try: Duration,
    last_look: Duration,
    last_kept: Option<Duration>,
    worry: Option<Worry>,
    disk: Disk,
    clocks: Option<(Moment, Duration)>,
    /// The two clocks at the start, by which the decoder's time is told.
    began: (Moment, Duration),
    /// The decoder's time of the last bytes, and when they were taken in.
    last_bytes: Option<(Moment, Duration)>,
    ending: Option<Ending>,
}

/// Bytes since the last record.
#[derive(Default)]
struct Babble {
    since: Option<Duration>,
    bytes: usize,
    sample: Vec<u8>,
}

impl<K: Keep> Session<K> {
    /// A session that has not begun.
    pub fn new(setting: Setting<K>) -> Self {
        Session {
            began: (setting.clock.wall(), setting.clock.steady()),
            last_bytes: None,
            disk: Disk::Prompt,
            store: Some(setting.store),
            book: setting.book,
            settings: setting.settings,
            listener: setting.listener,
            link: setting.link,
            clock: setting.clock,
            outlets: setting.outlets,
            simulated: setting.simulated == Simulated::Yes,
            quiet_after: setting.quiet_after,
            at_start: setting.at_start,
            waiting: VecDeque::new(),
            not_keeping: None,
            link_words: String::new(),
            format_told: false,
            ever_opened: false,
            heard_at: None,
            babble: Babble::default(),
            polled: Vec::new(),
            last_try: Duration::ZERO,
            last_look: Duration::ZERO,
            last_kept: None,
            worry: None,
            clocks: None,
            ending: None,
        }
    }

    /// Opens the job, or takes it up again.
    pub fn start(&mut self) {
        self.clocks = Some((self.clock.wall(), self.clock.steady()));
        let settings = Box::new(self.settings.clone());
        if !self.book.is_open() {
            let program = concat!("closerun ", env!("CARGO_PKG_VERSION")).to_owned();
            self.fact(Body::JobOpened { program, settings });
        } else if *self.book.settings() != self.settings {
            self.fact(Body::Resettled { settings });
        } else {
            self.show(&[live::taken_up(&self.book)]);
        }
        self.drain();
        self.tell_what_is_due();
    }

    /// Tells the crew of something that is no event.
    pub fn warn(&mut self, text: String) {
        self.notice(Priority::Warn, text);
    }

    /// Whether what comes can be kept; if not, the link is not to be asked for more.
    pub fn keeps(&self) -> bool {
        self.not_keeping.is_none()
    }

    /// Whether a record is half received.
    pub fn in_record(&self) -> bool {
        self.babble.since.is_some()
    }

    /// How it ended, once it has.
    pub fn ended(&self) -> Option<Ending> {
        self.ending.clone()
    }

    /// The book as it stands.
    pub fn book(&self) -> &Book {
        &self.book
    }

    /// One turn: takes what woke the loop all the way.
    pub fn turn(&mut self, wake: Wake) {
        self.watch_clocks();
        match wake {
            Wake::Link(event) => self.link_event(event),
            Wake::LinkGone(gone) => self.link_gone(gone),
            Wake::Ask(ask) => self.ask(ask),
            Wake::Tick => self.tick(),
            Wake::Stop => {
                self.link.stop();
                if !self.keeps() {
                    self.recover();
                }
                self.ending.get_or_insert(Ending::Good);
            }
        }
        self.drain();
        self.show_status();
    }

    /// Ends the recording and leaves one complete file.
    ///
    /// # Errors
    /// The file could not be completed.
    pub fn close(mut self, reason: &str) -> Result<Book, NotKept> {
        let mut pieces = Vec::new();
        self.listener.closed(&mut pieces);
        self.hear(self.clock.wall(), pieces);
        self.fact(Body::ListeningEnded { reason: reason.to_owned() });
        self.drain();
        if !self.keeps() {
            self.recover();
            self.drain();
        }
        let store = self.store.take().expect("a session is closed once");
        let closed = store.close();
        for outlet in &mut self.outlets {
            outlet.end();
        }
        if let Some(not) = self.not_keeping {
            let heard = |waiting: &&Waiting| matches!(waiting.due, Due::Input(Input::Heard { .. }));
            let waiting = self.waiting.iter().filter(heard).count();
            return Err(NotKept {
                cause: format!("{waiting} records, and what was still to be read, could not be kept: {}", not.cause),
                stops: true,
            });
        }
        closed.map(|()| self.book)
    }

    fn link_event(&mut self, event: LinkEvent) {
        match event {
            LinkEvent::Opened { what, simulated } => {
                self.simulated |= simulated == Simulated::Yes;
                info!(link = %what, "link open");
                self.link_words = what;
                self.heard_at = Some(self.clock.steady());
                let mut pieces = Vec::new();
                self.listener.opened(self.even(self.clock.wall()), &mut pieces);
                self.hear(self.clock.wall(), pieces);
                self.tell_format();
                if self.ever_opened || self.book.records().link.is_some() {
                    self.input(Input::Link(LinkState::Open));
                }
                self.ever_opened = true;
                self.say_hello();
            }
            LinkEvent::Chunk { at_us, bytes } => {
                debug!(bytes = bytes.len(), "chunk");
                let now = self.clock.steady();
                self.heard_at = Some(now);
                self.babble.since.get_or_insert(now);
                self.babble.bytes += bytes.len();
                let room = BABBLE_SAMPLE.saturating_sub(self.babble.sample.len()).min(bytes.len());
                self.babble.sample.extend_from_slice(&bytes[..room]);
                if matches!(self.book.records().link, Some(LinkState::Quiet { .. })) {
                    self.input(Input::Link(LinkState::Open));
                }
                let mut pieces = Vec::new();
                let at = Moment::from_us(at_us);
                let even = self.last_bytes.map_or(self.even(at), |(last, _)| self.even(at).max(last));
                self.last_bytes = Some((even, now));
                self.listener.push(&bytes, even, &mut pieces);
                self.hear(at, pieces);
            }
            LinkEvent::Lost { why } => {
                warn!(%why, "link lost");
                let mut pieces = Vec::new();
                self.listener.closed(&mut pieces);
                self.hear(self.clock.wall(), pieces);
                self.babble = Babble::default();
                self.input(Input::Link(LinkState::Lost { why }));
            }
            LinkEvent::Waiting { why } => {
                if self.at_start == AtStart::GiveUp && !self.ever_opened && why.kind() != TroubleKind::AnotherDevice {
                    self.ending.get_or_insert(Ending::NoLink { why: why.to_string() });
                    return;
                }
                self.input(Input::Link(LinkState::Waiting { why: why.to_string() }));
            }
            LinkEvent::Warned { what } => self.notice(Priority::Warn, what),
            LinkEvent::Finished => {
                let mut pieces = Vec::new();
                self.listener.closed(&mut pieces);
                self.hear(self.clock.wall(), pieces);
                self.input(Input::Link(LinkState::Finished));
                self.drain();
                self.ending.get_or_insert(Ending::Good);
            }
        }
    }

    fn link_gone(&mut self, gone: Gone) {
        let ending = match gone {
            Gone::Ended => Ending::Good,
            Gone::Died { why } => Ending::Bad { why: format!("the thread that reads the port ended: {why}") },
        };
        self.ending.get_or_insert(ending);
    }

    fn hear(&mut self, at: Moment, pieces: Vec<Piece>) {
        if !pieces.is_empty() {
            self.tell_format();
        }
        for piece in pieces {
            if matches!(piece.heard, Heard::Reading(_) | Heard::Status(_) | Heard::Fault { .. } | Heard::Echo) {
                self.babble = Babble::default();
            }
            let due = Due::Input(Input::Heard { at, raw: piece.raw, heard: piece.heard });
            self.waiting.push_back(Waiting { due, reply: piece.reply, tried_as: None });
        }
    }

    fn input(&mut self, input: Input) {
        self.waiting.push_back(Waiting { due: Due::Input(input), reply: None, tried_as: None });
    }

    fn fact(&mut self, body: Body) {
        self.waiting.push_back(Waiting { due: Due::Fact(body), reply: None, tried_as: None });
    }

    /// Keeps and shows what waits, for as long as it can be kept.
    fn drain(&mut self) {
        while self.keeps() {
            let Some(mut waiting) = self.waiting.pop_front() else { return };
            let decided = match &waiting.due {
                Due::Input(input) => decide(&self.book, input),
                Due::Fact(body) => Ok(Some(body.clone())),
            };
            let body = match decided {
                Ok(body) => body,
                Err(refused) => {
                    self.notice(Priority::Warn, refused.to_string());
                    continue;
                }
            };
            let (raw, at) = match &waiting.due {
                Due::Input(Input::Heard { raw, at, .. }) => (raw.clone(), Some(*at)),
                _ => (Vec::new(), None),
            };
            waiting.tried_as = Some(self.book.last_event() + 1);
            if self.keep_at(body.into_iter().collect(), raw, at) {
                if let Some(reply) = waiting.reply {
                    self.send(reply);
                }
                self.tell_what_is_due();
            } else {
                self.waiting.push_front(waiting);
            }
        }
    }

    /// Keeps what the crew must be told, then tells it.
    fn tell_what_is_due(&mut self) {
        if let Some(done) = field::conclude(&self.book) {
            self.keep_and_show(done);
        }
        let bodies = judge(&self.book);
        let verdict = bodies.iter().any(|body| matches!(body, Body::VerdictGiven { .. }));
        if self.keep_at(bodies, Vec::new(), None) {
            self.book.settled();
        }
        if verdict {
            self.checkpoint();
        }
    }

    fn keep_and_show(&mut self, body: Body) -> bool {
        self.keep_at(vec![body], Vec::new(), None)
    }

    /// Keeps events and then shows them. `false`: nothing was kept, and the crew has been told.
    fn keep_at(&mut self, bodies: Vec<Body>, raw: Vec<u8>, at: Option<Moment>) -> bool {
        if bodies.is_empty() {
            return true;
        }
        let Some(store) = self.store.as_mut().filter(|_| self.not_keeping.is_none()) else { return false };
        let at = at.unwrap_or_else(|| self.clock.wall());
        let first = self.book.last_event() + 1;
        let mut raw = Some(raw);
        let events: Vec<Event> = bodies
            .into_iter()
            .zip(first..)
            .map(|(body, seq)| Event { seq, at, simulated: self.simulated, body, raw: raw.take().unwrap_or_default() })
            .collect();
        let began = self.clock.steady();
        if let Err(not) = store.append(&events) {
            self.stop_keeping(not);
            return false;
        }
        let now = self.clock.steady();
        self.last_kept = Some(now);
        for event in &events {
            self.take_in(event);
        }
        self.watch_disk(now.saturating_sub(began));
        true
    }

    /// Books what is kept, and shows it.
    fn take_in(&mut self, event: &Event) {
        self.book.apply(event);
        let lines = live::lines(&self.book, event);
        for outlet in &mut self.outlets {
            outlet.show(&Shown { book: &self.book, event: Some(event), lines: &lines });
        }
    }

    /// What the crew sees is as old as the disk is slow: said once, and again only after it had kept up.
    fn watch_disk(&mut self, took: Duration) {
        if took >= DISK_SLOW && self.disk == Disk::Prompt {
            self.disk = Disk::Slow;
            let text = format!("the disk took {:.1} s to keep that: what is shown lags behind", took.as_secs_f64());
            self.notice(Priority::Warn, text);
        } else if took < DISK_SLOW / 4 {
            self.disk = Disk::Prompt;
        }
    }

    fn stop_keeping(&mut self, not: NotKept) {
        warn!(cause = %not.cause, "not recording");
        self.last_try = self.clock.steady();
        let text = format!("NOT RECORDING: {}; what comes is held back until it can be kept", not.cause);
        self.not_keeping = Some(not);
        self.notice(Priority::Hold, text);
    }

    fn recover(&mut self) {
        let Some(not) = self.not_keeping.clone() else { return };
        let Some(store) = self.store.as_mut() else { return };
        let recovered = if not.stops { store.recover() } else { Ok(Kept { fresh: None }) };
        let (kept, missed) = match recovered.and_then(|kept| Ok((kept, store.kept_after(self.book.last_event())?))) {
            Ok(both) => both,
            Err(still) => {
                self.not_keeping = Some(NotKept { stops: true, ..still });
                return;
            }
        };
        self.not_keeping = None;
        // An append that seemed to fail was kept after all: the file is right, and it is not kept twice.
        let tried_as = self.waiting.front_mut().and_then(|waiting| waiting.tried_as.take());
        if tried_as.is_some() && tried_as == missed.first().map(|event| event.seq) {
            let reply = self.waiting.pop_front().and_then(|waiting| waiting.reply);
            reply.into_iter().for_each(|reply| self.send(reply));
        }
        for event in &missed {
            self.take_in(event);
        }
        let cause = match &kept.fresh {
            Some(path) => format!("{}; recording goes on in {}", not.cause, path.display()),
            None => not.cause,
        };
        if self.book.is_open() && self.keep_and_show(Body::RecordingResumed { cause }) {
            self.tell_what_is_due();
        }
    }

    fn tick(&mut self) {
        let now = self.clock.steady();
        if !self.keeps() && now.saturating_sub(self.last_try) >= RECOVER_EVERY {
            self.last_try = now;
            self.recover();
        }
        let mut pieces = Vec::new();
        if let (Some(_), Some((last, taken))) = (self.babble.since, self.last_bytes) {
            let silent = now.saturating_sub(taken).as_micros() as i64;
            self.listener.silence(Moment::from_us(last.us() + silent), &mut pieces);
        }
        self.hear(self.clock.wall(), pieces);
        self.watch_link(now);
        if now.saturating_sub(self.last_look) >= LOOK_EVERY {
            self.last_look = now;
            self.look_at_store();
        }
        if self.last_kept.is_some_and(|kept| now.saturating_sub(kept) >= CHECKPOINT_AFTER) {
            self.checkpoint();
        }
    }

    fn watch_link(&mut self, now: Duration) {
        let state = self.book.records().link.clone();
        let gone = matches!(state, Some(LinkState::Lost { .. } | LinkState::Waiting { .. } | LinkState::Finished));
        if gone || !self.ever_opened {
            return;
        }
        self.poll(now);
        if let Some(since) = self.babble.since
            && self.babble.bytes >= BABBLE_BYTES
            && now.saturating_sub(since) >= BABBLE_AFTER
            && !matches!(state, Some(LinkState::Babble { .. }))
        {
            let sample: Vec<String> = self.babble.sample.iter().map(|byte| format!("{byte:02X}")).collect();
            self.input(Input::Link(LinkState::Babble { sample: sample.join(" ") }));
        }
        if self.babble.since.is_none() && matches!(state, Some(LinkState::Babble { .. })) {
            self.input(Input::Link(LinkState::Open));
        }
        if let (Some(limit), Some(heard)) = (self.quiet_after, self.heard_at)
            && now.saturating_sub(heard) >= limit
            && !matches!(state, Some(LinkState::Quiet { .. } | LinkState::Babble { .. }))
        {
            self.input(Input::Link(LinkState::Quiet { for_s: now.saturating_sub(heard).as_secs() }));
        }
    }

    fn look_at_store(&mut self) {
        let worry = self.store.as_ref().and_then(Keep::worry);
        if worry.map(|worry| std::mem::discriminant(&worry)) == self.worry.map(|worry| std::mem::discriminant(&worry)) {
            return;
        }
        self.worry = worry;
        match worry {
            None => {}
            Some(Worry::LittleRoom(free)) => {
                self.notice(Priority::Warn, format!("only {} MiB are free on the job's disk: make room", free >> 20));
            }
            Some(Worry::LastEvents) => {
                self.notice(
                    Priority::Hold,
                    "the job's disk is full: the reserve holds the last events, make room now".to_owned(),
                );
            }
            Some(Worry::Moved(place)) => {
                let cause = format!("the job file was {place}");
                self.stop_keeping(NotKept { cause, stops: true });
                self.recover();
            }
        }
    }

    fn checkpoint(&mut self) {
        self.last_kept = None;
        let Some(store) = self.store.as_mut().filter(|_| self.not_keeping.is_none()) else { return };
        if let Err(not) = store.checkpoint() {
            self.stop_keeping(not);
        }
    }

    /// A jump of the wall clock against the steady one is an event; ages and waits go by the steady one.
    fn watch_clocks(&mut self) {
        let now = (self.clock.wall(), self.clock.steady());
        let Some((wall, steady)) = self.clocks.replace(now) else { return };
        let expected = wall.us() + now.1.saturating_sub(steady).as_micros() as i64;
        let by_us = now.0.us() - expected;
        if by_us.unsigned_abs() > CLOCK_STEP.as_micros() as u64 {
            self.input(Input::ClockStepped { by_ms: by_us / 1000 });
        }
    }

    /// The decoder's time: jumps of the wall clock since the start are taken out, so that none of them ends a record.
    fn even(&self, at: Moment) -> Moment {
        let (wall, steady) = self.began;
        let passed = self.clock.steady().saturating_sub(steady).as_micros() as i64;
        let jumped = self.clock.wall().us() - wall.us() - passed;
        Moment::from_us(at.us() - jumped)
    }

    fn tell_format(&mut self) {
        let (false, Some(format)) = (self.format_told, self.listener.format().cloned()) else { return };
        self.format_told = true;
        self.fact(Body::ListeningBegan {
            link: self.link_words.clone(),
            format: format.name().to_owned(),
            digest: format.digest().to_owned(),
            text: format.text().to_owned(),
        });
    }

    fn say_hello(&mut self) {
        let Some(format) = self.listener.format().cloned() else { return };
        for greeting in &format.talk().greeting {
            self.send(greeting.clone());
        }
        let now = self.clock.steady();
        self.polled = format.talk().polls.iter().map(|_| now).collect();
    }

    /// Sends what the format file wants sent again and again; nothing else ever is.
    fn poll(&mut self, now: Duration) {
        let Some(format) = self.listener.format().cloned() else { return };
        for (index, poll) in format.talk().polls.iter().enumerate() {
            let due = Duration::from_secs(u64::from(poll.every_s));
            if let Some(last) = self.polled.get_mut(index)
                && now.saturating_sub(*last) >= due
            {
                *last = now;
                self.send(poll.bytes.clone());
            }
        }
    }

    fn send(&mut self, bytes: Vec<u8>) {
        if let Err(error) = self.link.send(bytes) {
            self.notice(Priority::Warn, error.to_string());
        }
    }

    fn ask(&mut self, ask: Ask) {
        self.drain();
        let answer = self.answer(&ask);
        let refused = match &answer {
            Answer::Refused(why) | Answer::NotUnderstood(why) => Some(why.clone()),
            Answer::Done(_) => None,
        };
        match (ask.answer, refused) {
            // Whoever asked may have gone; what was done is done.
            (Some(to), _) => drop(to.send(answer)),
            (None, Some(why)) => self.notice(Priority::Note, why),
            (None, None) => {}
        }
    }

    fn answer(&mut self, ask: &Ask) -> Answer {
        if !self.book.is_open() {
            return Answer::Refused(self.why_not());
        }
        let command = match words::understand(&ask.words, &self.book) {
            Ok(Spoken::Command(command)) => command,
            Ok(Spoken::Status) => return Answer::Done(live::status_in_words(&self.book)),
            Err(error) => return Answer::NotUnderstood(error.to_string()),
        };
        if let Err(why) = field::permit(&self.book, &command) {
            return Answer::Refused(why);
        }
        let body = match decide(&self.book, &Input::Command { command, by: ask.by.clone() }) {
            Ok(body) => body,
            Err(refused) => return Answer::Refused(refused.to_string()),
        };
        let before = self.book.last_event();
        let said = match &body {
            Some(Body::Commanded { command, .. }) => Some(live::command_words(command)),
            _ => None,
        };
        if !self.keep_at(body.into_iter().collect(), Vec::new(), None) {
            return Answer::Refused(self.why_not());
        }
        self.tell_what_is_due();
        let mut done: Vec<String> = said.into_iter().map(|words| format!("event {}: {words}", before + 1)).collect();
        let activity = live::activity_answer(&self.book, before);
        if activity.is_empty() {
            done.extend(self.book.last_verdict().map(live::given_words));
        }
        done.extend(activity);
        Answer::Done(done)
    }

    fn why_not(&self) -> String {
        format!("not recording: {}", self.not_keeping.as_ref().map_or("the job is not open yet", |not| &not.cause))
    }

    fn notice(&mut self, priority: Priority, text: String) {
        let line = live::notice(&self.book, priority, text);
        self.show(&[line]);
    }

    fn show(&mut self, lines: &[Line]) {
        for outlet in &mut self.outlets {
            outlet.show(&Shown { book: &self.book, event: None, lines });
        }
    }

    fn show_status(&mut self) {
        if self.outlets.is_empty() || !self.book.is_open() {
            return;
        }
        let age = self.heard_at.map(|heard| self.clock.steady().saturating_sub(heard));
        for outlet in &mut self.outlets {
            outlet.stands(&self.book, age);
        }
    }
}
