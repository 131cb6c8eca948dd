//! What is wrong with a format file: said at its line and column, with the excerpt, what is allowed, and what was
//! probably meant.
//!
//! A damaged record is no such error: it is a `Refusal`, and somebody else mends it.

use std::fmt;
use std::ops::Range;

/// All that is wrong with a format file; at least one.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct FormatErrors {
    errors: Vec<FormatError>,
}

/// One thing that is wrong with a format file.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct FormatError {
    /// Where in the file, in bytes.
    pub span: Range<usize>,
    /// Line, counted from 1.
    pub line: usize,
    /// Column in characters, counted from 1.
    pub column: usize,
    /// The line as it stands in the file.
    pub excerpt: String,
    /// What was being read, what was found, what was wanted.
    pub message: String,
    /// What to do, or what was probably meant.
    pub advice: Option<String>,
}

impl FormatErrors {
    /// Places each fault in `text`.
    ///
    /// # Panics
    /// If there is no fault.
    pub(super) fn place(text: &str, faults: Vec<Fault>) -> Self {
        assert!(!faults.is_empty(), "an error without a fault");
        FormatErrors { errors: faults.into_iter().map(|fault| fault.place(text)).collect() }
    }

    /// The errors, in the order in which they were found.
    pub fn iter(&self) -> impl Iterator<Item = &FormatError> {
        self.errors.iter()
    }
}

/// A fault before it is placed in the text.
#[derive(Clone, Debug)]
pub(super) struct Fault {
    pub(super) span: Range<usize>,
    pub(super) message: String,
    pub(super) advice: Option<String>,
}

impl Fault {
    pub(super) fn new(span: &Range<usize>, message: impl Into<String>) -> Self {
        Fault { span: span.clone(), message: message.into(), advice: None }
    }

    pub(super) fn advise(mut self, advice: impl Into<String>) -> Self {
        self.advice = Some(advice.into());
        self
    }

    fn place(self, text: &str) -> FormatError {
        let start = floor_boundary(text, self.span.start.min(text.len()));
        let end = self.span.end.clamp(start, text.len());
        let line_start = text[..start].rfind('\n').map_or(0, |at| at + 1);
        let line_end = text[start..].find('\n').map_or(text.len(), |at| start + at);
        FormatError {
            span: start..end,
            line: text[..start].bytes().filter(|&b| b == b'\n').count() + 1,
            column: text[line_start..start].chars().count() + 1,
            excerpt: text[line_start..line_end].trim_end_matches('\r').to_owned(),
            message: self.message,
            advice: self.advice,
        }
    }
}

fn floor_boundary(text: &str, mut at: usize) -> usize {
    while !text.is_char_boundary(at) {
        at -= 1;
    }
    at
}

/// The longest excerpt that is shown, in characters; a longer line is cut around its fault.
const EXCERPT_MAX: usize = 100;

impl fmt::Display for FormatError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        writeln!(f, "line {}, column {}: {}", self.line, self.column, self.message)?;
        let skipped = (self.column - 1).saturating_sub(EXCERPT_MAX / 2);
        let shown: String = self
            .excerpt
            .chars()
            .skip(skipped)
            .take(EXCERPT_MAX)
            .map(|c| if c.is_control() { ' ' } else { c })
            .collect();
        let number = self.line.to_string();
        let before = self.column - 1 - skipped;
        let spanned = self.excerpt.chars().skip(self.column - 1).count().min(self.span.len());
        let marked = spanned.clamp(1, shown.chars().count().saturating_sub(before).max(1));
        writeln!(f, "  {number} | {shown}")?;
        write!(f, "  {:>width$} | {}{}", "", " ".repeat(before), "^".repeat(marked), width = number.len())?;
        match &self.advice {
            Some(advice) => write!(f, "\n  {advice}"),
            None => Ok(()),
        }
    }
}

impl std::error::Error for FormatError {}

impl fmt::Display for FormatErrors {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for (at, error) in self.errors.iter().enumerate() {
            if at > 0 {
                writeln!(f)?;
            }
            error.fmt(f)?;
        }
        Ok(())
    }
}

impl std::error::Error for FormatErrors {}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_caret_stands_under_the_fault() {
        let text = "a = 1\nü = \"metr\"\n";
        let at = text.find("\"metr\"").unwrap();
        let errors =
            FormatErrors::place(text, vec![Fault::new(&(at..at + 6), "unknown unit").advise("did you mean m?")]);
        assert_eq!(
            errors.to_string(),
            "line 2, column 5: unknown unit\n  2 | ü = \"metr\"\n    |     ^^^^^^\n  did you mean m?"
        );
    }

    #[test]
    fn a_fault_at_the_end_or_in_a_huge_line_is_still_shown() {
        let text = format!("{}x{}", "é".repeat(5000), "y".repeat(5000));
        for span in [0..0, 5001..5002, 10_000..10_001, text.len()..text.len() + 4] {
            let shown = FormatErrors::place(&text, vec![Fault::new(&span, "odd")]).to_string();
            assert!(shown.chars().count() < 400, "{shown}");
        }
    }
}
