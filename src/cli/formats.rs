//! Formats by name or by file, and their list.

use std::path::Path;
use std::sync::Arc;

use super::Failure;
use super::say;
use crate::config::FormatChoice;
use crate::link::{DataBits, Flow, Parity, SerialSettings, StopBits, Uart};
use crate::protocol::{self, Format, link as defaults};

/// Speed where neither the format nor a person says one. Common practice, no source.
pub(super) const BAUD: u32 = 9600;

/// `closerun formats`: what is shipped.
pub(super) fn list() -> Result<(), Failure> {
    for format in all()? {
        say::line(format_args!("{:<12} {:<14} {}", format.name(), serial_of(&format).to_string(), format.title()));
    }
    Ok(())
}

/// The format that was chosen.
pub(super) fn choose(choice: &FormatChoice) -> Result<Arc<Format>, Failure> {
    match choice {
        FormatChoice::Named(name) => protocol::find(name).map(Arc::new).map_err(Failure::input),
        FormatChoice::File(path) => read(path),
    }
}

/// A shipped format's name, or a file.
pub(super) fn named_or_file(text: &str) -> Result<Arc<Format>, Failure> {
    if Path::new(text).exists() {
        read(Path::new(text))
    } else {
        protocol::find(text).map(Arc::new).map_err(Failure::input)
    }
}

/// The text of a format file, or of a shipped format by its name, whether it is good or not.
pub(super) fn text(name: &str) -> Result<String, Failure> {
    match protocol::shipped().iter().find(|(known, _)| *known == name) {
        Some((_, text)) if !Path::new(name).exists() => Ok((*text).to_owned()),
        _ => text_of(Path::new(name)),
    }
}

fn text_of(path: &Path) -> Result<String, Failure> {
    std::fs::read_to_string(path).map_err(|error| Failure::input(format!("format file {}: {error}", path.display())))
}

fn read(path: &Path) -> Result<Arc<Format>, Failure> {
    let shown = path.display();
    let text = text_of(path)?;
    Format::parse(&text).map(Arc::new).map_err(|errors| Failure::input(format!("format file {shown}: {errors}")))
}

/// Every shipped format.
pub(super) fn all() -> Result<Vec<Arc<Format>>, Failure> {
    let parse = |(_, text): &(&str, &str)| Format::parse(text).map(Arc::new).map_err(Failure::outcome);
    protocol::shipped().iter().map(parse).collect()
}

/// How a format's serial port is set.
pub(super) fn serial_of(format: &Format) -> SerialSettings {
    let link = format.link();
    let mut settings = SerialSettings::at(link.baud.unwrap_or(BAUD));
    settings.data_bits = match link.data_bits {
        Some(5) => DataBits::Five,
        Some(6) => DataBits::Six,
        Some(7) => DataBits::Seven,
        _ => DataBits::Eight,
    };
    settings.parity = match link.parity {
        Some(defaults::Parity::Even) => Parity::Even,
        Some(defaults::Parity::Odd) => Parity::Odd,
        _ => Parity::None,
    };
    settings.stop_bits = if link.stop_bits == Some(2) { StopBits::Two } else { StopBits::One };
    settings.flow = match link.flow {
        Some(defaults::Flow::Hardware) => Flow::Hardware,
        Some(defaults::Flow::Software) => Flow::Software,
        _ => Flow::None,
    };
    settings
}

/// The Bluetooth service that a format names, if it names one.
pub(super) fn uart_of(format: &Format) -> Option<Uart> {
    let ble = format.link().ble.as_ref()?;
    Uart::of(&ble.service, &ble.notify, ble.write.as_deref())
}
