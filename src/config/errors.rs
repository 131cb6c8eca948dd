//! What is wrong with the settings: said at its place, with what was found and what would do.

use std::fmt;

use crate::excerpt::Excerpt;

/// All that is wrong with the settings; at least one thing.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ConfigErrors(pub(super) Vec<ConfigError>);

impl ConfigErrors {
    /// The errors, in the order in which they were found.
    pub fn iter(&self) -> impl Iterator<Item = &ConfigError> {
        self.0.iter()
    }
}

/// One thing that is wrong with the settings.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ConfigError {
    /// Where it was said.
    pub place: Located,
    /// What was found, what was wanted.
    pub message: String,
}

/// Where something wrong was said.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Located {
    /// In a settings file.
    File {
        /// The file as it was named.
        name: String,
        /// The line.
        excerpt: Excerpt,
    },
    /// In a settings file as a whole.
    WholeFile {
        /// The file as it was named.
        name: String,
    },
    /// By a flag of the command line.
    Flag(&'static str),
}

impl fmt::Display for ConfigError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match &self.place {
            Located::File { name, excerpt } => {
                let Excerpt { line, column, .. } = excerpt;
                write!(f, "{name}, line {line}, column {column}: {}\n{excerpt}", self.message)
            }
            Located::WholeFile { name } => write!(f, "{name}: {}", self.message),
            Located::Flag(flag) => write!(f, "{flag}: {}", self.message),
        }
    }
}

impl std::error::Error for ConfigError {}

impl fmt::Display for ConfigErrors {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for (at, error) in self.0.iter().enumerate() {
            if at > 0 {
                writeln!(f)?;
            }
            error.fmt(f)?;
        }
        Ok(())
    }
}

impl std::error::Error for ConfigErrors {}
