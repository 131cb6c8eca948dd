//! Characters and times, both ways.

use std::borrow::Cow;
use std::ops::Range;

use super::code::{Fail, fill, unfilled};
use super::number::check_width;
use super::read::may_be_absent;
use super::{Value, counted, quoted};
use crate::protocol::format::file::{Chars, Encoding};
use crate::protocol::grammar::{Field, Text, Time, TimePart};

/// Reads characters.
pub(super) fn read(code: &Text, field: &Field, bytes: &[u8], value: &mut Value) -> Result<Range<usize>, Fail> {
    let place = unfilled(code.filling, bytes);
    let found = &bytes[place.clone()];
    if found.is_empty() && may_be_absent(field) {
        return Ok(place);
    }
    check_width(code.width, bytes)?;
    if found.is_empty() {
        return Err(Fail::new(0, "nothing found, characters were wanted"));
    }
    check(found, code.encoding, code.chars).map_err(|fail| Fail::new(place.start + fail.at, fail.reason))?;
    *value = Value::Characters;
    Ok(place)
}

/// Whether all characters are such as the field may hold.
pub(super) fn check(bytes: &[u8], encoding: Encoding, chars: Chars) -> Result<(), Fail> {
    let seen = |byte: u8| match (chars, encoding) {
        (Chars::Digits, _) => byte.is_ascii_digit(),
        (Chars::Letters, _) => byte.is_ascii_alphabetic(),
        (Chars::Alphanumeric, _) => byte.is_ascii_alphanumeric(),
        (Chars::Printable, Encoding::Ascii) => matches!(byte, b' '..=b'~'),
        (Chars::Printable, Encoding::Latin1) => matches!(byte, b' '..=b'~' | 0xA0..=0xFF),
        (Chars::Printable, Encoding::Utf8) => !byte.is_ascii_control(),
    };
    if let Some(at) = bytes.iter().position(|&byte| !seen(byte)) {
        let wanted = match chars {
            Chars::Digits => "a digit",
            Chars::Letters => "a letter",
            Chars::Alphanumeric => "a letter or a digit",
            Chars::Printable => "a printable character",
        };
        return Err(Fail::new(at, format!("{} found, {wanted} was wanted", quoted(&bytes[at..=at]))));
    }
    if encoding == Encoding::Utf8
        && let Err(error) = std::str::from_utf8(bytes)
    {
        let at = error.valid_up_to();
        return Err(Fail::new(at, format!("{} found, a character in UTF-8 was wanted", quoted(&bytes[at..=at]))));
    }
    Ok(())
}

/// Bytes that were checked, as text.
pub(super) fn decoded(bytes: &[u8], encoding: Encoding) -> Cow<'_, str> {
    match encoding {
        Encoding::Latin1 if !bytes.is_ascii() => Cow::Owned(bytes.iter().map(|&byte| char::from(byte)).collect()),
        _ => std::str::from_utf8(bytes).map_or_else(|_| String::from_utf8_lossy(bytes), Cow::Borrowed),
    }
}

/// Text as bytes.
pub(in crate::protocol) fn encoded(text: &str, encoding: Encoding) -> Result<Vec<u8>, String> {
    match encoding {
        Encoding::Utf8 => Ok(text.as_bytes().to_vec()),
        Encoding::Ascii if text.is_ascii() => Ok(text.as_bytes().to_vec()),
        Encoding::Ascii => Err(format!("{text:?} found, ASCII characters were wanted")),
        Encoding::Latin1 => text
            .chars()
            .map(|c| {
                u8::try_from(u32::from(c)).map_err(|_| format!("{c:?} found, a character of ISO 8859-1 was wanted"))
            })
            .collect(),
    }
}

/// Writes characters.
pub(super) fn write(code: &Text, text: &str, out: &mut Vec<u8>) -> Result<(), String> {
    let bytes = encoded(text, code.encoding)?;
    if bytes.is_empty() || bytes.len() > code.width.max {
        return Err(format!("{text:?} takes {} bytes, 1 to {} were wanted", bytes.len(), code.width.max));
    }
    check(&bytes, code.encoding, code.chars).map_err(|fail| fail.reason)?;
    if unfilled(code.filling, &bytes) != (0..bytes.len()) {
        return Err(format!("{text:?} begins or ends like the filling and could not be read back"));
    }
    fill(code.filling, code.width.min, &bytes, out);
    Ok(())
}

/// Reads a time; it is kept as sent.
pub(super) fn read_time(code: &Time, field: &Field, bytes: &[u8], value: &mut Value) -> Result<Range<usize>, Fail> {
    if may_be_absent(field) && bytes.iter().all(|&byte| byte == b' ') {
        return Ok(0..0);
    }
    let width = code.width();
    if bytes.len() != width {
        return Err(Fail::new(
            bytes.len().min(width),
            format!("{} found, {width} were wanted", counted(bytes.len(), "character")),
        ));
    }
    let mut at = 0;
    for part in &code.parts {
        match *part {
            TimePart::Literal(wanted) => {
                if bytes[at] != wanted {
                    let (found, wanted) = (quoted(&bytes[at..=at]), quoted(&[wanted]));
                    return Err(Fail::new(at, format!("{found} found in a time, {wanted} was wanted")));
                }
                at += 1;
            }
            TimePart::Digits { count, least, most } => {
                let found = &bytes[at..at + usize::from(count)];
                let number = found.iter().try_fold(0u16, |number, byte| {
                    byte.is_ascii_digit().then(|| number.saturating_mul(10).saturating_add(u16::from(byte - b'0')))
                });
                if !number.is_some_and(|number| (least..=most).contains(&number)) {
                    let found = quoted(found);
                    return Err(Fail::new(at, format!("{found} found in a time, {least} to {most} was wanted")));
                }
                at += usize::from(count);
            }
        }
    }
    *value = Value::Characters;
    Ok(0..bytes.len())
}

/// Writes a time as it was sent.
pub(super) fn write_time(code: &Time, text: &str, out: &mut Vec<u8>) -> Result<(), String> {
    if text.len() != code.width() {
        return Err(format!("the time {text:?} has {} characters, {} were wanted", text.len(), code.width()));
    }
    out.extend_from_slice(text.as_bytes());
    Ok(())
}
