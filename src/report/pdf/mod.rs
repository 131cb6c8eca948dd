//! The report on paper: PDF/A for a project file, with its fonts in it, the same bytes each time.
//!
//! ```text
//! Report ──▶ front, run, rises, adjustment, matters ──▶ table, sheets ──▶ paint ──▶ bytes
//!            what stands where                   laid out          krilla
//! ```
//!
//! The first page answers what was carried where, how well it closed, may it be used; the rest proves it. Nothing is
//! computed here: numbers are those of the document, with a true minus.

mod adjustment;
mod cards;
mod faces;
mod front;
mod ink;
mod matters;
mod paint;
mod rises;
mod run;
mod sheets;
mod table;

use std::fmt;

use super::document::full::Report;
use faces::Faces;
use sheets::Sheets;

pub use cards::{Label, NotALabel, Stock, print_cards};
pub use ink::Paper;

/// A report on paper.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Printed {
    /// The PDF.
    pub bytes: Vec<u8>,
    /// Its pages.
    pub pages: usize,
}

/// Why there is no PDF.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct NotPrinted(String);

impl fmt::Display for NotPrinted {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "the PDF: {}", self.0)
    }
}

impl std::error::Error for NotPrinted {}

/// The report on paper of this size; `progress` is told of each page when it is begun.
///
/// # Errors
/// When the library finds the document against the rules of PDF/A.
pub fn print(report: &Report, paper: Paper, progress: &mut dyn FnMut(usize)) -> Result<Printed, NotPrinted> {
    let faces = Faces::new();
    let mut sheets = Sheets::new(&faces, paper, progress);
    front::front(&mut sheets, report);
    for part in &report.book.runs {
        run::run(&mut sheets, report, part);
    }
    rises::rises(&mut sheets, report);
    adjustment::adjustment(&mut sheets, report);
    matters::matters(&mut sheets, report);
    let pages = sheets.pages.len();
    let bytes = paint::paint(sheets, report).map_err(NotPrinted)?;
    Ok(Printed { bytes, pages })
}

/// A text as paper has it: a hyphen before a digit is a minus, and what nobody would see is replaced.
fn on_paper(text: &str) -> String {
    let mut out = String::with_capacity(text.len() + 8);
    let mut before = ' ';
    let mut rest = text.chars().peekable();
    while let Some(c) = rest.next() {
        let starts_number = matches!(before, ' ' | '(' | '[') && rest.peek().is_some_and(char::is_ascii_digit);
        out.push(match c {
            '-' if starts_number => '\u{2212}',
            c if c.is_whitespace() => ' ',
            c if crate::book::reading::hidden(c) => '\u{fffd}',
            c => c,
        });
        before = c;
    }
    out
}

/// A name as paper has it: as it is, but that what nobody would see is replaced.
fn name_on_paper(name: &str) -> String {
    let seen = |c: char| {
        if c.is_whitespace() {
            ' '
        } else if crate::book::reading::hidden(c) {
            '\u{fffd}'
        } else {
            c
        }
    };
    name.chars().map(seen).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_minus_is_one_and_a_hyphen_stays() {
        assert_eq!(on_paper("-0.8 mm of 3.1 mm, BM-1 (-2)"), "\u{2212}0.8 mm of 3.1 mm, BM-1 (\u{2212}2)");
        assert_eq!(on_paper("a\u{7}b\u{202e}c"), "a\u{fffd}b\u{fffd}c");
        assert_eq!(name_on_paper("-5"), "-5");
    }
}
