//! Numbers in binary, both ways: integers, IEEE floats, packed decimal digits, bits.

use nom::number::complete::{
    be_f32, be_f64, be_u8, be_u16, be_u24, be_u32, be_u64, le_f32, le_f64, le_u16, le_u24, le_u32, le_u64,
};
use nom::{IResult, Parser};

use super::Value;
use super::code::Fail;
use super::number::{implied, parts};
use super::scale::{scaled, unscaled};
use crate::protocol::format::file::{Order, Sign};
use crate::protocol::grammar::{Code, Decimals, Field, Scale, Signed};
use crate::units::{Digits, Numeral};

/// A whole number as it is.
pub(super) const WHOLE: Scale = Scale { decimals: Decimals::All(0), times: 1 };

/// The first `size` bytes as a number without sign; `None` if there are fewer.
pub(super) fn unsigned(size: usize, order: Order, bytes: &[u8]) -> Option<u64> {
    type Taken<'a, T> = IResult<&'a [u8], T, ()>;
    let taken: Taken<'_, u64> = match (size, order) {
        (1, _) => be_u8.map(u64::from).parse(bytes),
        (2, Order::Big) => be_u16.map(u64::from).parse(bytes),
        (2, Order::Little) => le_u16.map(u64::from).parse(bytes),
        (3, Order::Big) => be_u24.map(u64::from).parse(bytes),
        (3, Order::Little) => le_u24.map(u64::from).parse(bytes),
        (4, Order::Big) => be_u32.map(u64::from).parse(bytes),
        (4, Order::Little) => le_u32.map(u64::from).parse(bytes),
        (8, Order::Big) => be_u64(bytes),
        (8, Order::Little) => le_u64(bytes),
        _ => return None,
    };
    taken.ok().map(|(_, number)| number)
}

/// Puts the low `size` bytes of a number at the end of `out`.
pub(in crate::protocol) fn put(number: u64, size: usize, order: Order, out: &mut Vec<u8>) {
    match order {
        Order::Big => out.extend_from_slice(&number.to_be_bytes()[8 - size..]),
        Order::Little => out.extend_from_slice(&number.to_le_bytes()[..size]),
    }
}

/// Reads an integer; `bytes` is as long as it.
pub(super) fn read_integer(
    (size, order, signed): (usize, Order, Signed),
    scale: Scale,
    bytes: &[u8],
) -> Result<Numeral, Fail> {
    let number = unsigned(size, order, bytes)
        .ok_or_else(|| Fail::new(bytes.len(), format!("{} bytes left, {size} were wanted", bytes.len())))?;
    let number = match signed {
        Signed::Yes => {
            let unused = 64 - 8 * size as u32;
            ((number << unused) as i64) >> unused
        }
        Signed::No => i64::try_from(number)
            .map_err(|_| Fail::new(0, format!("{number} found, a number of at most {} was wanted", i64::MAX)))?,
    };
    let decimals = if let Decimals::All(places) = scale.decimals { places } else { 0 };
    let times = if matches!(scale.decimals, Decimals::Each(_)) { 1 } else { scale.times };
    scaled(number, times, decimals).map_err(|reason| Fail::new(0, reason))
}

/// Writes an integer.
pub(super) fn write_integer(
    (size, order, signed): (usize, Order, Signed),
    scale: Scale,
    text: &str,
    out: &mut Vec<u8>,
) -> Result<(), String> {
    let number = unscaled(text, scale)?;
    let bits = 8 * size as u32;
    let (least, most) = match signed {
        Signed::Yes => (i128::MIN >> (128 - bits), i128::MAX >> (128 - bits)),
        Signed::No => (0, (i128::MAX >> (127 - bits)).min(i128::from(i64::MAX))),
    };
    if !(least..=most).contains(&i128::from(number)) {
        return Err(format!("{text:?} is sent as {number}, {least} to {most} was wanted"));
    }
    put(number as u64, size, order, out);
    Ok(())
}

/// Reads an IEEE float; it is written out with so many decimals, to the nearest, ties to even, from its exact value.
pub(super) fn read_float(order: Order, decimals: u8, bytes: &[u8]) -> Result<Numeral, Fail> {
    let short = || Fail::new(bytes.len(), format!("{} bytes left for a float", bytes.len()));
    let taken: IResult<&[u8], f64, ()> = match (bytes.len(), order) {
        (4, Order::Big) => be_f32.map(f64::from).parse(bytes),
        (4, Order::Little) => le_f32.map(f64::from).parse(bytes),
        (8, Order::Big) => be_f64(bytes),
        (8, Order::Little) => le_f64(bytes),
        _ => return Err(short()),
    };
    let (_, number) = taken.map_err(|_| short())?;
    if !number.is_finite() || number.abs() >= FLOAT_MAX {
        return Err(Fail::new(0, format!("{number} found, a number that can be booked was wanted")));
    }
    let text = format!("{number:.*}", usize::from(decimals));
    let text = if text.bytes().any(|byte| matches!(byte, b'1'..=b'9')) { &*text } else { text.trim_start_matches('-') };
    Numeral::read(text.as_bytes()).map_err(|error| Fail::new(0, error.to_string()))
}

/// No length or temperature is near it, and its digits fit.
const FLOAT_MAX: f64 = 1e9;

/// Writes an IEEE float, if it reads back as the same digits.
pub(super) fn write_float(
    size: usize,
    order: Order,
    decimals: u8,
    text: &str,
    out: &mut Vec<u8>,
) -> Result<(), String> {
    let number: f64 = text.parse().map_err(|_| format!("{text:?} found, a number was wanted"))?;
    let from = out.len();
    match (size, order) {
        (4, Order::Big) => out.extend_from_slice(&(number as f32).to_be_bytes()),
        (4, _) => out.extend_from_slice(&(number as f32).to_le_bytes()),
        (_, Order::Big) => out.extend_from_slice(&number.to_be_bytes()),
        (_, Order::Little) => out.extend_from_slice(&number.to_le_bytes()),
    }
    let wanted: Digits = text.parse().map_err(|_| format!("{text:?} found, a number was wanted"))?;
    match read_float(order, decimals, &out[from..]) {
        Ok(back) if *back.digits() == wanted => Ok(()),
        _ => Err(format!("{text:?} cannot be held by a float of {size} bytes with {decimals} decimals")),
    }
}

/// Reads packed decimal digits.
pub(super) fn read_bcd(sign: Sign, scale: Scale, bytes: &[u8]) -> Result<Numeral, Fail> {
    let mut digits = [0u8; 2 * BCD_MAX];
    for (at, byte) in bytes.iter().enumerate() {
        digits[2 * at] = byte >> 4;
        digits[2 * at + 1] = byte & 0xF;
    }
    let mut digits = &mut digits[..2 * bytes.len()];
    let mut negative = false;
    if sign == Sign::Nibble {
        let Some((last, rest)) = digits.split_last_mut() else {
            return Err(Fail::new(0, "nothing found, digits were wanted"));
        };
        negative = match *last {
            0xC => false,
            0xD => true,
            other => {
                let at = bytes.len() - 1;
                return Err(Fail::new(at, format!("sign {other:X} found, C for plus or D for minus was wanted")));
            }
        };
        digits = rest;
    }
    for (place, digit) in digits.iter_mut().enumerate() {
        if *digit > 9 {
            return Err(Fail::new(place / 2, format!("half byte {digit:X} found, a decimal digit was wanted")));
        }
        *digit += b'0';
    }
    let zeros = digits.iter().position(|&digit| digit != b'0').unwrap_or(digits.len().saturating_sub(1));
    let held = match scale {
        Scale { decimals: Decimals::All(places), times: 1 } => implied(negative, &digits[zeros..], places),
        _ => Numeral::of_parts(negative, &digits[zeros..], &[]),
    };
    held.map_err(|error| Fail::new(0, error.to_string()))
}

/// The most bytes of packed digits: 18 digits and a sign fill 64 bits.
pub(in crate::protocol) const BCD_MAX: usize = 9;

/// Writes packed decimal digits.
pub(super) fn write_bcd(size: usize, sign: Sign, scale: Scale, text: &str, out: &mut Vec<u8>) -> Result<(), String> {
    let number = parts(text);
    if number.negative && sign != Sign::Nibble {
        return Err(format!("{text:?} found, a number that is not negative was wanted"));
    }
    let mut digits = match scale {
        Scale { times: 1, .. } => format!("{}{}", number.whole, number.fraction),
        _ => unscaled(text, scale)?.unsigned_abs().to_string(),
    };
    if sign == Sign::Nibble {
        digits.push(if number.negative { 'D' } else { 'C' });
    }
    let digits = digits.trim_start_matches('0');
    if digits.len() > 2 * size {
        return Err(format!("{text:?} takes {} half bytes, {} were wanted", digits.len(), 2 * size));
    }
    let filled = format!("{digits:0>width$}", width = 2 * size);
    let nibble = |byte: u8| char::from(byte).to_digit(16).unwrap_or(0) as u8;
    out.extend(filled.as_bytes().chunks(2).map(|pair| nibble(pair[0]) << 4 | nibble(pair[1])));
    Ok(())
}

/// The value of a number that stood in some bits, or in a choice sent in binary.
pub(super) fn of_number(field: &Field, number: u64) -> Result<Value, String> {
    match &field.code {
        Code::Choice(choice) => match choice.items.iter().position(|item| item.number == number) {
            Some(item) => Ok(Value::Item(item as u16)),
            None => Err(format!("{number} found, {} was wanted", super::code::wanted(choice))),
        },
        _ => scaled(number as i64, 1, 0).map(Value::Number),
    }
}

/// The bits for a content.
pub(super) fn number_for(field: &Field, text: &str, bits: u8) -> Result<u64, String> {
    let number = match &field.code {
        Code::Choice(choice) => match choice.items.iter().find(|item| *item.key == *text) {
            Some(item) => item.number,
            None => return Err(format!("{text:?} found, {} was wanted", super::code::wanted(choice))),
        },
        _ => text.parse().map_err(|_| format!("{text:?} found, a whole number that is not negative was wanted"))?,
    };
    let most = u64::MAX >> (64 - bits);
    if number > most { Err(format!("{text:?} found, at most {most} was wanted")) } else { Ok(number) }
}
