//! A page of several instruments in this process, fed from crews on paper.

use std::net::TcpListener;
use std::sync::{Arc, Mutex};
use std::time::Duration;

use closerun::book::Book;
use closerun::book::event::Event;
use closerun::book::reading::{Heard, Reading};
use closerun::page::{Feed, Instrument, Limits, Said, Upstream, Wanted};
use closerun::units::{Measured, Unit};
use serde_json::Value;
use tokio::sync::oneshot;

use super::harness::crew::{self, Crew};
use super::run::{Answer, PATIENCE, request};

/// How often the loop that the page listens to turns.
const TURN: Duration = Duration::from_millis(500);

/// The page and its feeds.
pub(crate) struct Fed {
    pub(crate) port: u16,
    feeds: Arc<Mutex<Vec<Feed>>>,
    given: Vec<usize>,
}

impl Fed {
    /// A page of instruments by these names.
    pub(crate) fn start(limits: Limits, names: &[&str]) -> Fed {
        let listener = TcpListener::bind("127.0.0.1:0").unwrap();
        let instruments = names.iter().map(|name| Instrument::new(*name, Nobody)).collect();
        let (opened, feeds) = closerun::page::open(listener, limits, instruments).unwrap();
        let feeds = Arc::new(Mutex::new(feeds));
        let turning = Arc::downgrade(&feeds);
        std::thread::spawn(move || {
            while let Some(feeds) = turning.upgrade() {
                feeds.lock().unwrap().iter_mut().for_each(|feed| feed.turned(Some(Duration::ZERO)));
                drop(feeds);
                std::thread::sleep(TURN);
            }
        });
        Fed { port: opened.address.port(), feeds, given: vec![0; names.len()] }
    }

    /// Gives the page what a crew has kept since.
    pub(crate) fn show(&mut self, instrument: usize, crew: &Crew) {
        for event in &crew.events[self.given[instrument]..] {
            self.give(instrument, event, &crew.book);
        }
        self.given[instrument] = crew.events.len();
    }

    /// Gives the page one event and the book after it.
    pub(crate) fn give(&self, instrument: usize, event: &Event, book: &Book) {
        self.feeds.lock().unwrap()[instrument].kept(event, book);
    }

    /// The run of an instrument has ended.
    pub(crate) fn end(&self, instrument: usize) {
        self.feeds.lock().unwrap()[instrument].end();
    }

    pub(crate) fn host(&self) -> String {
        format!("127.0.0.1:{}", self.port)
    }

    pub(crate) fn get(&self, path: &str) -> Answer {
        request(self.port, "GET", path, &[("Host", &self.host())], "")
    }

    /// Waits until the page holds an event of an instrument.
    pub(crate) fn holds(&self, instrument: &str, event: u64) {
        let until = std::time::Instant::now() + PATIENCE;
        let path = format!("/v1/instruments/{instrument}/state");
        loop {
            let state: Value = serde_json::from_str(&self.get(&path).body).unwrap();
            if state["event"].as_u64() >= Some(event) {
                return;
            }
            assert!(std::time::Instant::now() < until, "event {event} in time");
            std::thread::yield_now();
        }
    }
}

/// Nobody answers.
struct Nobody;

impl Upstream for Nobody {
    fn say(&self, _words: Vec<String>) -> Option<oneshot::Receiver<Said>> {
        None
    }

    fn kept(&self, _each: &mut dyn FnMut(&Event) -> Wanted) -> Result<(), String> {
        Err("nothing is kept here".to_owned())
    }
}

/// A crew between two known points, 3.1 m apart in height.
pub(crate) fn crew_between_benchmarks() -> Crew {
    let mut settings = crew::settings();
    settings.known.push(crew::known("BM-7", "53.1000"));
    Crew::new(settings)
}

/// A setup: from what the staffs stand on, in hundredths of a millimetre, with an error of the foresight.
pub(crate) struct Setup<'a> {
    pub(crate) back: i64,
    pub(crate) fore: (&'a str, i64),
    pub(crate) over: i64,
    pub(crate) sights: (&'a str, &'a str),
    pub(crate) error: i64,
}

/// Shoots it.
pub(crate) fn shoot(crew: &mut Crew, setup: &Setup<'_>) {
    let fore = setup.back + setup.over - setup.fore.1 + setup.error;
    hear(crew, "", setup.over, setup.sights.0);
    hear(crew, setup.fore.0, fore, setup.sights.1);
}

fn hear(crew: &mut Crew, point: &str, staff: i64, sight: &str) {
    let text = format!("{}.{:05}", staff / 100_000, staff % 100_000);
    let mut reading = Reading::of(Measured::parse(&text, Unit::Metre).unwrap());
    reading.sight = Some(Measured::parse(sight, Unit::Metre).unwrap());
    reading.point = (!point.is_empty()).then(|| crew::name(point));
    crew.hear(Heard::Reading(reading));
}

/// Out to the other benchmark in four setups, with errors that stay inside the allowance.
pub(crate) fn out(crew: &mut Crew) {
    for setup in &[
        Setup { back: 5_000_000, fore: ("TP1", 5_062_000), over: 162_013, sights: ("31.20", "30.85"), error: 9 },
        Setup { back: 5_062_000, fore: ("TP2", 5_141_000), over: 171_458, sights: ("28.40", "29.10"), error: -14 },
        Setup { back: 5_141_000, fore: ("TP3", 5_233_000), over: 188_206, sights: ("33.05", "32.60"), error: 21 },
        Setup { back: 5_233_000, fore: ("BM-7", 5_310_000), over: 169_902, sights: ("24.75", "24.30"), error: 17 },
    ] {
        shoot(crew, setup);
    }
}

/// And back over the same turning points.
pub(crate) fn home(crew: &mut Crew) {
    for setup in &[
        Setup { back: 5_310_000, fore: ("TP3", 5_233_000), over: 84_310, sights: ("25.10", "25.65"), error: -12 },
        Setup { back: 5_233_000, fore: ("TP2", 5_141_000), over: 77_125, sights: ("32.30", "31.95"), error: 19 },
        Setup { back: 5_141_000, fore: ("TP1", 5_062_000), over: 92_240, sights: ("29.60", "29.05"), error: 8 },
        Setup { back: 5_062_000, fore: ("BM-1", 5_000_000), over: 80_777, sights: ("30.90", "31.40"), error: -11 },
    ] {
        shoot(crew, setup);
    }
}
