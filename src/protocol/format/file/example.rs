//! `[[example]]`: what a format is held against.

use schemars::JsonSchema;
use serde::Deserialize;

use crate::protocol::format::written::{At, Figure, Pairs};

/// A frame and what must come out of it.
#[derive(Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
#[schemars(rename = "Example")]
pub(crate) struct ExampleFile {
    /// What it shows.
    pub(crate) about: Option<String>,
    /// The frame as text, line end included.
    pub(crate) text: Option<At<String>>,
    /// The frame in hexadecimal; spaces do not count.
    pub(crate) hex: Option<At<String>>,
    /// The name of the record that it must be taken for.
    pub(crate) record: Option<At<String>>,
    /// What its fields must hold, by name: numbers as written out, lengths with their unit (`"1.28340 m"`).
    #[serde(default)]
    pub(crate) gives: Pairs<Figure>,
    /// It must be refused, and the reason must contain this.
    pub(crate) refused: Option<At<String>>,
    /// It must be set aside as noise.
    #[serde(default)]
    pub(crate) noise: bool,
}
