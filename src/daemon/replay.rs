//! A recorded job run again from its raw bytes: the same way as live, with the times that were kept.

use std::collections::VecDeque;
use std::fmt;
use std::sync::Arc;

use crate::book::event::{Body, Event, LinkState};
use crate::book::moment::Moment;
use crate::book::{Book, Input, decide, judge};
use crate::field;
use crate::protocol::{Decoder, Format, FormatErrors, Piece};

/// Beyond this every silence that ends a record has passed.
const LONG_SILENCE_US: i64 = 3_600_000_000;

/// What a replay came to.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Replayed {
    /// Bytes that were read again.
    pub bytes: usize,
    /// Events that held bytes.
    pub records: usize,
    /// Readings in the recomputed book.
    pub readings: usize,
    /// Where the recomputed events differ from the kept ones.
    pub differences: Vec<Difference>,
}

/// One event that comes out otherwise.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Difference {
    /// Number of the kept event, or of the one that it would be.
    pub event: u64,
    /// What was booked.
    pub was: String,
    /// What it comes to now.
    pub is: String,
}

/// Why a job cannot be replayed.
#[derive(Debug)]
pub enum NotReplayed {
    /// The job has no first event that opens it.
    Empty,
    /// The format file that was kept is not understood any more.
    Format(FormatErrors),
    /// Bytes were kept before any format.
    NoFormat {
        /// The event.
        event: u64,
    },
}

impl fmt::Display for NotReplayed {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            NotReplayed::Empty => write!(f, "the job holds no events"),
            NotReplayed::Format(errors) => write!(f, "the format file kept in the job is not understood: {errors}"),
            NotReplayed::NoFormat { event } => write!(f, "event {event} holds bytes, and no format was kept before it"),
        }
    }
}

impl std::error::Error for NotReplayed {}

/// Runs the job again. Facts that did not come out of bytes (commands, the link, the clock) are taken as they were;
/// readings, findings, verdicts and what activities come to are computed anew, with the format that was used or with another.
///
/// # Errors
/// A job that cannot be read at all.
pub fn replay(events: &[Event], other: Option<Arc<Format>>) -> Result<Replayed, NotReplayed> {
    if !matches!(events.first().map(|event| &event.body), Some(Body::JobOpened { .. })) {
        return Err(NotReplayed::Empty);
    }
    let mut again =
        Again { book: Book::new(), kept: VecDeque::new(), differences: Vec::new(), decoder: None, format: None };
    let (mut bytes, mut records) = (0, 0);
    for event in events {
        match &event.body {
            Body::ActivityDone { .. } | Body::Announced { .. } | Body::Withdrawn { .. } | Body::VerdictGiven { .. } => {
                again.compare(event)
            }
            Body::Heard { .. } => {
                bytes += event.raw.len();
                records += 1;
                again.hear(event)?;
            }
            _ => {
                again.fact(event);
                match &event.body {
                    Body::ListeningBegan { text, .. } => {
                        let format = match &other {
                            Some(format) => Arc::clone(format),
                            None => Arc::new(Format::parse(text).map_err(NotReplayed::Format)?),
                        };
                        again.open(format, event.at);
                    }
                    Body::LinkChanged { state: LinkState::Open } => {
                        if let Some(format) = again.format.clone() {
                            again.open(format, event.at);
                        }
                    }
                    _ => {}
                }
            }
        }
    }
    again.settle_up(events.last().map_or(0, |event| event.seq));
    Ok(Replayed { bytes, records, readings: again.book.entries().len(), differences: again.differences })
}

struct Again {
    book: Book,
    /// What the recomputation has come to and the kept events have not confirmed yet.
    kept: VecDeque<Event>,
    differences: Vec<Difference>,
    decoder: Option<Decoder>,
    format: Option<Arc<Format>>,
}

impl Again {
    fn open(&mut self, format: Arc<Format>, at: Moment) {
        let mut decoder = Decoder::new(Arc::clone(&format));
        decoder.opened(at);
        (self.decoder, self.format) = (Some(decoder), Some(format));
    }

    /// A fact that is taken as it was.
    fn fact(&mut self, event: &Event) {
        self.settle_up(event.seq);
        self.book.apply(&Event { seq: self.book.last_event() + 1, ..event.clone() });
        self.told(event.at);
    }

    fn hear(&mut self, event: &Event) -> Result<(), NotReplayed> {
        let decoder = self.decoder.as_mut().ok_or(NotReplayed::NoFormat { event: event.seq })?;
        let mut pieces: Vec<Piece> = Vec::new();
        decoder.push(&event.raw, event.at, &mut pieces);
        let out: usize = pieces.iter().map(|piece| piece.raw.len()).sum();
        if out < event.raw.len() {
            decoder.silence(Moment::from_us(event.at.us() + LONG_SILENCE_US), &mut pieces);
        }
        let out: usize = pieces.iter().map(|piece| piece.raw.len()).sum();
        if out < event.raw.len() {
            decoder.closed(&mut pieces);
            decoder.opened(event.at);
        }
        for piece in pieces {
            let input = Input::Heard { at: event.at, raw: piece.raw.clone(), heard: piece.heard };
            if let Some(body) = decide(&self.book, &input).unwrap_or_default() {
                self.keep(body, event.at, event.simulated, piece.raw.clone());
            }
            self.told(event.at);
        }
        self.compare(event);
        Ok(())
    }

    fn told(&mut self, at: Moment) {
        if let Some(done) = field::conclude(&self.book) {
            self.keep(done, at, false, Vec::new());
        }
        for body in judge(&self.book) {
            self.keep(body, at, false, Vec::new());
        }
        self.book.settled();
    }

    fn keep(&mut self, body: Body, at: Moment, simulated: bool, raw: Vec<u8>) {
        let event = Event { seq: self.book.last_event() + 1, at, simulated, body, raw };
        self.book.apply(&event);
        self.kept.push_back(event);
    }

    /// The next recomputed event must be this one.
    fn compare(&mut self, event: &Event) {
        match self.kept.pop_front() {
            Some(again) if again.body == event.body && again.raw == event.raw => {}
            Some(again) => self.differ(event.seq, words(&event.body), words(&again.body)),
            None => self.differ(event.seq, words(&event.body), "nothing".to_owned()),
        }
    }

    /// Nothing recomputed may be left over.
    fn settle_up(&mut self, before: u64) {
        while let Some(again) = self.kept.pop_front() {
            self.differ(before, "nothing".to_owned(), words(&again.body));
        }
    }

    fn differ(&mut self, event: u64, was: String, is: String) {
        self.differences.push(Difference { event, was, is });
    }
}

fn words(body: &Body) -> String {
    serde_json::to_string(body).expect("an event is plain data")
}
