//! Examples, from the file to bytes and what must come out of them.

use super::Rule;
use super::build::Faults;
use crate::protocol::format::file::{ExampleFile, Means};
use crate::protocol::format::written::At;
use crate::protocol::limits::FRAME_MAX;

/// A frame and what must come out of it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(in crate::protocol) struct Example {
    /// Where it stands in the file.
    pub(in crate::protocol) span: std::ops::Range<usize>,
    /// What it shows.
    pub(in crate::protocol) about: Option<String>,
    /// The frame.
    pub(in crate::protocol) bytes: Vec<u8>,
    /// What must come out.
    pub(in crate::protocol) wanted: Wanted,
}

/// What must come out of an example.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(in crate::protocol) enum Wanted {
    /// A record of that name with these fields.
    Record { name: String, gives: Vec<(String, String)> },
    /// A refusal whose reason contains this.
    Refused(String),
    /// Noise.
    Noise,
}

pub(super) fn build(files: &[At<ExampleFile>], records: &[Rule], faults: &mut Faults) -> Vec<Example> {
    files.iter().filter_map(|file| one(file, records, faults)).collect()
}

fn one(file: &At<ExampleFile>, records: &[Rule], faults: &mut Faults) -> Option<Example> {
    let bytes = match (&file.text, &file.hex) {
        (Some(text), None) => text.as_bytes().to_vec(),
        (None, Some(hex)) => unhex(hex, faults)?,
        _ => {
            faults.add(&file.span, "an example without `text` or `hex`, or with both, found");
            return None;
        }
    };
    if bytes.is_empty() || bytes.len() > FRAME_MAX {
        faults.add(&file.span, format!("an example of {} bytes found, 1 to {FRAME_MAX} were wanted", bytes.len()));
    }
    let wanted = match (&file.record, &file.refused, file.noise) {
        (Some(name), None, false) => {
            let known: Vec<_> = records.iter().map(|rule| &*rule.name).collect();
            let Some(rule) = records.iter().find(|rule| *rule.name == *name.value) else {
                faults.unknown(&name.span, "record", name, &known);
                return None;
            };
            for (field, _) in &file.gives.0 {
                let meant = Means::ALL.iter().any(|means| means.word() == field.value && rule.slot(*means).is_some());
                if !meant && !rule.fields.iter().any(|known| *known.name == *field.value) {
                    let known: Vec<_> = rule.fields.iter().map(|field| &*field.name).collect();
                    faults.unknown(&field.span, &format!("field of a {}", rule.name), field, &known);
                }
            }
            let gives = file.gives.0.iter().map(|(field, text)| (field.value.clone(), text.0.clone())).collect();
            Wanted::Record { name: name.value.clone(), gives }
        }
        (None, Some(reason), false) => Wanted::Refused(reason.value.clone()),
        (None, None, true) => Wanted::Noise,
        _ => {
            faults.add(&file.span, "an example found that does not say one of `record`, `refused` or `noise = true`");
            return None;
        }
    };
    Some(Example { span: file.span.clone(), about: file.about.clone(), bytes, wanted })
}

fn unhex(hex: &At<String>, faults: &mut Faults) -> Option<Vec<u8>> {
    let digits: Option<Vec<u8>> =
        hex.chars().filter(|c| !c.is_whitespace()).map(|c| c.to_digit(16).map(|digit| digit as u8)).collect();
    match digits {
        Some(digits) if digits.len() % 2 == 0 => Some(digits.chunks(2).map(|pair| pair[0] << 4 | pair[1]).collect()),
        _ => {
            faults.add(&hex.span, "pairs of hexadecimal digits were wanted");
            None
        }
    }
}
