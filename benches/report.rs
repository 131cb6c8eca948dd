//! The report of a 2,000-setup job in every form, step by step; it must come in under five seconds.
//!
//! The baseline in the same run is the plain text of the same field book: what it costs to write the numbers down at all.

use std::hint::black_box;
use std::process::ExitCode;
use std::time::{Duration, Instant};

use closerun::book::classes;
use closerun::book::event::{Body, Command, Event, Origin, Target};
use closerun::book::moment::Moment;
use closerun::book::reading::{Heard, PointName, Reading, Role};
use closerun::book::sequence::Sequence;
use closerun::book::settings::{Booking, Corrections, Instrument, KnownPoint, Settings, Staffs};
use closerun::book::{Book, Input, decide, judge};
use closerun::report::document::full::{RecordView, ReportOptions, report};
use closerun::report::document::{BookOptions, document};
use closerun::report::pdf::{self, Paper};
use closerun::report::text::{self, Layout};
use closerun::report::{json, xlsx};
use closerun::units::{Measured, Unit};

/// Setups of the job under `cargo bench`.
const SETUPS: usize = 2_000;
/// Setups when it is only to be shown that it runs.
const TRIAL_SETUPS: usize = 40;
/// The whole report must be there by then.
const LIMIT: Duration = Duration::from_secs(5);
/// An intermediate sight is taken at every so many setups, and the setups at other such distances end on a named mark.
const SIDE_EVERY: usize = 5;
const MARK_EVERY: usize = 20;

fn main() -> ExitCode {
    let whole = std::env::args().any(|argument| argument == "--bench");
    let setups = if whole { SETUPS } else { TRIAL_SETUPS };
    let events = events(setups);
    let mut sum = Duration::ZERO;
    let mut step = |what: &str, took: Duration, counts: bool| {
        println!("{what:<34} {:>8.1} ms", took.as_secs_f64() * 1e3);
        if counts {
            sum += took;
        }
    };
    println!("{setups} setups, {} events", events.len());
    let (book, took) = timed(|| Book::fold(&events));
    step("folding the events", took, true);
    let field_book = document(&book, &events, "bench", BookOptions::of(&book));
    let (plain, took) = timed(|| text::print(&field_book, Layout::default()));
    step("baseline: the field book as text", took, false);
    let options = ReportOptions {
        book: BookOptions::of(&book),
        run: None,
        record: RecordView { events: events.len() as u64, digest: "0".repeat(64), damage: None },
    };
    let (report, took) = timed(|| report(&book, &events, "bench", options));
    step("document, adjusted and drawn", took, true);
    let (paper, took) = timed(|| pdf::print(&report, Paper::A4, &mut |_| ()).expect("a PDF"));
    step(&format!("PDF, {} pages", paper.pages), took, true);
    let (sheet, took) = timed(|| xlsx::print(&report).expect("a spreadsheet"));
    step(&format!("spreadsheet, {} kB", sheet.len() / 1000), took, true);
    let (tree, took) = timed(|| json::print_report(&report));
    step(&format!("JSON, {} kB", tree.len() / 1000), took, true);
    black_box((plain, paper, sheet, tree));
    println!("{:<34} {:>8.1} ms, wanted under {} ms", "in all", sum.as_secs_f64() * 1e3, LIMIT.as_millis());
    if sum < LIMIT || !whole { ExitCode::SUCCESS } else { ExitCode::FAILURE }
}

fn timed<T>(work: impl FnOnce() -> T) -> (T, Duration) {
    let began = Instant::now();
    let done = work();
    (done, began.elapsed())
}

/// A loop: out over named marks with intermediate sights, and back to its start; a little noise at each setup.
fn events(setups: usize) -> Vec<Event> {
    let mut crew = Crew::default();
    crew.keep(Body::JobOpened { program: "bench".to_owned(), settings: Box::new(settings()) });
    for setup in 1..=setups {
        // A tenth of a millimetre to either side, by a rule without memory that any machine follows alike.
        let noise = (setup * 7919 % 201) as i64 - 100;
        let slope = if setup * 2 <= setups { 30_000 } else { -30_000 };
        let back = 150_000 + (setup * 31 % 900) as i64 * 10;
        crew.hear(reading(back + noise, "20.00"));
        if setup % SIDE_EVERY == 0 {
            let mut side = reading(back - 5_000, "9.50");
            (side.role, side.point) = (Some(Role::Intermediate), PointName::new(&format!("S{setup}")).ok());
            crew.hear(side);
        }
        let mark = match setup {
            last if last == setups => Some("BM-1".to_owned()),
            mark if mark % MARK_EVERY == 0 => Some(format!("M{mark}")),
            _ => None,
        };
        if let Some(mark) = mark {
            let point = PointName::new(&mark).expect("a name");
            crew.say(Command::Point { reading: Target::Next, point });
        }
        crew.hear(reading(back - slope, "20.10"));
    }
    crew.events
}

fn reading(hundredths_mm: i64, sight: &str) -> Reading {
    let staff = format!("{}.{:05}", hundredths_mm / 100_000, hundredths_mm % 100_000);
    let mut reading = Reading::of(Measured::parse(&staff, Unit::Metre).expect("digits"));
    reading.sight = Some(Measured::parse(sight, Unit::Metre).expect("digits"));
    reading
}

#[derive(Default)]
struct Crew {
    book: Book,
    events: Vec<Event>,
    at_us: i64,
}

impl Crew {
    fn keep(&mut self, body: Body) {
        let seq = self.events.len() as u64 + 1;
        let event = Event { seq, at: Moment::from_us(self.at_us), simulated: true, body, raw: Vec::new() };
        self.book.apply(&event);
        self.events.push(event);
    }

    fn hear(&mut self, reading: Reading) {
        self.at_us += 4_000_000;
        let heard = Heard::Reading(reading);
        self.take(Input::Heard { at: Moment::from_us(self.at_us), raw: Vec::new(), heard });
    }

    fn say(&mut self, command: Command) {
        self.take(Input::Command { command, by: Origin::Tell });
    }

    fn take(&mut self, input: Input) {
        if let Some(body) = decide(&self.book, &input).expect("a crew without mistakes") {
            self.keep(body);
        }
        for body in judge(&self.book) {
            self.keep(body);
        }
        self.book.settled();
    }
}

fn settings() -> Settings {
    let start = PointName::new("BM-1").expect("a name");
    let elevation = Measured::parse("50.00000", Unit::Metre).expect("digits");
    Settings {
        unit: Unit::Metre,
        also_units: Vec::new(),
        class: classes::find("building").expect("the default class").clone(),
        sequence: Sequence::BF,
        known: vec![KnownPoint { name: start.clone(), elevation, assumed: false }],
        start: Some(start),
        staffs: Staffs::default(),
        instrument: Instrument::default(),
        corrections: Corrections::default(),
        booking: Booking::HeightOfInstrument,
    }
}
