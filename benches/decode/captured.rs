//! The same records by regular expressions, where one can describe them: not the pairs and the JSON, whose parts come in
//! any order, and not the binary ones.

use closerun::book::reading::{PointName, Reading, Role};
use regex::bytes::{Captures, Regex};

use super::hand::{control, implied, metres, role, text};

/// Makes a reading of what was captured.
pub(super) type Build = fn(&Captures<'_>) -> Reading;

/// The expression for a format and what is built of it.
pub(super) fn captured(format: &str) -> Option<(Regex, Build)> {
    let (pattern, build): (_, Build) = match format {
        "comma" => (r"(?-u)R,([0-9]+),([^,\r]{0,16}),(-?[0-9]+\.[0-9]{5}),([0-9]+\.[0-9]{2}),([BFI]?)\r\n", comma),
        "sentence" => (r"(?-u)@L([0-9]{4}),([+-])([0-9]{6}),([0-9]{6}),([16]),([0-9]{2})\*([0-9A-F]{2})\r\n", sentence),
        "columns" => (r"(?-u)LV ([0-9]{4}) ([ -~]{12}) ([0-9]{7})([ -])([MF])  ([0-9]{5}) ([BF ])\r", columns),
        "block" => (
            r"(?-u)SHOT ([0-9]{4})\r\nSTAFF (-?[0-9]+\.[0-9]{5}) SIGHT ([0-9]+\.[0-9]{2})\r\nPOINT ([^\r]{1,20})\r\nCLOSE\r\n",
            block,
        ),
        "poll" => (r"(?-u)^([0-9]+) +(-?[0-9]+\.[0-9]{4})m +([0-9]+\.[0-9])m +([BF-]) ([0-9])$", poll),
        _ => return None,
    };
    Some((Regex::new(pattern).unwrap(), build))
}

fn comma(captures: &Captures<'_>) -> Reading {
    let mut reading = Reading::of(metres(&captures[3]));
    reading.sight = Some(metres(&captures[4]));
    reading.sequence = text(&captures[1]).parse().ok();
    reading.point = PointName::from_wire(text(&captures[2]));
    reading.role = captures[5].first().and_then(|&byte| role(char::from(byte)));
    reading.unprotected = true;
    reading
}

fn sentence(captures: &Captures<'_>) -> Reading {
    let whole = captures.get(0).unwrap().as_bytes();
    let covered = &whole[1..whole.len() - 5];
    assert_eq!(u8::from_str_radix(text(&captures[7]), 16), Ok(covered.iter().fold(0u8, |sum, byte| sum ^ byte)));
    assert_eq!(text(&captures[6]).parse(), Ok(control(&covered[..covered.len() - 3])));
    let mut reading = Reading::of(implied(&captures[2] == b"-", &captures[3], 5));
    reading.sight = Some(implied(false, &captures[4], 2));
    reading.sequence = text(&captures[1]).parse().ok();
    reading.role = role(char::from(captures[5][0]));
    reading
}

fn columns(captures: &Captures<'_>) -> Reading {
    let mut reading = Reading::of(implied(&captures[4] == b"-", &captures[3], 5));
    reading.sight = Some(implied(false, &captures[6], 2));
    reading.sequence = text(&captures[1]).parse().ok();
    reading.point = PointName::from_wire(text(&captures[2]));
    reading.role = role(char::from(captures[7][0]));
    reading.unprotected = true;
    reading
}

fn block(captures: &Captures<'_>) -> Reading {
    let mut reading = Reading::of(metres(&captures[2]));
    reading.sight = Some(metres(&captures[3]));
    reading.sequence = text(&captures[1]).parse().ok();
    reading.point = PointName::from_wire(text(&captures[4]));
    reading.unprotected = true;
    reading
}

fn poll(captures: &Captures<'_>) -> Reading {
    let whole = captures.get(0).unwrap().as_bytes();
    let counted = whole[..whole.len() - 2].iter().filter(|byte| byte.is_ascii_digit()).zip([3, 1].iter().cycle());
    let sum: u32 = counted.map(|(byte, weight)| u32::from(byte - b'0') * weight).sum();
    assert_eq!(u32::from(captures[5][0] - b'0'), sum % 10);
    let mut reading = Reading::of(metres(&captures[2]));
    reading.sight = Some(metres(&captures[3]));
    reading.sequence = text(&captures[1]).parse().ok();
    reading.role = role(char::from(captures[4][0])).or(Some(Role::Intermediate));
    reading
}
