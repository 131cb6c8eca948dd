//! Which outlets a run gets on this terminal.

use std::io::{self, IsTerminal};

use tokio::sync::mpsc;

use super::arguments::View;
use crate::daemon::Ask;
#[cfg(unix)]
use crate::daemon::outlet::Supervisor;
use crate::daemon::outlet::{Form, LineWriter, Outlet, RawTerminal, Screen, SystemSounder, Tones, read_keys};
use crate::link::Stop;
use crate::report::live::{Ink, Painter};

/// Columns of text that goes into a pipe.
const PIPE_WIDTH: usize = 80;

/// The outlets, and the terminal in raw mode as long as its keys are read.
pub(super) struct Outlets {
    pub(super) all: Vec<Box<dyn Outlet>>,
    pub(super) raw: Option<RawTerminal>,
}

/// Whether keys are commands.
#[derive(Clone, Copy, PartialEq, Eq)]
pub(super) enum KeysAre {
    Commands,
    Unused,
}

/// Chooses: JSON lines, a terminal view, or plain lines in a pipe; tones beside them.
pub(super) fn choose(view: &View, tones: bool, keys_are: KeysAre, asks: &mpsc::Sender<Ask>, stop: &Stop) -> Outlets {
    let mut all: Vec<Box<dyn Outlet>> = Vec::new();
    let mut raw = None;
    if view.json {
        all.push(Box::new(LineWriter::new(Form::Json, io::stdout())));
    } else if io::stdout().is_terminal() {
        let (screen, keys) = Screen::new(ink(), io::stdout());
        if keys_are == KeysAre::Commands {
            raw = read_keys(keys, asks.clone(), stop.clone());
        }
        all.push(Box::new(screen));
    } else {
        all.push(Box::new(LineWriter::new(Form::Text(Painter::new(Ink::Plain, PIPE_WIDTH)), io::stdout())));
    }
    if tones && !view.quiet && io::stderr().is_terminal() {
        all.push(Box::new(Tones::new(SystemSounder::new(io::stderr()))));
    }
    Outlets { all, raw }
}

/// Whoever started the program and watches over it, if anybody does.
#[cfg(unix)]
pub(super) fn supervisor() -> Option<Box<dyn Outlet>> {
    Supervisor::of_environment().map(|supervisor| Box::new(supervisor) as Box<dyn Outlet>)
}

#[cfg(not(unix))]
pub(super) fn supervisor() -> Option<Box<dyn Outlet>> {
    None
}

/// Colour unless the environment asks for none (the convention of no-color.org) or the terminal has none.
pub(super) fn ink() -> Ink {
    let no_colour = std::env::var_os("NO_COLOR").is_some_and(|value| !value.is_empty());
    let plain = std::env::var_os("TERM").is_none_or(|term| term == "dumb");
    if no_colour || plain { Ink::Signs } else { Ink::Colour }
}
