//! The terminal view: lines that scroll and stay, and one status block at the foot that is drawn over.

mod draw;
mod keys;

use std::io::Write;
use std::sync::mpsc::{SyncSender, TrySendError, sync_channel};
use std::thread::JoinHandle;
use std::time::Duration;

use super::lines::wait_for;
use super::{Outlet, Shown, Standing};
use crate::report::live::{self, Ink, Painter, What, standing_line, status_block};
use draw::{Drawing, Foot, Stand, draw};

pub use keys::{Keys, RawTerminal, read_keys};

/// How many drawings wait for a slow terminal; beyond it status blocks are left out, then lines.
const WAITING_MAX: usize = 4096;
/// Widest and narrowest view that is drawn; the design is for eighty.
const WIDTH: (usize, usize) = (60, 120);
/// Heard so long ago or less, an instrument counts as heard now.
const NOW: Duration = Duration::from_secs(3);

/// The terminal view. Dropped, it puts the terminal back.
pub struct Screen {
    painter: Painter,
    ink: Ink,
    width: usize,
    /// Of the instruments, in the order in which keys go to them; none for one that needs no name.
    names: Vec<String>,
    /// How each was last drawn.
    last: Vec<Stand>,
    drawings: Option<SyncSender<Drawing>>,
    thread: Option<JoinHandle<()>>,
}

impl Screen {
    /// Draws on `out` what instruments of these names do. Gives the keys' way to it.
    pub fn new(ink: Ink, names: &[String], mut out: impl Write + Send + 'static) -> (Self, Keys) {
        let width = crossterm::terminal::size().map_or(80, |(columns, _)| usize::from(columns)).clamp(WIDTH.0, WIDTH.1);
        let (drawings, waiting) = sync_channel(WAITING_MAX);
        let foot = Foot::new(names);
        let thread = std::thread::Builder::new()
            .name("screen".to_owned())
            .spawn(move || {
                // A terminal that went away ends the drawing, not the recording.
                let _ = draw(&waiting, foot, &mut out);
            })
            .ok();
        let keys = Keys(drawings.clone());
        let screen = Screen {
            painter: painter(ink, width, names),
            ink,
            width,
            names: names.to_vec(),
            last: vec![Stand::default(); names.len().max(1)],
            drawings: Some(drawings),
            thread,
        };
        (screen, keys)
    }

    /// Draws how an instrument stands, if that is new.
    fn place(&mut self, instrument: Option<&str>, stand: Stand) {
        let index = self.names.iter().position(|name| Some(name.as_str()) == instrument).unwrap_or(0);
        if stand != self.last[index] {
            self.last[index].clone_from(&stand);
            self.send(Drawing::Stands(index, stand));
        }
    }

    fn line(&self, name: Option<&str>, status: &live::Status, link: &str) -> String {
        let room = self.width.saturating_sub(2);
        name.map_or_else(String::new, |name| standing_line(name, longest(&self.names), status, link, self.ink, room))
    }

    fn send(&mut self, drawing: Drawing) {
        if let Some(drawings) = &self.drawings
            && matches!(drawings.try_send(drawing), Err(TrySendError::Disconnected(_)))
        {
            self.drawings = None;
        }
    }
}

/// A painter for instruments of these names.
pub(super) fn painter(ink: Ink, width: usize, names: &[String]) -> Painter {
    let painter = Painter::new(ink, width);
    if names.is_empty() { painter } else { painter.naming(longest(names)) }
}

fn longest(names: &[String]) -> usize {
    names.iter().map(String::len).max().unwrap_or(0)
}

impl Outlet for Screen {
    fn show(&mut self, shown: &Shown<'_>) {
        let lines: Vec<String> = shown.lines.iter().flat_map(|line| self.painter.paint(line)).collect();
        if !lines.is_empty() {
            self.send(Drawing::Lines(lines));
        }
        for line in shown.lines {
            if let (What::Ended { .. }, Some(name)) = (&line.what, line.instrument.as_deref()) {
                let ended = "listening has ended";
                let line = self.line(Some(name), &live::Status::default(), ended);
                self.place(Some(name), Stand { line, block: vec![ended.to_owned()], holds: false });
            }
        }
    }

    fn stands(&mut self, standing: &Standing<'_>) {
        let Standing { instrument, book, heard_ago } = *standing;
        let simulated = if book.simulated() { "SIMULATED  " } else { "" };
        let heard = match heard_ago {
            Some(ago) if ago < NOW => "instrument heard".to_owned(),
            Some(ago) => format!("◌ last heard {} s ago", ago.as_secs()),
            None => "◌ not heard yet".to_owned(),
        };
        let status = live::status(book);
        let due = status.due.map_or(String::new(), |role| format!("  due: {}", role.word()));
        let block = status_block(&status, &format!("{simulated}{heard}{due}"), self.ink, self.width);
        let line = self.line(instrument, &status, &format!("{simulated}{heard}"));
        self.place(instrument, Stand { line, block, holds: !status.holding.is_empty() });
    }
}

impl Drop for Screen {
    fn drop(&mut self) {
        self.send(Drawing::Restore);
        self.drawings = None;
        if let Some(thread) = self.thread.take() {
            wait_for(&thread);
        }
    }
}
