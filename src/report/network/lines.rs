//! How networks and plans are set in lines of text: words with their sentences, names in columns.

use crate::report::text::wrap::{columns, visible, wrap};

/// Columns of a line.
const WIDTH: usize = 80;
/// Columns before a sentence.
const LEAD: usize = 12;

/// A sentence behind its word.
pub(in crate::report) fn led(lead: &str, text: &str) -> Vec<String> {
    wrap(&format!("{lead:<LEAD$}"), text, WIDTH)
}

/// A name in so many columns.
pub(in crate::report) fn cut(name: &str, width: usize) -> String {
    let name = visible(name);
    if columns(&name) <= width {
        return name;
    }
    let held: String = name.chars().take(width.saturating_sub(1)).collect();
    format!("{held}~")
}

/// A number of things, with their name in the singular or not.
pub(in crate::report) fn count(number: usize, one: &str, more: &str) -> String {
    format!("{number} {}", if number == 1 { one } else { more })
}
