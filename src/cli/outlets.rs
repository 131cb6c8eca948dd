//! Which outlets a run gets on this terminal.

use std::io::{self, IsTerminal};

use tokio::sync::mpsc;

use super::arguments::View;
use crate::config::Sound;
use crate::daemon::Ask;
use crate::daemon::outlet::{Form, LineWriter, Outlet, RawTerminal, Screen, Shared, SystemSounder, Tones, read_keys};
use crate::link::Stop;
use crate::report::live::Ink;

/// The outlets of this terminal, shared by all instruments, and the terminal in raw mode as long as its keys are read.
/// They are dropped in this order: the foot of the screen is taken away while it can be.
pub(super) struct Outlets {
    shared: Vec<Shared>,
    _raw: Option<RawTerminal>,
}

/// An instrument as the terminal knows it.
pub(super) struct Instrument {
    pub(super) name: Option<String>,
    pub(super) asks: mpsc::Sender<Ask>,
}

/// Whether keys are commands.
#[derive(Clone, Copy, PartialEq, Eq)]
pub(super) enum KeysAre {
    Commands,
    Unused,
}

impl Outlets {
    /// Chooses: JSON lines, a terminal view, or plain lines in a pipe; tones beside them.
    pub(super) fn choose(view: &View, sound: Sound, keys: KeysAre, instruments: &[Instrument], stop: &Stop) -> Self {
        let names: Vec<String> = instruments.iter().filter_map(|instrument| instrument.name.clone()).collect();
        let mut raw = None;
        let mut shared = vec![if view.json {
            Shared::new(LineWriter::new(Form::Json, io::stdout()))
        } else if io::stdout().is_terminal() {
            let (screen, to_screen) = Screen::new(ink(), &names, io::stdout());
            if keys == KeysAre::Commands {
                let asks = instruments.iter().map(|instrument| instrument.asks.clone()).collect();
                raw = read_keys(to_screen, asks, stop.clone());
            }
            Shared::new(screen)
        } else {
            Shared::new(LineWriter::new(Form::text(&names), io::stdout()))
        }];
        if sound == Sound::On && !view.quiet && io::stderr().is_terminal() {
            shared.push(Shared::new(Tones::new(SystemSounder::new(io::stderr()))));
        }
        Outlets { shared, _raw: raw }
    }

    /// The outlets of one of the instruments.
    pub(super) fn of_one(&self) -> Vec<Box<dyn Outlet>> {
        self.shared.iter().map(|outlet| Box::new(outlet.clone()) as Box<dyn Outlet>).collect()
    }
}

/// Colour unless the environment asks for none (the convention of no-color.org) or the terminal has none.
pub(super) fn ink() -> Ink {
    let no_colour = std::env::var_os("NO_COLOR").is_some_and(|value| !value.is_empty());
    let plain = std::env::var_os("TERM").is_none_or(|term| term == "dumb");
    if no_colour || plain { Ink::Signs } else { Ink::Colour }
}
