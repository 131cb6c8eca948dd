//! Decoding through a format file against the same record in hand-written nom and in a regular expression.
//!
//! All three begin with the same stream of bytes and end with the same `Reading`s and a copy of each record's bytes,
//! because the program keeps both. Run with `cargo bench --bench decode`; the ratios are what counts.

use std::hint::black_box;
use std::sync::Arc;

use closerun::book::moment::Moment;
use closerun::book::reading::{Heard, PointName, Reading, Role};
use closerun::protocol::{Decoder, Format, find};
use closerun::units::{Measured, Unit};
use criterion::{Criterion, Throughput, criterion_group, criterion_main};
use nom::IResult;
use nom::Parser;
use nom::bytes::complete::{tag, take, take_till};
use nom::character::complete::{char as one_char, digit1, one_of};
use nom::combinator::{opt, recognize};
use nom::number::complete::{be_u8, be_u24, le_u16, le_u32};

/// Records in one stream.
const RECORDS: usize = 500;

fn stream(format: &Format) -> Vec<u8> {
    let mut stream = Vec::new();
    for number in 0..RECORDS as u64 {
        let staff = format!("{}.{:05}", number % 3, number * 7919 % 100_000);
        let mut reading = Reading::of(Measured::parse(&staff, Unit::Metre).unwrap());
        reading.sight = Some(Measured::parse(&format!("{}.{:02}", number % 60, number % 100), Unit::Metre).unwrap());
        reading.sequence = Some(number);
        reading.point = PointName::from_wire(&format!("TP{number}"));
        reading.role = Some(if number % 2 == 0 { Role::Back } else { Role::Fore });
        reading.count = Some(5);
        stream.extend(format.write(&format.record_of(&Heard::Reading(reading)).unwrap()).unwrap());
    }
    stream
}

type Kept = Vec<(Vec<u8>, Reading)>;

#[inline(never)]
fn by_format(format: &Arc<Format>, stream: &[u8]) -> usize {
    let mut decoder = Decoder::new(Arc::clone(format));
    let mut out = Vec::with_capacity(RECORDS);
    for chunk in stream.chunks(4096) {
        decoder.push(chunk, Moment::from_us(0), &mut out);
    }
    let readings = out.iter().filter(|piece| matches!(piece.heard, Heard::Reading(_))).count();
    black_box(out);
    readings
}

fn text(bytes: &[u8]) -> &str {
    std::str::from_utf8(bytes).unwrap()
}

fn metres(bytes: &[u8]) -> Measured {
    Measured::parse(text(bytes), Unit::Metre).unwrap()
}

fn role(byte: char) -> Option<Role> {
    match byte {
        'B' | '1' => Some(Role::Back),
        'F' | '6' => Some(Role::Fore),
        'I' => Some(Role::Intermediate),
        _ => None,
    }
}

/// Runs a parser of one record over a stream, keeping each record's bytes.
#[inline(never)]
fn by_hand(stream: &[u8], parser: impl Fn(&[u8]) -> IResult<&[u8], Reading>) -> usize {
    let mut out: Kept = Vec::with_capacity(RECORDS);
    let mut rest = stream;
    while !rest.is_empty() {
        let (behind, reading) = parser(rest).unwrap();
        out.push((rest[..rest.len() - behind.len()].to_vec(), reading));
        rest = behind;
    }
    let readings = out.len();
    black_box(out);
    readings
}

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

fn comma(input: &[u8]) -> IResult<&[u8], Reading> {
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

/// Digits with the point put before the last `places`.
fn implied(negative: bool, digits: &[u8], places: usize) -> Measured {
    let digits = text(digits);
    let (whole, behind) = digits.split_at(digits.len() - places);
    let whole = whole.trim_start_matches('0');
    let whole = if whole.is_empty() { "0" } else { whole };
    Measured::parse(&format!("{}{whole}.{behind}", if negative { "-" } else { "" }), Unit::Metre).unwrap()
}

fn sentence(input: &[u8]) -> IResult<&[u8], Reading> {
    let (rest, _) = one_char('@')(input)?;
    let (rest, body) = take_till(|byte| byte == b'*')(rest)?;
    let (rest, _) = one_char('*')(rest)?;
    let (rest, check) = take(2usize)(rest)?;
    let (rest, _) = tag("\r\n")(rest)?;
    let failed = || nom::Err::Error(nom::error::Error::new(input, nom::error::ErrorKind::Verify));
    let sum = body.iter().fold(0u8, |sum, byte| sum ^ byte);
    if u8::from_str_radix(text(check), 16) != Ok(sum) {
        return Err(failed());
    }
    let (control, fields) = (&body[body.len() - 2..], &body[..body.len() - 3]);
    let left = fields.iter().filter(|byte| byte.is_ascii_digit());
    let left = left.fold(0u32, |left, byte| (left * 10 + u32::from(byte - b'0')) % 97);
    if text(control).parse() != Ok(98 - left * 100 % 97) {
        return Err(failed());
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

fn columns(input: &[u8]) -> IResult<&[u8], Reading> {
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

/// A whole number with the point put before the last `places`.
fn scaled(number: u32, places: usize, negative: bool) -> Measured {
    let scale = 10u32.pow(places as u32);
    let sign = if negative { "-" } else { "" };
    Measured::parse(&format!("{sign}{}.{:0places$}", number / scale, number % scale), Unit::Metre).unwrap()
}

fn packet<'a>(crc: &crc::Crc<u16>, input: &'a [u8]) -> IResult<&'a [u8], Reading> {
    let (rest, _) = tag(&[0xA5, 0x5A][..])(input)?;
    let (rest, length) = be_u8(rest)?;
    let (behind, body) = take(usize::from(length))(rest)?;
    let (fields, check) = body.split_at(body.len() - 2);
    let (_, check) = le_u16(check)?;
    if crc.checksum(&input[2..3 + fields.len()]) != check {
        return Err(nom::Err::Error(nom::error::Error::new(input, nom::error::ErrorKind::Verify)));
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

#[inline(never)]
fn by_regex(
    stream: &[u8],
    pattern: &regex::bytes::Regex,
    build: impl Fn(&regex::bytes::Captures<'_>) -> Reading,
) -> usize {
    let mut out: Kept = Vec::with_capacity(RECORDS);
    for captures in pattern.captures_iter(stream) {
        out.push((captures.get(0).unwrap().as_bytes().to_vec(), build(&captures)));
    }
    let readings = out.len();
    black_box(out);
    readings
}

fn comma_captured(captures: &regex::bytes::Captures<'_>) -> Reading {
    let mut reading = Reading::of(metres(&captures[3]));
    reading.sight = Some(metres(&captures[4]));
    reading.sequence = text(&captures[1]).parse().ok();
    reading.point = PointName::from_wire(text(&captures[2]));
    reading.role = captures[5].first().and_then(|&byte| role(char::from(byte)));
    reading.unprotected = true;
    reading
}

fn sentence_captured(captures: &regex::bytes::Captures<'_>) -> Reading {
    let whole = captures.get(0).unwrap().as_bytes();
    let covered = &whole[1..whole.len() - 5];
    assert_eq!(u8::from_str_radix(text(&captures[7]), 16), Ok(covered.iter().fold(0u8, |sum, byte| sum ^ byte)));
    let mut reading = Reading::of(implied(&captures[2] == b"-", &captures[3], 5));
    reading.sight = Some(implied(false, &captures[4], 2));
    reading.sequence = text(&captures[1]).parse().ok();
    reading.role = role(char::from(captures[5][0]));
    reading
}

fn columns_captured(captures: &regex::bytes::Captures<'_>) -> Reading {
    let mut reading = Reading::of(implied(&captures[4] == b"-", &captures[3], 5));
    reading.sight = Some(implied(false, &captures[6], 2));
    reading.sequence = text(&captures[1]).parse().ok();
    reading.point = PointName::from_wire(text(&captures[2]));
    reading.role = role(char::from(captures[7][0]));
    reading.unprotected = true;
    reading
}

/// Reads all records of a stream and says how many there were.
type Reader<'a> = Box<dyn Fn(&[u8]) -> usize + 'a>;

fn compare(criterion: &mut Criterion) {
    let crc = crc::Crc::<u16>::new(&crc::CRC_16_IBM_3740);
    let pattern = |text: &str| regex::bytes::Regex::new(text).unwrap();
    let comma_pattern = pattern(r"(?-u)R,([0-9]+),([^,\r]{0,16}),(-?[0-9]+\.[0-9]{5}),([0-9]+\.[0-9]{2}),([BFI]?)\r\n");
    let sentence_pattern =
        pattern(r"(?-u)@L([0-9]{4}),([+-])([0-9]{6}),([0-9]{6}),([16]),([0-9]{2})\*([0-9A-F]{2})\r\n");
    let columns_pattern = pattern(r"(?-u)LV ([0-9]{4}) ([ -~]{12}) ([0-9]{7})([ -])([MF])  ([0-9]{5}) ([BF ])\r");
    for name in ["comma", "sentence", "columns", "packet"] {
        let format = Arc::new(find(name).unwrap());
        let stream = stream(&format);
        let mut group = criterion.benchmark_group(name);
        group.throughput(Throughput::Elements(RECORDS as u64));
        assert_eq!(by_format(&format, &stream), RECORDS);
        group.bench_function("format", |bencher| bencher.iter(|| by_format(&format, black_box(&stream))));
        let hand: Reader<'_> = match name {
            "comma" => Box::new(|stream| by_hand(stream, comma)),
            "sentence" => Box::new(|stream| by_hand(stream, sentence)),
            "columns" => Box::new(|stream| by_hand(stream, columns)),
            _ => Box::new(|stream| by_hand(stream, |input| packet(&crc, input))),
        };
        assert_eq!(hand(&stream), RECORDS);
        group.bench_function("nom", |bencher| bencher.iter(|| hand(black_box(&stream))));
        let captured: Option<Reader<'_>> = match name {
            "comma" => Some(Box::new(|stream| by_regex(stream, &comma_pattern, comma_captured))),
            "sentence" => Some(Box::new(|stream| by_regex(stream, &sentence_pattern, sentence_captured))),
            "columns" => Some(Box::new(|stream| by_regex(stream, &columns_pattern, columns_captured))),
            _ => None,
        };
        if let Some(captured) = captured {
            assert_eq!(captured(&stream), RECORDS);
            group.bench_function("regex", |bencher| bencher.iter(|| captured(black_box(&stream))));
        }
        group.finish();
    }
}

criterion_group!(benches, compare);
criterion_main!(benches);
