//! One field's bytes and its value, both ways: the branches. Each kind of writing has a file of its own.

use std::ops::Range;

use super::read::may_be_absent;
use super::{Content, Value, binary, number, quoted, text};
use crate::protocol::format::file::Chars;
use crate::protocol::grammar::{Choice, Code, Field, Filling, Side, Signed};

/// Why a field's bytes do not fit, from their first byte.
#[derive(Debug, PartialEq, Eq)]
pub(super) struct Fail {
    pub(super) at: usize,
    pub(super) reason: String,
}

impl Fail {
    pub(super) fn new(at: usize, reason: impl Into<String>) -> Self {
        Fail { at, reason: reason.into() }
    }
}

/// Puts what the bytes of a field say into `value`, which is absent so far; gives where in them it stands.
pub(super) fn decode(field: &Field, bytes: &[u8], value: &mut Value) -> Result<Range<usize>, Fail> {
    if field.before.is_empty() && field.behind.is_empty() {
        return inner(field, bytes, value);
    }
    if bytes.is_empty() {
        return if may_be_absent(field) { Ok(0..0) } else { Err(Fail::new(0, "nothing found, a value was wanted")) };
    }
    let Some(behind) = bytes.strip_prefix(&*field.before) else {
        let (found, wanted) = (quoted(bytes), quoted(&field.before));
        return Err(Fail::new(0, format!("{found} found, {wanted} was wanted before the value")));
    };
    let Some(inside) = behind.strip_suffix(&*field.behind) else {
        let (found, wanted) = (quoted(bytes), quoted(&field.behind));
        return Err(Fail::new(bytes.len(), format!("{found} found, {wanted} was wanted behind the value")));
    };
    let before = field.before.len();
    let place = inner(field, inside, value).map_err(|fail| Fail::new(before + fail.at, fail.reason))?;
    Ok(before + place.start..before + place.end)
}

fn inner(field: &Field, bytes: &[u8], value: &mut Value) -> Result<Range<usize>, Fail> {
    if !field.absent.is_empty() && field.absent.iter().any(|text| **text == *bytes) {
        return Ok(0..bytes.len());
    }
    match &field.code {
        Code::Number(code) => return number::read(code, field, bytes, value),
        Code::Text(code) => return text::read(code, field, bytes, value),
        Code::Choice(code) => return choice(code, field, bytes, value),
        Code::Hex { width, scale } => return number::read_hex((*width, *scale), field, bytes, value),
        Code::Time(code) => return text::read_time(code, field, bytes, value),
        Code::Integer { bytes: size, order, signed, scale } => {
            *value = Value::Number(binary::read_integer((*size, *order, *signed), *scale, bytes)?);
        }
        Code::Float { order, decimals, .. } => *value = Value::Number(binary::read_float(*order, *decimals, bytes)?),
        Code::Bcd { sign, scale, .. } => *value = Value::Number(binary::read_bcd(*sign, *scale, bytes)?),
        Code::Bits => return Err(Fail::new(0, "bits outside a flags field")),
    }
    Ok(0..bytes.len())
}

/// Puts the bytes of a field at the end of `out`; the error says what cannot be written.
pub(super) fn encode(field: &Field, content: Option<&Content>, out: &mut Vec<u8>) -> Result<(), String> {
    let Some(content) = content else {
        return encode_absent(field, out);
    };
    out.extend_from_slice(&field.before);
    match &field.code {
        Code::Number(code) => number::write(code, number_of(content)?, out)?,
        Code::Hex { width, scale } => number::write_hex((*width, *scale), number_of(content)?, out)?,
        Code::Text(code) => text::write(code, content.as_str(), out)?,
        Code::Choice(code) => write_choice(code, content.as_str(), out)?,
        Code::Time(code) => text::write_time(code, content.as_str(), out)?,
        Code::Integer { bytes, order, signed, scale } => {
            binary::write_integer((*bytes, *order, *signed), *scale, number_of(content)?, out)?;
        }
        Code::Float { bytes, order, decimals } => {
            binary::write_float(*bytes, *order, *decimals, number_of(content)?, out)?
        }
        Code::Bcd { bytes, sign, scale } => binary::write_bcd(*bytes, *sign, *scale, number_of(content)?, out)?,
        Code::Bits => return Err("bits outside a flags field".to_owned()),
    }
    out.extend_from_slice(&field.behind);
    Ok(())
}

fn encode_absent(field: &Field, out: &mut Vec<u8>) -> Result<(), String> {
    if let Some(text) = field.absent.first() {
        out.extend_from_slice(&field.before);
        out.extend_from_slice(text);
        out.extend_from_slice(&field.behind);
        return Ok(());
    }
    if !may_be_absent(field) {
        return Err("nothing given, a value was wanted".to_owned());
    }
    let (width, filling) = match &field.code {
        Code::Number(code) => (code.width.min, code.filling),
        Code::Text(code) => (code.width.min, code.filling),
        Code::Choice(code) => (code.width.min, code.filling),
        _ => (0, None),
    };
    if let Some(filling) = filling.filter(|_| width > 0) {
        out.extend(std::iter::repeat_n(filling.byte, width));
    }
    Ok(())
}

/// The number in a content.
pub(super) fn number_of(content: &Content) -> Result<&str, String> {
    match content {
        Content::Number(digits) => Ok(digits.as_str()),
        Content::Text(text) => Err(format!("the text {text:?} found, a number was wanted")),
    }
}

/// Takes the filling off a field of characters; gives where the value stands.
pub(super) fn unfilled(filling: Option<Filling>, bytes: &[u8]) -> Range<usize> {
    match filling {
        Some(Filling { byte, side: Side::Front }) => {
            bytes.iter().position(|&found| found != byte).unwrap_or(bytes.len())..bytes.len()
        }
        Some(Filling { byte, side: Side::Behind }) => {
            0..bytes.iter().rposition(|&found| found != byte).map_or(0, |last| last + 1)
        }
        None => 0..bytes.len(),
    }
}

/// Fills a value up to its least width.
pub(super) fn fill(filling: Option<Filling>, least: usize, value: &[u8], out: &mut Vec<u8>) {
    let missing = std::iter::repeat_n(filling.map_or(b' ', |f| f.byte), least.saturating_sub(value.len()));
    match filling {
        Some(Filling { side: Side::Front, .. }) => {
            out.extend(missing);
            out.extend_from_slice(value);
        }
        Some(Filling { side: Side::Behind, .. }) => {
            out.extend_from_slice(value);
            out.extend(missing);
        }
        None => out.extend_from_slice(value),
    }
}

/// The length of the longest value of the choice that `bytes` begins with.
pub(super) fn longest_item(choice: &Choice, bytes: &[u8]) -> usize {
    choice.items.iter().filter(|item| bytes.starts_with(&item.sent)).map(|item| item.sent.len()).max().unwrap_or(0)
}

fn choice(code: &Choice, field: &Field, bytes: &[u8], value: &mut Value) -> Result<Range<usize>, Fail> {
    let place = if code.binary.is_some() { 0..bytes.len() } else { unfilled(code.filling, bytes) };
    let sent = &bytes[place.clone()];
    if let Some(item) = code.items.iter().position(|item| *item.sent == *sent) {
        *value = Value::Item(item as u16);
        return Ok(place);
    }
    if code.binary.is_none() && sent.is_empty() && may_be_absent(field) {
        return Ok(place);
    }
    match code.binary {
        None if code.open && !sent.is_empty() => {
            text::check(sent, code.encoding, Chars::Printable)?;
            *value = Value::Characters;
        }
        Some((size, order)) if code.open => {
            *value = Value::Number(binary::read_integer((size, order, Signed::No), binary::WHOLE, bytes)?);
        }
        _ => return Err(Fail::new(place.start, format!("{} found, {} was wanted", quoted(sent), wanted(code)))),
    }
    Ok(place)
}

/// The values of a choice in words.
pub(super) fn wanted(code: &Choice) -> String {
    let keys = listed(code.items.iter().map(|item| quoted(item.key.as_bytes())));
    if code.items.len() == 1 { keys } else { format!("one of {keys}") }
}

/// Words in a message: all of a few, the first of many.
pub(super) fn listed(words: impl ExactSizeIterator<Item = String>) -> String {
    const SHOWN_MAX: usize = 8;
    let len = words.len();
    let shown: Vec<String> = words.take(SHOWN_MAX).collect();
    match len.checked_sub(SHOWN_MAX) {
        None | Some(0) => shown.join(", "),
        Some(others) => format!("{} and {others} others", shown.join(", ")),
    }
}

fn write_choice(code: &Choice, text: &str, out: &mut Vec<u8>) -> Result<(), String> {
    if let Some(item) = code.items.iter().find(|item| *item.key == *text) {
        match code.binary {
            Some(_) => out.extend_from_slice(&item.sent),
            None => fill(code.filling, code.width.min, &item.sent, out),
        }
        return Ok(());
    }
    match code.binary {
        None if code.open => {
            let sent = text::encoded(text, code.encoding)?;
            fill(code.filling, code.width.min, &sent, out);
            Ok(())
        }
        Some((size, order)) if code.open => binary::write_integer((size, order, Signed::No), binary::WHOLE, text, out),
        _ => Err(format!("{text:?} found, {} was wanted", wanted(code))),
    }
}
