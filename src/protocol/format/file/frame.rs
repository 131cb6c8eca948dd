//! Where a frame begins and ends, as the file says it.

use schemars::JsonSchema;
use serde::Deserialize;

use super::{Form, Order};
use crate::protocol::format::written::{At, Octets};

/// Where a frame begins and ends.
#[derive(Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
#[schemars(rename = "Frame")]
pub(crate) struct FrameFile {
    /// How frames are found.
    pub(crate) kind: At<FrameKind>,
    /// `delimited`, `fixed`, `prefixed`: the bytes that begin a frame.
    pub(crate) start: Option<At<Octets>>,
    /// `line`: the bytes that end it, or `"any"` for LF, CR and CR LF alike. `delimited`, `prefixed`: the bytes that
    /// end a frame.
    pub(crate) end: Option<At<Octets>>,
    /// The longest frame in bytes, 4096 unless given, at most 65536.
    pub(crate) max: Option<At<usize>>,
    /// `fixed`: the length of every frame in bytes, start included.
    pub(crate) size: Option<At<usize>>,
    /// `fixed`: the length by what stands behind `start`, where not all frames have the same.
    #[serde(default)]
    pub(crate) sizes: Vec<At<SizeFile>>,
    /// `prefixed`: where the length stands and what it counts.
    pub(crate) length: Option<At<LengthFile>>,
    /// `delimited`: how bytes that would look like start or end are hidden inside a frame.
    pub(crate) escape: Option<At<EscapeFile>>,
    /// `line`, `delimited`: how the bytes between start and end are sent. Checks and fields see what they stand for.
    pub(crate) sent_as: Option<At<SentAs>>,
    /// `block`: how the opening line begins.
    pub(crate) open: Option<At<Octets>>,
    /// `block`: the closing line, whole; checks stand behind it.
    pub(crate) close: Option<At<Octets>>,
    /// What is said of bytes between frames: `ignore` unless given.
    #[serde(default)]
    pub(crate) noise: Noise,
}

/// The length of the frames of one kind.
#[derive(Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
#[schemars(rename = "Size")]
pub(crate) struct SizeFile {
    /// What stands behind `start` in these frames.
    pub(crate) begins: At<Octets>,
    /// Their length in bytes, start included.
    pub(crate) size: At<usize>,
}

/// How frames are found.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub(crate) enum FrameKind {
    /// One frame a line; it ends with `end`.
    Line,
    /// From `start` to `end`.
    Delimited,
    /// Always `size` bytes, or as many as `sizes` says for its kind.
    Fixed,
    /// A length near its start says how long it is.
    Prefixed,
    /// It ends when the line falls silent for `link.silence_ms`.
    Silence,
    /// Several lines from an opening to a closing line; other lines are frames of their own.
    Block,
}

/// How the bytes between start and end are sent.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub(crate) enum SentAs {
    /// Each as itself, as it is unless given.
    Bytes,
    /// Each as two hexadecimal digits with capital letters.
    Hex,
    /// Each as two hexadecimal digits with small letters.
    HexLower,
}

/// What is said of bytes between frames.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub(crate) enum Noise {
    /// They are kept and set aside.
    #[default]
    Ignore,
    /// They are kept and raised as a finding.
    Refuse,
}

/// Where the length of a frame stands and what it counts.
#[derive(Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
#[schemars(rename = "Length")]
pub(crate) struct LengthFile {
    /// Its place, counted from 0 at the first byte of the frame. Where bytes stand between `start` and the length, the
    /// records describe them, with a field `is = "length"` in its place.
    pub(crate) at: At<usize>,
    /// How many bytes it takes: 1 to 4 in binary, 1 to 5 as text.
    pub(crate) bytes: At<usize>,
    /// Byte order of a binary length.
    #[serde(default)]
    pub(crate) order: Order,
    /// How it is written: `binary` unless given.
    #[serde(default)]
    pub(crate) form: Form,
    /// What it counts.
    pub(crate) counts: Counts,
    /// What is added to that count before it is sent: 0 unless given.
    #[serde(default)]
    pub(crate) plus: i32,
}

/// What a length counts.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub(crate) enum Counts {
    /// The whole frame.
    Frame,
    /// Everything behind the length.
    Rest,
    /// Behind the length, without checks and end.
    Body,
}

/// How bytes that would look like start or end are hidden inside a frame.
#[derive(Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
#[schemars(rename = "Escape")]
pub(crate) struct EscapeFile {
    /// The byte that says: the next one is hidden.
    pub(crate) byte: u8,
    /// A hidden byte is sent as itself exclusive-or this. `0` sends it as it is (doubling).
    pub(crate) flip: Option<At<u8>>,
    /// Which byte is sent in place of which: `[[0xC0, 0xDC], [0xDB, 0xDD]]` sends 0xC0 as escape, 0xDC.
    pub(crate) replaces: Option<At<Vec<[u8; 2]>>>,
}
