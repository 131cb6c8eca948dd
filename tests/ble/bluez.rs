//! A stand-in for BlueZ: the part of its D-Bus interfaces that a Bluetooth Low Energy central uses, with one adapter and
//! the instruments that a test puts within its reach.
//!
//! The objects, their names and properties are those that BlueZ describes in its own interface documents (org.bluez.Adapter,
//! Device, GattService, GattCharacteristic).

use std::collections::HashMap;
use std::sync::{Arc, Mutex, MutexGuard};

use zbus::object_server::ObjectServer;
use zbus::{Connection, DBusError, OwnedObjectPath, OwnedVariant, Variant, fdo, interface};

const ADAPTER: &str = "/org/bluez/hci0";

/// The service of the tests, invented for them.
pub(crate) const SERVICE: &str = "5ca1ab1e-0001-4c0d-8b1e-0123456789ab";
/// The characteristic by which an instrument sends.
pub(crate) const NOTIFY: &str = "5ca1ab1e-0002-4c0d-8b1e-0123456789ab";
/// The characteristic by which it takes.
pub(crate) const WRITE: &str = "5ca1ab1e-0003-4c0d-8b1e-0123456789ab";

/// The stand-in's memory, shared by its objects and the test.
#[derive(Clone)]
pub(crate) struct Radio(Arc<Mutex<State>>);

struct State {
    powered: bool,
    discovering: bool,
    /// Instruments within reach, by address.
    near: Vec<Peer>,
    /// Paths of device objects that are there.
    known: Vec<String>,
    /// What was asked of it, in order: `Connect 11:22:33:44:55:66`.
    calls: Vec<String>,
    /// Written to instruments, in order.
    written: Vec<Vec<u8>>,
    /// The next connections fail, that many of them, with these words.
    connections_failing: (u32, &'static str),
    /// The next subscriptions are refused as a pairing is, that many of them.
    pairings_refused: u32,
    /// Handles are other ones at each connection.
    handle: u16,
    /// How often each value is signalled: twice, as where somebody reads it beside us, or two subscriptions are alive.
    signals: u32,
}

/// An instrument within reach.
#[derive(Clone)]
pub(crate) struct Peer {
    address: &'static str,
    name: &'static str,
    mtu: u16,
    /// The service that it has.
    service: &'static str,
    connected: bool,
    resolved: bool,
    notifying: bool,
    /// Where its service is, while it is connected.
    service_path: Option<String>,
}

impl Peer {
    pub(crate) fn new(address: &'static str, name: &'static str) -> Self {
        Peer {
            address,
            name,
            mtu: 247,
            service: SERVICE,
            connected: false,
            resolved: false,
            notifying: false,
            service_path: None,
        }
    }

    pub(crate) fn with_mtu(self, mtu: u16) -> Self {
        Peer { mtu, ..self }
    }

    pub(crate) fn with_service(self, service: &'static str) -> Self {
        Peer { service, ..self }
    }

    fn path(&self) -> String {
        format!("{ADAPTER}/dev_{}", self.address.replace(':', "_"))
    }
}

impl Radio {
    pub(crate) fn new() -> Self {
        Radio(Arc::new(Mutex::new(State {
            powered: true,
            discovering: false,
            near: Vec::new(),
            known: Vec::new(),
            calls: Vec::new(),
            written: Vec::new(),
            connections_failing: (0, ""),
            pairings_refused: 0,
            handle: 0x0010,
            signals: 1,
        })))
    }

    fn state(&self) -> MutexGuard<'_, State> {
        self.0.lock().unwrap()
    }

    pub(crate) fn calls(&self) -> Vec<String> {
        self.state().calls.clone()
    }

    /// How often that was asked.
    pub(crate) fn count(&self, call: &str) -> usize {
        self.state().calls.iter().filter(|asked| asked.starts_with(call)).count()
    }

    pub(crate) fn written(&self) -> Vec<Vec<u8>> {
        self.state().written.clone()
    }

    pub(crate) fn fail_connections(&self, times: u32, with: &'static str) {
        self.state().connections_failing = (times, with);
    }

    pub(crate) fn refuse_pairings(&self, times: u32) {
        self.state().pairings_refused = times;
    }

    /// From now on each value is signalled so often.
    pub(crate) fn signal_each(&self, times: u32) {
        self.state().signals = times;
    }

    pub(crate) fn is_subscribed(&self) -> bool {
        self.state().near.iter().any(|peer| peer.notifying)
    }

    /// Switched off before anybody asks.
    pub(crate) fn begin_switched_off(&self) {
        self.state().powered = false;
    }

    fn call(&self, what: &str) {
        self.state().calls.push(what.to_owned());
    }

    fn peer<T>(&self, address: &str, of: impl FnOnce(&mut Peer) -> T) -> Option<T> {
        self.state().near.iter_mut().find(|peer| peer.address == address).map(of)
    }

    /// Brings an instrument within reach: heard at once if somebody listens.
    pub(crate) async fn bring(&self, bus: &Connection, peer: Peer) {
        let discovering = {
            let mut state = self.state();
            state.near.push(peer.clone());
            state.discovering
        };
        if discovering {
            self.advertise(bus, &peer).await;
        }
    }

    async fn advertise(&self, bus: &Connection, peer: &Peer) {
        let path = peer.path();
        let new = {
            let mut state = self.state();
            let new = !state.known.contains(&path);
            if new {
                state.known.push(path.clone());
            }
            new
        };
        if new {
            let device = Device { radio: self.clone(), address: peer.address };
            bus.object_server().at(path, device).await.unwrap();
        } else {
            changed(bus, &path, "org.bluez.Device1", "RSSI", Variant::from(-48i16)).await;
        }
    }

    /// Takes an instrument out of reach: its connection breaks, and it is forgotten.
    pub(crate) async fn take_away(&self, bus: &Connection, address: &str) {
        self.drop_connection(bus, address, Word::Given).await;
        let path = {
            let mut state = self.state();
            let at = state.near.iter().position(|peer| peer.address == address).expect("it is near");
            let path = state.near.remove(at).path();
            state.known.retain(|known| *known != path);
            path
        };
        bus.object_server().remove::<Device, _>(path).await.unwrap();
    }

    /// Breaks a connection, with or without a word of it.
    pub(crate) async fn drop_connection(&self, bus: &Connection, address: &str, word: Word) {
        let (path, service) = self
            .peer(address, |peer| {
                (peer.connected, peer.resolved, peer.notifying) = (false, false, false);
                (peer.path(), peer.service_path.take())
            })
            .expect("it is near");
        if word == Word::Given {
            for name in ["Connected", "ServicesResolved"] {
                changed(bus, &path, "org.bluez.Device1", name, Variant::from(false)).await;
            }
        }
        if let Some(service) = service {
            let server = bus.object_server();
            for (characteristic, _) in characteristics(&service) {
                server.remove::<GattCharacteristic, _>(characteristic).await.unwrap();
            }
            server.remove::<GattService, _>(service).await.unwrap();
        }
    }

    /// An instrument sends: one notification. Nothing comes of it unless somebody has subscribed.
    pub(crate) async fn notify(&self, bus: &Connection, address: &str, value: &[u8]) {
        let path = self.peer(address, |peer| peer.service_path.clone().filter(|_| peer.notifying)).flatten();
        if let Some(service) = path {
            let [_, (notify, _)] = characteristics(&service);
            let signals = self.state().signals;
            for _ in 0..signals {
                changed(bus, &notify, "org.bluez.GattCharacteristic1", "Value", Variant::from(value.to_vec())).await;
            }
        }
    }

    /// Switches the adapter; off, its connections break.
    pub(crate) async fn switch(&self, bus: &Connection, powered: bool) {
        self.state().powered = powered;
        changed(bus, ADAPTER, "org.bluez.Adapter1", "Powered", Variant::from(powered)).await;
        if !powered {
            let near: Vec<&str> = self.state().near.iter().map(|peer| peer.address).collect();
            for address in near {
                self.drop_connection(bus, address, Word::Given).await;
            }
        }
    }

    /// Forgets every device and connection, as a restart does.
    pub(crate) fn restart(&self) {
        let mut state = self.state();
        state.known.clear();
        state.discovering = false;
        for peer in &mut state.near {
            *peer = Peer { mtu: peer.mtu, service: peer.service, ..Peer::new(peer.address, peer.name) };
        }
    }

    /// The objects that are there from the start.
    pub(crate) async fn serve(&self, address: &str, adapters: Adapters) -> Connection {
        let mut builder = zbus::connection::Builder::address(address).serve_at("/", fdo::ObjectManager);
        if adapters == Adapters::One {
            builder = builder.serve_at(ADAPTER, Adapter(self.clone()));
        }
        builder.name("org.bluez").build().await.unwrap()
    }
}

/// Whether a connection that breaks is told.
#[derive(Clone, Copy, PartialEq, Eq)]
pub(crate) enum Word {
    Given,
    Kept,
}

/// How many adapters there are.
#[derive(Clone, Copy, PartialEq, Eq)]
pub(crate) enum Adapters {
    None,
    One,
}

/// Paths of a service's characteristics: the one that is written to, and the one that notifies.
fn characteristics(service: &str) -> [(String, Does); 2] {
    let handle = u16::from_str_radix(&service[service.len() - 4..], 16).unwrap();
    [(handle + 1, Does::Takes), (handle + 3, Does::Notifies)]
        .map(|(handle, does)| (format!("{service}/char{handle:04x}"), does))
}

async fn changed(bus: &Connection, path: &str, interface: &str, name: &str, value: Variant<'_>) {
    let body = (interface, HashMap::from([(name, value)]), Vec::<&str>::new());
    let signal = bus.emit_signal(None::<&str>, path, "org.freedesktop.DBus.Properties", "PropertiesChanged", &body);
    signal.await.unwrap();
}

/// What BlueZ refuses with.
#[derive(Debug, DBusError)]
#[zbus(prefix = "org.bluez.Error")]
enum Refusal {
    #[zbus(error)]
    Bus(zbus::Error),
    Failed(String),
    NotReady(String),
    AuthenticationFailed(String),
}

struct Adapter(Radio);

#[interface(name = "org.bluez.Adapter1")]
impl Adapter {
    fn set_discovery_filter(&self, _filter: HashMap<String, OwnedVariant>) {}

    async fn start_discovery(&self, #[zbus(connection)] bus: &Connection) -> Result<(), Refusal> {
        self.0.call("StartDiscovery");
        if !self.0.state().powered {
            return Err(Refusal::NotReady("Resource Not Ready".to_owned()));
        }
        self.0.state().discovering = true;
        let (radio, bus) = (self.0.clone(), bus.clone());
        tokio::spawn(async move {
            let near = radio.state().near.clone();
            for peer in near {
                radio.advertise(&bus, &peer).await;
            }
        });
        Ok(())
    }

    fn stop_discovery(&self) {
        self.0.state().discovering = false;
    }

    fn remove_device(&self, device: OwnedObjectPath) {
        self.0.call(&format!("RemoveDevice {device:?}"));
    }

    #[zbus(property)]
    fn address(&self) -> &str {
        "00:00:5E:00:53:01"
    }

    #[zbus(property)]
    fn address_type(&self) -> &str {
        "public"
    }

    #[zbus(property)]
    fn name(&self) -> &str {
        "stand-in"
    }

    #[zbus(property)]
    fn alias(&self) -> &str {
        "stand-in"
    }

    #[zbus(property)]
    fn modalias(&self) -> &str {
        "usb:v1D6Bp0246d0542"
    }

    #[zbus(property)]
    fn discovering(&self) -> bool {
        self.0.state().discovering
    }

    #[zbus(property)]
    fn powered(&self) -> bool {
        self.0.state().powered
    }

    #[zbus(property)]
    fn set_powered(&self, powered: bool) {
        let mut state = self.0.state();
        if state.powered != powered {
            state.calls.push(format!("Powered {powered}"));
            state.powered = powered;
        }
    }
}

struct Device {
    radio: Radio,
    address: &'static str,
}

impl Device {
    fn peer<T>(&self, of: impl FnOnce(&mut Peer) -> T) -> T {
        self.radio.peer(self.address, of).expect("a device that is there is near")
    }
}

#[interface(name = "org.bluez.Device1")]
impl Device {
    async fn connect(&self, #[zbus(connection)] bus: &Connection) -> Result<(), Refusal> {
        self.radio.call(&format!("Connect {}", self.address));
        let (service, handle) = {
            let mut state = self.radio.state();
            let (failing, with) = &mut state.connections_failing;
            if *failing > 0 {
                *failing -= 1;
                return Err(Refusal::Failed((*with).to_owned()));
            }
            state.handle += 0x10;
            (self.address, state.handle)
        };
        let path = self.peer(|peer| {
            peer.connected = true;
            peer.path()
        });
        changed(bus, &path, "org.bluez.Device1", "Connected", Variant::from(true)).await;
        let (radio, bus) = (self.radio.clone(), bus.clone());
        tokio::spawn(async move { resolve(&radio, &bus, service, &path, handle).await });
        Ok(())
    }

    async fn disconnect(&self, #[zbus(connection)] bus: &Connection) {
        self.radio.call(&format!("Disconnect {}", self.address));
        let (radio, bus, address) = (self.radio.clone(), bus.clone(), self.address);
        tokio::spawn(async move { radio.drop_connection(&bus, address, Word::Given).await });
    }

    fn pair(&self) {
        self.radio.call(&format!("Pair {}", self.address));
    }

    #[zbus(property)]
    fn address(&self) -> &str {
        self.address
    }

    #[zbus(property)]
    fn address_type(&self) -> &str {
        "public"
    }

    #[zbus(property)]
    fn name(&self) -> &str {
        self.peer(|peer| peer.name)
    }

    #[zbus(property)]
    fn alias(&self) -> &str {
        self.peer(|peer| peer.name)
    }

    #[zbus(property, name = "RSSI")]
    fn rssi(&self) -> i16 {
        -47
    }

    #[zbus(property, name = "UUIDs")]
    fn uuids(&self) -> Vec<&str> {
        vec![self.peer(|peer| peer.service)]
    }

    #[zbus(property)]
    fn connected(&self) -> bool {
        self.peer(|peer| peer.connected)
    }

    #[zbus(property)]
    fn services_resolved(&self) -> bool {
        self.peer(|peer| peer.resolved)
    }

    #[zbus(property)]
    fn paired(&self) -> bool {
        // As it stays when the other side has forgotten the bond.
        true
    }

    #[zbus(property)]
    fn bonded(&self) -> bool {
        false
    }

    #[zbus(property)]
    fn trusted(&self) -> bool {
        false
    }

    #[zbus(property)]
    fn blocked(&self) -> bool {
        false
    }

    #[zbus(property)]
    fn legacy_pairing(&self) -> bool {
        false
    }
}

/// A connection is there: its services appear, and that is told.
async fn resolve(radio: &Radio, bus: &Connection, address: &'static str, path: &str, handle: u16) {
    let service_path = format!("{path}/service{handle:04x}");
    // It may have gone again in the meantime.
    let Some(uuid) = radio.peer(address, |peer| peer.connected.then_some(peer.service)).flatten() else { return };
    let server: &ObjectServer = bus.object_server();
    server.at(service_path.as_str(), GattService { uuid }).await.unwrap();
    for (characteristic, does) in characteristics(&service_path) {
        let object = GattCharacteristic { radio: radio.clone(), address, does };
        server.at(characteristic, object).await.unwrap();
    }
    radio.peer(address, |peer| {
        (peer.resolved, peer.service_path) = (true, Some(service_path));
    });
    changed(bus, path, "org.bluez.Device1", "ServicesResolved", Variant::from(true)).await;
}

struct GattService {
    uuid: &'static str,
}

#[interface(name = "org.bluez.GattService1")]
impl GattService {
    #[zbus(property, name = "UUID")]
    fn uuid(&self) -> &str {
        self.uuid
    }

    #[zbus(property)]
    fn primary(&self) -> bool {
        true
    }
}

/// What a characteristic is for.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Does {
    Takes,
    Notifies,
}

struct GattCharacteristic {
    radio: Radio,
    address: &'static str,
    does: Does,
}

#[interface(name = "org.bluez.GattCharacteristic1")]
impl GattCharacteristic {
    fn start_notify(&self) -> Result<(), Refusal> {
        self.radio.call(&format!("StartNotify {}", self.address));
        {
            let mut state = self.radio.state();
            if state.pairings_refused > 0 {
                state.pairings_refused -= 1;
                return Err(Refusal::AuthenticationFailed("Authentication Failed".to_owned()));
            }
        }
        self.radio.peer(self.address, |peer| peer.notifying = true);
        Ok(())
    }

    fn stop_notify(&self) {
        self.radio.peer(self.address, |peer| peer.notifying = false);
    }

    fn write_value(&self, value: Vec<u8>, _options: HashMap<String, OwnedVariant>) {
        self.radio.state().written.push(value);
    }

    #[zbus(property, name = "UUID")]
    fn uuid(&self) -> &str {
        match self.does {
            Does::Takes => WRITE,
            Does::Notifies => NOTIFY,
        }
    }

    #[zbus(property)]
    fn flags(&self) -> Vec<&str> {
        match self.does {
            Does::Takes => vec!["write", "write-without-response"],
            Does::Notifies => vec!["notify"],
        }
    }

    #[zbus(property)]
    fn notifying(&self) -> bool {
        self.radio.peer(self.address, |peer| peer.notifying).unwrap_or(false)
    }

    #[zbus(property, name = "MTU")]
    fn mtu(&self) -> u16 {
        self.radio.peer(self.address, |peer| peer.mtu).unwrap_or(23)
    }
}
