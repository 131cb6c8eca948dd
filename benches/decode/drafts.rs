//! Drafts of captures of 100 kB: how long a person waits for one.

use std::time::{Duration, Instant};

use closerun::book::moment::Moment;
use closerun::protocol::draft::{Chunk, Drafted, Seen, draft};
use closerun::protocol::{Format, find};

/// Bytes of a capture.
const CAPTURE: usize = 100_000;

/// How long a draft may take.
const DRAFT_MAX: Duration = Duration::from_secs(5);

/// How often each is drafted; the slowest counts.
const RUNS: usize = 3;

/// What is drafted, and whether it is text.
const CAPTURES: [(&str, &str); 6] = [
    ("comma", "text"),
    ("sentence", "text"),
    ("block", "text"),
    ("packet", "binary"),
    ("telegram", "binary"),
    ("stuffed", "binary"),
];

/// Records of a format, each at its time, and what the display showed at some of the first.
fn capture(format: &Format) -> (Vec<(Moment, Vec<u8>)>, Vec<Seen>) {
    let (mut records, mut bytes, mut seen) = (Vec::new(), 0, Vec::new());
    for number in 1.. {
        let reading = super::reading(format, number);
        if [2, 3, 7, 11].contains(&number) {
            let sight = reading.sight.map_or(String::new(), |sight| format!("/{}", sight.digits()));
            seen.push(Seen::parse(&format!("{}{sight}", reading.staff.digits())).unwrap());
        }
        let record = super::record(format, reading);
        bytes += record.len();
        records.push((Moment::from_us(number as i64 * super::PAUSE_US), record));
        if bytes >= CAPTURE {
            break;
        }
    }
    (records, seen)
}

pub(super) fn measure() {
    for (name, kind) in CAPTURES {
        let (records, seen) = capture(&find(name).unwrap());
        let chunks: Vec<Chunk<'_>> = records.iter().map(|(at, bytes)| Chunk { at: *at, bytes }).collect();
        let mut slowest = Duration::ZERO;
        for _ in 0..RUNS {
            let began = Instant::now();
            let drafted = draft(&chunks, &seen);
            slowest = slowest.max(began.elapsed());
            assert!(matches!(drafted, Drafted::One(_)), "{name}: {drafted:?}");
        }
        let (took, most) = (slowest.as_secs_f64(), DRAFT_MAX.as_secs());
        println!("draft of 100 kB of {kind}, {name}: {took:.2} s at most of {RUNS} runs, {most} s allowed");
        assert!(slowest < DRAFT_MAX, "{name}: {took:.2} s");
    }
}
