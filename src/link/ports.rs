//! What is plugged in, with what USB says of it, and what is simulated.

use std::fmt;
use std::path::Path;

use super::identity;
use super::registry::Registry;

/// A port that can be listened to.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct PortInfo {
    /// The name to open it by.
    pub path: String,
    /// The link that names the adapter whatever number it gets, where the system keeps one.
    pub by_id: Option<String>,
    /// What it is.
    pub kind: PortKind,
}

/// What a port is.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum PortKind {
    /// An adapter or instrument on USB.
    Usb(UsbInfo),
    /// Part of the machine. Many machines list one that leads nowhere.
    BuiltIn,
    /// A Bluetooth serial port.
    Bluetooth,
    /// The system does not say.
    Unknown,
    /// A simulated instrument.
    Simulated {
        /// Which, in words.
        what: String,
    },
}

/// What USB says of a port.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct UsbInfo {
    /// Number of the maker.
    pub vendor_id: u16,
    /// Number of the product.
    pub product_id: u16,
    /// Name of the maker.
    pub manufacturer: Option<String>,
    /// Name of the product.
    pub product: Option<String>,
    /// Serial number.
    pub serial_number: Option<String>,
    /// Which interface of the device.
    pub interface: Option<u8>,
}

/// Lists the ports: USB first, then simulated ones, then the rest, each kind by name.
pub fn ports() -> Vec<PortInfo> {
    let links = identity::links(Path::new(identity::BY_ID_DIR));
    let listed = serialport::available_ports().unwrap_or_default().into_iter().map(|port| {
        let node = Path::new(&port.port_name).canonicalize();
        let by_id = node.ok().and_then(|node| identity::of_node(&links, &node).map(|b| b.link.display().to_string()));
        PortInfo { path: port.port_name, by_id, kind: kind(port.port_type) }
    });
    let simulated = Registry::of_user().entries().into_iter().map(|entry| PortInfo {
        path: entry.port,
        by_id: None,
        kind: PortKind::Simulated { what: entry.what },
    });
    let mut ports: Vec<PortInfo> = listed.chain(simulated).collect();
    ports.sort_by(|a, b| (rank(&a.kind), &a.path).cmp(&(rank(&b.kind), &b.path)));
    ports
}

fn kind(kind: serialport::SerialPortType) -> PortKind {
    match kind {
        serialport::SerialPortType::UsbPort(usb) => PortKind::Usb(UsbInfo {
            vendor_id: usb.vid,
            product_id: usb.pid,
            manufacturer: usb.manufacturer,
            product: usb.product,
            serial_number: usb.serial_number,
            interface: usb.interface,
        }),
        serialport::SerialPortType::PciPort => PortKind::BuiltIn,
        serialport::SerialPortType::BluetoothPort => PortKind::Bluetooth,
        serialport::SerialPortType::Unknown => PortKind::Unknown,
    }
}

fn rank(kind: &PortKind) -> u8 {
    match kind {
        PortKind::Usb(_) => 0,
        PortKind::Simulated { .. } => 1,
        PortKind::Bluetooth => 2,
        PortKind::BuiltIn => 3,
        PortKind::Unknown => 4,
    }
}

impl fmt::Display for PortKind {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            PortKind::Usb(usb) => usb.fmt(f),
            PortKind::BuiltIn => write!(f, "built in"),
            PortKind::Bluetooth => write!(f, "Bluetooth"),
            PortKind::Unknown => write!(f, "unknown"),
            PortKind::Simulated { what } => write!(f, "SIMULATED {what}"),
        }
    }
}

impl fmt::Display for UsbInfo {
    /// Maker, product and serial number as far as they are known, and always the numbers.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "USB")?;
        for part in [&self.manufacturer, &self.product].into_iter().flatten() {
            write!(f, " {}", plain(part))?;
        }
        if let Some(serial) = &self.serial_number {
            write!(f, ", serial number {}", plain(serial))?;
        }
        if let Some(interface) = self.interface {
            write!(f, ", interface {interface}")?;
        }
        write!(f, " ({:04x}:{:04x})", self.vendor_id, self.product_id)
    }
}

/// A device names itself as it likes: nothing of that may steer a terminal.
fn plain(text: &str) -> String {
    text.trim().chars().map(|c| if c.is_control() { '\u{fffd}' } else { c }).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_usb_says_is_one_line_without_tricks() {
        let mut usb = UsbInfo { vendor_id: 0x0abc, product_id: 0x12, ..UsbInfo::default() };
        assert_eq!(PortKind::Usb(usb.clone()).to_string(), "USB (0abc:0012)");
        usb.manufacturer = Some("Invented".into());
        usb.product = Some("Cable\u{1b}[2J ".into());
        usb.serial_number = Some("A1".into());
        usb.interface = Some(0);
        assert_eq!(
            PortKind::Usb(usb).to_string(),
            "USB Invented Cable\u{fffd}[2J, serial number A1, interface 0 (0abc:0012)"
        );
    }

    #[test]
    fn the_list_is_in_order_of_interest() {
        let listed = ports();
        assert!(listed.is_sorted_by_key(|port| rank(&port.kind)), "{listed:?}");
    }
}
