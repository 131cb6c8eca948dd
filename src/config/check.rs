//! Gathers what is wrong while given settings are turned into checked ones, so that all of it is said at once.

use super::errors::{ConfigError, ConfigErrors, Located};
use super::file::SettingsFile;
use super::given::{Place, Said};
use crate::nearest::nearest;

/// The errors so far, and the file that they may stand in.
pub(super) struct Check<'a> {
    file: Option<&'a SettingsFile>,
    errors: Vec<ConfigError>,
}

impl<'a> Check<'a> {
    pub(super) fn new(file: Option<&'a SettingsFile>) -> Self {
        Check { file, errors: Vec::new() }
    }

    /// Notes an error.
    pub(super) fn refuse(&mut self, place: &Place, message: impl Into<String>) {
        let place = match (place, self.file) {
            (Place::Flag(flag), _) => Located::Flag(flag),
            (Place::File(span), Some(file)) => file.locate(span),
            (Place::File(_), None) => unreachable!("a place in a file comes from the file"),
        };
        self.errors.push(ConfigError { place, message: message.into() });
    }

    /// Reads a value; `None` if it is absent, or wrong and noted.
    pub(super) fn read<T, U>(
        &mut self,
        said: Option<&Said<T>>,
        read: impl FnOnce(&T) -> Result<U, String>,
    ) -> Option<U> {
        let said = said?;
        read(&said.value).map_err(|message| self.refuse(&said.place, message)).ok()
    }

    /// The result if nothing was wrong.
    pub(super) fn finish<T>(self, result: T) -> Result<T, ConfigErrors> {
        if self.errors.is_empty() { Ok(result) } else { Err(ConfigErrors(self.errors)) }
    }
}

/// One of a few words.
pub(super) fn one_of<T: Copy>(what: &str, found: &str, words: &[(&str, T)]) -> Result<T, String> {
    if let Some((_, value)) = words.iter().find(|(word, _)| *word == found) {
        return Ok(*value);
    }
    let words = words.iter().map(|(word, _)| *word);
    Err(match nearest(found, words.clone()) {
        Some(meant) => format!("unknown {what} {found:?}, {meant} was probably meant"),
        None => format!("unknown {what} {found:?}, one of {} was wanted", words.collect::<Vec<_>>().join(", ")),
    })
}

/// A number within bounds; neither `nan` nor infinite, which TOML can write.
pub(super) fn within(found: f64, least: f64, most: f64) -> Result<f64, String> {
    if (least..=most).contains(&found) {
        Ok(found)
    } else {
        Err(format!("{found} found, a number from {least} to {most} was wanted"))
    }
}
