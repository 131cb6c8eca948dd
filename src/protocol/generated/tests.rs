//! What holds for every format.

use std::sync::Arc;

use super::{Dice, Made, made, plain};
use crate::book::moment::Moment;
use crate::protocol::{Decoder, Format, Piece, Record, What};

fn parsed(text: &str) -> Format {
    Format::parse(text).unwrap_or_else(|errors| panic!("{text}\n{errors}"))
}

fn at(ms: i64) -> Moment {
    Moment::from_us(ms * 1000)
}

/// The pieces of a stream in chunks of at most `size` bytes, all at one time, and a silence behind.
fn pieces(format: &Arc<Format>, stream: &[u8], size: usize) -> Vec<Piece> {
    let (mut decoder, mut out) = (Decoder::new(Arc::clone(format)), Vec::new());
    for chunk in stream.chunks(size) {
        decoder.push(chunk, at(0), &mut out);
    }
    decoder.silence(at(60_000), &mut out);
    assert_eq!(decoder.pending(), 0);
    out
}

/// Turns bits, takes bytes out and puts some in.
fn damage(bytes: &mut Vec<u8>, dice: &mut Dice) {
    for _ in 0..dice.below(4) {
        let at = dice.below(bytes.len().max(1) as u64) as usize;
        match dice.below(4) {
            0 if at < bytes.len() => drop(bytes.remove(at)),
            1 => bytes.insert(at.min(bytes.len()), dice.below(256) as u8),
            2 if at < bytes.len() => bytes[at] = b'0' + dice.below(10) as u8,
            _ if at < bytes.len() => bytes[at] ^= 1 << dice.below(8),
            _ => {}
        }
    }
}

/// How many formats are made up.
const SEEDS: u64 = 10_000;

/// A format made up out of a seed, and chance for its records.
fn formats() -> impl Iterator<Item = (Made, Format, Dice)> {
    (0..SEEDS).map(|seed| {
        let mut dice = Dice::new(seed);
        let made = made(&mut dice);
        let format = parsed(&made.text);
        (made, format, dice)
    })
}

/// One walk over all formats for both, because making them is what takes time.
#[test]
fn what_is_written_reads_back_and_the_walk_agrees_with_a_plain_one() {
    for (made, format, mut dice) in formats() {
        for _ in 0..2 {
            let record = made.record(&mut dice);
            reads_back(&made, &format, &record);
            agrees_with_plain(&made, &format, &record, &mut dice);
        }
    }
}

fn reads_back(Made { text, .. }: &Made, format: &Format, record: &Record) {
    let frame = format.write(record).unwrap_or_else(|error| panic!("{text}\n{record:?}\n{error}"));
    let mut back = format.read(&frame).unwrap_or_else(|refusal| panic!("{text}\n{record:?}\n{refusal:?}"));
    // Where a unit stands among the fields is the format's business.
    back.fields.sort_by(|a, b| a.0.cmp(&b.0));
    let mut given = record.clone();
    given.fields.sort_by(|a, b| a.0.cmp(&b.0));
    assert_eq!(back, given, "{text}");
}

fn agrees_with_plain(Made { text, .. }: &Made, format: &Format, record: &Record, dice: &mut Dice) {
    let mut payload = format.fields_of(record).unwrap();
    for _ in 0..3 {
        let (plain, walked) = (plain::read(&format.grammar, &payload), format.read_fields(&payload));
        assert_eq!(walked.as_ref().ok(), plain.as_ref(), "{text}\n{}\n{walked:?}", payload.escape_ascii());
        damage(&mut payload, dice);
    }
}

#[test]
fn pieces_do_not_depend_on_the_chunks() {
    for (made, format, mut dice) in formats().step_by(16) {
        let format = Arc::new(format);
        let mut stream = Vec::new();
        for _ in 0..dice.below(6) {
            let mut frame = format.write(&made.record(&mut dice)).unwrap();
            if dice.below(2) == 0 {
                damage(&mut frame, &mut dice);
            }
            stream.extend(frame);
        }
        let whole = pieces(&format, &stream, usize::MAX);
        assert_eq!(whole.iter().flat_map(|piece| piece.raw.clone()).collect::<Vec<_>>(), stream, "{}", made.text);
        for size in [1, 2, 3, 7, 16] {
            assert_eq!(pieces(&format, &stream, size), whole, "chunks of {size}\n{}", made.text);
        }
    }
}

/// Every field that is there is found as a part of the frame, in its place, and no two parts share a byte.
#[test]
fn a_frame_taken_apart_shows_every_field() {
    for (made, format, mut dice) in formats().step_by(16) {
        let record = made.record(&mut dice);
        let frame = format.write(&record).unwrap();
        let anatomy = format.anatomy(&frame);
        assert_eq!(anatomy.record.as_deref(), Some("made"), "{}", made.text);
        let mut names: Vec<&str> = Vec::new();
        let mut reached = 0;
        for part in &anatomy.parts {
            assert!(part.bytes.start >= reached && part.bytes.end <= frame.len(), "{}\n{anatomy:?}", made.text);
            reached = part.bytes.end;
            names.extend(if let What::Field { name, .. } = &part.what { Some(&**name) } else { None });
        }
        names.sort_unstable();
        let mut given: Vec<&str> = record.fields.iter().map(|(name, _)| &**name).collect();
        given.sort_unstable();
        assert_eq!(names, given, "{}\n{anatomy:?}", made.text);
    }
}
