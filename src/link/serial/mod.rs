//! A serial port, or a pseudo-terminal, which is opened by the very same code.
//!
//! What the kernel holds when the port is opened is read too: a record sent while nobody listened is better late than
//! lost, and the first one may be the end of one whose start is gone.

use std::path::{Path, PathBuf};

use tokio_serial::{SerialPort, SerialStream};

use super::identity::{self, Follow};
use super::reader::{Opened, Source};
use super::registry::Registry;
use super::settings::{DataBits, Flow, Parity, SerialSettings, StopBits};
use super::trouble::Trouble;
use super::{Simulated, host};

/// A serial port that is opened again whenever it is there.
pub(super) struct SerialSource {
    path: PathBuf,
    settings: SerialSettings,
    by_id_dir: PathBuf,
    /// The link under `by_id_dir` that names the adapter, once it is known.
    identity: Option<PathBuf>,
    /// The node that was opened last.
    node: Option<PathBuf>,
    registry: Option<Registry>,
}

impl SerialSource {
    pub(super) fn new(path: String, settings: SerialSettings, by_id_dir: PathBuf, registry: Option<Registry>) -> Self {
        SerialSource { path: path.into(), settings, by_id_dir, identity: None, node: None, registry }
    }

    /// The path to open now.
    fn follow(&self) -> Result<PathBuf, Trouble> {
        let Some(identity) = &self.identity else { return Ok(self.path.clone()) };
        let links = identity::links(&self.by_id_dir);
        let node = self.path.canonicalize().ok();
        match identity::follow(&links, identity, &self.path, node.as_deref()) {
            Follow::Open(path) => Ok(path),
            Follow::Gone => {
                Err(Trouble::Missing { what: format!("{} ({})", in_words(&self.path), identity::name(identity)) })
            }
            Follow::Another => {
                Err(Trouble::AnotherDevice { what: in_words(&self.path), wanted: identity::name(identity) })
            }
        }
    }

    /// Learns which adapter it is. The system makes the link a moment later than the node, hence the second look when
    /// the first bytes have come.
    fn identify(&mut self) {
        if self.identity.is_none()
            && let Some(node) = &self.node
        {
            let links = identity::links(&self.by_id_dir);
            self.identity = identity::of_node(&links, node).map(|by_id| by_id.link.clone());
        }
    }
}

impl Source for SerialSource {
    type Stream = SerialStream;

    const CLOSED: &'static str = "the port is gone: the cable was unplugged, or the adapter lost its power";

    async fn open(&mut self) -> Result<Opened<SerialStream>, Trouble> {
        let path = self.follow()?;
        let settings = self.settings;
        let node = path.canonicalize().unwrap_or_else(|_| path.clone());
        let simulator = self.registry.as_ref().and_then(|registry| registry.entry(&node.to_string_lossy()));
        let stream = open(&path, settings, simulator.as_ref().map(|entry| entry.pid))?;
        let mut remarks: Vec<String> = difference(&stream, settings, &node).into_iter().collect();
        if path != self.path {
            remarks.push(format!("{} is {} now", identity::name(&self.path), path.display()));
        }
        let simulated = if simulator.is_some() { Simulated::Yes } else { Simulated::No };
        self.node = Some(node);
        self.identify();
        Ok(Opened { stream, what: format!("serial {} {settings}", path.display()), simulated, remarks })
    }

    fn broken(error: &std::io::Error) -> String {
        // EIO, ENXIO and ENODEV, the same on every Unix: the moment of unplugging, seen from inside a read.
        match error.raw_os_error() {
            Some(5 | 6 | 19) => Self::CLOSED.to_owned(),
            _ => error.to_string(),
        }
    }

    fn proved(&mut self) -> Option<String> {
        // Only an adapter that can be plugged in again has an identity to wait for, and only until it is known.
        let pluggable = |node: &PathBuf| {
            let name = identity::name(node);
            name.starts_with("ttyUSB") || name.starts_with("ttyACM")
        };
        if self.identity.is_none() && self.node.as_ref().is_some_and(pluggable) {
            self.identify();
        }
        None
    }
}

fn in_words(path: &Path) -> String {
    format!("serial port {}", path.display())
}

/// Opens the port for this program alone. `simulator` is the process at its other end, if it is simulated.
fn open(path: &Path, settings: SerialSettings, simulator: Option<u32>) -> Result<SerialStream, Trouble> {
    let what = in_words(path);
    if host::is_plain_file(path) {
        let why = "it is a file and no port; to play a capture, name it as one".to_owned();
        return Err(Trouble::Other { what, why });
    }
    let builder = tokio_serial::new(path.to_string_lossy(), settings.baud)
        .data_bits(match settings.data_bits {
            DataBits::Five => tokio_serial::DataBits::Five,
            DataBits::Six => tokio_serial::DataBits::Six,
            DataBits::Seven => tokio_serial::DataBits::Seven,
            DataBits::Eight => tokio_serial::DataBits::Eight,
        })
        .parity(match settings.parity {
            Parity::None => tokio_serial::Parity::None,
            Parity::Odd => tokio_serial::Parity::Odd,
            Parity::Even => tokio_serial::Parity::Even,
        })
        .stop_bits(match settings.stop_bits {
            StopBits::One => tokio_serial::StopBits::One,
            StopBits::Two => tokio_serial::StopBits::Two,
        })
        .flow_control(match settings.flow {
            Flow::None => tokio_serial::FlowControl::None,
            Flow::Hardware => tokio_serial::FlowControl::Hardware,
            Flow::Software => tokio_serial::FlowControl::Software,
        });
    SerialStream::open(&builder).map_err(|error| trouble(what, path, simulator, &error))
}

/// Told apart by the library's own kind: as an `io::Error` a port in use would be one that is not there.
fn trouble(what: String, path: &Path, simulator: Option<u32>, error: &tokio_serial::Error) -> Trouble {
    use std::io::ErrorKind as Io;
    use tokio_serial::ErrorKind;
    // A port of classic Bluetooth makes its connection when it is opened.
    let bluetooth = identity::name(path).starts_with("rfcomm");
    match error.kind {
        ErrorKind::Io(Io::NotFound) if bluetooth => {
            Trouble::NoAnswer { what, why: "it is bound to no device: `sudo rfcomm bind 0 ADDRESS`".to_owned() }
        }
        ErrorKind::NoDevice => host::trouble_of_no_device(what, path, simulator),
        ErrorKind::Io(Io::NotFound) => Trouble::Missing { what },
        ErrorKind::Io(Io::PermissionDenied) => Trouble::NotAllowed { what, group: host::group_of(path) },
        _ if bluetooth => Trouble::NoAnswer { what, why: error.description.clone() },
        _ => Trouble::Other { what, why: error.description.clone() },
    }
}

/// What the port made of its settings, if that is something else. A pseudo-terminal knows neither parity nor seven bits
/// and carries every byte whatever it was set to, so nothing is said of it.
fn difference(stream: &SerialStream, asked: SerialSettings, node: &Path) -> Option<String> {
    if host::is_pseudo_terminal(node) {
        return None;
    }
    let got = settings_of(stream)?;
    let alike = (got.baud, got.data_bits, got.parity, got.stop_bits)
        == (asked.baud, asked.data_bits, asked.parity, asked.stop_bits);
    (!alike).then(|| format!("{} took the settings {got} where {asked} was asked", in_words(node)))
}

fn settings_of(stream: &SerialStream) -> Option<SerialSettings> {
    Some(SerialSettings {
        baud: stream.baud_rate().ok()?,
        data_bits: match stream.data_bits().ok()? {
            tokio_serial::DataBits::Five => DataBits::Five,
            tokio_serial::DataBits::Six => DataBits::Six,
            tokio_serial::DataBits::Seven => DataBits::Seven,
            tokio_serial::DataBits::Eight => DataBits::Eight,
        },
        parity: match stream.parity().ok()? {
            tokio_serial::Parity::None => Parity::None,
            tokio_serial::Parity::Odd => Parity::Odd,
            tokio_serial::Parity::Even => Parity::Even,
        },
        stop_bits: match stream.stop_bits().ok()? {
            tokio_serial::StopBits::One => StopBits::One,
            tokio_serial::StopBits::Two => StopBits::Two,
        },
        flow: match stream.flow_control().ok()? {
            tokio_serial::FlowControl::None => Flow::None,
            tokio_serial::FlowControl::Hardware => Flow::Hardware,
            tokio_serial::FlowControl::Software => Flow::Software,
        },
    })
}

#[cfg(all(test, unix))]
mod tests;
