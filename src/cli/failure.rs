//! How a command fails: a sentence for the person, and an exit code.

use std::fmt;

/// Why a command failed.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Failure {
    code: u8,
    sentence: String,
}

impl Failure {
    /// What was asked is not understood, or cannot be opened: exit code 2.
    pub fn input(sentence: impl fmt::Display) -> Self {
        Failure { code: 2, sentence: sentence.to_string() }
    }

    /// It was tried and failed, or what was asked about is not so: exit code 1.
    pub fn outcome(sentence: impl fmt::Display) -> Self {
        Failure { code: 1, sentence: sentence.to_string() }
    }

    /// The command line itself is wrong.
    pub(super) fn usage(error: &clap::Error) -> Self {
        let text = error.render().to_string();
        let text = text.trim_end();
        Failure::input(text.strip_prefix("error: ").unwrap_or(text))
    }

    /// The same, of one instrument among several.
    pub(super) fn of(self, instrument: &str) -> Self {
        Failure { sentence: format!("{instrument}: {}", self.sentence), ..self }
    }

    /// The exit code.
    pub fn code(&self) -> u8 {
        self.code
    }
}

impl fmt::Display for Failure {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.sentence)
    }
}

impl std::error::Error for Failure {}
