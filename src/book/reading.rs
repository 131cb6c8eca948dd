//! What an instrument said: a staff reading with what came along, or another kind of record.

use std::fmt;
use std::sync::Arc;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::units::{Measured, push_whole};

/// One staff reading, with everything that the record carried beside it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Reading {
    /// The staff reading; negative on an inverted staff.
    pub staff: Measured,
    /// Sight length: instrument to staff.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub sight: Option<Measured>,
    /// Standard deviation that the instrument states for its reading.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub spread: Option<Measured>,
    /// How many single measurements it took.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub count: Option<u32>,
    /// The role that the record itself names.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub role: Option<Role>,
    /// The point that the record itself names.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub point: Option<PointName>,
    /// The instrument's own number for the record.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub sequence: Option<u64>,
    /// The instrument's own time, as sent: it orders nothing.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub time: Option<String>,
    /// Air temperature at the instrument in degrees Celsius.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub temperature_c: Option<f64>,
    /// No checksum stood over this record: a changed digit cannot be noticed.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub unprotected: bool,
}

impl Reading {
    /// A bare staff reading.
    pub fn of(staff: Measured) -> Self {
        Reading {
            staff,
            sight: None,
            spread: None,
            count: None,
            role: None,
            point: None,
            sequence: None,
            time: None,
            temperature_c: None,
            unprotected: false,
        }
    }
}

/// What a reading is for.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum Role {
    /// On the point whose elevation is carried in.
    Back,
    /// On the point that the elevation is carried to.
    Fore,
    /// On a side point: single, unchecked.
    Intermediate,
}

impl Role {
    /// The other staff of the line; an intermediate sight has none.
    pub fn exchanged(self) -> Self {
        match self {
            Role::Back => Role::Fore,
            Role::Fore => Role::Back,
            Role::Intermediate => Role::Intermediate,
        }
    }

    /// One word for a column.
    pub fn word(self) -> &'static str {
        match self {
            Role::Back => "back",
            Role::Fore => "fore",
            Role::Intermediate => "inter",
        }
    }
}

/// The name of a point: one to 64 characters, none of them a control character, none invisible at the ends.
#[derive(Clone, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(try_from = "String", into = "String")]
pub struct PointName(Arc<str>);

/// The longest point name, in characters.
pub const POINT_NAME_MAX: usize = 64;

impl PointName {
    /// From what a person typed.
    ///
    /// # Errors
    /// An empty or overlong name, or one holding control characters.
    pub fn new(text: &str) -> Result<Self, PointNameError> {
        let length = text.chars().count();
        if text.trim().is_empty() {
            Err(PointNameError::Empty)
        } else if length > POINT_NAME_MAX {
            Err(PointNameError::TooLong { found: length })
        } else if let Some(found) = text.chars().find(|c| hidden(*c)) {
            Err(PointNameError::Hidden { found })
        } else {
            Ok(PointName(text.trim().into()))
        }
    }

    /// From what an instrument sent: never refused, control characters are replaced and a long name is cut, because
    /// the bytes themselves are kept. `None` if nothing is left.
    pub fn from_wire(text: &str) -> Option<Self> {
        let held: String =
            text.trim().chars().take(POINT_NAME_MAX).map(|c| if hidden(c) { '\u{fffd}' } else { c }).collect();
        // The cut may leave a space at the end, which a name that is read back would not have.
        (!held.is_empty()).then(|| PointName(held.trim_end().into()))
    }

    /// A name of ours: a visible prefix and a number.
    pub(super) fn numbered(prefix: &str, number: usize) -> Self {
        let mut name = String::with_capacity(POINT_NAME_MAX);
        name.push_str(prefix);
        push_whole(&mut name, number as u64);
        PointName(name.into())
    }

    /// The name as text.
    pub fn as_str(&self) -> &str {
        &self.0
    }
}

/// Characters that would not be seen, or would turn the text around them: C0 and C1 controls, and the Unicode
/// direction, joining and line separators.
pub(crate) fn hidden(c: char) -> bool {
    c.is_control()
        || matches!(c, '\u{200b}'..='\u{200f}' | '\u{2028}'..='\u{202e}' | '\u{2066}'..='\u{2069}' | '\u{feff}')
}

impl fmt::Display for PointName {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(&self.0)
    }
}

impl fmt::Debug for PointName {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{:?}", &*self.0)
    }
}

impl TryFrom<String> for PointName {
    type Error = PointNameError;
    fn try_from(text: String) -> Result<Self, PointNameError> {
        PointName::new(&text)
    }
}

impl From<PointName> for String {
    fn from(name: PointName) -> String {
        name.0.to_string()
    }
}

/// Why a text cannot name a point.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum PointNameError {
    /// Nothing visible in it.
    Empty,
    /// More than [`POINT_NAME_MAX`] characters.
    TooLong {
        /// How many were found.
        found: usize,
    },
    /// A character that nobody could see.
    Hidden {
        /// The first such character.
        found: char,
    },
}

impl fmt::Display for PointNameError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            PointNameError::Empty => write!(f, "an empty point name found, a name such as BM-1 was wanted"),
            PointNameError::TooLong { found } => {
                write!(f, "a point name of {found} characters found, at most {POINT_NAME_MAX} were wanted")
            }
            PointNameError::Hidden { found } => {
                write!(f, "the invisible character {found:?} found in a point name, visible ones were wanted")
            }
        }
    }
}

impl std::error::Error for PointNameError {}

/// What a record from the instrument turned out to be.
///
/// Every byte that arrives is in exactly one of these, kept with it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(tag = "what", rename_all = "kebab-case")]
pub enum Heard {
    /// A staff reading.
    Reading(Reading),
    /// The state of the instrument.
    Status(Status),
    /// The instrument could not measure, or says that something is wrong with it.
    Fault {
        /// Its own code.
        code: String,
        /// What the format file says of that code.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        meaning: Option<String>,
    },
    /// Our own command coming back.
    Echo,
    /// A rule of the format, or the noise between frames, set this aside.
    Ignored {
        /// Which rule.
        rule: String,
    },
    /// A good record that a rule keeps out of the book until a person says otherwise.
    SetAside {
        /// What it read.
        reading: Reading,
        /// Which rule, as a sentence.
        why: String,
    },
    /// Not understood, or its checksum did not agree.
    Refused(Refusal),
    /// The start of a record that never ended: the link went, or the record grew beyond its bound.
    Unfinished,
    /// The end of a record whose start was before we listened.
    Fragment,
    /// A record that had been sent before: used once, kept twice.
    Repeated {
        /// The number of the event that it repeats.
        of: u64,
    },
}

/// The state of the instrument, as far as a record tells it.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Status {
    /// Battery charge in per cent.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub battery_percent: Option<f64>,
    /// Temperature in degrees Celsius.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub temperature_c: Option<f64>,
    /// Tilt of the instrument out of its compensator's middle, in minutes of arc.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub tilt_arcmin: Option<f64>,
    /// Anything else that the format file names, as sent.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub other: Vec<(String, String)>,
}

/// Why a record was refused.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Refusal {
    /// One sentence: what was being read, what was found, what was wanted.
    pub reason: String,
    /// Byte within the record, counted from 0.
    pub at_byte: usize,
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::Unit;

    #[test]
    fn a_hostile_point_name_becomes_text_or_is_refused() {
        assert_eq!(PointName::from_wire("a\u{0}b\u{202e}c").unwrap().as_str(), "a\u{fffd}b\u{fffd}c");
        assert_eq!(PointName::from_wire(&"x".repeat(10_000)).unwrap().as_str().len(), POINT_NAME_MAX);
        assert_eq!(PointName::from_wire("  "), None);
        assert_eq!(PointName::new("a\nb"), Err(PointNameError::Hidden { found: '\n' }));
        assert_eq!(PointName::new("<b>=1+1</b>").unwrap().as_str(), "<b>=1+1</b>");
    }

    #[test]
    fn a_reading_is_stored_with_its_digits() {
        let mut reading = Reading::of(Measured::parse("1.2830", Unit::Metre).unwrap());
        reading.point = PointName::from_wire("TP1");
        let json = serde_json::to_string(&Heard::Reading(reading.clone())).unwrap();
        assert_eq!(json, r#"{"what":"reading","staff":{"digits":"1.2830","unit":"m"},"point":"TP1"}"#);
        assert_eq!(serde_json::from_str::<Heard>(&json).unwrap(), Heard::Reading(reading));
    }
}
