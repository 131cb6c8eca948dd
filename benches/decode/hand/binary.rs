//! Records of bytes.

use closerun::book::reading::{PointName, Reading, Role};
use closerun::units::{Measured, Unit};
use nom::IResult;
use nom::bytes::complete::{tag, take, take_till};
use nom::number::complete::{be_i32, be_u8, be_u16, be_u24, le_f32, le_u16, le_u32};

use super::{failed, text};

/// A whole number with the point put before the last `places`.
fn scaled(number: u32, places: usize, negative: bool) -> Measured {
    let scale = 10u32.pow(places as u32);
    let sign = if negative { "-" } else { "" };
    Measured::parse(&format!("{sign}{}.{:0places$}", number / scale, number % scale), Unit::Metre).unwrap()
}

pub(in super::super) fn packet<'a>(crc: &crc::Crc<u16>, input: &'a [u8]) -> IResult<&'a [u8], Reading> {
    let (rest, _) = tag(&[0xA5, 0x5A][..])(input)?;
    let (rest, length) = be_u8(rest)?;
    let (behind, body) = take(usize::from(length))(rest)?;
    let (fields, check) = body.split_at(body.len() - 2);
    let (_, check) = le_u16(check)?;
    if crc.checksum(&input[2..3 + fields.len()]) != check {
        return failed(input);
    }
    let (fields, _) = tag(&[0x01][..])(fields)?;
    let (fields, sequence) = le_u16(fields)?;
    let (fields, staff) = le_u32(fields)?;
    let (fields, sight) = be_u24(fields)?;
    let (fields, flags) = be_u8(fields)?;
    let (_, count) = be_u8(fields)?;
    let mut reading = Reading::of(scaled(staff, 5, flags & 1 == 1));
    reading.sight = (sight != 0xFF_FFFF).then(|| scaled(sight, 3, false));
    reading.sequence = Some(u64::from(sequence));
    reading.count = Some(u32::from(count));
    reading.role = match flags >> 4 & 3 {
        1 => Some(Role::Back),
        2 => Some(Role::Fore),
        _ => Some(Role::Intermediate),
    };
    Ok((behind, reading))
}

pub(in super::super) fn telegram(input: &[u8]) -> IResult<&[u8], Reading> {
    let (behind, telegram) = take(12usize)(input)?;
    let (fields, _) = tag(&[0xC3, b'R'][..])(telegram)?;
    let (fields, staff) = be_i32(fields)?;
    let (fields, sight) = be_u16(fields)?;
    let (fields, role) = be_u8(fields)?;
    let (fields, count) = be_u8(fields)?;
    let (_, check) = be_u16(fields)?;
    let sum: u16 = telegram[..10].iter().map(|&byte| u16::from(byte)).sum();
    if sum != check || !(-50_000..=50_000).contains(&staff) {
        return failed(input);
    }
    let (sign, tenths) = (if staff < 0 { "-" } else { "" }, staff.unsigned_abs());
    let staff = Measured::parse(&format!("{sign}{}.{}", tenths / 10, tenths % 10), Unit::Millimetre).unwrap();
    let mut reading = Reading::of(staff);
    reading.sight = (sight != 0xFFFF).then(|| scaled(u32::from(sight), 2, false));
    reading.role = match role {
        0 => None,
        1 => Some(Role::Back),
        2 => Some(Role::Fore),
        3 => Some(Role::Intermediate),
        _ => return failed(input),
    };
    reading.count = Some(u32::from(count));
    Ok((behind, reading))
}

/// Packed decimal digits.
fn packed(bytes: &[u8]) -> Option<String> {
    let halves = bytes.iter().flat_map(|byte| [byte >> 4, byte & 15]);
    halves.map(|half| char::from_digit(half.into(), 10)).collect()
}

pub(in super::super) fn stuffed<'a>(crc: &crc::Crc<u32>, input: &'a [u8]) -> IResult<&'a [u8], Reading> {
    let (rest, _) = tag(&[0x7E][..])(input)?;
    let (rest, hidden) = take_till(|byte| byte == 0x7E)(rest)?;
    let (behind, _) = tag(&[0x7E][..])(rest)?;
    let mut plain = Vec::with_capacity(hidden.len());
    let mut bytes = hidden.iter();
    while let Some(&byte) = bytes.next() {
        plain.push(match byte {
            0x7D => match bytes.next() {
                Some(byte) => byte ^ 0x20,
                None => return failed(input),
            },
            byte => byte,
        });
    }
    let Some((fields, check)) = plain.split_last_chunk::<4>() else { return failed(input) };
    if crc.checksum(fields) != u32::from_le_bytes(*check) {
        return failed(input);
    }
    match shot(fields) {
        Ok((_, Some(reading))) => Ok((behind, reading)),
        _ => failed(input),
    }
}

fn shot(fields: &[u8]) -> IResult<&[u8], Option<Reading>> {
    let (fields, flags) = be_u8(fields)?;
    let (fields, sequence) = take(2usize)(fields)?;
    let (fields, staff) = le_f32(fields)?;
    let (fields, sight) = take(3usize)(fields)?;
    let (fields, time) = take(7usize)(fields)?;
    let (fields, point) = take(8usize)(fields)?;
    let read = || {
        let unit = match flags >> 1 & 3 {
            0 => Unit::Metre,
            1 => Unit::Foot,
            2 => Unit::SurveyFoot,
            _ => return None,
        };
        if flags & 0xF8 != 0 || !(0.0..=30.0).contains(&staff) || sight[2] & 15 != 12 {
            return None;
        }
        let sign = if flags & 1 == 1 { "-" } else { "" };
        let mut reading = Reading::of(Measured::parse(&format!("{sign}{staff:.4}"), unit).ok()?);
        let hundredths: u32 = format!("{}{}", packed(&sight[..2])?, sight[2] >> 4).parse().ok()?;
        let sight = format!("{}.{:02}", hundredths / 100, hundredths % 100);
        reading.sight = Some(Measured::parse(&sight, unit).ok()?);
        reading.sequence = packed(sequence)?.parse().ok();
        reading.time = Some(packed(time)?);
        reading.point = PointName::from_wire(text(point));
        Some(reading)
    };
    Ok((fields, read()))
}
