//! What the decoder promises of every byte, in examples and by chance.

use std::sync::Arc;

use proptest::prelude::*;

use super::{Decoder, Piece};
use crate::book::moment::Moment;
use crate::book::reading::{Heard, Reading};
use crate::protocol::generated::Dice;
use crate::protocol::{Format, find, shipped};
use crate::units::{Measured, Unit};

fn format(name: &str) -> Arc<Format> {
    Arc::new(find(name).unwrap())
}

fn at(ms: i64) -> Moment {
    Moment::from_us(1_700_000_000_000_000 + ms * 1000)
}

/// All pieces of a stream that was opened, came in these chunks, and was closed.
fn pieces(format: &Arc<Format>, chunks: &[&[u8]]) -> Vec<Piece> {
    let mut decoder = Decoder::new(Arc::clone(format));
    let mut out = Vec::new();
    for chunk in chunks {
        decoder.push(chunk, at(0), &mut out);
    }
    decoder.closed(&mut out);
    out
}

/// All pieces of records that came a little apart, after the link was opened, with a long silence behind.
fn spaced(format: &Arc<Format>, records: &[&[u8]], first_ms: i64) -> Vec<Piece> {
    let mut decoder = Decoder::new(Arc::clone(format));
    let mut out = Vec::new();
    decoder.opened(at(0));
    for (place, record) in records.iter().enumerate() {
        decoder.push(record, at(first_ms + 100 * place as i64), &mut out);
    }
    decoder.silence(at(60_000), &mut out);
    assert_eq!(decoder.pending(), 0);
    out
}

fn reading(staff: &str) -> Heard {
    let mut reading = Reading::of(Measured::parse(staff, Unit::Metre).unwrap());
    reading.sight = Some(Measured::parse("31.42", Unit::Metre).unwrap());
    Heard::Reading(reading)
}

/// A good record of a format for a reading.
fn record(format: &Format, staff: &str) -> Vec<u8> {
    format.write(&format.record_of(&reading(staff)).unwrap()).unwrap()
}

/// The staff readings among the pieces, in metres.
fn staffs(pieces: &[Piece]) -> Vec<String> {
    let staff = |piece: &Piece| match &piece.heard {
        Heard::Reading(reading) => Some(reading.staff.value().show(Unit::Metre, 4)),
        _ => None,
    };
    pieces.iter().filter_map(staff).collect()
}

fn joined(pieces: &[Piece]) -> Vec<u8> {
    pieces.iter().flat_map(|piece| piece.raw.clone()).collect()
}

#[test]
fn a_good_record_lands_after_each_kind_of_damage() {
    for (name, _) in shipped() {
        let format = format(name);
        let good = record(&format, "1.2834");
        let next = record(&format, "0.9121");
        for damage in 0..good.len() {
            for bit in 0..8 {
                let mut broken = good.clone();
                broken[damage] ^= 1 << bit;
                let found = spaced(&format, &[&good, &broken, &next, &next], 1000);
                assert_eq!(joined(&found), [&good[..], &broken, &next, &next].concat());
                let staffs = staffs(&found);
                assert_eq!(staffs.first().map(String::as_str), Some("1.2834"), "{name}, byte {damage}, bit {bit}");
                // Where the end of a line is damaged, its record and the next are one line. The next but one lands.
                assert_eq!(
                    staffs.last().map(String::as_str),
                    Some("0.9121"),
                    "{name}, byte {damage}, bit {bit}: {found:?}"
                );
            }
        }
    }
}

#[test]
fn a_damaged_length_swallows_no_good_record() {
    let format = format("packet");
    let (good, next) = (record(&format, "1.2834"), record(&format, "0.9121"));
    for length in 0..=255 {
        let mut broken = good.clone();
        broken[2] = length;
        let found = pieces(&format, &[&broken, &next, &next]);
        let wanted: &[&str] = if broken == good { &["1.2834", "0.9121", "0.9121"] } else { &["0.9121", "0.9121"] };
        assert_eq!(staffs(&found), wanted, "length {length}: {found:?}");
        let refused = found.iter().filter(|piece| matches!(piece.heard, Heard::Refused(_))).count();
        assert_eq!(refused, usize::from(broken != good), "length {length}: {found:?}");
    }
}

#[test]
fn two_flips_that_cancel_in_the_exclusive_or_are_refused() {
    // Row 14 of the faults: the same bit of two bytes of a record is turned, wherever they stand, by 10,000 seeds.
    let format = format("sentence");
    let mut accepted = 0;
    for seed in 0..10_000u64 {
        let mut random = Dice::new(seed);
        let staff = format!("{}.{:05}", random.below(5), random.below(100_000));
        let mut bytes = record(&format, &staff);
        // Between the start byte and the star stands what the exclusive-or covers.
        let covered = bytes.len() as u64 - 6;
        let first = 1 + random.below(covered);
        let second = 1 + (first + random.below(covered - 1)) % covered;
        assert_ne!(first, second);
        let bit = 1 << random.below(8);
        bytes[first as usize] ^= bit;
        bytes[second as usize] ^= bit;
        let found = pieces(&format, &[&bytes]);
        assert_eq!(joined(&found), bytes);
        accepted += found.iter().filter(|piece| matches!(piece.heard, Heard::Reading(_))).count();
    }
    assert_eq!(accepted, 0);
}

#[test]
fn without_the_control_number_cancelling_flips_would_be_booked() {
    // The counterpart: what the test above would see if the exclusive-or stood alone.
    let text =
        find("sentence").unwrap().text().replacen("[[check]]\nkind = \"mod97\"\nafter = \",\"\ndigits = 2\n", "", 1);
    let text = &text[..text.find("[[example]]").unwrap()];
    let format = Arc::new(Format::parse(text).unwrap());
    let mut bytes = record(&format, "1.2834");
    let digits = bytes.iter().position(|&byte| byte == b'+').unwrap();
    bytes[digits + 3] ^= 1;
    bytes[digits + 4] ^= 1;
    assert_eq!(staffs(&pieces(&format, &[&bytes])), ["1.2924"]);
}

#[test]
fn a_tail_is_a_fragment_and_what_shows_its_start_is_not() {
    let bare = "format = 1\nname = \"bare\"\ntitle = \"no evidence\"\n[frame]\nkind = \"line\"\nend = \"\\n\"\n[[record]]\n\
                name = \"r\"\nkind = \"reading\"\nlayout = \"separated\"\nseparator = \",\"\nfields = [{ is = \"decimal\", \
                means = \"staff\", unit = \"m\", decimals = 5 }]\n";
    let bare = Arc::new(Format::parse(bare).unwrap());
    let first = |format: &Arc<Format>, gap_ms: i64, stream: &[u8]| {
        let mut decoder = Decoder::new(Arc::clone(format));
        let mut out = Vec::new();
        decoder.opened(at(0));
        decoder.push(stream, at(gap_ms), &mut out);
        out
    };
    // Half a number is a number too: without a quiet gap nobody can tell.
    let found = first(&bare, 10, b"1.28340\n0.91210\n");
    assert_eq!(found[0].heard, Heard::Fragment);
    assert_eq!(staffs(&found), ["0.9121"]);
    assert_eq!(staffs(&first(&bare, 1000, b"1.28340\n0.91210\n")), ["1.2834", "0.9121"]);
    for (name, _) in shipped() {
        let format = format(name);
        let (one, two) = (record(&format, "1.2834"), record(&format, "0.9121"));
        assert_eq!(staffs(&spaced(&format, &[&one], 10)), ["1.2834"], "{name}: whole");
        let found = spaced(&format, &[&one[3..], &two], 10);
        assert_eq!(staffs(&found), ["0.9121"], "{name}: tail, then whole");
        assert_eq!(found[0].heard, Heard::Fragment, "{name}: {found:?}");
    }
}

#[test]
fn half_a_record_is_not_glued_to_what_comes_after_the_link_went() {
    for (name, _) in shipped() {
        let format = format(name);
        let (one, two) = (record(&format, "1.2834"), record(&format, "0.9121"));
        let mut decoder = Decoder::new(Arc::clone(&format));
        let mut out = Vec::new();
        decoder.push(&one[..one.len() / 2], at(0), &mut out);
        decoder.closed(&mut out);
        assert!(matches!(&out[..], [Piece { heard: Heard::Unfinished, .. }]), "{name}: {out:?}");
        decoder.opened(at(5000));
        decoder.push(&two, at(6000), &mut out);
        decoder.silence(at(60_000), &mut out);
        assert_eq!(staffs(&out), ["0.9121"], "{name}");
        assert_eq!(joined(&out), [&one[..one.len() / 2], &two].concat());
    }
}

#[test]
fn an_unfinished_record_is_given_up_after_a_silence_and_not_before() {
    let format = format("sentence");
    let one = record(&format, "1.2834");
    let mut decoder = Decoder::new(Arc::clone(&format));
    let mut out = Vec::new();
    decoder.push(&one[..9], at(0), &mut out);
    decoder.silence(at(1999), &mut out);
    assert!(out.is_empty());
    decoder.silence(at(2000), &mut out);
    assert_eq!(out.len(), 1);
    assert_eq!(out[0].heard, Heard::Unfinished);
    assert_eq!(decoder.pending(), 0);
}

#[test]
fn a_line_without_end_is_cut_at_the_bound_and_the_next_record_lands() {
    let format = format("comma");
    let mut decoder = Decoder::new(Arc::clone(&format));
    let mut out = Vec::new();
    let long = vec![b'x'; 1 << 16];
    for _ in 0..16 {
        decoder.push(&long, at(0), &mut out);
        assert!(decoder.pending() <= 200, "{}", decoder.pending());
    }
    decoder.push(b"\r\n", at(0), &mut out);
    decoder.push(&record(&format, "0.9121"), at(0), &mut out);
    assert_eq!(staffs(&out), ["0.9121"]);
    assert!(out.iter().all(|piece| piece.raw.len() <= 200));
    assert_eq!(
        out.iter().map(|piece| piece.raw.len()).sum::<usize>(),
        16 * long.len() + 2 + out.last().unwrap().raw.len()
    );
}

#[test]
fn work_is_linear_whatever_comes() {
    // Steps are counted, not seconds: twice the bytes may take at most twice the steps and what one frame has free.
    for (name, _) in shipped() {
        let format = format(name);
        let start = record(&format, "1.2834");
        let hostile = [vec![start[0]; 3], start[..4].to_vec(), vec![b','; 50], start.clone()].concat();
        let steps = |times: usize| {
            let mut decoder = Decoder::new(Arc::clone(&format));
            let mut out = Vec::new();
            for _ in 0..times {
                decoder.push(&hostile, at(0), &mut out);
            }
            decoder.steps()
        };
        let (once, twice) = (steps(500), steps(1000));
        assert!(twice <= 2 * once + 4096, "{name}: {once} and {twice}");
        assert!(twice <= 128 * (1000 * hostile.len()) as u64, "{name}: {twice}");
    }
}

#[test]
fn readings_without_a_check_say_so() {
    for (name, protected) in
        [("comma", false), ("sentence", true), ("columns", false), ("packet", true), ("pairs", true), ("block", false)]
    {
        let format = format(name);
        let found = pieces(&format, &[&record(&format, "1.2834")]);
        let Heard::Reading(reading) = &found[0].heard else { panic!("{name}: {found:?}") };
        assert_eq!(reading.unprotected, !protected, "{name}");
        assert_eq!(format.delivers().is_protected(), protected);
    }
}

/// Streams of good records, damaged ones, pieces of them and noise.
fn stream() -> impl Strategy<Value = (usize, Vec<u8>)> {
    let part = (0u8..6, any::<u32>(), proptest::collection::vec(any::<u8>(), 0..24));
    (0..shipped().len(), proptest::collection::vec(part, 0..12)).prop_map(|(place, parts)| {
        let format = Format::parse(shipped()[place].1).unwrap();
        let mut stream = Vec::new();
        for (kind, seed, junk) in parts {
            let mut bytes = record(&format, &format!("{}.{:04}", seed % 3, seed % 10_000));
            let at = seed as usize % bytes.len();
            match kind {
                0 | 1 => {}
                2 => bytes[at] ^= 1 << (seed >> 20 & 7),
                3 => bytes.truncate(at),
                4 => drop(bytes.drain(..at)),
                _ => bytes = junk,
            }
            stream.extend(bytes);
        }
        (place, stream)
    })
}

proptest! {
    #[test]
    fn pieces_do_not_depend_on_the_chunks((place, stream) in stream(), cuts in proptest::collection::vec(any::<u16>(), 0..20)) {
        let format = Arc::new(Format::parse(shipped()[place].1).unwrap());
        let whole = pieces(&format, &[&stream]);
        prop_assert_eq!(joined(&whole), stream.clone());
        let single: Vec<&[u8]> = stream.chunks(1).collect();
        prop_assert_eq!(&pieces(&format, &single), &whole);
        let mut at: Vec<usize> = cuts.iter().map(|&cut| usize::from(cut) % (stream.len() + 1)).collect();
        at.sort_unstable();
        let ends = at.iter().copied().chain([stream.len()]);
        let starts = [0].into_iter().chain(at.iter().copied());
        let chunks: Vec<&[u8]> = starts.zip(ends).map(|(from, to)| &stream[from..to]).collect();
        prop_assert_eq!(&pieces(&format, &chunks), &whole);
    }

    #[test]
    fn any_bytes_at_all_come_out_once_and_in_order(place in 0..shipped().len(), bytes in proptest::collection::vec(any::<u8>(), 0..600)) {
        let format = Arc::new(Format::parse(shipped()[place].1).unwrap());
        prop_assert_eq!(joined(&pieces(&format, &[&bytes])), bytes);
    }
}

/// What we sent comes back, and the answer directly behind it: the silence behind both ends one record only.
#[test]
fn a_field_is_sent_back_as_it_came() {
    let answer = "[talk.acknowledge]\nrecords = [\"shot\"]\ngood = \"OK {sequence}\\r\\n\"\nresent = \"sequence\"\n";
    let text = format!("{}{answer}", include_str!("../../../fixtures/formats/good-hex-pairs.toml"));
    let format = Arc::new(Format::parse(&text).unwrap());
    let found = pieces(&format, &[b":01000C0001F5540C4657\r\n"]);
    // Two bytes were sent as four digits.
    assert_eq!(found[0].reply.as_deref(), Some(&b"OK 000C\r\n"[..]), "{found:?}");
}

#[test]
fn an_echo_in_front_of_its_answer_is_told_from_it() {
    let format = format("poll");
    let answer = b"12  1.2834m   31.4m B 9";
    for echoes in [&b"?\r"[..], b"!\r?\r", b""] {
        let out = spaced(&format, &[&[echoes, answer].concat()], 1_000);
        let echoed: Vec<u8> =
            out.iter().filter(|piece| piece.heard == Heard::Echo).flat_map(|piece| piece.raw.clone()).collect();
        assert_eq!((echoed.as_slice(), staffs(&out)), (echoes, vec!["1.2834".to_owned()]), "{out:?}");
    }
    let alone = spaced(&format, &[b"?\r"], 1_000);
    assert_eq!(alone.iter().map(|piece| &piece.heard).collect::<Vec<_>>(), [&Heard::Echo]);
}
