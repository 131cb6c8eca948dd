//! A site of a test: a folder, a bus, the stand-in on it, and the program that listens there.

use std::path::Path;
use std::process::Command;

use serde_json::Value;
use tempfile::TempDir;
use tokio::runtime::Runtime;
use zbus::Connection;

use crate::bluez::{Adapters, NOTIFY, Peer, Radio, SERVICE, WRITE, Word};
use crate::bus::Bus;
use crate::program::{Program, command, until};

/// The instrument that most tests listen to. The address is one that is set aside for documentation (RFC 7042).
pub(crate) const ADDRESS: &str = "00:00:5E:00:53:66";
pub(crate) const NAME: &str = "LEVEL-7";

/// A folder, a bus, and the stand-in on it.
pub(crate) struct Site {
    pub(crate) radio: Radio,
    stand_in: Option<Connection>,
    runtime: Runtime,
    bus: Bus,
    folder: TempDir,
}

impl Site {
    /// With an adapter and nothing within reach. `None` where there is no D-Bus daemon.
    pub(crate) fn new() -> Option<Self> {
        Site::with(Some(Adapters::One))
    }

    /// With that many adapters, or without a Bluetooth service at all.
    pub(crate) fn with(adapters: Option<Adapters>) -> Option<Self> {
        let folder = tempfile::tempdir().unwrap();
        let bus = Bus::start(folder.path())?;
        let runtime = tokio::runtime::Builder::new_multi_thread().worker_threads(1).enable_all().build().unwrap();
        let radio = Radio::new();
        let stand_in = adapters.map(|adapters| runtime.block_on(radio.serve(bus.address(), adapters)));
        std::fs::write(folder.path().join("level.toml"), format_file()).unwrap();
        Some(Site { radio, stand_in, runtime, bus, folder })
    }

    pub(crate) fn folder(&self) -> &Path {
        self.folder.path()
    }

    /// The program, with this bus as its system's.
    pub(crate) fn command(&self, arguments: &str) -> Command {
        let mut command = command(self.folder(), arguments);
        command.env("DBUS_SYSTEM_BUS_ADDRESS", self.bus.address());
        command
    }

    /// `listen` to the instrument with JSON lines, whether it is there or not.
    pub(crate) fn wait_for_it(&self) -> Program {
        let listen = format!("listen --ble {NAME} --format level.toml --job tower.job --json --wait --no-page");
        Program::of(&mut self.command(&listen))
    }

    /// `listen` to the instrument with JSON lines, connected and subscribed.
    pub(crate) fn listen(&self) -> Program {
        let mut program = self.wait_for_it();
        self.until_heard(&mut program);
        program
    }

    /// Waits until it listens, for the first time or again.
    #[track_caller]
    pub(crate) fn until_heard(&self, program: &mut Program) {
        program.json_line("link that is open", |line| {
            line["type"] == "listening" || line["type"] == "link" && line["state"] == "open"
        });
        until("subscription", || self.radio.is_subscribed());
    }

    /// Waits until the link is in that state, and gives what is said of it.
    #[track_caller]
    pub(crate) fn until_state(&self, program: &mut Program, state: &str) -> String {
        let line = program.json_line(&format!("link that is {state}"), |line| is_link(line, state));
        line["text"].as_str().unwrap().to_owned()
    }

    fn stand_in(&self) -> &Connection {
        self.stand_in.as_ref().expect("it is on the bus")
    }

    /// The instrument is brought within reach.
    pub(crate) fn bring(&self, peer: Peer) {
        self.runtime.block_on(self.radio.bring(self.stand_in(), peer));
    }

    pub(crate) fn bring_level(&self) {
        self.bring(Peer::new(ADDRESS, NAME));
    }

    pub(crate) fn take_away(&self, address: &str) {
        self.runtime.block_on(self.radio.take_away(self.stand_in(), address));
    }

    pub(crate) fn drop_connection(&self, word: Word) {
        self.runtime.block_on(self.radio.drop_connection(self.stand_in(), ADDRESS, word));
    }

    pub(crate) fn switch(&self, powered: bool) {
        self.runtime.block_on(self.radio.switch(self.stand_in(), powered));
    }

    /// The instrument sends one notification.
    pub(crate) fn notify(&self, value: &[u8]) {
        self.runtime.block_on(self.radio.notify(self.stand_in(), ADDRESS, value));
    }

    /// BlueZ goes from the bus, with all that it knew.
    pub(crate) fn stop_service(&mut self) {
        let stand_in = self.stand_in.take().expect("it is on the bus");
        self.runtime.block_on(stand_in.close()).unwrap();
        self.radio.restart();
    }

    /// And is back.
    pub(crate) fn start_service(&mut self) {
        self.stand_in = Some(self.runtime.block_on(self.radio.serve(self.bus.address(), Adapters::One)));
    }
}

fn is_link(line: &Value, state: &str) -> bool {
    line["type"] == "link" && line["state"] == state
}

/// A record of a shot, number and staff reading told.
pub(crate) fn record(number: usize) -> (String, String) {
    let staff = format!("{}.{:05}", 1 + number % 2, 20_000 + number * 37);
    (format!("R,{number},,{staff},20.{:02},\r\n", number % 90), staff)
}

/// The comma-separated format, over the service of the tests, greeting longer than one write can carry.
fn format_file() -> String {
    let comma = std::fs::read_to_string(Path::new(env!("CARGO_MANIFEST_DIR")).join("protocols/comma.toml")).unwrap();
    let talks = comma.replacen("[talk]\n", &format!("[talk]\ngreeting = [{GREETING:?}]\n"), 1);
    assert_ne!(talks, comma);
    format!("{talks}\n[link.ble]\nservice = {SERVICE:?}\nnotify = {NOTIFY:?}\nwrite = {WRITE:?}\n")
}

/// What the instrument is sent when it is connected.
pub(crate) const GREETING: &str = "HELLO, SEND EACH READING AS SOON AS IT IS TAKEN\r\n";
