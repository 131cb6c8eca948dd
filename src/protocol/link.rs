//! How the line is set, as a format file says it. Settings of the user win over these.

pub use super::format::file::{Flow, Parity};

/// Link settings of a format; `None` where the file does not say.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct LinkDefaults {
    /// Speed in baud.
    pub baud: Option<u32>,
    /// Data bits, 5 to 8.
    pub data_bits: Option<u8>,
    /// Parity bit.
    pub parity: Option<Parity>,
    /// Stop bits, 1 or 2.
    pub stop_bits: Option<u8>,
    /// Flow control.
    pub flow: Option<Flow>,
    /// Silence in milliseconds that ends a record, or gives up an unfinished one.
    pub silence_ms: Option<u32>,
    /// Seconds of silence that are usual between records.
    pub quiet_s: Option<u32>,
    /// Bluetooth Low Energy service and characteristics.
    pub ble: Option<Ble>,
}

/// Bluetooth Low Energy service and characteristics, as UUIDs.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Ble {
    /// The service.
    pub service: String,
    /// What the instrument sends comes as notifications of this characteristic.
    pub notify: String,
    /// What is sent to the instrument is written to this one.
    pub write: Option<String>,
}
