//! The reducer with all checks: readings a second, the cost of a reading as the job grows, and folding a long job anew
//! after a command on its first reading.
//!
//! The baseline in the same run is a plain loop that only parses the same digits and adds them up.

use std::hint::black_box;
use std::time::{Duration, Instant};

use closerun::book::classes;
use closerun::book::event::{Body, Command, Event, Origin};
use closerun::book::moment::Moment;
use closerun::book::reading::{Heard, PointName, Reading};
use closerun::book::sequence::Sequence;
use closerun::book::settings::{Booking, Corrections, Instrument, KnownPoint, Settings, Staffs, StaffsInUse};
use closerun::book::{Book, Input, decide, judge};
use closerun::units::{Length, Measured, Unit};

const LARGE: usize = 1_000_000;
const SMALL: usize = 10;
const REFOLD: usize = 100_000;

fn settings() -> Settings {
    let start = PointName::new("BM-1").unwrap();
    Settings {
        unit: Unit::Metre,
        also_units: Vec::new(),
        class: classes::find("building").unwrap().clone(),
        sequence: Sequence::BF,
        known: vec![KnownPoint {
            name: start.clone(),
            elevation: Measured::parse("50.0000", Unit::Metre).unwrap(),
            assumed: false,
        }],
        start: Some(start),
        staffs: Staffs { in_use: StaffsInUse::One, length: Length::from_mm(4000), margin: Length::from_mm(20) },
        instrument: Instrument {
            name: None,
            sight_min: Length::from_mm(1500),
            sight_max: Length::from_mm(100_000),
            reading_sd: Length::from_um(300),
        },
        corrections: Corrections::default(),
        booking: Booking::HeightOfInstrument,
    }
}

/// Digits of readings that raise no finding: balanced, on the staff, no two alike in turn.
fn digits(index: usize) -> (String, String) {
    let step = (index * 7919) % 2_000;
    // Longer back and longer fore sights in turn, so that the sum over the run stays near zero.
    let half_metres = (index / 2 + index) % 2;
    (format!("{}.{:05}", 1 + index % 2, 10_000 + step * 30), format!("20.{:02}", half_metres * 50 + index / 2 % 40))
}

fn inputs(count: usize) -> Vec<Input> {
    (0..count)
        .map(|index| {
            let (staff, sight) = digits(index);
            let mut reading = Reading::of(Measured::parse(&staff, Unit::Metre).unwrap());
            reading.sight = Some(Measured::parse(&sight, Unit::Metre).unwrap());
            let at = Moment::from_us(1_790_000_000_000_000 + index as i64 * 4_000_000);
            Input::Heard { at, raw: format!("{staff} {sight}\r\n").into_bytes(), heard: Heard::Reading(reading) }
        })
        .collect()
}

fn keep(book: &mut Book, at: Moment, body: Body) {
    let event = Event { seq: book.last_event() + 1, at, simulated: false, body, raw: Vec::new() };
    book.apply(&event);
}

fn opened() -> Book {
    let mut book = Book::new();
    keep(
        &mut book,
        Moment::from_us(0),
        Body::JobOpened { program: "bench".to_owned(), settings: Box::new(settings()) },
    );
    book
}

/// The whole pure way: decide, apply, judge, apply.
fn feed(book: &mut Book, inputs: &[Input]) {
    for input in inputs {
        let Input::Heard { at, .. } = input else { continue };
        if let Some(body) = decide(book, input).unwrap() {
            keep(book, *at, body);
        }
        for body in judge(book) {
            keep(book, *at, body);
        }
        book.settled();
    }
}

fn time(mut work: impl FnMut()) -> Duration {
    let start = Instant::now();
    work();
    start.elapsed()
}

fn median(mut times: Vec<Duration>) -> Duration {
    times.sort();
    times[times.len() / 2]
}

fn main() {
    let large = inputs(LARGE);
    let (mut whole, mut first, mut plain, mut late) = (Vec::new(), Vec::new(), Vec::new(), Vec::new());
    for _ in 0..5 {
        let mut book = opened();
        let mut tenth = Duration::ZERO;
        let mut last = Duration::ZERO;
        whole.push(time(|| {
            tenth = time(|| feed(&mut book, &large[..LARGE / 10]));
            feed(&mut book, &large[LARGE / 10..LARGE * 9 / 10]);
            last = time(|| feed(&mut book, &large[LARGE * 9 / 10..]));
        }));
        assert_eq!(book.entries().len(), LARGE);
        first.push(tenth);
        late.push(last);
        plain.push(time(|| {
            let sum: Length = (0..LARGE).map(|index| Length::parse(&digits(index).0, Unit::Metre).unwrap()).sum();
            black_box(sum);
        }));
    }
    let small: Vec<Duration> = (0..2001)
        .map(|_| {
            let mut book = opened();
            time(|| feed(&mut book, &large[..SMALL]))
        })
        .collect();
    let per = |time: Duration, count: usize| time.as_nanos() as f64 / count as f64;
    let whole = median(whole);
    println!("reduce/readings a second, all checks: {:.2} million", LARGE as f64 / whole.as_secs_f64() / 1e6);
    println!(
        "reduce/baseline, digits formatted, parsed and added: {:.2} million",
        LARGE as f64 / median(plain).as_secs_f64() / 1e6
    );
    println!(
        "reduce/ns a reading: in a job of {SMALL} {:.0}, first tenth of {LARGE} {:.0}, last tenth {:.0}",
        per(median(small), SMALL),
        per(median(first), LARGE / 10),
        per(median(late), LARGE / 10)
    );

    let mut book = opened();
    feed(&mut book, &large[..REFOLD]);
    let refold = median(
        (0..7)
            .map(|turn| {
                let command = if turn % 2 == 0 {
                    Command::Strike { reading: 1, place: Default::default() }
                } else {
                    Command::Restore { reading: 1 }
                };
                time(|| {
                    let at = book.last_at();
                    if let Some(body) =
                        decide(&book, &Input::Command { command: command.clone(), by: Origin::Tell }).unwrap()
                    {
                        keep(&mut book, at, body);
                    }
                    for body in judge(&book) {
                        keep(&mut book, at, body);
                    }
                    book.settled();
                })
            })
            .collect(),
    );
    println!("reduce/command on reading 1 of {REFOLD}: {:.1} ms", refold.as_secs_f64() * 1e3);
}
