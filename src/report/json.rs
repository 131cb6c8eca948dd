//! The field book as JSON, versioned by its `schema`, and the JSON Schema that says what stands in it.
//!
//! Lengths are text, not JSON numbers, so that no digit is lost on the way: `m` is the exact length in metres, `shown`
//! what every other report prints. Digits that came from an instrument stand as sent, with their unit.

use super::document::FieldBook;

/// The field book as JSON, for people to read too.
///
/// # Panics
/// Never: every part of the book can be written.
pub fn print(book: &FieldBook) -> String {
    let mut text = serde_json::to_string_pretty(book).expect("texts, numbers and lists can be written");
    text.push('\n');
    text
}

/// JSON Schema of the field book, from the same types: every key is always there, `null` where it has nothing to say.
pub fn schema() -> serde_json::Value {
    let settings = schemars::generate::SchemaSettings::draft2020_12().for_serialize();
    settings.into_generator().into_root_schema_for::<FieldBook>().to_value()
}
