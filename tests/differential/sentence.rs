//! `@L0012,+128340,003142,1,49*50<CR><LF>`, by hand.

use super::Record;
use super::stream::Dice;

const LONGEST: usize = 120;

pub(super) fn frame(dice: &mut Dice) -> Vec<u8> {
    let body = match dice.below(6) {
        0 => format!("B{:03}", dice.below(110)),
        1 => format!("T{:02}", dice.below(5)),
        _ => format!(
            "L{:04},{}{:06},{:06},{}",
            dice.below(10_000),
            if dice.below(4) == 0 { '-' } else { '+' },
            dice.below(600_000),
            dice.below(9_000),
            if dice.below(2) == 0 { '1' } else { '6' }
        ),
    };
    let body = format!("{body},{:02}", control(body.as_bytes()));
    let xor = body.bytes().fold(0, |xor, byte| xor ^ byte);
    format!("{}@{body}*{xor:02X}\r\n", if dice.below(5) == 0 { "ready>" } else { "" }).into_bytes()
}

/// ISO/IEC 7064, MOD 97-10, over the digits: with the control number behind it the whole leaves 1. It is 02 to 98.
fn control(bytes: &[u8]) -> u64 {
    let digits = bytes.iter().filter(|byte| byte.is_ascii_digit());
    let rest = digits.fold(0, |rest, byte| (rest * 10 + u64::from(byte - b'0')) % 97);
    (2..=98).find(|control| (rest * 100 + control) % 97 == 1).unwrap()
}

pub(super) fn read(stream: &[u8]) -> Vec<Record> {
    let mut records = Vec::new();
    let mut at = 0;
    while at < stream.len() {
        if stream[at] != b'@' {
            at += 1;
            continue;
        }
        // The sentence ends at a line end, or is broken off by the start of another.
        let mut end = at + 1;
        loop {
            if end - at > LONGEST || end >= stream.len() {
                break;
            }
            if stream[end] == b'@' || stream[end..].starts_with(b"\r\n") {
                break;
            }
            end += 1;
        }
        if stream.get(end) == Some(&b'@') && end - at < LONGEST {
            at = end;
        } else if stream.get(end..).is_some_and(|rest| rest.starts_with(b"\r\n")) && end + 2 - at <= LONGEST {
            records.extend(says(&stream[at + 1..end]).map(|says| Record { at, says }));
            at = end + 2;
        } else {
            at += LONGEST;
        }
    }
    records
}

fn says(body: &[u8]) -> Option<String> {
    let (covered, xor) = body.split_at_checked(body.len().checked_sub(3)?)?;
    let computed = covered.iter().fold(0, |xor, byte| xor ^ byte);
    if xor != format!("*{computed:02X}").as_bytes() {
        return None;
    }
    let (fields, number) = covered.split_at_checked(covered.len().checked_sub(3)?)?;
    if number != format!(",{:02}", control(fields)).as_bytes() {
        return None;
    }
    let text = std::str::from_utf8(fields).ok()?;
    let rest = text.get(1..)?;
    let digits = |text: &str, count: usize| {
        (text.len() == count && text.bytes().all(|b| b.is_ascii_digit())).then(|| text.to_owned())
    };
    match text.as_bytes()[0] {
        b'L' => {
            let items: Vec<&str> = rest.split(',').collect();
            let [number, staff, sight, role] = items[..] else { return None };
            let number: u32 = digits(number, 4)?.parse().ok()?;
            let sign = match staff.chars().next()? {
                '+' => "",
                '-' => "-",
                _ => return None,
            };
            let staff = digits(&staff[1..], 6)?;
            let sight = digits(sight, 6)?;
            let role = match role {
                "1" => "back",
                "6" => "fore",
                _ => return None,
            };
            let sight_m: u32 = sight[..4].parse().ok()?;
            Some(format!(
                "reading {sign}{}.{} m sight {sight_m}.{} m role {role} sequence {number} point - count -",
                &staff[..1],
                &staff[1..],
                &sight[4..]
            ))
        }
        b'B' => {
            let battery: u32 = digits(rest, 3)?.parse().ok()?;
            (battery <= 100).then(|| format!("status battery {battery} temperature -"))
        }
        b'T' => {
            let meaning = match rest {
                "01" => "no staff found",
                "02" => "too dark",
                "03" => "too far",
                "" => return None,
                _ if rest.bytes().all(|byte| matches!(byte, b' '..=b'~')) => "-",
                _ => return None,
            };
            Some(format!("fault {rest} {meaning}"))
        }
        _ => None,
    }
}
