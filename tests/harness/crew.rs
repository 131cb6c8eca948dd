//! A crew on paper: readings and commands in, events kept, book and announcements out.
//!
//! Everything a test feeds goes through `decide`, `apply` and `judge` as in the program's own loop, and at each step the
//! book folded anew from the events must equal the live one.

use closerun::book::classes;
use closerun::book::event::{Body, Command, Event, Origin, Verdict};
use closerun::book::finding::{FindingId, FindingKey, Priority};
use closerun::book::moment::Moment;
use closerun::book::reading::{Heard, PointName, Reading};
use closerun::book::sequence::Sequence;
use closerun::book::settings::{Booking, Corrections, Instrument, KnownPoint, Settings, Staffs};
use closerun::book::{Book, Input, Refused, decide, judge};
use closerun::field;
use closerun::units::{Length, Measured, Unit};

/// A job's events so far, and the book that they come to.
pub struct Crew {
    pub events: Vec<Event>,
    pub book: Book,
    at_us: i64,
}

/// Settings for a metre job of class `building`, one staff, `BF`.
pub fn settings() -> Settings {
    Settings {
        unit: Unit::Metre,
        also_units: Vec::new(),
        class: classes::find("building").unwrap().clone(),
        sequence: Sequence::BF,
        start: Some(name("BM-1")),
        known: vec![known("BM-1", "50.0000")],
        staffs: Staffs::default(),
        instrument: Instrument::default(),
        corrections: Corrections::default(),
        booking: Booking::HeightOfInstrument,
    }
}

pub fn name(text: &str) -> PointName {
    PointName::new(text).unwrap()
}

pub fn known(point: &str, elevation: &str) -> KnownPoint {
    KnownPoint { name: name(point), elevation: Measured::parse(elevation, Unit::Metre).unwrap(), assumed: false }
}

pub fn metres(text: &str) -> Length {
    Length::parse(text, Unit::Metre).unwrap()
}

/// A reading as an instrument in metres sends it.
pub fn reading(staff: &str, sight: &str) -> Reading {
    let mut reading = Reading::of(Measured::parse(staff, Unit::Metre).unwrap());
    reading.sight = (!sight.is_empty()).then(|| Measured::parse(sight, Unit::Metre).unwrap());
    reading
}

impl Crew {
    pub fn new(settings: Settings) -> Self {
        let mut crew = Crew { events: Vec::new(), book: Book::new(), at_us: 1_790_000_000_000_000 };
        crew.keep(Body::JobOpened { program: "test".to_owned(), settings: Box::new(settings) }, Vec::new());
        crew
    }

    fn keep(&mut self, body: Body, raw: Vec<u8>) {
        let event =
            Event { seq: self.events.len() as u64 + 1, at: Moment::from_us(self.at_us), simulated: false, body, raw };
        self.book.apply(&event);
        self.events.push(event);
    }

    /// One turn of the loop. Gives the events that were kept.
    pub fn take(&mut self, input: Input) -> Result<Vec<Body>, Refused> {
        let before = self.events.len();
        let raw = if let Input::Heard { raw, .. } = &input { raw.clone() } else { Vec::new() };
        if let Some(body) = decide(&self.book, &input)? {
            self.keep(body, raw.clone());
        }
        if let Some(done) = field::conclude(&self.book) {
            self.keep(done, Vec::new());
        }
        for body in judge(&self.book) {
            self.keep(body, Vec::new());
        }
        assert_eq!(field::conclude(&self.book), None, "an activity comes to one result");
        assert_eq!(judge(&self.book), Vec::new(), "the crew is told once");
        self.book.settled();
        let mut folded = Book::fold(&self.events);
        assert_eq!(judge(&folded), Vec::new(), "a restart announces nothing anew");
        folded.settled();
        assert_eq!(folded, self.book, "the folded book is the live one");
        Ok(self.events[before..].iter().map(|event| event.body.clone()).collect())
    }

    /// A record that takes four seconds to come after the one before.
    pub fn hear(&mut self, heard: Heard) -> Vec<Body> {
        self.hear_after(4_000_000, heard)
    }

    pub fn hear_after(&mut self, us: i64, heard: Heard) -> Vec<Body> {
        self.at_us += us;
        let raw = serde_json::to_vec(&heard).unwrap();
        self.take(Input::Heard { at: Moment::from_us(self.at_us), raw, heard }).unwrap()
    }

    /// Staff readings with sight lengths, in turn.
    pub fn shoot<'a>(&mut self, shots: impl IntoIterator<Item = (&'a str, &'a str)>) -> Vec<Body> {
        let mut kept = Vec::new();
        for (staff, sight) in shots {
            kept.extend(self.hear(Heard::Reading(reading(staff, sight))));
        }
        kept
    }

    pub fn say(&mut self, command: Command) -> Vec<Body> {
        self.take(Input::Command { command, by: Origin::Tell }).unwrap()
    }

    /// The book with every reading placed anew, as after a command.
    pub fn placed_anew(&self) -> Book {
        let mut book = self.book.clone();
        let body = Body::Resettled { settings: Box::new(book.settings().clone()) };
        let (seq, at) = (book.last_event() + 1, book.last_at());
        book.apply(&Event { seq, at, simulated: false, body, raw: Vec::new() });
        book
    }

    /// What stands now, as `id@place`.
    pub fn standing(&self) -> Vec<String> {
        self.book.standing().keys().map(FindingKey::to_string).collect()
    }

    pub fn stands(&self, id: FindingId) -> bool {
        self.book.standing().keys().any(|key| key.id == id)
    }

    pub fn priority(&self, key: &str) -> Option<Priority> {
        self.book.standing().get(&key.parse().unwrap()).map(|standing| standing.priority)
    }

    pub fn verdict(&self) -> Option<Verdict> {
        self.book.last_verdict().map(|given| given.verdict)
    }

    /// Elevation of a point, in the job's unit with four decimals.
    pub fn elevation(&self, point: &str) -> Option<String> {
        self.book.elevation(&name(point)).map(|length| length.show(self.book.settings().unit, 4))
    }
}

/// How often a finding was announced in these events.
pub fn announced(bodies: &[Body], id: FindingId) -> usize {
    bodies.iter().filter(|body| matches!(body, Body::Announced { key, .. } if key.id == id)).count()
}
