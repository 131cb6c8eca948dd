//! From the file as serde sees it to the checked tree. All that is wrong is gathered, not only the first.

use std::ops::Range;

use super::examples::Example;
use super::{Grammar, checks, examples, frames, layouts, talk};
use crate::nearest::nearest;
use crate::protocol::errors::Fault;
use crate::protocol::format::file::{File, RecordFile};
use crate::protocol::format::written::At;
use crate::protocol::limits::{NODES_MAX, RECORDS_MAX};
use crate::protocol::link::LinkDefaults;
use crate::protocol::talk::Talk;

/// Everything that a format file says, checked.
pub(in crate::protocol) struct Built {
    pub(in crate::protocol) grammar: Grammar,
    pub(in crate::protocol) link: LinkDefaults,
    pub(in crate::protocol) talk: Talk,
    pub(in crate::protocol) examples: Vec<Example>,
}

/// Checks a file.
///
/// # Errors
/// Every fault that was found.
pub(in crate::protocol) fn build(file: &File) -> Result<Built, Vec<Fault>> {
    let mut faults = Faults::default();
    if file.format.value != 1 {
        faults.add(&file.format.span, format!("language version {} found, 1 was wanted", file.format.value));
    }
    name(&file.name, "a format", &mut faults);
    if file.title.trim().is_empty() {
        faults.add(&file.title.span, "an empty title found, one line that says what the format is was wanted");
    }
    size(file, &mut faults);
    let link = talk::link(&file.link, &mut faults);
    let checks = checks::build(&file.check, &file.frame, &mut faults);
    let frame = frames::build(&file.frame, &checks, &link, &mut faults);
    let records = layouts::build(file, frame.as_ref(), &mut faults);
    let (Some(mut framer), []) = (frame, &faults.0[..]) else {
        return Err(faults.0);
    };
    frames::fit(&mut framer, &checks, &file.record, &records, &mut faults);
    let talk = talk::build(&file.talk, &records, &mut faults);
    let examples = examples::build(&file.example, &records, &mut faults);
    let grammar = Grammar { framer, checks, records };
    if faults.0.is_empty() { Ok(Built { grammar, link, talk, examples }) } else { Err(faults.0) }
}

/// What is wrong so far.
#[derive(Default)]
pub(super) struct Faults(pub(super) Vec<Fault>);

impl Faults {
    pub(super) fn add(&mut self, span: &Range<usize>, message: impl Into<String>) {
        self.0.push(Fault::new(span, message));
    }

    pub(super) fn advise(&mut self, span: &Range<usize>, message: impl Into<String>, advice: impl Into<String>) {
        self.0.push(Fault::new(span, message).advise(advice));
    }

    /// A word that is not one of those known.
    pub(super) fn unknown(&mut self, span: &Range<usize>, what: &str, found: &str, known: &[&str]) {
        let message = format!("unknown {what} {found:?} found, one of {} was wanted", known.join(", "));
        match nearest(found, known.iter().copied()) {
            Some(meant) => self.advise(span, message, format!("did you mean {meant:?}?")),
            None => self.add(span, message),
        }
    }

    /// Keys that have no meaning where they stand.
    pub(super) fn misplaced(&mut self, keys: &[(&str, Option<&Range<usize>>, bool)], place: &str) {
        for (key, span, belongs) in keys {
            if let (Some(span), false) = (span, belongs) {
                let known: Vec<_> = keys.iter().filter(|key| key.2).map(|key| key.0).collect();
                let advice = if known.is_empty() {
                    "take it out".to_owned()
                } else {
                    format!("keys that have one there: {}", known.join(", "))
                };
                self.advise(span, format!("`{key}` has no meaning in {place}"), advice);
            }
        }
    }
}

/// The place of an optional value.
pub(super) fn span<T>(value: &Option<At<T>>) -> Option<&Range<usize>> {
    value.as_ref().map(|value| &value.span)
}

/// Names are small letters, digits, `-` and `_`, and begin with a letter.
pub(super) fn name(name: &At<String>, of: &str, faults: &mut Faults) {
    let good = |c: char| c.is_ascii_lowercase() || c.is_ascii_digit() || c == '-' || c == '_';
    if name.len() > NAME_MAX || !name.starts_with(|c: char| c.is_ascii_lowercase()) || !name.chars().all(good) {
        let found = &name.value;
        faults.add(
            &name.span,
            format!(
                "the name {found:?} of {of} found, small letters, digits and - beginning with a letter were wanted"
            ),
        );
    }
}

/// The longest name, in characters: it stands in every message.
const NAME_MAX: usize = 40;

fn size(file: &File, faults: &mut Faults) {
    if file.record.is_empty() {
        faults.add(&(0..0), "no [[record]] found, at least one was wanted");
    }
    if let Some(beyond) = file.record.get(RECORDS_MAX) {
        let found = file.record.len();
        faults.add(&beyond.span, format!("{found} records found, at most {RECORDS_MAX} were wanted"));
    }
    let parts = |record: &At<RecordFile>| {
        let lines = record.lines.iter().flat_map(|line| &line.fields);
        1 + record
            .fields
            .iter()
            .chain(lines)
            .map(|field| {
                let bits = field.bits.iter().map(|bit| 1 + bit.values.as_ref().map_or(0, |values| values.0.len()));
                1 + field.absent.len() + field.values.as_ref().map_or(0, |values| values.0.len()) + bits.sum::<usize>()
            })
            .sum::<usize>()
    };
    let examples: usize = file.example.iter().map(|example| 1 + example.gives.0.len()).sum();
    let found =
        examples + file.talk.command.len() + file.talk.poll.len() + file.record.iter().map(parts).sum::<usize>();
    if found > NODES_MAX {
        faults.add(&(0..0), format!("{found} parts found in the file, at most {NODES_MAX} were wanted"));
    }
}
