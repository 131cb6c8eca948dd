//! `A5 5A | length | type | ...fields... | CRC-16`, by hand.

use super::Record;
use super::stream::Dice;

const START: [u8; 2] = [0xA5, 0x5A];

pub(super) fn frame(dice: &mut Dice) -> Vec<u8> {
    let mut fields = Vec::new();
    match dice.below(6) {
        0 => {
            fields.extend([0x02, dice.below(256) as u8]);
            fields.extend((dice.below(1000) as i16 - 500).to_be_bytes());
        }
        1 => fields.extend([0x7F, dice.below(5) as u8]),
        _ => {
            fields.push(0x01);
            fields.extend((dice.below(65_536) as u16).to_le_bytes());
            fields.extend((dice.below(520_000) as u32).to_le_bytes());
            let sight = if dice.below(4) == 0 { 0xFF_FFFF } else { dice.below(100_000) as u32 };
            fields.extend(&sight.to_be_bytes()[1..]);
            fields.push([0x10, 0x20, 0x30, 0x11, 0x21, 0x00, 0x42][dice.below(7) as usize]);
            fields.push(dice.below(10) as u8);
        }
    }
    let mut frame = START.to_vec();
    frame.push(fields.len() as u8 + 2);
    frame.extend(fields);
    let crc = crc(&frame[2..]);
    frame.extend(crc.to_le_bytes());
    frame
}

/// Polynomial 1021 hexadecimal, begun with ones, not reflected: bit by bit.
fn crc(bytes: &[u8]) -> u16 {
    bytes.iter().fold(0xFFFF, |crc, byte| {
        (0..8).fold(crc ^ u16::from(*byte) << 8, |crc, _| if crc & 0x8000 != 0 { crc << 1 ^ 0x1021 } else { crc << 1 })
    })
}

pub(super) fn read(stream: &[u8]) -> Vec<Record> {
    let mut records = Vec::new();
    let mut at = 0;
    while at < stream.len() {
        let found = whole(&stream[at..]).and_then(|len| Some((len, says(&stream[at + 3..at + len - 2])?)));
        match found {
            Some((len, says)) => {
                records.push(Record { at, says });
                at += len;
            }
            // Whatever seemed to begin here did not: perhaps something does one byte on.
            None => at += 1,
        }
    }
    records
}

/// The length of the frame that the bytes begin with, if its check agrees.
fn whole(bytes: &[u8]) -> Option<usize> {
    let len = usize::from(*bytes.strip_prefix(&START)?.first()?) + 3;
    // The shortest record has two bytes, the longest twelve.
    let frame = bytes.get(..len).filter(|_| (7..=17).contains(&len))?;
    let sent = u16::from_le_bytes([frame[len - 2], frame[len - 1]]);
    (crc(&frame[2..len - 2]) == sent).then_some(len)
}

fn says(fields: &[u8]) -> Option<String> {
    match *fields {
        [0x01, n0, n1, h0, h1, h2, h3, d0, d1, d2, flags, count] => {
            let staff = u32::from_le_bytes([h0, h1, h2, h3]);
            if staff > 500_000 || flags & 0b1100_1110 != 0 {
                return None;
            }
            let role = ["back", "fore", "inter"].get(usize::from(flags >> 4 & 3).checked_sub(1)?)?;
            let sign = if flags & 1 == 1 { "-" } else { "" };
            let sight = match u32::from_be_bytes([0, d0, d1, d2]) {
                0xFF_FFFF => "-".to_owned(),
                mm => format!("{}.{:03} m", mm / 1000, mm % 1000),
            };
            let number = u16::from_le_bytes([n0, n1]);
            Some(format!(
                "reading {sign}{}.{:05} m sight {sight} role {role} sequence {number} point - count {count}",
                staff / 100_000,
                staff % 100_000
            ))
        }
        [0x02, battery, t0, t1] => {
            let temperature = f64::from(i16::from_be_bytes([t0, t1])) / 10.0;
            Some(format!("status battery {battery} temperature {temperature}"))
        }
        [0x7F, code @ 1..=3] => {
            let meaning = ["no staff found", "too dark", "too near"][usize::from(code) - 1];
            Some(format!("fault {code} {meaning}"))
        }
        _ => None,
    }
}
