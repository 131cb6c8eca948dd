//! What is listened to, and how: the settings that stay outside the job file.

use std::path::PathBuf;
use std::time::Duration;

use super::check::{Check, one_of};
use super::given::{Given, Place, SerialGiven};
use crate::link::{BAUD_MAX, BAUD_MIN, DataBits, Flow, LinkSpec, Pace, Parity, SerialSettings, StopBits, Uart};

/// The longest silence that can be waited for before it is said, in seconds: an hour, after which nobody is there.
const QUIET_MAX_S: u64 = 3600;

/// Where the bytes come from.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Source {
    /// A serial port, by its path or name.
    Port(String),
    /// A Bluetooth device, by its name or address.
    Ble(String),
    /// A TCP server, `host:port`.
    Tcp(String),
    /// Standard input.
    StandardInput,
    /// A capture file.
    Capture {
        /// The file.
        path: PathBuf,
        /// How fast it is played.
        pace: Pace,
    },
}

impl Source {
    /// The link to be opened, a serial port being set like this, and a Bluetooth device heard by that service. `None`: it
    /// is one, and nobody has said which service.
    pub fn link(&self, serial: SerialSettings, uart: Option<Uart>) -> Option<LinkSpec> {
        Some(match self {
            Source::Port(path) => LinkSpec::Serial { path: path.clone(), settings: serial },
            Source::Ble(device) => LinkSpec::Ble { device: device.clone(), uart: uart? },
            Source::Tcp(address) => LinkSpec::Tcp { address: address.clone() },
            Source::StandardInput => LinkSpec::Stdin,
            Source::Capture { path, pace } => LinkSpec::Capture { path: path.clone(), pace: *pace },
        })
    }
}

/// A record format, before anybody has looked for it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum FormatChoice {
    /// A shipped one, by its name.
    Named(String),
    /// A format file.
    File(PathBuf),
}

/// Settings of a serial port that differ from the format's.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Serial {
    /// Bits a second.
    pub baud: Option<u32>,
    /// Data bits, parity and stop bits.
    pub character: Option<(DataBits, Parity, StopBits)>,
    /// Flow control.
    pub flow: Option<Flow>,
}

impl Serial {
    /// The format's settings with these in their place.
    pub fn over(self, format: SerialSettings) -> SerialSettings {
        let (data_bits, parity, stop_bits) =
            self.character.unwrap_or((format.data_bits, format.parity, format.stop_bits));
        SerialSettings {
            baud: self.baud.unwrap_or(format.baud),
            data_bits,
            parity,
            stop_bits,
            flow: self.flow.unwrap_or(format.flow),
        }
    }
}

/// Whether tones are given.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Sound {
    /// Tones for *hold* and *clear*.
    On,
    /// None.
    Off,
}

pub(super) fn source(check: &mut Check<'_>, given: &Given) -> Option<Source> {
    let stdin = given.stdin.as_ref().filter(|said| said.value);
    let said: Vec<(&str, &Place)> = [
        given.port.as_ref().map(|said| ("port", &said.place)),
        given.ble.as_ref().map(|said| ("ble", &said.place)),
        given.tcp.as_ref().map(|said| ("tcp", &said.place)),
        stdin.map(|said| ("stdin", &said.place)),
        given.capture.as_ref().map(|said| ("capture", &said.place)),
    ]
    .into_iter()
    .flatten()
    .collect();
    if let [(first, _), (second, place), ..] = said.as_slice() {
        check.refuse(place, format!("{first} and {second} found, one source of bytes was wanted"));
    }
    let port = check.read(given.port.as_ref(), |text| named(text, "port", "/dev/ttyUSB0").map(Source::Port));
    let ble =
        check.read(given.ble.as_ref(), |text| named(text, "Bluetooth name or address", "LEVEL-7").map(Source::Ble));
    let tcp = check.read(given.tcp.as_ref(), |text| tcp(text));
    let capture = check.read(given.capture.as_ref(), |text| path(text, "capture file", "morning.capture"));
    let words = [("recorded", Pace::Recorded), ("full", Pace::Full)];
    let pace = check.read(given.pace.as_ref(), |text| one_of("pace", text, &words)).unwrap_or(Pace::Recorded);
    let capture = capture.map(|path| Source::Capture { path, pace });
    port.or(ble).or(tcp).or(stdin.map(|_| Source::StandardInput)).or(capture)
}

fn tcp(text: &str) -> Result<Source, String> {
    let text = text.trim();
    let port = |port: &str| port.parse::<u16>().is_ok_and(|port| port != 0);
    match text.rsplit_once(':') {
        Some((host, number)) if !host.is_empty() && port(number) => Ok(Source::Tcp(text.to_owned())),
        _ => Err(format!("{text:?} found, a host and a port such as 192.168.4.1:7001 were wanted")),
    }
}

pub(super) fn serial(check: &mut Check<'_>, given: &SerialGiven) -> Serial {
    let baud = check.read(given.baud.as_ref(), |&baud| match baud {
        BAUD_MIN..=BAUD_MAX => Ok(baud),
        _ => Err(format!("{baud} found, a speed of {BAUD_MIN} to {BAUD_MAX} bits a second was wanted")),
    });
    let words = [("none", Flow::None), ("hardware", Flow::Hardware), ("software", Flow::Software)];
    Serial {
        baud,
        character: check.read(given.character.as_ref(), |text| character(text)),
        flow: check.read(given.flow.as_ref(), |text| one_of("flow control", text, &words)),
    }
}

fn character(text: &str) -> Result<(DataBits, Parity, StopBits), String> {
    // The link reads it behind a speed; nothing may follow it there.
    let alone = Some(text).filter(|text| !text.contains(char::is_whitespace));
    match alone.and_then(|text| format!("{BAUD_MIN} {text}").parse::<SerialSettings>().ok()) {
        Some(read) if !text.is_empty() => Ok((read.data_bits, read.parity, read.stop_bits)),
        _ => Err(format!("{text:?} found, data bits, parity and stop bits such as 8N1 or 7E1 were wanted")),
    }
}

/// What looks like a path is one; what does not is a name, which only the formats themselves can know.
pub(super) fn format(check: &mut Check<'_>, given: &Given) -> Option<FormatChoice> {
    check.read(given.format.as_ref(), |text| {
        let text = named(text, "format", "comma")?;
        let is_path = text.ends_with(".toml") || text.contains(['/', '\\']);
        Ok(if is_path { FormatChoice::File(text.into()) } else { FormatChoice::Named(text) })
    })
}

pub(super) fn job(check: &mut Check<'_>, given: &Given) -> Option<PathBuf> {
    check.read(given.job.as_ref(), |text| path(text, "job file", "core-north.job"))
}

pub(super) fn quiet_after(check: &mut Check<'_>, given: &Given) -> Option<Duration> {
    check.read(given.quiet_after_s.as_ref(), |&seconds| match seconds {
        1..=QUIET_MAX_S => Ok(Duration::from_secs(seconds)),
        _ => Err(format!("{seconds} found, a number of seconds from 1 to {QUIET_MAX_S} was wanted")),
    })
}

pub(super) fn sound(check: &mut Check<'_>, given: &Given) -> Sound {
    let words = [("on", Sound::On), ("off", Sound::Off)];
    check.read(given.sound.as_ref(), |text: &String| one_of("sound", text, &words)).unwrap_or(Sound::On)
}

fn path(text: &str, what: &str, such_as: &str) -> Result<PathBuf, String> {
    named(text, what, such_as).map(PathBuf::from)
}

fn named(text: &str, what: &str, such_as: &str) -> Result<String, String> {
    match text.trim() {
        "" => Err(format!("an empty name found, a {what} such as {such_as} was wanted")),
        name => Ok(name.to_owned()),
    }
}
