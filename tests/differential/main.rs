//! Three shipped formats decoded twice: by their format files, and by decoders written by hand from the comments at the
//! head of these files, with nothing in common. Both must find the same records in the same places, in streams that
//! were made and damaged by chance.

mod columns;
mod packet;
mod sentence;
mod stream;

use std::sync::Arc;

use closerun::book::moment::Moment;
use closerun::book::reading::Heard;
use closerun::protocol::{Decoder, find};

use stream::{Dice, damage};

/// A record and where its frame begins in the stream.
#[derive(Debug, PartialEq, Eq)]
struct Record {
    at: usize,
    says: String,
}

/// How many streams are made for each format.
const STREAMS: u64 = 3_000;

/// Makes streams out of frames, damages them, and holds both decoders against each other.
fn agree(name: &str, frame: fn(&mut Dice) -> Vec<u8>, by_hand: fn(&[u8]) -> Vec<Record>) {
    let format = Arc::new(find(name).unwrap());
    let (mut records, mut damaged) = (0, 0);
    for seed in 0..STREAMS {
        let mut dice = Dice::new(seed);
        let mut stream = Vec::new();
        for _ in 0..1 + dice.below(10) {
            let mut frame = frame(&mut dice);
            if dice.below(2) == 0 {
                damage(&mut frame, &mut dice);
                damaged += 1;
            }
            stream.extend(frame);
        }
        let size = 1 + dice.below(40) as usize;
        let (mut decoder, mut pieces) = (Decoder::new(Arc::clone(&format)), Vec::new());
        for chunk in stream.chunks(size) {
            decoder.push(chunk, Moment::from_us(0), &mut pieces);
        }
        decoder.closed(&mut pieces);
        let mut found = Vec::new();
        let mut at = 0;
        for piece in pieces {
            found.extend(said(&piece.heard).map(|says| Record { at, says }));
            at += piece.raw.len();
        }
        assert_eq!(at, stream.len(), "seed {seed}: every byte in exactly one piece");
        assert_eq!(found, by_hand(&stream), "seed {seed}: {}", stream.escape_ascii());
        records += found.len();
    }
    // The test would be empty if everything were refused, or nothing damaged.
    assert!(records > STREAMS as usize && damaged > STREAMS as usize, "{records} records, {damaged} damaged");
}

/// What a good record says; nothing of all others.
fn said(heard: &Heard) -> Option<String> {
    Some(match heard {
        Heard::Reading(reading) => {
            let length = |length: closerun::units::Measured| format!("{} {}", length.digits(), length.unit());
            format!(
                "reading {} sight {} role {} sequence {} point {} count {}",
                length(reading.staff),
                reading.sight.map_or("-".to_owned(), length),
                reading.role.map_or("-", |role| role.word()),
                reading.sequence.map_or("-".to_owned(), |number| number.to_string()),
                reading.point.as_ref().map_or("-", |point| point.as_str()),
                reading.count.map_or("-".to_owned(), |count| count.to_string()),
            )
        }
        Heard::Status(status) => {
            let number = |number: Option<f64>| number.map_or("-".to_owned(), |number| number.to_string());
            format!("status battery {} temperature {}", number(status.battery_percent), number(status.temperature_c))
        }
        Heard::Fault { code, meaning } => format!("fault {code} {}", meaning.as_deref().unwrap_or("-")),
        Heard::Ignored { rule } if rule.starts_with("record ") => "known and of no use".to_owned(),
        _ => return None,
    })
}

#[test]
fn the_sentence() {
    agree("sentence", sentence::frame, sentence::read);
}

#[test]
fn the_packet() {
    agree("packet", packet::frame, packet::read);
}

#[test]
fn the_columns() {
    agree("columns", columns::frame, columns::read);
}
