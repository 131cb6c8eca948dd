//! Dates and times of day.

use crate::protocol::format::file::FieldFile;
use crate::protocol::grammar::build::Faults;
use crate::protocol::grammar::{Time, TimePart};
use crate::protocol::limits::BYTES_MAX;

pub(super) fn time(file: &FieldFile, faults: &mut Faults) -> Option<Time> {
    let Some(pattern) = &file.pattern else {
        faults.advise(
            &file.is.span,
            "a time without `pattern` found",
            "for example `pattern = \"YYYY-MM-DD hh:mm:ss\"`",
        );
        return None;
    };
    let known = [
        ("YYYY", 0, 9999),
        ("YY", 0, 99),
        ("MM", 1, 12),
        ("DD", 1, 31),
        ("hh", 0, 23),
        ("mm", 0, 59),
        ("ss", 0, 60),
        ("fff", 0, 999),
    ];
    let mut parts = Vec::new();
    let mut rest = pattern.value.as_str();
    while let Some(first) = rest.chars().next() {
        if let Some((word, least, most)) = known.iter().find(|(word, ..)| rest.starts_with(word)) {
            parts.push(TimePart::Digits { count: word.len() as u8, least: *least, most: *most });
            rest = &rest[word.len()..];
        } else if first.is_ascii_alphabetic() && first != 'T' && first != 'Z' || !(' '..='~').contains(&first) {
            let known = known.map(|(word, ..)| word).join(", ");
            faults.add(
                &pattern.span,
                format!("{first:?} found in a pattern, one of {known} or a mark between them was wanted"),
            );
            return None;
        } else {
            parts.push(TimePart::Literal(first as u8));
            rest = &rest[1..];
        }
    }
    if !(1..=BYTES_MAX).contains(&parts.len()) {
        faults.add(&pattern.span, format!("{} parts of a time found, 1 to {BYTES_MAX} were wanted", parts.len()));
        return None;
    }
    let zone = match &file.zone {
        Some(zone) if zone.value == "UTC" || zone.value == "local" || is_offset(zone) => zone.value.as_str().into(),
        Some(zone) => {
            faults.add(
                &zone.span,
                format!("the zone {:?} found, UTC, local, or a difference such as +02:00 was wanted", zone.value),
            );
            return None;
        }
        None => "local".into(),
    };
    Some(Time { parts, zone })
}

fn is_offset(text: &str) -> bool {
    let digits = |at: usize| text.as_bytes()[at].is_ascii_digit();
    text.len() == 6
        && matches!(text.as_bytes()[0], b'+' | b'-')
        && digits(1)
        && digits(2)
        && text.as_bytes()[3] == b':'
        && digits(4)
        && digits(5)
}
