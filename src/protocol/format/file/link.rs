//! How the line is set, as the file says it.

use schemars::JsonSchema;
use serde::Deserialize;

use crate::protocol::format::written::At;

/// How the line is set. Flags and settings of the user win over these.
#[derive(Debug, Default, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
#[schemars(rename = "Link")]
pub(crate) struct LinkFile {
    /// Speed in baud.
    pub(crate) baud: Option<At<u32>>,
    /// Data bits: 5 to 8.
    pub(crate) data_bits: Option<At<u8>>,
    /// Parity bit.
    pub(crate) parity: Option<Parity>,
    /// Stop bits: 1 or 2.
    pub(crate) stop_bits: Option<At<u8>>,
    /// Flow control.
    pub(crate) flow: Option<Flow>,
    /// Silence in milliseconds that ends a record; an unfinished one is given up after it.
    pub(crate) silence_ms: Option<At<u32>>,
    /// Seconds of silence that are usual between records.
    pub(crate) quiet_s: Option<At<u32>>,
    /// Bluetooth Low Energy service that carries the bytes.
    pub(crate) ble: Option<BleFile>,
}

/// Parity bit.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Parity {
    /// No parity bit.
    None,
    /// The number of ones is made even.
    Even,
    /// The number of ones is made odd.
    Odd,
}

/// Flow control.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Flow {
    /// No flow control.
    None,
    /// By the control characters XON and XOFF.
    Software,
    /// By the lines RTS and CTS.
    Hardware,
}

/// Bluetooth Low Energy service and characteristics, as UUIDs.
#[derive(Clone, Debug, PartialEq, Eq, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
#[schemars(rename = "Ble")]
pub(crate) struct BleFile {
    /// The service.
    pub(crate) service: At<String>,
    /// The characteristic whose notifications carry what the instrument sends.
    pub(crate) notify: At<String>,
    /// The characteristic that takes what is sent to the instrument.
    pub(crate) write: Option<At<String>>,
}
