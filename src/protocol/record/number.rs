//! Numbers written in characters, both ways. The digits are kept; only signs, marks and fillings are the format's.

use std::ops::Range;

use nom::IResult;
use nom::bytes::complete::take_while;

use super::code::{Fail, fill, unfilled};
use super::read::may_be_absent;
use super::scale::{scaled, unscaled};
use super::{Value, counted, quoted};
use crate::protocol::format::file::{Sign, SignAt};
use crate::protocol::grammar::{Decimals, Field, Number, Point, Scale, Side, Span};
use crate::protocol::limits::NUMBER_MAX;
use crate::units::{NumberError, Numeral};

/// Reads a number.
pub(super) fn read(code: &Number, field: &Field, bytes: &[u8], value: &mut Value) -> Result<Range<usize>, Fail> {
    if bytes.is_empty() && may_be_absent(field) {
        return Ok(0..0);
    }
    check_width(code.width, bytes)?;
    let zeros = code.filling.is_some_and(|filling| filling.byte == b'0');
    let place = if zeros { 0..bytes.len() } else { unfilled(code.filling, bytes) };
    let found = &bytes[place.clone()];
    if found.is_empty() {
        return if may_be_absent(field) { Ok(place) } else { Err(Fail::new(0, "nothing found, a number was wanted")) };
    }
    let (negative, signless) = take_sign(code, found).map_err(|fail| Fail::new(place.start + fail.at, fail.reason))?;
    let at = place.start + if code.sign_at == SignAt::Front { found.len() - signless.len() } else { 0 };
    let (rest, mut whole) = digits(signless);
    if whole.is_empty() {
        return Err(Fail::new(at, format!("{} found, a digit was wanted", quoted(rest))));
    }
    let (fraction, end) = match &code.point {
        Point::Sent { mark, decimals } => take_fraction(*mark, *decimals, rest, at + whole.len())?,
        Point::Implied(_) => (&[][..], rest),
    };
    if !end.is_empty() {
        let at = place.end.min(at + signless.len() - end.len());
        return Err(Fail::new(at, format!("{} found inside a number, a digit was wanted", quoted(end))));
    }
    if let [b'0', _, ..] = whole {
        if !zeros {
            let say = "a zero in front of other digits found; where the format fills with zeros, say `pad = \"0\"`";
            return Err(Fail::new(at, say));
        }
        let first = whole.iter().position(|&digit| digit != b'0').unwrap_or(whole.len() - 1);
        whole = &whole[first..];
    }
    let numeral = match &code.point {
        Point::Implied(Scale { decimals: Decimals::All(places), times: 1 }) => implied(negative, whole, *places),
        _ => Numeral::of_parts(negative, whole, fraction),
    };
    *value = Value::Number(numeral.map_err(|error| Fail::new(at, error.to_string()))?);
    Ok(place)
}

fn digits(bytes: &[u8]) -> (&[u8], &[u8]) {
    let taken: IResult<&[u8], &[u8]> = take_while(|byte: u8| byte.is_ascii_digit())(bytes);
    taken.unwrap_or((bytes, &[]))
}

fn take_sign<'a>(code: &Number, value: &'a [u8]) -> Result<(bool, &'a [u8]), Fail> {
    let (place, found, rest) = match (code.sign_at, value) {
        (SignAt::Front, [first, rest @ ..]) => (0, *first, rest),
        (SignAt::Behind, [rest @ .., last]) => (value.len() - 1, *last, rest),
        _ => (0, b'0', value),
    };
    let plus = match code.sign {
        Sign::None | Sign::Nibble => return Ok((false, value)),
        Sign::Minus => return Ok(if found == b'-' { (true, rest) } else { (false, value) }),
        Sign::Both => b'+',
        Sign::Space => b' ',
    };
    match found {
        b'-' => Ok((true, rest)),
        found if found == plus => Ok((false, rest)),
        found => {
            let (found, plus) = (quoted(&[found]), quoted(&[plus]));
            Err(Fail::new(place, format!("{found} found, a sign {plus} or \"-\" was wanted")))
        }
    }
}

/// The digits behind the mark, and what is left behind them.
fn take_fraction(mark: u8, decimals: Decimals, rest: &[u8], at: usize) -> Result<(&[u8], &[u8]), Fail> {
    let behind = rest.strip_prefix(&[mark]);
    let wanted = match decimals {
        Decimals::All(0) => return Ok((&[], rest)),
        Decimals::All(wanted) => Some(usize::from(wanted)),
        Decimals::Any | Decimals::Each(_) => None,
    };
    let Some(behind) = behind else {
        return match wanted {
            None => Ok((&[], rest)),
            Some(_) => Err(Fail::new(at, format!("{} found, \"{}\" was wanted", quoted(rest), char::from(mark)))),
        };
    };
    let (end, fraction) = digits(behind);
    if wanted.is_some_and(|wanted| wanted != fraction.len()) || fraction.is_empty() {
        let found = fraction.len();
        let wanted = wanted.map_or("at least 1".to_owned(), |wanted| wanted.to_string());
        return Err(Fail::new(at + 1 + found, format!("{} found, {wanted} were wanted", counted(found, "decimal"))));
    }
    Ok((fraction, end))
}

/// Whole digits of which the last `places` stand behind the point.
pub(super) fn implied(negative: bool, whole: &[u8], places: u8) -> Result<Numeral, NumberError> {
    let places = usize::from(places);
    if let Some(front) = whole.len().checked_sub(places).filter(|&front| front > 0) {
        return Numeral::of_parts(negative, &whole[..front], &whole[front..]);
    }
    let mut behind = [b'0'; NUMBER_MAX];
    behind[places - whole.len()..places].copy_from_slice(whole);
    Numeral::of_parts(negative, b"0", &behind[..places])
}

/// Reads a whole number in hexadecimal digits.
pub(super) fn read_hex(
    (width, scale): (Span, Scale),
    field: &Field,
    bytes: &[u8],
    value: &mut Value,
) -> Result<Range<usize>, Fail> {
    if bytes.is_empty() && may_be_absent(field) {
        return Ok(0..0);
    }
    check_width(width, bytes)?;
    let mut mantissa: i64 = 0;
    for (at, &byte) in bytes.iter().enumerate() {
        let digit = (!byte.is_ascii_lowercase()).then(|| char::from(byte).to_digit(16)).flatten();
        let Some(digit) = digit else {
            return Err(Fail::new(at, format!("{} found, a hexadecimal digit was wanted", quoted(&[byte]))));
        };
        mantissa = mantissa
            .checked_mul(16)
            .and_then(|mantissa| mantissa.checked_add(i64::from(digit)))
            .ok_or_else(|| Fail::new(at, "the number is larger than any that can be booked"))?;
    }
    if bytes.is_empty() || (width.min != width.max && bytes.len() > width.min.max(1) && bytes[0] == b'0') {
        return Err(Fail::new(0, format!("{} found, a hexadecimal number was wanted", quoted(bytes))));
    }
    let numeral = match scale {
        Scale { decimals: Decimals::All(places), times } => scaled(mantissa, times, places),
        _ => scaled(mantissa, 1, 0),
    };
    *value = Value::Number(numeral.map_err(|reason| Fail::new(0, reason))?);
    Ok(0..bytes.len())
}

pub(super) fn check_width(width: Span, bytes: &[u8]) -> Result<(), Fail> {
    if (width.min..=width.max).contains(&bytes.len()) {
        return Ok(());
    }
    let wanted = match width {
        Span { min, max } if min == max => format!("{min} were wanted"),
        Span { min, max } => format!("{min} to {max} were wanted"),
    };
    Err(Fail::new(bytes.len().min(width.max), format!("{} found, {wanted}", counted(bytes.len(), "character"))))
}

/// A number in its parts.
pub(super) struct Parts<'a> {
    pub(super) negative: bool,
    pub(super) whole: &'a str,
    pub(super) fraction: &'a str,
}

/// Takes apart a number as it is held.
pub(super) fn parts(text: &str) -> Parts<'_> {
    let (negative, rest) = match text.strip_prefix('-') {
        Some(rest) => (true, rest),
        None => (false, text),
    };
    let (whole, fraction) = rest.split_once('.').unwrap_or((rest, ""));
    Parts { negative, whole, fraction }
}

/// Writes a number.
pub(super) fn write(code: &Number, text: &str, out: &mut Vec<u8>) -> Result<(), String> {
    let Parts { negative, whole, fraction } = parts(text);
    let mut digits = whole.as_bytes().to_vec();
    match &code.point {
        Point::Sent { mark, decimals } => {
            if let Decimals::All(wanted) = decimals
                && usize::from(*wanted) != fraction.len()
            {
                return Err(format!("{text:?} with {} decimals found, {wanted} were wanted", fraction.len()));
            }
            if !fraction.is_empty() {
                digits.push(*mark);
                digits.extend_from_slice(fraction.as_bytes());
            }
        }
        Point::Implied(scale) if scale.times != 1 => {
            digits = unscaled(text, *scale)?.unsigned_abs().to_string().into_bytes();
        }
        Point::Implied(scale) => {
            if let Decimals::All(wanted) = scale.decimals
                && usize::from(wanted) != fraction.len()
            {
                return Err(format!("{text:?} with {} decimals found, {wanted} were wanted", fraction.len()));
            }
            digits.extend_from_slice(fraction.as_bytes());
            let zeros = digits.iter().position(|&digit| digit != b'0').unwrap_or(digits.len() - 1);
            digits.drain(..zeros);
        }
    }
    let sign: &[u8] = match (code.sign, negative) {
        (Sign::None | Sign::Nibble, true) => {
            return Err(format!("{text:?} found, a number that is not negative was wanted"));
        }
        (_, true) => b"-",
        (Sign::Both, false) => b"+",
        (Sign::Space, false) => b" ",
        (Sign::None | Sign::Nibble | Sign::Minus, false) => b"",
    };
    let zeros = code.filling.filter(|filling| filling.byte == b'0' && filling.side == Side::Front);
    if zeros.is_some() {
        let missing = code.width.min.saturating_sub(sign.len() + digits.len());
        digits.splice(0..0, std::iter::repeat_n(b'0', missing));
    }
    let value = match code.sign_at {
        SignAt::Front => [sign, &digits].concat(),
        SignAt::Behind => [&digits, sign].concat(),
    };
    if value.len() > code.width.max {
        return Err(format!("{text:?} takes {} characters, at most {} were wanted", value.len(), code.width.max));
    }
    fill(code.filling, code.width.min, &value, out);
    Ok(())
}

/// Writes a whole number in hexadecimal digits.
pub(super) fn write_hex((width, scale): (Span, Scale), text: &str, out: &mut Vec<u8>) -> Result<(), String> {
    let number = u64::try_from(unscaled(text, scale)?)
        .map_err(|_| format!("{text:?} found, a number that is not negative was wanted"))?;
    let shown = format!("{number:0width$X}", width = width.min.max(1));
    if shown.len() > width.max {
        return Err(format!("{text:?} takes {} hexadecimal digits, at most {} were wanted", shown.len(), width.max));
    }
    out.extend_from_slice(shown.as_bytes());
    Ok(())
}
