//! Decoding through format files: every shipped format against the same record in hand-written nom, and in a regular
//! expression where one can describe it; then a capture of 100 MB, and drafts of captures of 100 kB.
//!
//! All three begin with the same stream of bytes and end with the same `Reading`s and a copy of each record's bytes,
//! because the program keeps both. Run with `cargo bench --bench decode`; the ratios are what counts.

mod captured;
mod drafts;
mod hand;
mod long;

use std::hint::black_box;
use std::sync::Arc;

use closerun::book::moment::Moment;
use closerun::book::reading::{Heard, PointName, Reading, Role};
use closerun::protocol::{Decoder, Format, Piece, find, shipped};
use closerun::units::{Measured, Unit};
use criterion::{Criterion, Throughput};
use nom::IResult;
use regex::bytes::Regex;

use hand::{binary, text};

/// Records in one stream.
const RECORDS: usize = 500;

/// Between two records that end with silence, in microseconds.
const PAUSE_US: i64 = 1_000_000;

/// What an instrument sends: in one piece, or a record at a time where silence ends each.
struct Stream {
    parts: Vec<Vec<u8>>,
}

/// A reading such as is taken on a building site, as finely as the format sends it.
fn reading(format: &Format, number: u64) -> Reading {
    let staff = format!("{}.{:05}", number % 3, number * 7919 % 100_000);
    let sight = format!("{}.{:02}", number % 60, number % 100);
    let (staff_cut, sight_cut, time) = match format.name() {
        "poll" => (1, 1, None),
        "telegram" => (1, 0, None),
        "stuffed" => (1, 0, Some("20260302101500")),
        "objects" => (0, 0, Some("2026-03-02T10:15:00Z")),
        _ => (0, 0, None),
    };
    let metres = |digits: &str, cut: usize| Measured::parse(&digits[..digits.len() - cut], Unit::Metre).unwrap();
    let mut reading = Reading::of(metres(&staff, staff_cut));
    reading.sight = Some(metres(&sight, sight_cut));
    reading.sequence = Some(number);
    reading.point = PointName::from_wire(&format!("TP{number}"));
    reading.role = Some(if number.is_multiple_of(2) { Role::Back } else { Role::Fore });
    reading.count = Some(5);
    reading.time = time.map(str::to_owned);
    reading
}

fn record(format: &Format, reading: Reading) -> Vec<u8> {
    format.write(&format.record_of(&Heard::Reading(reading)).unwrap()).unwrap()
}

fn stream(format: &Format) -> Stream {
    let records = (0..RECORDS as u64).map(|number| record(format, reading(format, number)));
    let parts = if format.link().silence_ms.is_some() { records.collect() } else { vec![records.flatten().collect()] };
    Stream { parts }
}

#[inline(never)]
fn by_format(format: &Arc<Format>, stream: &Stream) -> Vec<Piece> {
    let mut decoder = Decoder::new(Arc::clone(format));
    let mut out = Vec::with_capacity(RECORDS);
    let mut at = Moment::from_us(0);
    for part in &stream.parts {
        for chunk in part.chunks(4096) {
            decoder.push(chunk, at, &mut out);
        }
        at = Moment::from_us(at.us() + PAUSE_US);
    }
    decoder.silence(at, &mut out);
    out
}

type Kept = Vec<(Vec<u8>, Reading)>;

/// Runs a parser of one record over a stream, keeping each record's bytes.
#[inline(never)]
fn by_hand(stream: &Stream, parser: impl Fn(&[u8]) -> IResult<&[u8], Reading>) -> Kept {
    let mut out = Vec::with_capacity(RECORDS);
    for part in &stream.parts {
        let mut rest = &part[..];
        while !rest.is_empty() {
            let (behind, reading) = parser(rest).unwrap();
            out.push((rest[..rest.len() - behind.len()].to_vec(), reading));
            rest = behind;
        }
    }
    out
}

#[inline(never)]
fn by_regex(stream: &Stream, pattern: &Regex, build: captured::Build) -> Kept {
    let mut out = Vec::with_capacity(RECORDS);
    for part in &stream.parts {
        for captures in pattern.captures_iter(part) {
            out.push((captures.get(0).unwrap().as_bytes().to_vec(), build(&captures)));
        }
    }
    out
}

/// Reads all records of a stream.
type Reader<'a> = Box<dyn Fn(&Stream) -> Kept + 'a>;

fn hand_written(format: &str) -> Reader<'static> {
    fn of(parser: fn(&[u8]) -> IResult<&[u8], Reading>) -> Reader<'static> {
        Box::new(move |stream| by_hand(stream, parser))
    }
    match format {
        "comma" => of(text::comma),
        "sentence" => of(text::sentence),
        "columns" => of(text::columns),
        "pairs" => of(text::pairs),
        "objects" => of(text::objects),
        "block" => of(text::block),
        "poll" => of(text::poll),
        "telegram" => of(binary::telegram),
        "packet" => {
            let crc = crc::Crc::<u16>::new(&crc::CRC_16_IBM_3740);
            Box::new(move |stream| by_hand(stream, |input| binary::packet(&crc, input)))
        }
        "stuffed" => {
            let crc = crc::Crc::<u32>::new(&crc::CRC_32_ISO_HDLC);
            Box::new(move |stream| by_hand(stream, |input| binary::stuffed(&crc, input)))
        }
        other => panic!("no hand-written parser for the shipped format {other}"),
    }
}

fn compare(criterion: &mut Criterion) {
    for (name, _) in shipped() {
        let format = Arc::new(find(name).unwrap());
        let stream = stream(&format);
        let kept: Kept = by_format(&format, &stream)
            .into_iter()
            .map(|piece| match piece.heard {
                Heard::Reading(reading) => (piece.raw, reading),
                other => panic!("{name}: {other:?}"),
            })
            .collect();
        assert_eq!(kept.len(), RECORDS, "{name}");
        let mut group = criterion.benchmark_group(*name);
        group.throughput(Throughput::Elements(RECORDS as u64));
        group.bench_function("format", |bencher| bencher.iter(|| by_format(&format, black_box(&stream))));
        let hand = hand_written(name);
        assert_eq!(hand(&stream), kept, "{name} by hand");
        group.bench_function("nom", |bencher| bencher.iter(|| hand(black_box(&stream))));
        if let Some((pattern, build)) = captured::captured(name) {
            assert_eq!(by_regex(&stream, &pattern, build), kept, "{name} by a regular expression");
            group.bench_function("regex", |bencher| bencher.iter(|| by_regex(black_box(&stream), &pattern, build)));
        }
        group.finish();
    }
}

fn main() {
    let mut criterion = Criterion::default().configure_from_args();
    compare(&mut criterion);
    criterion.final_summary();
    long::measure();
    drafts::measure();
}
