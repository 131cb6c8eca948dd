//! What was taken in and waits to be kept: one by one as it comes, and in groups where much waits.
//!
//! A group is decided and judged on a copy of the book that runs ahead. The book that is shown follows when the group
//! is durable, event by event, and stays where it is when it is not.

use super::Session;
use crate::book::event::{Body, Event};
use crate::book::finding::Priority;
use crate::book::moment::Moment;
use crate::book::{Book, Input, Refused, decide, judge};
use crate::daemon::keep::Keep;
use crate::field;

/// Fewer than these are kept one by one: a copy of a long book costs more than to wait for the disk for each.
const GROUP_MIN: usize = 8;
/// How many are kept in one go, at most: the crew sees the first of them no later than the disk takes for so many.
const GROUP_MAX: usize = 256;

/// Something that was taken in and waits to be kept.
pub(super) struct Waiting {
    pub(super) due: Due,
    /// What the instrument is sent once it is kept.
    pub(super) reply: Option<Vec<u8>>,
}

/// What is to be kept.
pub(super) enum Due {
    /// What the rules make of it.
    Input(Input),
    /// As it stands.
    Fact(Body),
}

impl Due {
    fn decide(&self, book: &Book) -> Result<Option<Body>, Refused> {
        match self {
            Due::Input(input) => decide(book, input),
            Due::Fact(body) => Ok(Some(body.clone())),
        }
    }

    /// The bytes that it came in, and when they came.
    fn bytes(&self) -> Option<(&[u8], Moment)> {
        match self {
            Due::Input(Input::Heard { raw, at, .. }) => Some((raw, *at)),
            _ => None,
        }
    }
}

/// An attempt to keep something that failed, or seemed to.
pub(super) struct Tried {
    /// The number of the first event that it would have become.
    pub(super) seq: u64,
    /// How many of those that wait it took.
    pub(super) items: usize,
}

impl<K: Keep> Session<K> {
    /// Something for the rules.
    pub(super) fn input(&mut self, input: Input) {
        self.waiting.push_back(Waiting { due: Due::Input(input), reply: None });
    }

    /// Something to be kept as it stands.
    pub(super) fn fact(&mut self, body: Body) {
        self.waiting.push_back(Waiting { due: Due::Fact(body), reply: None });
    }

    /// Takes what waits all the way, for as long as it can be kept.
    pub(super) fn drain(&mut self) {
        while self.keeps() {
            match self.waiting.len() {
                0 => return,
                1..GROUP_MIN => self.keep_next(),
                _ => self.keep_group(),
            }
        }
    }

    /// So many of those that wait have been kept: the instrument is told where it waits for that.
    pub(super) fn were_kept(&mut self, items: usize) {
        let replies: Vec<Vec<u8>> = self.waiting.drain(..items).filter_map(|waiting| waiting.reply).collect();
        replies.into_iter().for_each(|reply| self.send(reply));
    }

    fn keep_next(&mut self) {
        let Some(waiting) = self.waiting.front() else { return };
        self.tried = Some(Tried { seq: self.book.last_event() + 1, items: 1 });
        let (raw, at) = match waiting.due.bytes() {
            Some((raw, at)) => (raw.to_vec(), at),
            None => (Vec::new(), self.clocks.wall()),
        };
        let kept = match waiting.due.decide(&self.book) {
            Ok(body) => self.keep(body.into_iter().collect(), raw, at),
            Err(refused) => {
                self.notice(Priority::Warn, refused.to_string());
                true
            }
        };
        if kept {
            self.tried = None;
            self.were_kept(1);
            self.tell_what_is_due();
        }
    }

    fn keep_group(&mut self) {
        let in_step = self.ahead.take().filter(|ahead| ahead.last_event() == self.book.last_event());
        let mut ahead = in_step.unwrap_or_else(|| self.book.clone());
        let items = self.waiting.len().min(GROUP_MAX);
        let (mut events, mut refusals) = (Vec::new(), Vec::new());
        for Waiting { due, .. } in self.waiting.iter().take(items) {
            match due.decide(&ahead) {
                Ok(body) => {
                    let (raw, at) = due.bytes().map_or((&[][..], self.clocks.wall()), |bytes| bytes);
                    self.book_ahead(&mut ahead, at, raw.to_vec(), body.into_iter().collect(), &mut events);
                    if let Some(done) = field::conclude(&ahead) {
                        self.book_ahead(&mut ahead, self.clocks.wall(), Vec::new(), vec![done], &mut events);
                    }
                    let told = judge(&ahead);
                    self.book_ahead(&mut ahead, self.clocks.wall(), Vec::new(), told, &mut events);
                    ahead.settled();
                }
                Err(refused) => refusals.push(refused),
            }
        }
        refusals.into_iter().for_each(|refused| self.notice(Priority::Warn, refused.to_string()));
        if !events.is_empty() && !self.keep_events(&events) {
            self.tried = Some(Tried { seq: self.book.last_event() + 1, items });
            return;
        }
        self.book.settled();
        self.ahead = Some(ahead);
        self.were_kept(items);
    }

    /// Books on the copy that runs ahead.
    fn book_ahead(&self, ahead: &mut Book, at: Moment, raw: Vec<u8>, bodies: Vec<Body>, events: &mut Vec<Event>) {
        for event in self.numbered(ahead.last_event(), at, raw, bodies) {
            ahead.apply(&event);
            events.push(event);
        }
    }

    /// Nothing more waits for now: the copy that ran ahead is not needed.
    pub(super) fn at_rest(&mut self) {
        self.ahead = None;
    }
}
