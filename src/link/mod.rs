//! The link: brings bytes in from an instrument, each chunk with its time of arrival, and takes answers out.
//!
//! It knows serial ports, Bluetooth, TCP connections, standard input and capture files, and nothing of what the bytes
//! mean. A port is read on a thread of its own, so that no slow disk can make it miss a byte; what it hears goes into a
//! queue that is bounded by memory ([`queue`]). A link that is lost is said, and opened again as soon as it can be.
//!
//! | file | what |
//! |---|---|
//! | `settings` | `9600 8N1` |
//! | `queue`, `stop` | between the port's thread and the loop that keeps |
//! | `reader` | the one loop of all links that come and go |
//! | `serial`, `ble`, `tcp`, `play` | what can be opened |
//! | `capture` | the file form of what was heard |
//! | `backoff`, `identity`, `trouble` | when to try again, which adapter, why not |
//! | `ports`, `registry` | what is plugged in, what is simulated |
//! | `host` | what only the operating system can tell |

mod backoff;
mod ble;
mod capture;
mod host;
mod identity;
mod play;
mod ports;
mod queue;
mod reader;
mod registry;
mod serial;
mod settings;
mod stop;
mod tcp;
mod trouble;

use std::fmt;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::path::PathBuf;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Duration;

use tokio::sync::mpsc;

pub use backoff::{RETRY_FIRST, RETRY_MAX};
pub use ble::{BleTrouble, Nearby, Uart, nearby};
pub use capture::{CAPTURE_VERSION, CaptureError, CaptureReader, CaptureWriter, Captured, Header};
pub use ports::{PortInfo, PortKind, UsbInfo, ports};
pub use queue::{EventReceiver, EventSender, Gone, QUEUE_MAX_BYTES, QUEUE_WARN_BYTES, queue};
pub use registry::{Entry, Registration, Registry};
pub use settings::{BAUD_MAX, BAUD_MIN, DataBits, Flow, Parity, SerialSettings, SettingsError, StopBits, Wanted};
pub use stop::Stop;
pub use trouble::{Membership, PortGroup, Trouble, TroubleKind};

/// The longest message to an instrument: answers and commands are short, and this much fits a kernel's buffer.
pub const SEND_MAX_BYTES: usize = 4 * 1024;
/// The most messages that wait for a line that is slow to take them. An instrument waits for one answer at a time.
const SEND_MAX_WAITING: usize = 64;

/// Where to listen.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum LinkSpec {
    /// A serial port, or a pseudo-terminal.
    Serial {
        /// Its path or name.
        path: String,
        /// How it is set.
        settings: SerialSettings,
    },
    /// A serial line over Bluetooth Low Energy.
    Ble {
        /// The device's name or address.
        device: String,
        /// The service that carries the bytes.
        uart: Uart,
    },
    /// A TCP connection to a serial converter.
    Tcp {
        /// `host:port`.
        address: String,
    },
    /// Standard input, to its end.
    Stdin,
    /// A capture file, or a file of bare bytes, to its end.
    Capture {
        /// The file.
        path: PathBuf,
        /// How fast.
        pace: Pace,
    },
}

/// How fast a capture is played.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Pace {
    /// As it was recorded.
    Recorded,
    /// As fast as it is taken.
    Full,
}

/// Whether an instrument is a simulated one.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Simulated {
    /// It is, by the registry of this user's simulators or by the capture's own word.
    Yes,
    /// Not that anybody knows.
    No,
}

/// What happened on the link, in order.
///
/// A port that cannot be opened at the start comes as [`LinkEvent::Waiting`] before any [`LinkEvent::Opened`]; who
/// wants to give up then looks at the trouble's kind. For a capture, `Waiting` is final: `Finished` follows.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum LinkEvent {
    /// It was opened, for the first time or again.
    Opened {
        /// In words: `serial /dev/ttyUSB0 9600 8N1`.
        what: String,
        /// Whether the instrument is a simulated one.
        simulated: Simulated,
    },
    /// Bytes arrived.
    Chunk {
        /// When, in microseconds since 1970: as read from the port, or as the capture has it.
        at_us: i64,
        /// Which: at least one.
        bytes: Vec<u8>,
    },
    /// It is gone, and will be tried again. What comes after the next `Opened` does not continue what came before.
    Lost {
        /// Why, in words.
        why: String,
    },
    /// It cannot be opened yet, and is tried again until it can. Said once an outage, and again if the trouble
    /// becomes another one that stays.
    Waiting {
        /// Why.
        why: Trouble,
    },
    /// The whole program stood still, frozen by somebody or starved, and the port was not looked at. When what comes now
    /// arrived is not known, so no silence may be read out of its time.
    StoodStill {
        /// For how long.
        time: Duration,
    },
    /// Something that the user should know; listening goes on.
    Warned {
        /// What, in words.
        what: String,
    },
    /// The end of standard input or of a capture.
    Finished,
}

/// Starts to listen, on a thread of its own, until `stop` is asked, the receiver is dropped, or nothing more can come.
pub fn start(spec: LinkSpec, stop: Stop) -> (LinkHandle, EventReceiver) {
    let two_way = matches!(spec, LinkSpec::Serial { .. } | LinkSpec::Ble { .. } | LinkSpec::Tcp { .. });
    let (mut handle, outgoing) = LinkHandle::new(stop.clone());
    if !two_way {
        handle.messages = None;
    }
    let events = spawn(async move |events| {
        let registry = Some(Registry::of_user());
        match spec {
            LinkSpec::Serial { path, settings } => {
                let source = serial::SerialSource::new(path, settings, identity::BY_ID_DIR.into(), registry);
                reader::drive(source, events, outgoing, &stop).await;
            }
            LinkSpec::Ble { device, uart } => {
                reader::drive(ble::BleSource::new(&device, uart), events, outgoing, &stop).await;
            }
            LinkSpec::Tcp { address } => {
                reader::drive(tcp::TcpSource::new(address, registry), events, outgoing, &stop).await;
            }
            LinkSpec::Stdin => reader::hear_out(tokio::io::stdin(), "standard input".to_owned(), events, &stop).await,
            LinkSpec::Capture { path, pace } => play::play(&path, pace, events, &stop).await,
        }
    });
    (handle, events)
}

/// Runs `listen` on a thread of its own, with a small runtime of its own. However it ends, the receiver learns of it.
fn spawn(listen: impl AsyncFnOnce(&EventSender) + Send + 'static) -> EventReceiver {
    let (events, receiver) = queue();
    let on_thread = move || {
        let runtime = match tokio::runtime::Builder::new_current_thread().enable_all().build() {
            Ok(runtime) => runtime,
            Err(error) => return events.end(Gone::Died { why: format!("no runtime: {error}") }),
        };
        let outcome = catch_unwind(AssertUnwindSafe(|| runtime.block_on(listen(&events))));
        // A read of standard input cannot be called back: do not wait for it.
        runtime.shutdown_background();
        events.end(match outcome {
            Ok(()) => Gone::Ended,
            Err(panic) => Gone::Died { why: panic_in_words(&*panic) },
        });
    };
    // Without a thread the sender is dropped here, and the receiver learns that it died.
    let _ = std::thread::Builder::new().name("link".to_owned()).spawn(on_thread);
    receiver
}

fn panic_in_words(panic: &(dyn std::any::Any + Send)) -> String {
    let words = panic.downcast_ref::<&str>().map(|text| (*text).to_owned());
    words.or_else(|| panic.downcast_ref::<String>().cloned()).unwrap_or_else(|| "a panic without words".to_owned())
}

/// A folder of this name for what lives as long as a process does, which only this user may enter; made if need be.
///
/// # Errors
/// It cannot be made, or is not this user's alone.
pub fn runtime_folder(name: &str) -> std::io::Result<PathBuf> {
    let folder = host::runtime_dir().join(name);
    host::private_dir(&folder)?;
    Ok(folder)
}

/// The other direction: what is said to the instrument, and the wish to stop.
#[derive(Clone, Debug)]
pub struct LinkHandle {
    messages: Option<mpsc::Sender<Vec<u8>>>,
    open: Arc<AtomicBool>,
    stop: Stop,
}

impl LinkHandle {
    fn new(stop: Stop) -> (Self, reader::Outgoing) {
        let (messages, waiting) = mpsc::channel(SEND_MAX_WAITING);
        let open = Arc::new(AtomicBool::new(false));
        let outgoing = reader::Outgoing { messages: waiting, open: Arc::clone(&open) };
        (LinkHandle { messages: Some(messages), open, stop }, outgoing)
    }

    /// A handle whose messages come out of the receiver, for a test of what speaks through one.
    pub fn detached(stop: Stop) -> (Self, mpsc::Receiver<Vec<u8>>) {
        let (handle, outgoing) = LinkHandle::new(stop);
        handle.open.store(true, Ordering::Release);
        (handle, outgoing.messages)
    }

    /// Sends an acknowledgement or a command to the instrument. Does not wait: that it went out is not known, only that
    /// it will be tried for 2 s; a failure comes as [`LinkEvent::Warned`] or [`LinkEvent::Lost`].
    ///
    /// # Errors
    /// When nobody could take it.
    pub fn send(&self, bytes: Vec<u8>) -> Result<(), SendError> {
        let Some(messages) = &self.messages else { return Err(SendError::OneWay) };
        if bytes.len() > SEND_MAX_BYTES {
            return Err(SendError::TooLong { found: bytes.len() });
        }
        if !self.open.load(Ordering::Acquire) {
            return Err(SendError::NotOpen);
        }
        messages.try_send(bytes).map_err(|error| match error {
            mpsc::error::TrySendError::Full(_) => SendError::Busy,
            mpsc::error::TrySendError::Closed(_) => SendError::NotOpen,
        })
    }

    /// Asks the link to end. The receiver gets what had arrived by then, and then [`Gone::Ended`], when the port is
    /// closed.
    pub fn stop(&self) {
        self.stop.ask();
    }
}

/// Why a message was not taken.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum SendError {
    /// Standard input and captures have no other direction.
    OneWay,
    /// The link is not open.
    NotOpen,
    /// Too many messages wait already.
    Busy,
    /// Longer than any message may be.
    TooLong {
        /// Its length in bytes.
        found: usize,
    },
}

impl fmt::Display for SendError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "a message to the instrument was not sent: ")?;
        match self {
            SendError::OneWay => write!(f, "this link is heard only"),
            SendError::NotOpen => write!(f, "the link is not open"),
            SendError::Busy => write!(f, "{SEND_MAX_WAITING} messages wait already, the instrument takes none"),
            SendError::TooLong { found } => {
                write!(f, "{found} bytes found, at most {SEND_MAX_BYTES} were wanted")
            }
        }
    }
}

impl std::error::Error for SendError {}

#[cfg(test)]
mod tests {
    use super::*;

    #[tokio::test]
    async fn a_panic_on_the_ports_thread_is_learned_with_its_words() {
        let mut events = spawn(async |events| {
            events.push(LinkEvent::Finished);
            panic!("planted");
        });
        assert_eq!(events.recv().await, Ok(LinkEvent::Finished));
        assert_eq!(events.recv().await, Err(Gone::Died { why: "planted".into() }));
    }

    #[test]
    fn a_message_needs_an_open_link_with_two_directions() {
        let (handle, mut messages) = LinkHandle::detached(Stop::new());
        assert_eq!(handle.send(b"ack".to_vec()), Ok(()));
        assert_eq!(messages.try_recv().unwrap(), b"ack");
        assert_eq!(handle.send(vec![0; SEND_MAX_BYTES + 1]), Err(SendError::TooLong { found: SEND_MAX_BYTES + 1 }));
        while handle.send(vec![]).is_ok() {}
        assert_eq!(handle.send(vec![]), Err(SendError::Busy));
        drop(messages);
        let one_way = LinkHandle { messages: None, ..handle.clone() };
        assert_eq!(one_way.send(vec![]), Err(SendError::OneWay));
        handle.open.store(false, Ordering::Release);
        assert_eq!(handle.send(vec![]), Err(SendError::NotOpen));
    }
}
