//! A simulated level for the program to hear, on a pseudo-terminal or a TCP port, in the hands of a test.
#![allow(dead_code, reason = "each test crate uses its part of the harness")]

use std::any::Any;
use std::fs::File;
use std::os::fd::OwnedFd;
use std::path::Path;
use std::sync::Arc;
use std::sync::mpsc::{Receiver, channel};

use closerun::book::reading::{Reading, Role};
use closerun::link::Registry;
use closerun::protocol;
use closerun::simulate::{self, Act, Frame, Instrument, Make, Place, Seen, Sort, Spoil, Tally, Tempo, Voice};
use closerun::units::{Measured, Unit};
use rustix::pty::{OpenptFlags, grantpt, openpt, ptsname, unlockpt};
use rustix::termios::{OptionalActions, tcgetattr, tcsetattr};

use super::program::PATIENCE;

/// Where programs that run in `folder` look for what is simulated.
pub(crate) fn registry(folder: &Path) -> Registry {
    Registry::at(folder.join("closerun/simulated"))
}

/// A level that speaks a shipped format, as fast as it is heard unless something else is wanted.
pub(crate) struct Level {
    instrument: Instrument,
    voice: Voice,
    sent: Receiver<Sort>,
    shots: u64,
}

impl Level {
    /// On a pseudo-terminal that is called `port` in this folder, also after the cable was pulled.
    pub(crate) fn on_terminal(folder: &Path, format: &str) -> Self {
        Level::at(folder, format, Place::PseudoTerminal { link: Some(folder.join("port")) })
    }

    pub(crate) fn at(folder: &Path, format: &str, place: Place) -> Self {
        Level::with_tempo(folder, format, place, Tempo::Full)
    }

    pub(crate) fn with_tempo(folder: &Path, format: &str, place: Place, tempo: Tempo) -> Self {
        let voice = Voice::of(Arc::new(protocol::find(format).unwrap()));
        let make = Make { place, tempo, manners: voice.manners(), status: None, seed: 5 };
        let registry = registry(folder);
        let register = move |port: &str| -> std::io::Result<Box<dyn Any + Send>> {
            Ok(Box::new(registry.register(port, "a level of the tests")?))
        };
        let (seen, sent) = channel();
        let observe = move |what: Seen<'_>| {
            if let Seen::Sent { sort, .. } = what {
                // Nobody may be waiting for it.
                let _ = seen.send(sort);
            }
        };
        let instrument = simulate::start(make, Box::new(register), observe).unwrap();
        Level { instrument, voice, sent, shots: 0 }
    }

    /// The name to open it by.
    pub(crate) fn port(&self) -> &str {
        self.instrument.port()
    }

    /// A record of a shot in metres; with a role, back and fore in turn, only where the format insists on one.
    pub(crate) fn frame(&mut self, staff: &str, sight: &str) -> Frame {
        self.shots += 1;
        let metres = |text: &str| Measured::parse(text, Unit::Metre).unwrap();
        let mut reading = Reading::of(metres(staff));
        reading.sight = Some(metres(sight));
        reading.sequence = Some(self.shots);
        let with_role = Reading { role: Some([Role::Fore, Role::Back][self.shots as usize % 2]), ..reading.clone() };
        self.voice.reading(&reading).or_else(|_| self.voice.reading(&with_role)).unwrap()
    }

    pub(crate) fn shoot(&mut self, staff: &str, sight: &str) {
        let frame = self.frame(staff, sight);
        self.play(vec![Act::Send(frame)]);
    }

    /// Sends the beginning of a record.
    pub(crate) fn begin(&mut self, staff: &str, sight: &str) {
        let frame = self.frame(staff, sight);
        self.play(vec![Act::Spoil(frame, Spoil::Truncate)]);
    }

    pub(crate) fn play(&self, acts: Vec<Act>) {
        self.instrument.play(acts).unwrap();
    }

    /// Waits until the next of this sort is on the line.
    #[track_caller]
    pub(crate) fn until_sent(&self, wanted: Sort) {
        while self.sent.recv_timeout(PATIENCE).expect("the level sends what it was given") != wanted {}
    }

    /// Lets it send what it has, and ends it.
    pub(crate) fn finish(self) -> Tally {
        self.instrument.finish().unwrap()
    }
}

/// A pseudo-terminal whose instrument is the test itself, byte for byte.
pub(crate) struct BarePort {
    ours: OwnedFd,
    _theirs: File,
    name: String,
}

impl BarePort {
    pub(crate) fn new() -> Self {
        let ours = openpt(OpenptFlags::RDWR | OpenptFlags::NOCTTY | OpenptFlags::CLOEXEC).unwrap();
        grantpt(&ours).unwrap();
        unlockpt(&ours).unwrap();
        let name = ptsname(&ours, Vec::new()).unwrap().into_string().unwrap();
        // Held open and set raw, so that bytes wait for whoever opens it, and none come back.
        let theirs = File::options().read(true).write(true).open(&name).unwrap();
        let mut settings = tcgetattr(&theirs).unwrap();
        settings.make_raw();
        tcsetattr(&theirs, OptionalActions::Now, &settings).unwrap();
        BarePort { ours, _theirs: theirs, name }
    }

    pub(crate) fn name(&self) -> &str {
        &self.name
    }

    pub(crate) fn write(&self, bytes: &[u8]) {
        assert_eq!(rustix::io::write(&self.ours, bytes).unwrap(), bytes.len());
    }
}
