//! The format file as serde sees it. The doc comments here are the reference page and the JSON Schema.
//!
//! Shapes only; what fits together is checked in `grammar`.

mod check;
mod example;
mod field;
mod frame;
mod link;
mod record;
mod talk;

use schemars::JsonSchema;
use serde::Deserialize;

use super::written::At;

pub(crate) use check::{CheckFile, CheckKind, Finish, From, Of, Stands, To};
pub(crate) use example::ExampleFile;
pub use field::Means;
pub(crate) use field::{Align, BitFile, Chars, FieldFile, Is, Mark, Sign, SignAt};
pub(crate) use frame::{Counts, EscapeFile, FrameFile, FrameKind, LengthFile, Noise, SentAs};
pub(crate) use link::LinkFile;
pub use link::{Flow, Parity};
pub use record::RecordKind;
pub(crate) use record::{LayoutKind, Others, RecordFile};
pub(crate) use talk::{AcknowledgeFile, TalkFile};
pub use talk::{Does, Resent};

/// A record format of a digital level: how its records are framed, checked, taken apart and understood.
#[derive(Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
#[schemars(title = "closerun record format", rename = "Format")]
pub(crate) struct File {
    /// Version of this language. Always `1`.
    pub(crate) format: At<u32>,
    /// Short name by which the format is asked for: small letters, digits and `-`.
    pub(crate) name: At<String>,
    /// One line that says what the format is.
    pub(crate) title: At<String>,
    /// How characters are encoded: `ascii` unless given.
    #[serde(default)]
    pub(crate) text: Encoding,
    /// How the line is set.
    #[serde(default)]
    pub(crate) link: LinkFile,
    /// Where a frame begins and ends in the stream of bytes.
    pub(crate) frame: At<FrameFile>,
    /// Checks over each frame, in the order in which they stand in it.
    #[serde(default)]
    pub(crate) check: Vec<At<CheckFile>>,
    /// The kinds of record. The first whose fixed parts fit a frame is taken.
    pub(crate) record: Vec<At<RecordFile>>,
    /// What may be sent to the instrument. Nothing is sent that does not stand here.
    #[serde(default)]
    pub(crate) talk: TalkFile,
    /// Frames with what must come out of them.
    #[serde(default)]
    pub(crate) example: Vec<At<ExampleFile>>,
}

/// Character encoding.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub(crate) enum Encoding {
    /// Printable characters from space to `~`.
    #[default]
    Ascii,
    /// ISO 8859-1, one byte a character.
    #[serde(rename = "latin-1")]
    Latin1,
    /// UTF-8, one to four bytes a character.
    #[serde(rename = "utf-8")]
    Utf8,
}

/// Byte order.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub(crate) enum Order {
    /// The most significant byte first.
    #[default]
    Big,
    /// The least significant byte first.
    Little,
}

/// How a length or a check is written.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub(crate) enum Form {
    /// As bytes.
    #[default]
    Binary,
    /// As decimal digits, zeros in front.
    Decimal,
    /// As hexadecimal digits with capital letters.
    Hex,
    /// As hexadecimal digits with small letters.
    HexLower,
}
