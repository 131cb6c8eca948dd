//! Kinds of record and how their fields lie, as the file says it.

use schemars::JsonSchema;
use serde::Deserialize;

use super::FieldFile;
use crate::protocol::format::written::{At, Octets};

/// A kind of record.
#[derive(Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
#[schemars(rename = "Record")]
pub(crate) struct RecordFile {
    /// Its name: small letters, digits and `-`.
    pub(crate) name: At<String>,
    /// What such a record is.
    pub(crate) kind: RecordKind,
    /// Literal bytes that it begins with; they also tell it from the others.
    pub(crate) begins: Option<At<Octets>>,
    /// Literal bytes that it ends with.
    pub(crate) ends: Option<At<Octets>>,
    /// How its fields lie.
    pub(crate) layout: Option<At<LayoutKind>>,
    /// `separated`: what stands between the fields. `keyed`: what stands between the pairs.
    pub(crate) separator: Option<At<Octets>>,
    /// `separated`: several separators in a row count as one.
    #[serde(default)]
    pub(crate) separator_repeats: bool,
    /// `separated`, `columns`: the record may end early, before a run of optional fields; in columns the spaces at the
    /// end of the line may be missing too.
    #[serde(default)]
    pub(crate) short: bool,
    /// `keyed`: what stands between key and value.
    pub(crate) joins: Option<At<Octets>>,
    /// `keyed`, `json`: what is done with keys that the file does not name: `refuse` unless given.
    #[serde(default)]
    pub(crate) others: Others,
    /// `lines`: what ends each line but the last.
    pub(crate) line_end: Option<At<Octets>>,
    /// `lines`: the lines in order.
    #[serde(default)]
    pub(crate) lines: Vec<At<LineFile>>,
    /// Its fields.
    #[serde(default)]
    pub(crate) fields: Vec<At<FieldFile>>,
}

/// What a record is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum RecordKind {
    /// A staff reading.
    Reading,
    /// The state of the instrument.
    Status,
    /// The instrument could not measure.
    Fault,
    /// Our own command coming back.
    Echo,
    /// Anything else that is known and of no use.
    Ignored,
}

/// How the fields of a record lie.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub(crate) enum LayoutKind {
    /// One behind another with `separator` between them.
    Separated,
    /// In fixed columns; each field says which.
    Columns,
    /// As pairs of key and value, in any order.
    Keyed,
    /// One JSON object; each field has its pointer.
    Json,
    /// Bytes in order; each field says how many.
    Binary,
    /// Literals and fields one behind another.
    Parts,
    /// Several lines, each with its own layout.
    Lines,
}

/// What is done with keys that the file does not name.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub(crate) enum Others {
    /// The record is refused.
    #[default]
    Refuse,
    /// They are passed over.
    Ignore,
}

/// One line of a record of several.
#[derive(Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
#[schemars(rename = "Line")]
pub(crate) struct LineFile {
    /// Literal bytes that it begins with.
    pub(crate) begins: Option<At<Octets>>,
    /// How its fields lie: `separated`, `columns` or `parts`.
    pub(crate) layout: Option<At<LayoutKind>>,
    /// `separated`: what stands between the fields.
    pub(crate) separator: Option<At<Octets>>,
    /// `separated`: several separators in a row count as one.
    #[serde(default)]
    pub(crate) separator_repeats: bool,
    /// Its fields.
    #[serde(default)]
    pub(crate) fields: Vec<At<FieldFile>>,
}
