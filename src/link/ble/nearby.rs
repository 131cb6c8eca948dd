//! What is heard over Bluetooth, for a person who looks for an instrument.

use std::collections::BTreeMap;
use std::time::Duration;

use btleplug::api::BDAddr;
use tokio::time::Instant;

use super::super::trouble::Trouble;
use super::radio::{DEVICES_MAX, Radio, Scan, Sign, properties};

/// How long is listened: two advertisements of a slow device. Common practice, no source.
const LISTEN_FOR: Duration = Duration::from_secs(6);

/// A device that was heard.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Nearby {
    /// Its address, where the system tells it.
    pub address: String,
    /// Its name, without what could steer a terminal.
    pub name: Option<String>,
    /// How strongly it was heard, in dBm; absent if it is connected already, or only remembered.
    pub signal_dbm: Option<i16>,
    /// The services that it advertises. It may have others.
    pub services: Vec<String>,
}

/// Listens for a while; the strongest first.
///
/// # Errors
/// This machine's Bluetooth cannot be used, and why.
pub async fn nearby() -> Result<Vec<Nearby>, Trouble> {
    let mut radio = Radio::new();
    let adapter = radio.adapter().await.map_err(Trouble::Ble)?;
    let mut scan = Scan::start(&adapter).await.map_err(Trouble::Ble)?;
    let end = Instant::now() + LISTEN_FOR;
    let mut found: BTreeMap<BDAddr, Nearby> = BTreeMap::new();
    while let Some((peripheral, sign)) = scan.next(end).await {
        let Some(heard) = properties(&peripheral).await else { continue };
        let here = heard.rssi.is_some() || sign == Sign::Heard;
        if here && (found.len() < DEVICES_MAX || found.contains_key(&heard.address)) {
            let name = heard.advertisement_name.or(heard.local_name);
            found.insert(
                heard.address,
                Nearby {
                    address: heard.address.to_string(),
                    name: name.map(|name| plain(&name)).filter(|name| !name.is_empty()),
                    signal_dbm: heard.rssi,
                    services: heard.services.iter().map(ToString::to_string).collect(),
                },
            );
        }
    }
    scan.stop().await;
    let mut found: Vec<Nearby> = found.into_values().collect();
    found.sort_by_key(|device| std::cmp::Reverse(device.signal_dbm));
    Ok(found)
}

/// A device names itself as it likes: nothing of that may steer a terminal.
fn plain(text: &str) -> String {
    text.trim().chars().map(|c| if c.is_control() { '\u{fffd}' } else { c }).collect()
}
