//! Checks over a frame, as the file says them.

use schemars::JsonSchema;
use serde::Deserialize;

use super::{Form, Order};
use crate::protocol::format::written::{At, Octets};

/// A check over a frame.
#[derive(Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
#[schemars(rename = "Check")]
pub(crate) struct CheckFile {
    /// How it is computed.
    pub(crate) kind: At<CheckKind>,
    /// `crc`: its catalogue name, such as `CRC-16/ARC`.
    pub(crate) name: Option<At<String>>,
    /// `sum`: how many bytes wide it is, 1 to 4; 1 unless given.
    pub(crate) bytes: Option<At<usize>>,
    /// `xor`, `sum`: what it begins with; 0 unless given.
    pub(crate) first: Option<At<u32>>,
    /// `sum`: what is done to it at the end.
    #[serde(default)]
    pub(crate) finish: Finish,
    /// `modulo`: the number that it is the remainder of, 2 to 65535.
    pub(crate) modulus: Option<At<u16>>,
    /// `modulo`: the factors by which the characters are multiplied in turn; `[1]` unless given.
    pub(crate) weights: Option<At<Vec<u8>>>,
    /// `modulo`: what is added up, the character codes unless given.
    #[serde(default)]
    pub(crate) of: Of,
    /// How it is written: `binary` unless given; `mod97` and `modulo` are decimal unless given.
    pub(crate) form: Option<At<Form>>,
    /// How many characters it takes as text; as many as its largest value needs unless given.
    pub(crate) digits: Option<At<usize>>,
    /// Byte order of a binary check.
    #[serde(default)]
    pub(crate) order: Order,
    /// Literal bytes that stand before it, such as `"*"`.
    pub(crate) after: Option<At<Octets>>,
    /// Where the part it covers begins: the first byte of the frame is 0. `"body"`, unless given, is the first byte
    /// behind `start`, or behind the length of a `prefixed` frame where that follows `start` at once.
    #[serde(default)]
    pub(crate) from: From,
    /// Where the part it covers ends. What is covered is what the frame stands for, before `escape` or `sent_as`.
    #[serde(default)]
    pub(crate) to: To,
    /// Where it stands.
    #[serde(default)]
    pub(crate) stands: Stands,
}

/// How a check is computed.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub(crate) enum CheckKind {
    /// A cyclic redundancy check by its catalogue name.
    Crc,
    /// Exclusive-or of all bytes. It misses two changes of the same bit.
    Xor,
    /// Sum of all bytes, kept to `bytes`.
    Sum,
    /// The two's complement of the sum of all bytes, kept to 8 bits.
    Lrc,
    /// Remainder of the weighted sum of characters.
    Modulo,
    /// Two digits by ISO/IEC 7064, MOD 97-10, over the decimal digits of the part; other characters are passed over.
    Mod97,
}

/// What is done to a sum at the end.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub(crate) enum Finish {
    /// Nothing.
    #[default]
    AsIs,
    /// Every bit is turned.
    OnesComplement,
    /// It is made negative.
    TwosComplement,
}

/// What a `modulo` check adds up.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub(crate) enum Of {
    /// The character codes.
    #[default]
    Codes,
    /// The values of the decimal digits; other characters are passed over.
    Digits,
}

/// Where the part that a check covers begins.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(crate) enum From {
    /// Behind the start bytes.
    #[default]
    Body,
    /// So many bytes from the first byte of the frame.
    Byte(usize),
}

/// Where the part that a check covers ends.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub(crate) enum To {
    /// Before the literal `after` that stands before the check.
    #[default]
    Mark,
    /// Before the check itself: `after` is covered too. For a check behind the end, the end is covered too.
    Check,
}

/// Where a check stands.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub(crate) enum Stands {
    /// Behind the fields, before the end of the frame.
    #[default]
    BeforeEnd,
    /// Behind the end bytes.
    BehindEnd,
    /// Before the end of each line of a `block`, over that line alone; `from` counts from its first byte.
    EachLine,
}
