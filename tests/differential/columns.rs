//! `LV 0012 TP6          0128340 M  03142 B<CR>`, by hand.

use super::Record;
use super::stream::Dice;

const LONGEST: usize = 80;

pub(super) fn frame(dice: &mut Dice) -> Vec<u8> {
    if dice.below(8) == 0 {
        return b"-- no. point        reading unit sight role\r".to_vec();
    }
    let point = ["TP6", "", "BM 12", "a point too", "x"][dice.below(5) as usize];
    let sign = if dice.below(4) == 0 { '-' } else { ' ' };
    let (unit, role) = (["M", "F"][dice.below(2) as usize], ["B", "F", " "][dice.below(3) as usize]);
    let (number, staff, sight) = (dice.below(10_000), dice.below(500_000), dice.below(20_000));
    format!("LV {number:04} {point:<12} {staff:07}{sign}{unit}  {sight:05} {role}\r").into_bytes()
}

pub(super) fn read(stream: &[u8]) -> Vec<Record> {
    let mut records = Vec::new();
    let mut at = 0;
    // A line that is too long is cut, and what is left of it is no line.
    let mut rest_of_line = false;
    while at < stream.len() {
        let end = stream[at..].iter().position(|byte| *byte == b'\r');
        match end {
            Some(end) if end < LONGEST => {
                if !rest_of_line {
                    records.extend(says(&stream[at..at + end]).map(|says| Record { at, says }));
                }
                rest_of_line = false;
                at += end + 1;
            }
            None if stream.len() - at < LONGEST => break,
            _ => {
                rest_of_line = true;
                at += LONGEST;
            }
        }
    }
    records
}

fn says(line: &[u8]) -> Option<String> {
    if line.starts_with(b"--") {
        return Some("known and of no use".to_owned());
    }
    // Columns are counted from 1.
    let columns = |first: usize, last: usize| line.get(first - 1..last);
    let blank = |first, last| columns(first, last).is_some_and(|found| found.iter().all(|byte| *byte == b' '));
    let digits = |first, last| {
        let found = columns(first, last)?;
        let text = std::str::from_utf8(found).ok()?;
        found.iter().all(u8::is_ascii_digit).then_some(text)
    };
    if line.len() != 39 || columns(1, 2)? != b"LV" {
        return None;
    }
    if !(blank(3, 3) && blank(8, 8) && blank(21, 21) && blank(31, 32) && blank(38, 38)) {
        return None;
    }
    let number: u32 = digits(4, 7)?.parse().ok()?;
    let point = columns(9, 20)?;
    if !point.iter().all(|byte| matches!(byte, b' '..=b'~')) {
        return None;
    }
    let point = match std::str::from_utf8(point).ok()?.trim() {
        "" => "-",
        point => point,
    };
    let sign = match columns(29, 29)? {
        b" " => "",
        b"-" => "-",
        _ => return None,
    };
    let (unit, decimals) = match columns(30, 30)? {
        b"M" => ("m", 5),
        b"F" => ("ft", 4),
        _ => return None,
    };
    let staff: u64 = digits(22, 28)?.parse().ok()?;
    let steps = 10u64.pow(decimals);
    let width = decimals as usize;
    let sight: u64 = digits(33, 37)?.parse().ok()?;
    let role = match columns(39, 39)? {
        b"B" => "back",
        b"F" => "fore",
        b" " => "-",
        _ => return None,
    };
    // A minus sent with a zero is left out where a point is put in by the unit: nothing is upside down at zero.
    let sign = if staff == 0 { "" } else { sign };
    Some(format!(
        "reading {sign}{}.{:0width$} {unit} sight {}.{:02} {unit} role {role} sequence {number} point {point} count -",
        staff / steps,
        staff % steps,
        sight / 100,
        sight % 100
    ))
}
