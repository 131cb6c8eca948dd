//! Captures made with the writer, drafted, and read again by the draft.

use std::sync::Arc;

use super::trial::{Read, trial};
use super::*;
use crate::book::moment::Moment;
use crate::book::reading::{Heard, PointName, Reading, Role, Status};
use crate::protocol::Format;
use crate::protocol::find;
use crate::protocol::generated::{Dice, made as made_up};
use crate::units::{Measured, Unit};

/// A capture and what the display showed at each reading in it.
struct Made {
    chunks: Vec<(Moment, Vec<u8>)>,
    shown: Vec<Shown>,
}

/// A reading and where its frame lies.
#[derive(Clone, Copy)]
struct Shown {
    seen: Seen,
    at: usize,
}

impl Made {
    fn empty() -> Self {
        Made { chunks: Vec::new(), shown: Vec::new() }
    }

    fn len(&self) -> usize {
        self.chunks.iter().map(|(_, bytes)| bytes.len()).sum()
    }

    /// Adds a frame, two seconds after the one before, in pieces as a slow line brings them.
    fn push(&mut self, frame: &[u8]) {
        let begin = self.chunks.last().map_or(0, |(at, _)| at.us() + 2_000_000);
        for (place, piece) in frame.chunks(7).enumerate() {
            self.chunks.push((Moment::from_us(begin + 4_000 * place as i64), piece.to_vec()));
        }
    }

    fn reading(&mut self, frame: &[u8], seen: Seen) {
        self.shown.push(Shown { seen, at: self.len() });
        self.push(frame);
    }

    fn draft(&self, seen: &[Seen]) -> Drafted {
        let chunks: Vec<Chunk<'_>> = self.chunks.iter().map(|(at, bytes)| Chunk { at: *at, bytes }).collect();
        draft(&chunks, seen)
    }

    fn capture(&self) -> Capture {
        let chunks: Vec<Chunk<'_>> = self.chunks.iter().map(|(at, bytes)| Chunk { at: *at, bytes }).collect();
        Capture::of(&chunks)
    }

    /// Whether the display showed that, at the frame which it was read from. A line of a block may be taken for a frame.
    fn is_right(&self, read: &Read) -> bool {
        let shown = self.shown.iter().rev().find(|shown| shown.at <= read.at);
        shown.is_some_and(|shown| shown.seen.staff.value() == read.staff.value())
    }

    /// Gives the first readings, then those that the draft asks for, as a person would.
    fn asked(&self, first: usize) -> Drafted {
        let mut given: Vec<usize> = (0..first).collect();
        for _ in 0..12 {
            let seen: Vec<Seen> = given.iter().map(|place| self.shown[*place].seen).collect();
            let drafted = self.draft(&seen);
            let places: Vec<usize> = match &drafted {
                Drafted::One(draft) => draft.unseen.iter().map(|unseen| unseen.place.start).collect(),
                Drafted::Several { apart, .. } => apart.iter().map(|apart| apart.place.start).collect(),
                Drafted::Nothing { .. } => Vec::new(),
            };
            let more = places.iter().filter_map(|at| self.shown.iter().position(|shown| shown.at == *at));
            let more: Vec<usize> = more.filter(|place| !given.contains(place)).collect();
            if more.is_empty() {
                return drafted;
            }
            given.extend(more);
            given.sort_unstable();
            given.dedup();
        }
        panic!("it never stops asking");
    }
}

fn measured(dice: &mut Dice, least_mm: u64, most_mm: u64, unit: Unit, decimals: u8) -> Measured {
    let steps = 10u64.pow(u32::from(decimals));
    let per = if unit == Unit::Millimetre { 1 } else { 1000 };
    let number = least_mm * steps / per + dice.below((most_mm - least_mm) * steps / per);
    let text = match decimals {
        0 => number.to_string(),
        _ => format!("{}.{:0width$}", number / steps, number % steps, width = usize::from(decimals)),
    };
    Measured::parse(&text, unit).unwrap()
}

/// How a shipped format's readings are made: unit and decimals of staff and sight.
const SHIPPED: [(&str, Unit, u8, Unit, u8); 10] = [
    ("comma", Unit::Metre, 5, Unit::Metre, 2),
    ("columns", Unit::Metre, 5, Unit::Metre, 2),
    ("sentence", Unit::Metre, 5, Unit::Metre, 2),
    ("pairs", Unit::Metre, 5, Unit::Metre, 2),
    ("objects", Unit::Metre, 5, Unit::Metre, 2),
    ("block", Unit::Metre, 5, Unit::Metre, 2),
    ("poll", Unit::Metre, 4, Unit::Metre, 1),
    ("packet", Unit::Metre, 5, Unit::Metre, 3),
    ("telegram", Unit::Millimetre, 1, Unit::Metre, 2),
    ("stuffed", Unit::Metre, 4, Unit::Metre, 2),
];

/// A morning with a shipped format: readings, now and then a status or a fault.
fn morning((name, unit, decimals, sight_unit, sight_decimals): (&str, Unit, u8, Unit, u8), shots: u64) -> Made {
    let format = find(name).unwrap();
    let mut dice = Dice::new(7);
    let mut made = Made::empty();
    for shot in 0..shots {
        let mut reading = Reading::of(measured(&mut dice, 300, 4000, unit, decimals));
        reading.sight = Some(measured(&mut dice, 5_000, 60_000, sight_unit, sight_decimals));
        reading.point = PointName::new(&format!("TP{}", shot / 2 + 1)).ok();
        reading.role = Some(if shot % 2 == 0 { Role::Back } else { Role::Fore });
        reading.sequence = Some(shot + 12);
        reading.count = Some(3 + dice.below(3) as u32);
        let seen = Seen { staff: reading.staff, sight: reading.sight };
        let record = format.record_of(&Heard::Reading(reading)).unwrap();
        made.reading(&format.write(&record).unwrap(), seen);
        if dice.below(6) == 0 {
            let status = Status { battery_percent: Some(dice.below(100) as f64), ..Status::default() };
            if let Ok(record) = format.record_of(&Heard::Status(status)) {
                made.push(&format.write(&record).unwrap());
            }
        }
    }
    made
}

fn values(readings: &[Read]) -> Vec<(i64, Option<i64>)> {
    readings.iter().map(|read| (read.staff.value().tenth_nm(), read.sight.map(|s| s.value().tenth_nm()))).collect()
}

fn truth(made: &Made) -> Vec<(i64, Option<i64>)> {
    made.shown.iter().map(|s| (s.seen.staff.value().tenth_nm(), s.seen.sight.map(|s| s.value().tenth_nm()))).collect()
}

#[test]
fn every_shipped_format_is_drafted_from_what_it_sends() {
    for shipped in SHIPPED {
        let made = morning(shipped, 60);
        let drafted = made.asked(4);
        let Drafted::One(draft) = drafted else { panic!("{}: {drafted:?}", shipped.0) };
        let format = Arc::new(Format::parse(&draft.text).unwrap());
        assert_eq!(values(&trial(&format, &made.capture()).readings), truth(&made), "{}\n{}", shipped.0, draft.text);
    }
}

/// A counter of two bytes is not one of one byte that begins again, nor one of packed digits that now and then are none.
#[test]
fn a_number_is_counted_on_beyond_what_a_byte_holds() {
    let packet = SHIPPED.into_iter().find(|shipped| shipped.0 == "packet").unwrap();
    let made = morning(packet, 600);
    let Drafted::One(draft) = made.asked(6) else { panic!("one was wanted") };
    let counted = "{ is = \"unsigned\", bytes = 2, order = \"little\", means = \"sequence\" }";
    assert!(draft.text.contains(counted), "{}", draft.text);
    let format = Arc::new(Format::parse(&draft.text).unwrap());
    assert_eq!(values(&trial(&format, &made.capture()).readings), truth(&made), "{}", draft.text);
}

/// How many formats are made up and drafted.
const SEEDS: u64 = 120;

/// What a draft does not look for: bytes sent as digits, checks on each line.
const NOT_LOOKED_FOR: [&str; 2] = ["sent_as", "each-line"];

/// Whatever a draft reads was sent so: none is ever wrong. Most formats are drafted whole.
#[test]
fn formats_made_up_are_drafted_or_refused_and_never_wrong() {
    let (mut tried, mut whole, mut none, mut several) = (0, 0, 0, 0);
    for seed in 0..SEEDS {
        let mut dice = Dice::new(seed);
        let source = made_up(&mut dice);
        let format = Format::parse(&source.text).unwrap();
        let mut made = Made::empty();
        for _ in 0..40 {
            let Some((record, staff)) = source.shot(&mut dice) else { break };
            let staff = Measured::parse(staff.as_str(), Unit::Metre).unwrap();
            made.reading(&format.write(&record).unwrap(), Seen { staff, sight: None });
        }
        if made.shown.is_empty() {
            continue;
        }
        let looked_for = NOT_LOOKED_FOR.iter().all(|word| !source.text.contains(word));
        tried += usize::from(looked_for);
        match made.asked(5) {
            Drafted::One(draft) => {
                let format = Arc::new(Format::parse(&draft.text).unwrap());
                let read = trial(&format, &made.capture()).readings;
                for read in &read {
                    assert!(made.is_right(read), "seed {seed}: {read:?}\n{}\n{}", source.text, draft.text);
                }
                whole += usize::from(looked_for && read.len() == made.shown.len());
            }
            Drafted::Several { .. } => several += usize::from(looked_for),
            Drafted::Nothing { .. } => none += usize::from(looked_for),
        }
    }
    println!("of {tried} formats {whole} were drafted whole, {several} not chosen, {none} not found");
    assert!(whole * 10 >= tried * 7, "{whole} of {tried} drafted whole");
}

/// A point named by the number of the record is counted like it, and is no second number.
#[test]
fn what_is_counted_beside_the_number_is_left_open() {
    let mut made = Made::empty();
    for (number, staff) in ["1.28340", "0.91215", "2.30500", "1.74620"].iter().enumerate() {
        let shown = Seen::parse(staff).unwrap();
        made.reading(format!("R,TP{number},{number},{staff}\r\n").as_bytes(), shown);
    }
    let Drafted::One(draft) = made.asked(4) else { panic!("one was wanted") };
    assert!(draft.found.contains(&"number of the record: field-3, counted up".to_owned()), "{:?}", draft.found);
    assert!(draft.questions.iter().any(|question| question.starts_with("what does field-2 say?")), "{draft:?}");
    let format = Arc::new(Format::parse(&draft.text).unwrap());
    assert_eq!(values(&trial(&format, &made.capture()).readings), truth(&made));
}

fn seen(texts: &[&str]) -> Vec<Seen> {
    texts.iter().map(|text| Seen::parse(text).unwrap()).collect()
}

#[test]
fn two_numbers_that_both_fit_are_shown_side_by_side_until_one_reading_decides() {
    let mut made = Made::empty();
    for (number, (raw, corrected)) in
        [("1.28340", "1.28340"), ("0.91215", "0.91215"), ("2.30500", "2.30511"), ("1.74620", "1.74633")]
            .iter()
            .enumerate()
    {
        let staff = Seen::parse(corrected).unwrap();
        made.reading(format!("R,{number},{raw},{corrected}\r\n").as_bytes(), staff);
    }
    let Drafted::Several { drafts, apart } = made.draft(&seen(&["1.2834", "0.9122"])) else { panic!("one was chosen") };
    assert_eq!(drafts.len(), 2);
    assert_eq!(apart[0].place.start, made.shown[2].at);
    assert_eq!(apart[0].readings, [Some("2.30500 m".to_owned()), Some("2.30511 m".to_owned())]);
    let Drafted::One(draft) = made.draft(&seen(&["1.2834", "0.9122", "2.3051"])) else { panic!("it was decided") };
    let format = Arc::new(Format::parse(&draft.text).unwrap());
    assert_eq!(values(&trial(&format, &made.capture()).readings), truth(&made));
}

#[test]
fn noise_and_readings_that_are_not_there_lead_to_nothing() {
    let mut dice = Dice::new(3);
    let noise: Vec<u8> = (0..20_000).map(|_| dice.below(256) as u8).collect();
    let mut made = Made::empty();
    noise.chunks(40).for_each(|frame| made.push(frame));
    assert!(matches!(made.draft(&seen(&["1.2834/31.42", "0.9122/27.20", "2.3050/8.15"])), Drafted::Nothing { .. }));
    let morning = morning(SHIPPED[0], 20);
    assert!(matches!(morning.draft(&seen(&["7.7777", "7.7778"])), Drafted::Nothing { .. }));
    assert!(matches!(morning.draft(&[]), Drafted::Nothing { .. }));
    assert!(matches!(Made::empty().draft(&seen(&["1.2834"])), Drafted::Nothing { .. }));
}

#[test]
fn a_damaged_capture_is_drafted_all_the_same() {
    for shipped in SHIPPED {
        let whole = morning(shipped, 60);
        let mut dice = Dice::new(11);
        // Those that may be given are whole.
        let (given, damaged) = whole.shown.split_at(12);
        let mut made = Made { chunks: Vec::new(), shown: given.to_vec() };
        for (at, bytes) in &whole.chunks {
            let mut bytes = bytes.clone();
            if made.len() >= damaged[0].at && dice.below(30) == 0 {
                let flip = dice.below(bytes.len() as u64) as usize;
                bytes[flip] ^= 1 << dice.below(7);
            }
            made.chunks.push((*at, bytes));
        }
        let drafted = made.asked(4);
        let Drafted::One(draft) = drafted else { panic!("{}: {drafted:?}", shipped.0) };
        let format = Arc::new(Format::parse(&draft.text).unwrap());
        let read = trial(&format, &made.capture()).readings;
        let right = read.iter().filter(|read| whole.is_right(read));
        // Most are read, and where a check stands over them none is wrong.
        let right = right.count();
        assert!(right >= 40, "{}: {right} of {}\n{}", shipped.0, read.len(), draft.text);
        let checked = !matches!(shipped.0, "comma" | "columns" | "objects" | "block");
        assert!(!checked || read.len() - right <= 1, "{}: {right} of {}\n{}", shipped.0, read.len(), draft.text);
    }
}

#[test]
fn what_says_that_the_staff_is_inverted_is_found() {
    for name in ["packet", "stuffed", "objects"] {
        let shipped = SHIPPED.into_iter().find(|shipped| shipped.0 == name).unwrap();
        let format = find(name).unwrap();
        let mut made = Made::empty();
        let mut dice = Dice::new(5);
        for shot in 0..40u64 {
            let mut staff = measured(&mut dice, 300, 4000, shipped.1, shipped.2);
            if shot % 5 == 2 {
                staff = Measured::parse(&format!("-{}", staff.digits()), shipped.1).unwrap();
            }
            let mut reading = Reading::of(staff);
            reading.sight = Some(measured(&mut dice, 5_000, 60_000, shipped.3, shipped.4));
            reading.role = Some(if shot % 2 == 0 { Role::Back } else { Role::Fore });
            reading.sequence = Some(shot + 12);
            let record = format.record_of(&Heard::Reading(reading.clone())).unwrap();
            made.reading(&format.write(&record).unwrap(), Seen { staff, sight: reading.sight });
        }
        let drafted = made.asked(6);
        let Drafted::One(draft) = drafted else { panic!("{name}: {drafted:?}") };
        assert!(draft.text.contains("means = \"inverted\""), "{name}\n{}", draft.text);
        let drafted = Arc::new(Format::parse(&draft.text).unwrap());
        assert_eq!(values(&trial(&drafted, &made.capture()).readings), truth(&made), "{name}\n{}", draft.text);
    }
}

#[test]
fn a_letter_that_no_given_reading_had_is_asked_for_and_refused_until_then() {
    let mut made = Made::empty();
    for shot in 0..12 {
        let (staff, unit) = if shot % 3 == 2 { (42_106, 'F') } else { (12_834 + 311 * shot, 'M') };
        made.push(format!("{shot:03};{staff:06};{unit}\r\n").as_bytes());
    }
    let Drafted::One(draft) = made.draft(&seen(&["1.2834", "1.3145"])) else { panic!("one was wanted") };
    assert_eq!((draft.readings, draft.refused), (8, 4), "{}", draft.text);
    let unseen: Vec<(&str, usize)> = draft.unseen.iter().map(|unseen| (&*unseen.value, unseen.frames)).collect();
    assert_eq!(unseen, [("F", 4)], "{}", draft.text);
}

#[test]
fn a_draft_says_what_is_left_out_of_a_long_capture() {
    let mut made = morning(SHIPPED[0], 40);
    let line = vec![b'-'; 1000];
    while made.len() <= CAPTURE_MAX {
        made.push(&[&line[..], b"\r\n"].concat());
    }
    let given: Vec<Seen> = made.shown[..6].iter().map(|shown| shown.seen).collect();
    let Drafted::One(draft) = made.draft(&given) else { panic!("one was wanted") };
    assert!(draft.text.contains("bytes more were left out"), "{}", draft.text);
}
