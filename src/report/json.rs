//! The field book and the whole report as JSON, versioned by their `schema`, and the JSON Schemas that say what stands
//! in them.
//!
//! Lengths are text, not JSON numbers, so that no digit is lost on the way: `m` is the exact length in metres, `shown`
//! what every other report prints. Digits that came from an instrument stand as sent, with their unit.

use super::document::FieldBook;
use super::document::full::Report;

/// The field book as JSON, for people to read too.
///
/// # Panics
/// Never: every part of the book can be written.
pub fn print(book: &FieldBook) -> String {
    pretty(book)
}

/// The report as JSON, for people to read too. Drawings stand in it by what they show, in words.
///
/// # Panics
/// Never: every part of it can be written.
pub fn print_report(report: &Report) -> String {
    pretty(report)
}

fn pretty(document: &impl serde::Serialize) -> String {
    let mut text = serde_json::to_string_pretty(document).expect("texts, numbers and lists can be written");
    text.push('\n');
    text
}

/// JSON Schema of the field book, from the same types: every key is always there, `null` where it has nothing to say.
pub fn schema() -> serde_json::Value {
    schema_of::<FieldBook>()
}

/// JSON Schema of the report, likewise.
pub fn report_schema() -> serde_json::Value {
    schema_of::<Report>()
}

fn schema_of<T: schemars::JsonSchema>() -> serde_json::Value {
    let settings = schemars::generate::SchemaSettings::draft2020_12().for_serialize();
    settings.into_generator().into_root_schema_for::<T>().to_value()
}
