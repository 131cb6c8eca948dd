//! The day's list of a job, as data and as text: what is due, open, provisional, checked.

use schemars::JsonSchema;
use serde::Serialize;

use super::document::{Distribution, closed_corrections};
use crate::book::Book;
use crate::book::moment::Moment;
use crate::field::today::{Group, Item, today};

/// The list.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct Today {
    /// Version of this form: 1.
    pub schema: u32,
    /// The job.
    pub job: String,
    /// When it was asked for, RFC 3339 in UTC.
    pub at: String,
    /// Something in it came from a simulated instrument.
    pub simulated: bool,
    /// Its lines, the most urgent first.
    pub items: Vec<Item>,
}

/// The list of a job.
pub fn list(book: &Book, job: &str, now: Moment) -> Today {
    let items =
        if book.is_open() { today(book, now, &closed_corrections(book, Distribution::USUAL)) } else { Vec::new() };
    Today { schema: 1, job: job.to_owned(), at: now.to_string(), simulated: book.simulated(), items }
}

/// JSON Schema of the list.
pub fn schema() -> serde_json::Value {
    schemars::schema_for!(Today).to_value()
}

/// The list as lines, each group under its head.
pub fn words(list: &Today) -> Vec<String> {
    let mut words = Vec::new();
    if list.simulated {
        words.push("SIMULATED: a simulated instrument was heard; nothing here was measured".to_owned());
    }
    for group in Group::ALL {
        let mut items = list.items.iter().filter(|item| item.group == group).peekable();
        if items.peek().is_some() {
            words.push(group.word().to_owned());
            words.extend(items.map(|item| format!("  {}", item.text)));
        }
    }
    if list.items.is_empty() {
        words.push("nothing is due, open or provisional".to_owned());
    }
    words
}
