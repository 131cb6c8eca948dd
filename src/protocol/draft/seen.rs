//! What the instrument's display showed.

use std::fmt;

use crate::units::{LengthError, Measured, Unit};

/// A reading as the instrument's display showed it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Seen {
    /// The staff reading.
    pub staff: Measured,
    /// The sight length, if it was shown.
    pub sight: Option<Measured>,
}

impl Seen {
    /// Reads `1.2834`, `1.2834/31.42`, `4.211ft/103.1ft`: staff reading and sight length, in metres unless the unit
    /// stands behind.
    ///
    /// # Errors
    /// A text that is no such thing.
    pub fn parse(text: &str) -> Result<Self, SeenError> {
        let (staff, sight) = match text.split_once('/') {
            Some((staff, sight)) => (staff, Some(sight)),
            None => (text, None),
        };
        Ok(Seen { staff: measured(staff)?, sight: sight.map(measured).transpose()? })
    }
}

fn measured(text: &str) -> Result<Measured, SeenError> {
    let text = text.trim();
    let digits = text.trim_end_matches(|c: char| c.is_ascii_alphabetic()).trim_end();
    let unit = match text[digits.len()..].trim() {
        "" => Ok(Unit::Metre),
        unit => unit.parse(),
    };
    let refuse = |why: LengthError| SeenError { found: text.to_owned(), why };
    Measured::parse(digits, unit.map_err(refuse)?).map_err(refuse)
}

/// A text that is no reading of a display.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct SeenError {
    /// What was found.
    pub found: String,
    /// What is wrong with it.
    pub why: LengthError,
}

impl fmt::Display for SeenError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let found = &self.found;
        write!(f, "{found:?} found where a reading such as 1.2834/31.42 was wanted: {}", self.why)
    }
}

impl std::error::Error for SeenError {}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_display_is_read_with_its_units() {
        let seen = Seen::parse("4.211ft / 103.1 ft").unwrap();
        assert_eq!((seen.staff.unit(), seen.sight.unwrap().digits().as_str()), (Unit::Foot, "103.1"));
        assert_eq!(Seen::parse("1.2834").unwrap().sight, None);
        for bad in ["", "x", "1.2 yd", "1.2/"] {
            assert!(Seen::parse(bad).is_err(), "{bad}");
        }
    }
}
