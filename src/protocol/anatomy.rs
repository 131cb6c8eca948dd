//! What each part of one frame was taken for: for people who look at a format at work, not for the book.
//!
//! The parts of a frame that is refused are given as far as they were understood, whatever its checks say.

use std::ops::Range;

use super::Format;
use super::checksum::Check;
use super::format::file::{Means, Stands};
use super::framing::{self, Cut, Frame, Kind, Scan};
use super::grammar::{Code, Rule};
use super::record::{self, Slots, Value};

/// A frame taken apart.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Anatomy {
    /// The name of its record in the format, if it could be told.
    pub record: Option<String>,
    /// Its parts, by where they begin. Flags of one word share its bytes; what is between parts is literal.
    pub parts: Vec<Part>,
}

/// A part of a frame.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Part {
    /// Its bytes in the frame as sent.
    pub bytes: Range<usize>,
    /// What it was taken for.
    pub what: What,
    /// What it holds, as text; empty where the bytes say it all.
    pub holds: String,
}

/// What a part was taken for.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum What {
    /// The bytes that begin the frame.
    Start,
    /// The length of the frame.
    Length,
    /// A field.
    Field {
        /// Its name.
        name: String,
        /// What it means to the book.
        means: Option<Means>,
    },
    /// A check, by its kind.
    Check(String),
    /// The bytes that end the frame.
    End,
}

/// Takes a piece of the stream apart that begins with a frame; a piece that does not has no parts.
pub(super) fn of(format: &Format, raw: &[u8]) -> Anatomy {
    let (grammar, framer) = (&format.grammar, &format.grammar.framer);
    let whole = Frame { len: raw.len(), start: 0, end: raw.len(), trail: raw.len() };
    let frame = match framer.next(raw, &mut Scan::default()) {
        Cut::Frame(frame) => frame,
        Cut::More if matches!(framer.kind, Kind::Silence) => whole,
        _ => return Anatomy::default(),
    };
    let mut plain = Vec::new();
    let Ok((bytes, place)) = framing::plain(framer, raw, frame, &mut plain) else { return Anatomy::default() };
    let sent = |part: Range<usize>| {
        let at = |at| framing::sent_at(framer, raw, frame, at);
        at(part.start)..at(part.end)
    };
    let mut anatomy = Anatomy { record: None, parts: on_lines(format, raw, frame) };
    if frame.end < frame.trail {
        anatomy.parts.push(Part { bytes: frame.end..frame.trail, what: What::End, holds: String::new() });
    }
    let mut part = |bytes: Range<usize>, what, holds| {
        if !bytes.is_empty() {
            anatomy.parts.push(Part { bytes: sent(bytes), what, holds });
        }
    };
    match &framer.kind {
        Kind::Prefixed(prefixed) if !prefixed.in_record => {
            let length = prefixed.length.at..prefixed.length.at + prefixed.length.bytes;
            part(0..length.start, What::Start, String::new());
            part(length, What::Length, String::new());
        }
        _ => part(0..place.start, What::Start, String::new()),
    }
    let size = |check: &Check| check.after.len() + check.size;
    let before_end = grammar.checks.iter().filter(|check| check.stands == Stands::BeforeEnd).map(size).sum();
    let Some(end) = place.end.checked_sub(before_end).filter(|end| *end >= place.start) else { return anatomy };
    let (mut before, mut behind) = (end, place.trail);
    for check in &grammar.checks {
        let at = match check.stands {
            Stands::BeforeEnd => &mut before,
            Stands::BehindEnd => &mut behind,
            Stands::EachLine => continue,
        };
        let from = *at + check.after.len();
        *at = from + check.size;
        if *at <= bytes.len() {
            part(from..*at, What::Check(check.label.to_string()), String::new());
        }
    }
    let payload = &bytes[place.start..end];
    let mut slots = Slots::default();
    // How far it came is in the slots, whether it came to the end or not.
    let whole = record::read(grammar, payload, &mut slots).is_ok();
    if let Some(rule) = record::chosen(grammar, payload).map(|chosen| &grammar.records[chosen]) {
        for (slot, field) in rule.fields.iter().enumerate() {
            let Some(mut holds) = held(rule, slot, payload, &slots) else { continue };
            // Where the walk did not come to its end, no point was put and no unit was chosen yet.
            if let Some(unit) = record::unit(rule, field, &slots).filter(|_| whole || !record::is_settled_late(field)) {
                holds = format!("{holds} {unit}");
            }
            let bytes = slots.place(slot);
            let what = What::Field { name: field.name.to_string(), means: field.means };
            part(place.start + bytes.start..place.start + bytes.end, what, holds);
        }
        anatomy.record = Some(rule.name.to_string());
    }
    anatomy.parts.sort_by_key(|part| part.bytes.start);
    anatomy
}

/// The checks on each line of a block.
fn on_lines(format: &Format, raw: &[u8], frame: Frame) -> Vec<Part> {
    let Kind::Block(block) = &format.grammar.framer.kind else { return Vec::new() };
    let checks = || format.grammar.checks.iter().filter(|check| check.stands == Stands::EachLine);
    let of_line = |line: Range<usize>| {
        let mut at = line.start + block.bare(&raw[line.clone()]).len();
        let part = move |check: &Check| {
            let from = at + check.after.len();
            at = from + check.size;
            Part { bytes: from..at, what: What::Check(check.label.to_string()), holds: String::new() }
        };
        checks().map(part).filter(move |part| part.bytes.end <= line.end)
    };
    block.lines(&raw[..frame.end]).flat_map(of_line).collect()
}

/// What a field holds, with its meaning.
fn held(rule: &Rule, slot: usize, payload: &[u8], slots: &Slots) -> Option<String> {
    let field = &rule.fields[slot];
    let text = slots.text(slot, field, payload)?;
    Some(match (slots.value(slot), &field.code) {
        (Value::Item(item), Code::Choice(choice)) => {
            let meaning = &choice.items[usize::from(*item)].meaning;
            if **meaning == *text { text.into_owned() } else { format!("{text} ({meaning})") }
        }
        _ => text.into_owned(),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The parts of a frame: the bytes of each, and what they were taken for.
    fn parts(format: &str, raw: &str) -> Vec<(String, String)> {
        let format = Format::parse(format).unwrap();
        let anatomy = format.anatomy(raw.as_bytes());
        let shown = |part: &Part| {
            let what = match &part.what {
                What::Field { name, .. } => format!("{name} {}", part.holds),
                What::Check(check) => check.clone(),
                other => format!("{other:?}"),
            };
            (raw[part.bytes.clone()].escape_debug().to_string(), what)
        };
        anatomy.parts.iter().map(shown).collect()
    }

    fn is(parts: &[(String, String)], wanted: &[(&str, &str)]) {
        let parts: Vec<(&str, &str)> = parts.iter().map(|(bytes, what)| (&**bytes, &**what)).collect();
        assert_eq!(parts, wanted);
    }

    #[test]
    fn each_line_of_a_block_shows_its_check_whether_it_agrees_or_not() {
        let format = include_str!("../../fixtures/formats/good-line-checks.toml");
        for second in ["59", "00"] {
            let raw = format!("BEGIN 0012*64\r\nHGT 1.28340*{second}\r\nDST 31.42*49\r\nEND*4F\r\n");
            is(
                &parts(format, &raw),
                &[
                    ("0012", "sequence 12"),
                    ("64", "exclusive-or"),
                    ("1.28340", "staff 1.28340 m"),
                    (second, "exclusive-or"),
                    ("31.42", "sight 31.42 m"),
                    ("49", "exclusive-or"),
                    ("4F", "exclusive-or"),
                    ("\\r\\n", "End"),
                ],
            );
        }
    }

    #[test]
    fn parts_sent_as_digits_are_their_digits() {
        let format = include_str!("../../fixtures/formats/good-hex-pairs.toml");
        is(
            &parts(format, ":01000C0001F5540C4657\r\n"),
            &[
                (":", "Start"),
                ("000C", "sequence 12"),
                ("0001F554", "staff 1.28340 m"),
                ("0C46", "sight 31.42 m"),
                ("57", "LRC"),
                ("\\r\\n", "End"),
            ],
        );
    }
}
