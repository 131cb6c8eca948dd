//! What may be sent to the instrument, as the file says it.

use schemars::JsonSchema;
use serde::Deserialize;

use crate::protocol::format::written::{At, Octets};

/// What may be sent to the instrument.
#[derive(Debug, Default, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
#[schemars(rename = "Talk")]
pub(crate) struct TalkFile {
    /// Sent in order when the link was opened.
    #[serde(default)]
    pub(crate) greeting: Vec<At<Octets>>,
    /// What we send comes back: it is known again and set aside.
    #[serde(default)]
    pub(crate) echo: bool,
    /// Named commands.
    #[serde(default)]
    pub(crate) command: Vec<At<CommandFile>>,
    /// Sent again and again.
    #[serde(default)]
    pub(crate) poll: Vec<At<PollFile>>,
    /// Answers that the instrument waits for.
    pub(crate) acknowledge: Option<At<AcknowledgeFile>>,
}

/// A named command.
#[derive(Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
#[schemars(rename = "Command")]
pub(crate) struct CommandFile {
    /// Its name.
    pub(crate) name: At<String>,
    /// What it makes the instrument do.
    pub(crate) does: Does,
    /// The bytes, whole, line end included.
    pub(crate) send: At<Octets>,
}

/// What a command makes the instrument do.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Does {
    /// It takes a reading.
    Measure,
    /// It sends its state.
    Status,
    /// Something else.
    Other,
}

/// Bytes sent again and again.
#[derive(Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
#[schemars(rename = "Poll")]
pub(crate) struct PollFile {
    /// Seconds between two of them.
    pub(crate) every_s: At<u32>,
    /// The bytes, whole.
    pub(crate) send: At<Octets>,
}

/// Answers that the instrument waits for.
#[derive(Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
#[schemars(rename = "Acknowledge")]
pub(crate) struct AcknowledgeFile {
    /// The records that are answered; all unless given.
    pub(crate) records: Option<At<Vec<At<String>>>>,
    /// The answer to a good one. `{name}` stands for the field of that name, as it was sent.
    pub(crate) good: At<Octets>,
    /// The answer to a damaged one.
    pub(crate) bad: Option<At<Octets>>,
    /// How a record that is sent again is known.
    pub(crate) resent: Resent,
}

/// How a record that is sent again is known.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Resent {
    /// It never is.
    Never,
    /// It has the sequence number of the record before.
    Sequence,
    /// All its bytes are those of the record before.
    Bytes,
}
