//! A job at a desk, in the words of `tell`, its events open to the test; and the book folded anew from them must be the
//! live one after each word.

use std::cell::RefCell;
use std::rc::Rc;
use std::time::Duration;

use closerun::book::Book;
use closerun::book::event::{Body, Event};
use closerun::book::moment::Moment;
use closerun::book::settings::Settings;
use closerun::daemon::{Answer, Clock, Desk, Keep, Kept, NotKept, Worry};

/// 2026-09-21T14:13:20Z.
const BEGIN_US: i64 = 1_790_000_000_000_000;

/// Keeps events where a test can look at them.
#[derive(Clone, Default)]
struct Ledger(Rc<RefCell<Vec<Event>>>);

impl Keep for Ledger {
    fn append(&mut self, events: &[Event]) -> Result<(), NotKept> {
        self.0.borrow_mut().extend_from_slice(events);
        Ok(())
    }

    fn recover(&mut self) -> Result<Kept, NotKept> {
        Ok(Kept { fresh: None })
    }

    fn kept_after(&self, seq: u64) -> Result<Vec<Event>, NotKept> {
        Ok(self.0.borrow().iter().filter(|event| event.seq > seq).cloned().collect())
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

/// A clock that stands where it is put.
#[derive(Clone)]
struct Hands(Rc<RefCell<i64>>);

impl Clock for Hands {
    fn wall(&self) -> Moment {
        Moment::from_us(*self.0.borrow())
    }

    fn steady(&self) -> Duration {
        Duration::ZERO
    }

    fn slept(&self) -> Duration {
        Duration::ZERO
    }
}

/// A person at a desk.
pub(crate) struct Person {
    desk: Desk<Ledger>,
    ledger: Ledger,
    hands: Hands,
}

impl Person {
    pub(crate) fn with(settings: Settings) -> Self {
        let (ledger, hands) = (Ledger::default(), Hands(Rc::new(RefCell::new(BEGIN_US))));
        let desk = Desk::open(ledger.clone(), Book::new(), settings, Box::new(hands.clone())).unwrap();
        Person { desk, ledger, hands }
    }

    /// The job taken up with other settings.
    pub(crate) fn with_settings(self, settings: Settings) -> Self {
        let Person { ledger, hands, .. } = self;
        let event = Event {
            seq: ledger.0.borrow().len() as u64 + 1,
            at: hands.wall(),
            simulated: false,
            body: Body::Resettled { settings: Box::new(settings.clone()) },
            raw: Vec::new(),
        };
        ledger.0.borrow_mut().push(event);
        let book = Book::fold(&ledger.0.borrow()[..]);
        let desk = Desk::open(ledger.clone(), book, settings, Box::new(hands.clone())).unwrap();
        Person { desk, ledger, hands }
    }

    pub(crate) fn book(&self) -> &Book {
        self.desk.book()
    }

    pub(crate) fn events(&self) -> Vec<Event> {
        self.ledger.0.borrow().clone()
    }

    /// So many days pass.
    pub(crate) fn days_pass(&self, days: i64) {
        *self.hands.0.borrow_mut() += days * 24 * 60 * 60 * 1_000_000;
    }

    pub(crate) fn answer(&mut self, words: &str) -> Answer {
        let words: Vec<String> = words.split_whitespace().map(str::to_owned).collect();
        let before = self.events();
        let answer = self.desk.say(&words).unwrap();
        if !matches!(answer, Answer::Done(_)) {
            assert_eq!(self.events(), before, "{words:?}: what is refused books nothing");
        }
        let mut folded = Book::fold(&self.events());
        folded.settled();
        assert_eq!(folded, *self.book(), "{words:?}: the folded book is the live one");
        answer
    }

    /// Says something that is done, and gives the answer as one line, however it was wrapped.
    pub(crate) fn say(&mut self, words: &str) -> String {
        match self.answer(words) {
            Answer::Done(lines) => lines.iter().flat_map(|line| line.split_whitespace()).collect::<Vec<_>>().join(" "),
            other => panic!("{words}: {other:?}"),
        }
    }

    /// Keys readings in, one after the other; gives the last answer.
    pub(crate) fn key(&mut self, readings: &[&str]) -> String {
        let mut last = String::new();
        for reading in readings {
            last = self.say(&format!("key {reading}"));
        }
        last
    }

    /// Says something that cannot be done; gives the sentence.
    pub(crate) fn refused(&mut self, words: &str) -> String {
        match self.answer(words) {
            Answer::Refused(why) | Answer::NotUnderstood(why) => why,
            Answer::Done(done) => panic!("{words}: {done:?}"),
        }
    }

    /// How often events of this kind were kept.
    pub(crate) fn kept(&self, kind: &str) -> usize {
        self.events().iter().filter(|event| event.body.kind() == kind).count()
    }

    /// What the activities came to, in the words that the crew was told.
    pub(crate) fn results(&self) -> Vec<String> {
        let said = |event: Event| match event.body {
            Body::ActivityDone { said, .. } => Some(said[0].clone()),
            _ => None,
        };
        self.events().into_iter().filter_map(said).collect()
    }
}
