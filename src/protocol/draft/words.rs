//! What was found, in words of the format language.

use std::fmt::Write as _;

use crate::protocol::checksum::{Check, Sum};
use crate::protocol::format::file::{Counts, Finish, Form, Of, Order, Stands, To};
use crate::protocol::framing::{Escape, Framer, Hidden, Kind, LineEnd, Prefixed};

/// A string of the language.
pub(super) fn text(text: &str) -> String {
    let mut out = String::from("\"");
    for c in text.chars() {
        match c {
            '"' => out.push_str("\\\""),
            '\\' => out.push_str("\\\\"),
            '\r' => out.push_str("\\r"),
            '\n' => out.push_str("\\n"),
            '\t' => out.push_str("\\t"),
            c if c.is_control() => {
                let _ = write!(out, "\\u{:04X}", u32::from(c));
            }
            c => out.push(c),
        }
    }
    out.push('"');
    out
}

/// Bytes: as a string where they can be read, as a list of numbers where not.
pub(super) fn octets(bytes: &[u8]) -> String {
    if bytes.iter().all(|byte| matches!(byte, b' '..=b'~' | b'\r' | b'\n' | b'\t')) {
        return text(&bytes.iter().map(|&byte| char::from(byte)).collect::<String>());
    }
    let list: Vec<String> = bytes.iter().map(|byte| format!("{byte:#04X}")).collect();
    format!("[{}]", list.join(", "))
}

/// Bytes in hexadecimal with spaces.
pub(super) fn hex(bytes: &[u8]) -> String {
    let mut out = String::with_capacity(bytes.len() * 3);
    for (at, byte) in bytes.iter().enumerate() {
        let _ = write!(out, "{}{byte:02X}", if at > 0 { " " } else { "" });
    }
    out
}

/// A name made of what stands in a frame.
pub(super) fn name(text: &str) -> String {
    let letters = text.chars().map(|c| if c.is_ascii_alphanumeric() { c.to_ascii_lowercase() } else { '-' });
    let name: String = letters.collect();
    let name = name.trim_matches('-').chars().take(30).collect::<String>();
    match name.chars().next() {
        Some(first) if first.is_ascii_lowercase() => name,
        Some(_) => format!("field-{name}"),
        None => "field".to_owned(),
    }
}

/// The frame.
pub(super) fn frame(framer: &Framer, checks: usize, longest: usize) -> String {
    let mut keys = match &framer.kind {
        Kind::Line(line) => {
            let end = match &line.end {
                LineEnd::Any => "\"any\"".to_owned(),
                LineEnd::Bytes(end) => octets(end),
            };
            format!("kind = \"line\"\nend = {end}\n")
        }
        Kind::Delimited(delimited) => {
            let (start, end) = (octets(&delimited.start), octets(&delimited.end));
            let escape = delimited.escape.as_ref().map_or(String::new(), escape);
            format!("kind = \"delimited\"\nstart = {start}\nend = {end}\n{escape}")
        }
        Kind::Fixed(fixed) => {
            let size = fixed.sizes.first().map_or(0, |(_, size)| *size);
            format!("kind = \"fixed\"\nstart = {}\nsize = {size}\n", octets(&fixed.start))
        }
        Kind::Prefixed(prefixed) => self::prefixed(prefixed, checks),
        Kind::Silence => "kind = \"silence\"\n".to_owned(),
        Kind::Block(block) => {
            let (open, close, end) = (octets(&block.open), octets(&block.close), octets(&block.end));
            format!("kind = \"block\"\nopen = {open}\nclose = {close}\nend = {end}\n")
        }
    };
    // Twice what was seen: a longer name, a longer number.
    let max = (2 * longest).next_multiple_of(50).clamp(100, crate::protocol::limits::FRAME_MAX);
    let _ = writeln!(keys, "max = {max}");
    keys
}

fn escape(escape: &Escape) -> String {
    let byte = escape.byte;
    match &escape.hidden {
        Hidden::Flip(flip) => format!("escape = {{ byte = {byte:#04X}, flip = {flip:#04X} }}\n"),
        Hidden::Replaced(pairs) => {
            let pairs: Vec<String> = pairs.iter().map(|[plain, sent]| format!("[{plain:#04X}, {sent:#04X}]")).collect();
            format!("escape = {{ byte = {byte:#04X}, replaces = [{}] }}\n", pairs.join(", "))
        }
    }
}

/// A length counts the whole frame; where it counts less, that is said in its own word.
fn prefixed(prefixed: &Prefixed, checks: usize) -> String {
    let length = prefixed.length;
    let uncounted = -length.plus;
    let (rest, body) = (prefixed.header() as i32, (prefixed.header() + checks + prefixed.end.len()) as i32);
    let (counts, plus) = match (length.counts, uncounted) {
        (Counts::Frame, uncounted) if uncounted == rest => ("rest", 0),
        (Counts::Frame, uncounted) if uncounted == body => ("body", 0),
        _ => ("frame", length.plus),
    };
    let mut keys = format!("at = {}, bytes = {}", length.at, length.bytes);
    if length.form != Form::Binary {
        let _ = write!(keys, ", form = {}", form(length.form));
    } else if length.bytes > 1 {
        let _ = write!(keys, ", order = {}", order(length.order));
    }
    let _ = write!(keys, ", counts = \"{counts}\"");
    if plus != 0 {
        let _ = write!(keys, ", plus = {plus}");
    }
    let end = if prefixed.end.is_empty() { String::new() } else { format!("end = {}\n", octets(&prefixed.end)) };
    format!("kind = \"prefixed\"\nstart = {}\n{end}length = {{ {keys} }}\n", octets(&prefixed.start))
}

pub(super) fn order(order: Order) -> &'static str {
    match order {
        Order::Big => "\"big\"",
        Order::Little => "\"little\"",
    }
}

fn form(form: Form) -> &'static str {
    match form {
        Form::Binary => "\"binary\"",
        Form::Decimal => "\"decimal\"",
        Form::Hex => "\"hex\"",
        Form::HexLower => "\"hex-lower\"",
    }
}

/// A check.
pub(super) fn check(check: &Check) -> String {
    let mut keys = String::from("[[check]]\n");
    let mut key = |key: &str, value: &str| {
        let _ = writeln!(keys, "{key} = {value}");
    };
    let mut own = Form::Binary;
    match &check.sum {
        Sum::Cyclic(cyclic) => {
            key("kind", "\"crc\"");
            key("name", &text(cyclic.name));
        }
        Sum::Xor { first } => {
            key("kind", "\"xor\"");
            if *first != 0 {
                key("first", &format!("{first:#04X}"));
            }
        }
        Sum::Plain { bytes, first, finish } => {
            key("kind", "\"sum\"");
            if *bytes > 1 {
                key("bytes", &bytes.to_string());
            }
            if *first != 0 {
                key("first", &format!("{first:#X}"));
            }
            match finish {
                Finish::AsIs => {}
                Finish::OnesComplement => key("finish", "\"ones-complement\""),
                Finish::TwosComplement => key("finish", "\"twos-complement\""),
            }
        }
        Sum::Modulo { modulus, weights, of } => {
            key("kind", "\"modulo\"");
            key("modulus", &modulus.to_string());
            if **weights != [1] {
                key("weights", &format!("{weights:?}"));
            }
            if *of == Of::Digits {
                key("of", "\"digits\"");
            }
            own = Form::Decimal;
        }
        Sum::Mod97 => {
            key("kind", "\"mod97\"");
            own = Form::Decimal;
        }
    }
    if check.form != own {
        key("form", form(check.form));
    }
    if check.form == Form::Binary && check.size > 1 {
        key("order", order(check.order));
    }
    if !check.after.is_empty() {
        key("after", &octets(&check.after));
    }
    if let Some(from) = check.from {
        key("from", &from.to_string());
    }
    if check.to == To::Check {
        key("to", "\"check\"");
    }
    if check.stands == Stands::BehindEnd {
        key("stands", "\"behind-end\"");
    }
    keys
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn bytes_are_written_so_that_people_can_read_them() {
        assert_eq!(octets(b"R,\r\n"), "\"R,\\r\\n\"");
        assert_eq!(octets(&[2, 0xA5]), "[0x02, 0xA5]");
        assert_eq!(octets(b"\"\\"), "\"\\\"\\\\\"");
        assert_eq!(hex(&[1, 0xAB]), "01 AB");
    }

    #[test]
    fn names_are_such_as_the_language_wants() {
        for (text, wanted) in [("Höhe/m", "h-he-m"), ("12", "field-12"), ("", "field"), ("P", "p"), ("--", "field")] {
            assert_eq!(name(text), wanted);
        }
    }
}
