//! Two walks over the tree: one takes a frame's bytes apart, the other puts them together.
//!
//! This is the only place that knows nom. The walk is a loop over the steps of a record with one of nom's parsers for
//! each; nothing is boxed, nothing goes back, and every step is counted against the budget of the frame.

mod binary;
mod choose;
mod code;
mod json;
mod keyed;
mod number;
mod read;
mod scale;
mod text;
mod write;

use std::borrow::Cow;
use std::ops::Range;

use super::format::file::Encoding;
use super::grammar::{Code, Field, Grammar, Rule};
use super::limits::{STEPS_FREE, STEPS_PER_BYTE};
use crate::units::{Digits, Numeral};

pub(in crate::protocol) use binary::{BCD_MAX, put};
pub(super) use read::read;
pub(super) use scale::{below, is_settled_late, unit};
pub(in crate::protocol) use text::encoded;
pub use write::WriteError;
pub(super) use write::write;
#[cfg(test)]
pub(super) use write::write_fields;

/// Which kind of record a frame is, by its place in the grammar, whether all of it can be read or not.
pub(super) fn chosen(grammar: &Grammar, bytes: &[u8]) -> Option<usize> {
    let mut slots = Slots::default();
    slots.begin(bytes.len());
    choose::rule(grammar, bytes, &mut slots).ok()
}

/// A record by the names that its format gives: what a frame says, before the book's meaning is put on it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Record {
    /// The name of its kind in the format.
    pub name: String,
    /// Its fields in the order of the format; absent ones are left out.
    pub fields: Vec<(String, Content)>,
}

impl Record {
    /// A record without fields.
    pub fn new(name: impl Into<String>) -> Self {
        Record { name: name.into(), fields: Vec::new() }
    }

    /// The record with one field more.
    pub fn with(mut self, name: impl Into<String>, content: Content) -> Self {
        self.fields.push((name.into(), content));
        self
    }

    /// The content of the field of that name.
    pub fn get(&self, name: &str) -> Option<&Content> {
        self.fields.iter().find(|(known, _)| known == name).map(|(_, content)| content)
    }
}

/// What a field holds.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Content {
    /// A number with its digits: `-1.28340`, whatever the marks, signs and fillings of the format.
    Number(Digits),
    /// A text, a time, or a choice as the format writes it.
    Text(String),
}

impl Content {
    /// The content as it is shown.
    pub fn as_str(&self) -> &str {
        match self {
            Content::Number(digits) => digits.as_str(),
            Content::Text(text) => text,
        }
    }
}

/// What was found in a slot.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Value {
    /// Nothing.
    Absent,
    /// A number.
    Number(Numeral),
    /// The characters at the slot's place.
    Characters,
    /// The characters at the slot's place, with JSON escapes among them.
    Escaped,
    /// That item of the choice.
    Item(u16),
}

/// What the read walk found, kept from frame to frame so that nothing is allocated for each.
#[derive(Debug, Default)]
pub(super) struct Slots {
    values: Vec<Value>,
    places: Vec<Range<usize>>,
    steps: u64,
    budget: u64,
}

impl Slots {
    /// Empties the slots for a frame of so many bytes.
    fn begin(&mut self, bytes: usize) {
        self.steps = 0;
        self.budget = STEPS_FREE + STEPS_PER_BYTE * bytes as u64;
    }

    fn empty(&mut self, fields: usize) {
        self.values.clear();
        self.values.resize(fields, Value::Absent);
        self.places.clear();
        self.places.resize(fields, 0..0);
    }

    fn set(&mut self, slot: usize, value: Value, place: Range<usize>) {
        self.values[slot] = value;
        self.places[slot] = place;
    }

    /// Decodes a field into its slot; `at` is where its bytes begin.
    fn decode(&mut self, slot: usize, field: &Field, bytes: &[u8], at: usize) -> Result<(), code::Fail> {
        let place = code::decode(field, bytes, &mut self.values[slot])?;
        self.places[slot] = at + place.start..at + place.end;
        Ok(())
    }

    /// Counts a step.
    fn step(&mut self, at: usize) -> Result<(), Stop> {
        self.steps += 1;
        if self.steps > self.budget {
            return Err(Stop::new(
                at,
                format!("more than {} steps, the budget of a frame of this length", self.budget),
            ));
        }
        Ok(())
    }

    /// How many steps the last walk took.
    pub(super) fn steps(&self) -> u64 {
        self.steps
    }

    /// What stands in a slot.
    pub(super) fn value(&self, slot: usize) -> &Value {
        &self.values[slot]
    }

    /// Where it stands.
    pub(super) fn place(&self, slot: usize) -> Range<usize> {
        self.places[slot].clone()
    }

    /// The text in a slot, of whatever kind; `None` if it is absent.
    pub(super) fn text<'a>(&'a self, slot: usize, field: &'a Field, bytes: &'a [u8]) -> Option<Cow<'a, str>> {
        let place = || &bytes[self.places[slot].clone()];
        Some(match &self.values[slot] {
            Value::Absent => return None,
            Value::Number(numeral) => Cow::Borrowed(numeral.digits().as_str()),
            Value::Characters => text::decoded(place(), field.encoding()),
            Value::Escaped => Cow::Owned(json::unescaped(place())),
            Value::Item(item) => match &field.code {
                Code::Choice(choice) => Cow::Borrowed(&*choice.items[usize::from(*item)].key),
                _ => return None,
            },
        })
    }

    /// The record that was found.
    pub(super) fn record(&self, rule: &Rule, bytes: &[u8]) -> Record {
        let fields = rule.fields.iter().enumerate().filter_map(|(slot, field)| {
            let content = match self.values[slot] {
                Value::Number(numeral) => Content::Number(*numeral.digits()),
                _ => Content::Text(self.text(slot, field, bytes)?.into_owned()),
            };
            Some((field.name.to_string(), content))
        });
        Record { name: rule.name.to_string(), fields: fields.collect() }
    }
}

impl Field {
    fn encoding(&self) -> Encoding {
        match &self.code {
            Code::Text(text) => text.encoding,
            Code::Choice(choice) => choice.encoding,
            _ => Encoding::Ascii,
        }
    }
}

/// Why a walk stopped, and at which byte.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Stop {
    pub(super) at: usize,
    pub(super) reason: String,
}

impl Stop {
    fn new(at: usize, reason: impl Into<String>) -> Self {
        Stop { at, reason: reason.into() }
    }
}

/// So many of something, in words.
pub(super) fn counted(count: usize, one: &str) -> String {
    format!("{count} {one}{}", if count == 1 { "" } else { "s" })
}

/// Bytes as they are shown in a message, cut where nobody would read on.
fn quoted(bytes: &[u8]) -> String {
    const SHOWN_MAX: usize = 24;
    if bytes.is_empty() {
        return "nothing".to_owned();
    }
    let cut = &bytes[..bytes.len().min(SHOWN_MAX)];
    format!("\"{}\"{}", cut.escape_ascii(), if cut.len() < bytes.len() { ".." } else { "" })
}
