//! The live link that a command of the kit names, set as its flags and a format say.

use std::sync::Arc;

use super::Failure;
use super::formats;
use crate::config::{Config, Given};
use crate::link::{LinkSpec, SerialSettings};
use crate::protocol::Format;

/// The link of these settings; a serial port is set as `format` has it, or the format that they name, where they do not
/// say otherwise.
pub(super) fn link(given: Given, format: Option<&Arc<Format>>) -> Result<LinkSpec, Failure> {
    let config = Config::of(given).map_err(Failure::input)?;
    let named = config.format.as_ref().map(formats::choose).transpose()?;
    let format = format.or(named.as_ref());
    let settings = format.map_or(SerialSettings::at(formats::BAUD), |format| formats::serial_of(format));
    let source =
        config.source.ok_or_else(|| Failure::input("a port was wanted: name it, or a converter with --tcp"))?;
    Ok(source.link(config.serial.over(settings)))
}
