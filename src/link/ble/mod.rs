//! A serial line over Bluetooth Low Energy: a service in which one characteristic notifies what the instrument sends and
//! another takes what is sent to it. Which service is said by whoever asks for the link; there is no standard one.
//!
//! ```text
//! adapter ─▶ find the device ─▶ connect ─▶ discover ─▶ subscribe ─▶ stream of bytes ─▶ lost ─▶ from the start
//! ```
//!
//! | file | what |
//! |---|---|
//! | `uart` | the service and its characteristics |
//! | `device` | which device is meant |
//! | `radio` | the machine's Bluetooth: its adapter, and what it hears |
//! | `stream` | a connection as bytes, and how its end is found |
//! | `trouble` | why there is none, with what to do |
//! | `nearby` | the list for a person |
//!
//! Only this folder names the Bluetooth library. It never switches a radio on, and never pairs or forgets a device by
//! itself: those are a person's to decide.

mod device;
mod nearby;
mod radio;
mod stream;
mod trouble;
mod uart;

use std::time::Duration;

use btleplug::api::{Central as _, Peripheral as _};
use btleplug::platform::{Adapter, Peripheral};
use tokio::time::{sleep, timeout};

pub use nearby::{Nearby, nearby};
pub use trouble::BleTrouble;
pub use uart::Uart;

use super::Simulated;
use super::reader::{Opened, Source};
use super::trouble::Trouble;
use device::{Device, Identity};
use radio::{Radio, within};
use stream::{BleStream, Hint, Line};

/// How long a connection may take to come about, its services found included. Radios hear each other only now and then.
const CONNECT_MAX_WAIT: Duration = Duration::from_secs(20);
/// Connections often fail at the first go and come about at the next one: so many goes are one attempt.
const CONNECT_TRIES: u32 = 3;
/// Between two goes, for the radio to settle.
const CONNECT_PAUSE: Duration = Duration::from_millis(500);
/// How long a subscription may take: somebody may have to walk to the instrument and confirm a pairing.
const SUBSCRIBE_MAX_WAIT: Duration = Duration::from_secs(30);
/// How long a connection may take to be given up: a stop must not wait for a radio.
const CLOSE_MAX_WAIT: Duration = Duration::from_millis(300);
/// Refused so often in a row, a pairing is not tried again at once: each try may ask somebody on a display.
const REFUSALS_MAX: u32 = 3;
/// How long it rests then.
const REFUSED_REST: Duration = Duration::from_secs(30);

/// A device that is connected to again whenever it can be.
pub(super) struct BleSource {
    device: Device,
    uart: Uart,
    radio: Radio,
    /// Which device it was, once it has been connected to.
    identity: Option<Identity>,
    /// The device that is connected to, or was last asked to be.
    peripheral: Option<Peripheral>,
    /// Pairings that were refused, in a row.
    refusals: u32,
    hint: Hint,
}

impl BleSource {
    pub(super) fn new(device: &str, uart: Uart) -> Self {
        BleSource {
            device: Device::parse(device),
            uart,
            radio: Radio::new(),
            identity: None,
            peripheral: None,
            refusals: 0,
            hint: Hint::default(),
        }
    }

    async fn attempt(&mut self) -> Result<Opened<BleStream>, BleTrouble> {
        let adapter = self.radio.adapter().await?;
        let found = radio::find(&adapter, &self.device, self.identity.as_ref()).await?;
        let peripheral = self.peripheral.insert(found.peripheral).clone();
        let opened = self.converse(&adapter, &peripheral).await;
        if opened.is_err() {
            // A half-made connection would keep the device from being heard, by us and by others.
            self.close().await;
        }
        let (stream, mtu) = opened?;
        self.identity = found.identity;
        let what = format!("ble {} ({}), MTU {mtu}", self.device, peripheral.address());
        Ok(Opened { stream, what, simulated: Simulated::No, remarks: Vec::new() })
    }

    /// From a device that was found to a stream of bytes.
    async fn converse(&self, adapter: &Adapter, peripheral: &Peripheral) -> Result<(BleStream, u16), BleTrouble> {
        self.connect(peripheral).await?;
        let failed = |error| BleTrouble::of_connection(&self.device, error);
        within(CONNECT_MAX_WAIT, peripheral.discover_services()).await.map_err(failed)?;
        let (notify, write) = self.uart.among(&peripheral.services()).map_err(|found| BleTrouble::NoUart {
            what: self.device.to_string(),
            wanted: self.uart.to_string(),
            found,
        })?;
        // The streams first: what is sent right after the subscription must find them there.
        let events = within(radio::CALL_MAX_WAIT, adapter.events()).await.map_err(failed)?;
        let notifications = within(radio::CALL_MAX_WAIT, peripheral.notifications()).await.map_err(failed)?;
        within(SUBSCRIBE_MAX_WAIT, peripheral.subscribe(&notify)).await.map_err(failed)?;
        let mtu = peripheral.mtu();
        let line = Line { peripheral: peripheral.clone(), notify, write, mtu, hint: self.hint.clone() };
        Ok((BleStream::start(line, notifications, events), mtu))
    }

    async fn connect(&self, peripheral: &Peripheral) -> Result<(), BleTrouble> {
        // Somebody else on this machine may have connected it, or we did before we were killed.
        if matches!(within(radio::CALL_MAX_WAIT, peripheral.is_connected()).await, Ok(true)) {
            return Ok(());
        }
        let mut tried = 0;
        loop {
            let why = match within(CONNECT_MAX_WAIT, peripheral.connect()).await {
                Ok(()) => return Ok(()),
                Err(error) => BleTrouble::of_connection(&self.device, error),
            };
            tried += 1;
            if tried == CONNECT_TRIES || !matches!(why, BleTrouble::NoConnection { .. }) {
                return Err(why);
            }
            sleep(CONNECT_PAUSE).await;
        }
    }
}

impl Source for BleSource {
    type Stream = BleStream;

    const CLOSED: &'static str = "the Bluetooth connection ended";

    async fn open(&mut self) -> Result<Opened<BleStream>, Trouble> {
        if self.refusals >= REFUSALS_MAX {
            sleep(REFUSED_REST).await;
        }
        let opened = self.attempt().await;
        self.refusals = match &opened {
            Err(BleTrouble::NotPaired { .. }) => self.refusals.saturating_add(1),
            Ok(_) | Err(_) => 0,
        };
        opened.map_err(Trouble::Ble)
    }

    fn proved(&mut self) -> Option<String> {
        self.hint.take()
    }

    async fn close(&mut self) {
        if let Some(peripheral) = self.peripheral.take() {
            // One that is gone already has nothing to be told.
            let _ = timeout(CLOSE_MAX_WAIT, peripheral.disconnect()).await;
        }
    }
}
