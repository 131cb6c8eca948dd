//! Records of text.

use std::borrow::Cow;

use closerun::book::reading::{PointName, Reading, Role};
use closerun::units::{Measured, Unit};
use nom::bytes::complete::{tag, take, take_till, take_while};
use nom::character::complete::{char as one_char, digit1, one_of};
use nom::combinator::{opt, recognize};
use nom::{IResult, Parser};

use super::{failed, implied, metres, role, text};

fn fixed_decimal(decimals: usize) -> impl Fn(&[u8]) -> IResult<&[u8], &[u8]> {
    move |input| recognize((opt(one_char('-')), digit1, one_char('.'), take_digits(decimals))).parse(input)
}

fn take_digits(count: usize) -> impl Fn(&[u8]) -> IResult<&[u8], &[u8]> {
    move |input| {
        let (rest, digits) = take(count)(input)?;
        if digits.iter().all(u8::is_ascii_digit) {
            Ok((rest, digits))
        } else {
            Err(nom::Err::Error(nom::error::Error::new(input, nom::error::ErrorKind::Digit)))
        }
    }
}

pub(in super::super) fn comma(input: &[u8]) -> IResult<&[u8], Reading> {
    let (rest, _) = tag("R,")(input)?;
    let (rest, sequence) = digit1(rest)?;
    let (rest, _) = one_char(',')(rest)?;
    let (rest, point) = take_till(|byte| byte == b',')(rest)?;
    let (rest, _) = one_char(',')(rest)?;
    let (rest, staff) = fixed_decimal(5)(rest)?;
    let (rest, _) = one_char(',')(rest)?;
    let (rest, sight) = fixed_decimal(2)(rest)?;
    let (rest, _) = one_char(',')(rest)?;
    let (rest, letter) = opt(one_of("BFI")).parse(rest)?;
    let (rest, _) = tag("\r\n")(rest)?;
    let mut reading = Reading::of(metres(staff));
    reading.sight = Some(metres(sight));
    reading.sequence = text(sequence).parse().ok();
    reading.point = PointName::from_wire(text(point));
    reading.role = letter.and_then(role);
    reading.unprotected = true;
    Ok((rest, reading))
}

pub(in super::super) fn sentence(input: &[u8]) -> IResult<&[u8], Reading> {
    let (rest, _) = one_char('@')(input)?;
    let (rest, body) = take_till(|byte| byte == b'*')(rest)?;
    let (rest, _) = one_char('*')(rest)?;
    let (rest, check) = take(2usize)(rest)?;
    let (rest, _) = tag("\r\n")(rest)?;
    let sum = body.iter().fold(0u8, |sum, byte| sum ^ byte);
    if u8::from_str_radix(text(check), 16) != Ok(sum) {
        return failed(input);
    }
    let (control, fields) = (&body[body.len() - 2..], &body[..body.len() - 3]);
    if text(control).parse() != Ok(super::control(fields)) {
        return failed(input);
    }
    let (fields, _) = one_char('L')(fields)?;
    let (fields, sequence) = take_digits(4)(fields)?;
    let (fields, _) = one_char(',')(fields)?;
    let (fields, sign) = one_of("+-")(fields)?;
    let (fields, staff) = take_digits(6)(fields)?;
    let (fields, _) = one_char(',')(fields)?;
    let (fields, sight) = take_digits(6)(fields)?;
    let (fields, _) = one_char(',')(fields)?;
    let (_, letter) = one_of("16")(fields)?;
    let mut reading = Reading::of(implied(sign == '-', staff, 5));
    reading.sight = Some(implied(false, sight, 2));
    reading.sequence = text(sequence).parse().ok();
    reading.role = role(letter);
    Ok((rest, reading))
}

pub(in super::super) fn columns(input: &[u8]) -> IResult<&[u8], Reading> {
    let (rest, _) = tag("LV ")(input)?;
    let (rest, sequence) = take_digits(4)(rest)?;
    let (rest, _) = one_char(' ')(rest)?;
    let (rest, point) = take(12usize)(rest)?;
    let (rest, _) = one_char(' ')(rest)?;
    let (rest, staff) = take_digits(7)(rest)?;
    let (rest, sign) = one_of(" -")(rest)?;
    let (rest, unit) = one_of("MF")(rest)?;
    let (rest, _) = tag("  ")(rest)?;
    let (rest, sight) = take_digits(5)(rest)?;
    let (rest, _) = one_char(' ')(rest)?;
    let (rest, letter) = one_of("BF ")(rest)?;
    let (rest, _) = one_char('\r')(rest)?;
    assert_eq!(unit, 'M');
    let mut reading = Reading::of(implied(sign == '-', staff, 5));
    reading.sight = Some(implied(false, sight, 2));
    reading.sequence = text(sequence).parse().ok();
    reading.point = PointName::from_wire(text(point));
    reading.role = role(letter);
    reading.unprotected = true;
    Ok((rest, reading))
}

pub(in super::super) fn pairs(input: &[u8]) -> IResult<&[u8], Reading> {
    let (rest, line) = take_till(|byte| byte == b'\n')(input)?;
    let (rest, _) = one_char('\n')(rest)?;
    let Some((&check, before)) = line.split_last() else { return failed(input) };
    let Some((b'#', fields)) = before.split_last() else { return failed(input) };
    let sum: u32 = fields.iter().map(|&byte| u32::from(byte)).sum();
    if u32::from(check.wrapping_sub(b'0')) != sum % 10 {
        return failed(input);
    }
    let (mut sequence, mut point, mut staff, mut sight, mut unit, mut spread) = (None, None, None, None, None, None);
    let mut left = fields;
    loop {
        let (behind, key) = take_till(|byte| byte == b'=')(left)?;
        let (behind, _) = one_char('=')(behind)?;
        let (behind, value) = take_till(|byte| byte == b';')(behind)?;
        let slot = match key {
            b"N" => &mut sequence,
            b"P" => &mut point,
            b"H" => &mut staff,
            b"D" => &mut sight,
            b"U" => &mut unit,
            b"S" => &mut spread,
            _ => return failed(left),
        };
        if slot.replace(value).is_some() {
            return failed(left);
        }
        match behind.split_first() {
            Some((_, behind)) => left = behind,
            None => break,
        }
    }
    let (Some(sequence), Some(staff), Some(unit)) = (sequence, staff, unit) else { return failed(input) };
    let unit = match unit {
        b"M" => Unit::Metre,
        b"F" => Unit::Foot,
        _ => return failed(input),
    };
    let length = |digits: &[u8], unit| Measured::parse(&text(digits).replacen(',', ".", 1), unit).unwrap();
    let mut reading = Reading::of(length(staff, unit));
    reading.sight = sight.map(|sight| length(sight, unit));
    reading.spread = spread.map(|spread| length(spread, Unit::Millimetre));
    reading.sequence = text(sequence).parse().ok();
    // One byte a character.
    let latin = |name: &[u8]| name.iter().map(|&byte| char::from(byte)).collect::<String>();
    reading.point = point.and_then(|point| PointName::from_wire(&latin(point)));
    Ok((rest, reading))
}

pub(in super::super) fn block(input: &[u8]) -> IResult<&[u8], Reading> {
    let (rest, _) = tag("SHOT ")(input)?;
    let (rest, sequence) = take_digits(4)(rest)?;
    let (rest, _) = tag("\r\nSTAFF ")(rest)?;
    let (rest, staff) = fixed_decimal(5)(rest)?;
    let (rest, _) = tag(" SIGHT ")(rest)?;
    let (rest, sight) = fixed_decimal(2)(rest)?;
    let (rest, _) = tag("\r\nPOINT ")(rest)?;
    let (rest, point) = take_till(|byte| byte == b'\r')(rest)?;
    let (rest, _) = tag("\r\nCLOSE\r\n")(rest)?;
    let mut reading = Reading::of(metres(staff));
    reading.sight = Some(metres(sight));
    reading.sequence = text(sequence).parse().ok();
    reading.point = PointName::from_wire(text(point));
    reading.unprotected = true;
    Ok((rest, reading))
}

/// One record is all that came before a silence.
pub(in super::super) fn poll(input: &[u8]) -> IResult<&[u8], Reading> {
    let spaces = |input| take_while(|byte| byte == b' ')(input);
    let Some((&check, before)) = input.split_last() else { return failed(input) };
    let Some((b' ', fields)) = before.split_last() else { return failed(input) };
    let counted = fields.iter().filter(|byte| byte.is_ascii_digit()).zip([3, 1].iter().cycle());
    let sum: u32 = counted.map(|(byte, weight)| u32::from(byte - b'0') * weight).sum();
    if u32::from(check.wrapping_sub(b'0')) != sum % 10 {
        return failed(input);
    }
    let (fields, sequence) = digit1(fields)?;
    let (fields, _) = spaces(fields)?;
    let (fields, staff) = fixed_decimal(4)(fields)?;
    let (fields, _) = one_char('m')(fields)?;
    let (fields, _) = spaces(fields)?;
    let (fields, sight) = fixed_decimal(1)(fields)?;
    let (fields, _) = one_char('m')(fields)?;
    let (fields, _) = spaces(fields)?;
    let (_, letter) = one_of("BF-")(fields)?;
    let mut reading = Reading::of(metres(staff));
    reading.sight = Some(metres(sight));
    reading.sequence = text(sequence).parse().ok();
    reading.role = role(letter).or(Some(Role::Intermediate));
    Ok((&[], reading))
}

/// A JSON value: what stands in it, quotes left out.
enum Value<'a> {
    Text(Cow<'a, [u8]>),
    Bare(&'a [u8]),
    Members(Vec<(Cow<'a, [u8]>, Value<'a>)>),
    List(Vec<Value<'a>>),
}

impl Value<'_> {
    fn member(&self, name: &[u8]) -> Option<&Self> {
        let Value::Members(members) = self else { return None };
        members.iter().find(|(found, _)| **found == *name).map(|(_, value)| value)
    }

    fn bare(&self) -> Option<&[u8]> {
        if let Value::Bare(bytes) = self { Some(bytes) } else { None }
    }

    fn quoted(&self) -> Option<&[u8]> {
        if let Value::Text(bytes) = self { Some(bytes) } else { None }
    }
}

fn blank(input: &[u8]) -> IResult<&[u8], &[u8]> {
    take_while(|byte: u8| byte.is_ascii_whitespace())(input)
}

/// Escapes are not among the records that are measured here.
fn quoted(input: &[u8]) -> IResult<&[u8], Cow<'_, [u8]>> {
    let (rest, _) = one_char('"')(input)?;
    let (rest, inside) = take_till(|byte| byte == b'"' || byte == b'\\')(rest)?;
    let (rest, _) = one_char('"')(rest)?;
    Ok((rest, Cow::Borrowed(inside)))
}

fn value(input: &[u8]) -> IResult<&[u8], Value<'_>> {
    let (input, _) = blank(input)?;
    match input.first() {
        Some(b'{') => {
            let (mut rest, mut members) = (&input[1..], Vec::new());
            loop {
                let (behind, _) = blank(rest)?;
                let (behind, name) = quoted(behind)?;
                let (behind, _) = blank(behind)?;
                let (behind, _) = one_char(':')(behind)?;
                let (behind, held) = value(behind)?;
                members.push((name, held));
                let (behind, _) = blank(behind)?;
                let (behind, mark) = one_of(",}")(behind)?;
                rest = behind;
                if mark == '}' {
                    return Ok((rest, Value::Members(members)));
                }
            }
        }
        Some(b'[') => {
            let (mut rest, mut held) = (&input[1..], Vec::new());
            loop {
                let (behind, one) = value(rest)?;
                held.push(one);
                let (behind, _) = blank(behind)?;
                let (behind, mark) = one_of(",]")(behind)?;
                rest = behind;
                if mark == ']' {
                    return Ok((rest, Value::List(held)));
                }
            }
        }
        Some(b'"') => quoted(input).map(|(rest, inside)| (rest, Value::Text(inside))),
        _ => {
            let (rest, bare) = take_while(|byte: u8| byte.is_ascii_alphanumeric() || b"+-.".contains(&byte))(input)?;
            Ok((rest, Value::Bare(bare)))
        }
    }
}

pub(in super::super) fn objects(input: &[u8]) -> IResult<&[u8], Reading> {
    let (rest, object) = value(input)?;
    let (rest, _) = one_char('\n')(rest)?;
    let read = || {
        object.member(b"type")?.quoted().filter(|found| *found == b"shot")?;
        let staff = object.member(b"staff")?;
        let up = staff.member(b"up")?.bare()?;
        let sign = if up == b"false" { "-" } else { "" };
        let metres = |digits: &str| Measured::parse(digits, Unit::Metre).ok();
        let mut reading = Reading::of(metres(&format!("{sign}{}", text(staff.member(b"m")?.bare()?)))?);
        if let Value::List(sights) = object.member(b"sight")? {
            reading.sight = metres(text(sights.first()?.bare()?));
        }
        reading.sequence = text(object.member(b"no")?.bare()?).parse().ok();
        reading.time = object.member(b"at").and_then(Value::quoted).map(|time| text(time).to_owned());
        reading.point =
            object.member(b"point").and_then(Value::quoted).and_then(|point| PointName::from_wire(text(point)));
        reading.unprotected = true;
        Some(reading)
    };
    match read() {
        Some(reading) => Ok((rest, reading)),
        None => failed(input),
    }
}
