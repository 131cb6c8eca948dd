//! The reducer with all checks: readings a second on one core, the cost of a reading as the job grows, and folding a
//! long job anew after a command on its first reading.
//!
//! A reading goes the whole pure way: `decide`, `apply`, and what `judge` says of it, applied too. It comes decoded, with
//! its bytes beside it; nothing is stored or shown. The baseline in the same run is a plain loop that only writes the
//! same digits, parses them and adds them up.
//!
//! What is timed is the processor's time for this thread, not the time on the wall: other programs on the machine still
//! take its caches away, but not its turn.

use std::hint::black_box;
use std::time::Duration;

use closerun::book::classes;
use closerun::book::event::{Body, Command, Event, Origin};
use closerun::book::moment::Moment;
use closerun::book::reading::{Heard, PointName, Reading};
use closerun::book::sequence::Sequence;
use closerun::book::settings::{Booking, Corrections, Instrument, KnownPoint, Settings, Staffs};
use closerun::book::{Book, Input, decide, judge};
use closerun::units::{Length, Measured, Unit};

/// Readings in the long job, whose first and last tenth are timed by themselves.
const LARGE: usize = 1_000_000;
/// Readings in the short job.
const SMALL: usize = 10;
/// Short jobs timed in one go, so that the clock's own cost does not show.
const SMALL_JOBS: usize = 1_000;
/// Readings in the job that is folded anew.
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
        staffs: Staffs::default(),
        instrument: Instrument::default(),
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

/// Keeps an event with its bytes, and gives the bytes back.
fn keep(book: &mut Book, at: Moment, body: Body, raw: Vec<u8>) -> Vec<u8> {
    let event = Event { seq: book.last_event() + 1, at, simulated: false, body, raw };
    book.apply(&event);
    event.raw
}

fn opened() -> Book {
    let mut book = Book::new();
    let settings = Box::new(settings());
    keep(&mut book, Moment::from_us(0), Body::JobOpened { program: "bench".to_owned(), settings }, Vec::new());
    book
}

/// The whole pure way: decide, apply, judge, apply. The bytes are lent to the event and taken back, so that the same
/// inputs can be fed again.
fn feed(book: &mut Book, inputs: &mut [Input]) {
    for input in inputs {
        let body = decide(book, input).unwrap();
        let Input::Heard { at, raw, .. } = input else { continue };
        if let Some(body) = body {
            *raw = keep(book, *at, body, std::mem::take(raw));
        }
        tell(book, *at);
    }
}

/// What the crew must be told.
fn tell(book: &mut Book, at: Moment) {
    for body in judge(book) {
        keep(book, at, body, Vec::new());
    }
    book.settled();
}

fn time(work: impl FnOnce()) -> Duration {
    let start = processor_time();
    work();
    processor_time() - start
}

#[cfg(unix)]
fn processor_time() -> Duration {
    let now = rustix::time::clock_gettime(rustix::time::ClockId::ThreadCPUTime);
    Duration::new(now.tv_sec as u64, now.tv_nsec as u32)
}

/// Where the thread's own time is not to be had, that on the wall.
#[cfg(not(unix))]
fn processor_time() -> Duration {
    static START: std::sync::OnceLock<std::time::Instant> = std::sync::OnceLock::new();
    START.get_or_init(std::time::Instant::now).elapsed()
}

fn median(mut times: Vec<Duration>) -> Duration {
    times.sort();
    times[times.len() / 2]
}

fn main() {
    let mut large = inputs(LARGE);
    let (mut whole, mut first, mut late, mut plain, mut small) =
        (Vec::new(), Vec::new(), Vec::new(), Vec::new(), Vec::new());
    for _ in 0..5 {
        // Each short job has readings of its own, as cold as those of the long one.
        let mut jobs: Vec<Book> = (0..SMALL_JOBS).map(|_| opened()).collect();
        small.push(time(|| jobs.iter_mut().zip(large.chunks_mut(SMALL)).for_each(|(job, inputs)| feed(job, inputs))));
        let mut book = opened();
        let (tenth, rest) = large.split_at_mut(LARGE / 10);
        let (middle, last) = rest.split_at_mut(LARGE * 8 / 10);
        let times = [tenth, middle, last].map(|part| time(|| feed(&mut book, part)));
        assert_eq!(book.entries().len(), LARGE);
        whole.push(times.iter().sum());
        first.push(times[0]);
        late.push(times[2]);
        plain.push(time(|| {
            let sum: Length = (0..LARGE).map(|index| Length::parse(&digits(index).0, Unit::Metre).unwrap()).sum();
            black_box(sum);
        }));
    }
    let per = |times, count: usize| median(times).as_nanos() as f64 / count as f64;
    let whole = median(whole);
    println!("reduce/readings a second, all checks: {:.2} million", LARGE as f64 / whole.as_secs_f64() / 1e6);
    println!(
        "reduce/baseline, digits written, parsed and added: {:.2} million",
        LARGE as f64 / median(plain).as_secs_f64() / 1e6
    );
    println!(
        "reduce/ns a reading: in a job of {SMALL} {:.0}, first tenth of {LARGE} {:.0}, last tenth {:.0}",
        per(small, SMALL * SMALL_JOBS),
        per(first, LARGE / 10),
        per(late, LARGE / 10)
    );

    let mut book = opened();
    feed(&mut book, &mut large[..REFOLD]);
    let refolds = (0..7).map(|turn| {
        let command = if turn % 2 == 0 {
            Command::Strike { reading: 1, place: Default::default() }
        } else {
            Command::Restore { reading: 1 }
        };
        time(|| {
            let at = book.last_at();
            let body = decide(&book, &Input::Command { command, by: Origin::Tell }).unwrap();
            keep(&mut book, at, body.expect("a command is an event"), Vec::new());
            tell(&mut book, at);
        })
    });
    println!("reduce/command on reading 1 of {REFOLD}: {:.1} ms", median(refolds.collect()).as_secs_f64() * 1e3);
}
