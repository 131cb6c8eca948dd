//! `closerun ports`: what is plugged in, with what USB says of it; or what is heard over Bluetooth.

use super::Failure;
use super::arguments::Ports;
use super::{formats, say};
use crate::link::{self, PortInfo, PortKind};
use crate::protocol::Format;

pub(super) fn run(which: &Ports) -> Result<(), Failure> {
    if which.ble {
        return bluetooth();
    }
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

/// What is heard over Bluetooth.
fn bluetooth() -> Result<(), Failure> {
    let formats = formats::all()?;
    let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build().map_err(Failure::outcome)?;
    let heard = runtime.block_on(link::nearby()).map_err(Failure::outcome)?;
    if heard.is_empty() {
        say::line(format_args!("nothing is heard over Bluetooth Low Energy"));
    }
    for device in &heard {
        let name = device.name.as_deref().unwrap_or("(without a name)");
        let signal = device.signal_dbm.map_or("connected".to_owned(), |dbm| format!("{dbm} dBm"));
        say::line(format_args!("{:<17}  {signal:>9}  {name}", device.address));
        for service in &device.services {
            let speaks = formats.iter().find(|format| names_service(format, service));
            let format = speaks.map_or(String::new(), |format| format!(", as in the format {}", format.name()));
            say::line(format_args!("{:<17}  {:>9}  service {service}{format}", "", ""));
        }
    }
    Ok(())
}

fn names_service(format: &Format, service: &str) -> bool {
    format.link().ble.as_ref().is_some_and(|ble| ble.service.eq_ignore_ascii_case(service))
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
