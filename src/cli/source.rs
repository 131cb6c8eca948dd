//! From what was said of a link, by flags, a settings file and a format, to the link that is opened.

use std::sync::Arc;

use super::Failure;
use super::formats;
use crate::config::{Config, Given, Serial, Source};
use crate::link::{LinkSpec, SerialSettings};
use crate::protocol::Format;

/// The live link that a command of the kit names; a serial port is set as `format` has it, or the format that they name,
/// where they do not say otherwise.
pub(super) fn link(given: Given, format: Option<&Arc<Format>>) -> Result<LinkSpec, Failure> {
    let config = Config::of(given).map_err(Failure::input)?;
    let named = config.format.as_ref().map(formats::choose).transpose()?;
    let source =
        config.source.ok_or_else(|| Failure::input("a port was wanted: name it, or a converter with --tcp"))?;
    spec(&source, config.serial, format.or(named.as_ref()))
}

/// The link to a source: set as the format has it where nobody says otherwise, and heard by its Bluetooth service.
pub(super) fn spec(source: &Source, serial: Serial, format: Option<&Arc<Format>>) -> Result<LinkSpec, Failure> {
    let settings = format.map_or(SerialSettings::at(formats::BAUD), |format| formats::serial_of(format));
    let uart = format.and_then(|format| formats::uart_of(format));
    source.link(serial.over(settings), uart).ok_or_else(|| {
        Failure::input(match format {
            Some(format) => format!(
                "the format {} names no Bluetooth service: in its file, [link.ble] with service, notify and write was \
                 wanted",
                format.name()
            ),
            None => "over Bluetooth a format was wanted with --format: its [link.ble] says which service carries the \
                     bytes"
                .to_owned(),
        })
    })
}
