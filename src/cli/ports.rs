//! `closerun ports`: what is plugged in, with what USB says of it.

use super::Failure;
use super::say;
use crate::link::{self, PortInfo, PortKind};

pub(super) fn run() -> Result<(), Failure> {
    let ports = link::ports();
    if ports.is_empty() {
        say::line(format_args!("no serial port is plugged in"));
    }
    for port in &ports {
        for line in lines(port) {
            say::line(format_args!("{line}"));
        }
    }
    Ok(())
}

/// A port in words, its path first.
pub(super) fn lines(port: &PortInfo) -> Vec<String> {
    let mut lines = vec![format!("{:<16} {}", port.path, kind(&port.kind))];
    if let Some(by_id) = &port.by_id {
        lines.push(format!("{:<16} stays the same when replugged: {by_id}", ""));
    }
    lines
}

fn kind(kind: &PortKind) -> String {
    match kind {
        PortKind::Usb(usb) => {
            let said = [&usb.manufacturer, &usb.product].into_iter().flatten().cloned().collect::<Vec<_>>().join(" ");
            let serial =
                usb.serial_number.as_ref().map(|serial| format!(", serial number {serial}")).unwrap_or_default();
            let interface = usb.interface.map(|number| format!(", interface {number}")).unwrap_or_default();
            format!("USB {:04x}:{:04x} {said}{serial}{interface}", usb.vendor_id, usb.product_id)
        }
        PortKind::BuiltIn => "part of this machine; it may lead nowhere".to_owned(),
        PortKind::Bluetooth => "Bluetooth serial port".to_owned(),
        PortKind::Unknown => "unknown".to_owned(),
        PortKind::Simulated { what } => format!("SIMULATED: {what}"),
    }
}
