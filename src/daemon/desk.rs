//! A job at the desk: what is said is decided, kept and answered, without a link and without a crew that looks.
//!
//! The same words, rules and events as while listening, for numbers that are typed in afterwards or in a list.

use super::Answer;
use super::clock::Clock;
use super::keep::{Keep, Kept, NotKept, Worry};
use super::words::{self, Spoken};
use crate::book::event::{Body, Event, Origin};
use crate::book::settings::Settings;
use crate::book::{Book, Input, decide, judge};
use crate::field;
use crate::report::live::{self, Ink, Painter};
use crate::report::today;

/// A job at the desk.
pub struct Desk<K> {
    store: K,
    book: Book,
    clock: Box<dyn Clock>,
    painter: Painter,
}

/// Columns of an answer.
const COLUMNS: usize = 80;

impl<K: Keep> Desk<K> {
    /// Takes a job up, or opens it with these settings if it holds nothing.
    ///
    /// # Errors
    /// It cannot be kept.
    pub fn open(store: K, book: Book, settings: Settings, clock: Box<dyn Clock>) -> Result<Self, NotKept> {
        let mut desk = Desk { store, book, clock, painter: Painter::new(Ink::Plain, COLUMNS) };
        if !desk.book.is_open() {
            let program = concat!("closerun ", env!("CARGO_PKG_VERSION")).to_owned();
            desk.keep(Body::JobOpened { program, settings: Box::new(settings) })?;
        }
        desk.tell_what_is_due()?;
        Ok(desk)
    }

    /// The book as it stands.
    pub fn book(&self) -> &Book {
        &self.book
    }

    /// Says something, and gives the answer.
    ///
    /// # Errors
    /// It cannot be kept; nothing of it was.
    pub fn say(&mut self, words: &[String]) -> Result<Answer, NotKept> {
        let command = match words::understand(words, &self.book) {
            Ok(Spoken::Command(command)) => command,
            Ok(Spoken::Today) => {
                let list = today::list(&self.book, "", self.clock.wall());
                return Ok(Answer::Done(today::words(&list)));
            }
            Ok(Spoken::Status) => return Ok(Answer::Done(live::status_in_words(&self.book))),
            Err(error) => return Ok(Answer::NotUnderstood(error.to_string())),
        };
        if let Err(why) = field::permit(&self.book, &command) {
            return Ok(Answer::Refused(why));
        }
        let body = match decide(&self.book, &Input::Command { command, by: Origin::Tell }) {
            Ok(body) => body,
            Err(refused) => return Ok(Answer::Refused(refused.to_string())),
        };
        let mut said = Vec::new();
        if let Some(body) = body {
            said.extend(self.keep(body)?);
        }
        if let Some(done) = field::conclude(&self.book) {
            said.extend(self.keep(done)?);
        }
        said.extend(self.tell_what_is_due()?);
        Ok(Answer::Done(said))
    }

    /// Ends it and leaves one complete file.
    ///
    /// # Errors
    /// Why not.
    pub fn close(self) -> Result<Book, NotKept> {
        self.store.close()?;
        Ok(self.book)
    }

    /// Keeps what the crew must be told. Gives the same in words.
    fn tell_what_is_due(&mut self) -> Result<Vec<String>, NotKept> {
        let mut said = Vec::new();
        for body in judge(&self.book) {
            said.extend(self.keep(body)?);
        }
        self.book.settled();
        Ok(said)
    }

    /// Keeps an event, then books it. Gives what there is to say of it.
    fn keep(&mut self, body: Body) -> Result<Vec<String>, NotKept> {
        let (seq, at) = (self.book.last_event() + 1, self.clock.wall());
        let event = Event { seq, at, simulated: false, body, raw: Vec::new() };
        self.store.append(std::slice::from_ref(&event))?;
        self.book.apply(&event);
        let lines = live::lines(&self.book, &event);
        Ok(lines.iter().flat_map(|line| self.painter.paint(line)).collect())
    }
}

/// Keeps nothing: for numbers that are only to be reckoned.
pub struct NothingKept;

impl Keep for NothingKept {
    fn append(&mut self, _: &[Event]) -> Result<(), NotKept> {
        Ok(())
    }

    fn recover(&mut self) -> Result<Kept, NotKept> {
        Ok(Kept { fresh: None })
    }

    fn kept_after(&self, _: u64) -> Result<Vec<Event>, NotKept> {
        Ok(Vec::new())
    }

    fn checkpoint(&mut self) -> Result<(), NotKept> {
        Ok(())
    }

    fn worry(&self) -> Option<Worry> {
        None
    }

    fn close(self) -> Result<(), NotKept> {
        Ok(())
    }
}
