//! What is wrong with a format file: said at its line and column, with the excerpt, what is allowed, and what was
//! probably meant.
//!
//! A damaged record is no such error: it is a `Refusal`, and somebody else mends it.

use std::fmt;
use std::ops::Range;

use super::limits::FAULTS_MAX;
use crate::excerpt::Excerpt;

/// All that is wrong with a format file; at least one.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct FormatErrors {
    errors: Vec<FormatError>,
}

/// One thing that is wrong with a format file.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct FormatError {
    /// Where in the file.
    pub at: Excerpt,
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
        let beyond = faults.len().saturating_sub(FAULTS_MAX);
        let mut errors: Vec<FormatError> = faults.into_iter().take(FAULTS_MAX).map(|fault| fault.place(text)).collect();
        if let (Some(last), true) = (errors.last_mut(), beyond > 0) {
            last.advice = Some(format!("{beyond} more were found"));
        }
        FormatErrors { errors }
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
        FormatError { at: Excerpt::of(text, &self.span), message: self.message, advice: self.advice }
    }
}

impl fmt::Display for FormatError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "line {}, column {}: {}\n{}", self.at.line, self.at.column, self.message, self.at)?;
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
    fn a_fault_is_said_at_its_place_with_advice_below() {
        let text = "a = 1\nü = \"metr\"\n";
        let at = text.find("\"metr\"").unwrap();
        let errors =
            FormatErrors::place(text, vec![Fault::new(&(at..at + 6), "unknown unit").advise("did you mean m?")]);
        assert_eq!(
            errors.to_string(),
            "line 2, column 5: unknown unit\n  2 | ü = \"metr\"\n    |     ^^^^^^\n  did you mean m?"
        );
    }
}
