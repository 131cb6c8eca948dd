//! The machine's Bluetooth: its adapter, and which devices it hears.

use std::collections::BTreeMap;
use std::time::Duration;

use btleplug::api::{
    BDAddr, Central as _, CentralEvent, CentralState, Manager as _, Peripheral as _, PeripheralProperties, ScanFilter,
};
use btleplug::platform::{Adapter, Manager, Peripheral};
use futures_util::StreamExt;
use tokio::time::{Instant, timeout, timeout_at};

use super::device::{Device, Identity, Match};
use super::trouble::{BleTrouble, Failed};

/// How long the system's Bluetooth service may take to answer a question that needs no radio.
pub(super) const CALL_MAX_WAIT: Duration = Duration::from_secs(5);
/// How long a device is listened for. Advertisements come every few seconds at the rarest; common practice, no source.
const SCAN_MAX_WAIT: Duration = Duration::from_secs(10);
/// Once a name was heard, how long others of the same name are listened for: two levels of one make are often called
/// alike.
const NAMESAKE_WAIT: Duration = Duration::from_secs(1);
/// The most devices that are told apart in one scan: more than any site has, so that a device which changes its address
/// with each advertisement cannot fill the memory.
pub(super) const DEVICES_MAX: usize = 1024;

/// Waits for an answer of the Bluetooth service, for a bounded time.
pub(super) async fn within<T>(
    wait: Duration,
    answer: impl Future<Output = Result<T, btleplug::Error>>,
) -> Result<T, Failed> {
    match timeout(wait, answer).await {
        Ok(answer) => answer.map_err(|error| Failed::of(&error)),
        Err(_) => Err(Failed::no_answer(wait)),
    }
}

/// The way to the system's Bluetooth service, kept for as long as it leads there: each new one costs a connection.
pub(super) struct Radio(Option<Manager>);

impl Radio {
    /// Not asked yet.
    pub(super) fn new() -> Self {
        Radio(None)
    }

    /// The first adapter that is switched on.
    pub(super) async fn adapter(&mut self) -> Result<Adapter, BleTrouble> {
        let manager = match &self.0 {
            Some(manager) => manager,
            None => self.0.insert(within(CALL_MAX_WAIT, Manager::new()).await.map_err(BleTrouble::of_service)?),
        };
        let adapters = match within(CALL_MAX_WAIT, manager.adapters()).await {
            Ok(adapters) => adapters,
            Err(failed) => {
                // Where only the service behind it is gone, the way stays.
                if !failed.is_absent() {
                    self.0 = None;
                }
                return Err(BleTrouble::of_service(failed));
            }
        };
        if adapters.is_empty() {
            return Err(BleTrouble::NoAdapter);
        }
        for adapter in adapters {
            if matches!(within(CALL_MAX_WAIT, adapter.adapter_state()).await, Ok(CentralState::PoweredOn)) {
                return Ok(adapter);
            }
        }
        Err(BleTrouble::Off)
    }
}

/// A device that was found.
pub(super) struct Found {
    pub(super) peripheral: Peripheral,
    pub(super) identity: Option<Identity>,
}

/// Finds the device that is meant: among those that the system knows already, or by listening.
pub(super) async fn find(adapter: &Adapter, device: &Device, before: Option<&Identity>) -> Result<Found, BleTrouble> {
    let mut search = Search { device, before, named: BTreeMap::new(), silent: BTreeMap::new(), others: Vec::new() };
    let known = within(CALL_MAX_WAIT, adapter.peripherals()).await.map_err(BleTrouble::of_service)?;
    for peripheral in known {
        if let Some(found) = search.look(peripheral, Sign::Known).await {
            return Ok(found);
        }
    }
    let mut scan = Scan::start(adapter).await?;
    let mut end = Instant::now() + SCAN_MAX_WAIT;
    let found = loop {
        let Some((peripheral, sign)) = scan.next(end).await else { break search.outcome() };
        if let Some(found) = search.look(peripheral, sign).await {
            break Ok(found);
        }
        if !search.named.is_empty() {
            end = end.min(Instant::now() + NAMESAKE_WAIT);
        }
    };
    scan.stop().await;
    found
}

/// How a device showed itself.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Sign {
    /// The system remembers it; whether it is near is not known.
    Known,
    /// It was heard just now.
    Heard,
}

/// What a search has come upon.
struct Search<'s> {
    device: &'s Device,
    before: Option<&'s Identity>,
    /// Heard under the name that was asked for.
    named: BTreeMap<BDAddr, Found>,
    /// Remembered under that name.
    silent: BTreeMap<BDAddr, Found>,
    /// Under that name too, and not the one of before.
    others: Vec<BDAddr>,
}

impl Search<'_> {
    /// Looks at a device; gives it if there is no doubt.
    async fn look(&mut self, peripheral: Peripheral, sign: Sign) -> Option<Found> {
        let properties = properties(&peripheral).await?;
        let found = Found { peripheral, identity: Identity::of(&properties) };
        let sign = if properties.rssi.is_some() { Sign::Heard } else { sign };
        match (self.device.matches(&properties, self.before), sign) {
            (Match::This, _) => return Some(found),
            (Match::ByName, Sign::Heard) => drop(self.named.insert(properties.address, found)),
            (Match::ByName, Sign::Known) => drop(self.silent.insert(properties.address, found)),
            (Match::Another, Sign::Heard) if !self.others.contains(&properties.address) => {
                self.others.push(properties.address);
            }
            (Match::Another | Match::No, _) => {}
        }
        None
    }

    /// What it comes to when nothing else will be heard.
    fn outcome(mut self) -> Result<Found, BleTrouble> {
        let what = self.device.to_string();
        // One that is connected already does not advertise, and is remembered only.
        let candidates = if self.named.is_empty() { &mut self.silent } else { &mut self.named };
        match (candidates.len(), self.others.first(), self.before) {
            (1, _, _) => Ok(candidates.pop_first().expect("there is one").1),
            (0, Some(found), Some(Identity(wanted))) => {
                Err(BleTrouble::Another { what, found: found.to_string(), wanted: wanted.to_string() })
            }
            (0, _, _) => Err(BleTrouble::OutOfReach { what, within: SCAN_MAX_WAIT }),
            _ => Err(BleTrouble::Several { what, addresses: candidates.keys().map(ToString::to_string).collect() }),
        }
    }
}

/// Listening for advertisements.
pub(super) struct Scan<'a> {
    adapter: &'a Adapter,
    events: std::pin::Pin<Box<dyn futures_util::Stream<Item = CentralEvent> + Send>>,
}

impl<'a> Scan<'a> {
    /// Begins. Without a filter: many devices keep the services that they have to themselves.
    pub(super) async fn start(adapter: &'a Adapter) -> Result<Self, BleTrouble> {
        let events = within(CALL_MAX_WAIT, adapter.events()).await.map_err(BleTrouble::of_service)?;
        within(CALL_MAX_WAIT, adapter.start_scan(ScanFilter::default())).await.map_err(BleTrouble::of_service)?;
        Ok(Scan { adapter, events })
    }

    /// The next device that shows itself; none by then.
    pub(super) async fn next(&mut self, end: Instant) -> Option<(Peripheral, Sign)> {
        loop {
            let (id, sign) = match timeout_at(end, self.events.next()).await.ok()?? {
                CentralEvent::DeviceDiscovered(id) => (id, Sign::Known),
                CentralEvent::RssiUpdate { id, .. } | CentralEvent::DeviceConnected(id) => (id, Sign::Heard),
                _ => continue,
            };
            // It may be gone again already.
            if let Ok(peripheral) = within(CALL_MAX_WAIT, self.adapter.peripheral(&id)).await {
                return Some((peripheral, sign));
            }
        }
    }

    /// Ends it. A scan that goes on costs a battery, and no more.
    pub(super) async fn stop(self) {
        let _ = within(CALL_MAX_WAIT, self.adapter.stop_scan()).await;
    }
}

/// What is known of a device; none if the system has forgotten it.
pub(super) async fn properties(peripheral: &Peripheral) -> Option<PeripheralProperties> {
    within(CALL_MAX_WAIT, peripheral.properties()).await.ok()?
}
