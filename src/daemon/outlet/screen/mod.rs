//! The terminal view: lines that scroll and stay, and one status block at the foot that is drawn over.
//!
//! Keys: a letter for what is needed with gloves on, a colon for everything else.

use std::io::{IsTerminal, Write};
use std::sync::mpsc::{Receiver, RecvTimeoutError, SyncSender, TrySendError, sync_channel};
use std::thread::JoinHandle;
use std::time::Duration;

use crossterm::event::{Event, KeyCode, KeyEvent, KeyEventKind, KeyModifiers};
use tokio::sync::mpsc;

use super::lines::wait_for;
use super::{Outlet, Shown};
use crate::book::Book;
use crate::book::event::Origin;
use crate::daemon::Ask;
use crate::link::Stop;
use crate::report::live::{self, Ink, Painter, status_block};

/// How many drawings wait for a slow terminal; beyond it status blocks are left out, then lines.
const WAITING_MAX: usize = 4096;
/// Widest and narrowest view that is drawn; the design is for eighty.
const WIDTH: (usize, usize) = (60, 120);
/// The longest command line.
const COMMAND_MAX: usize = 200;

/// The keys, for the line at the foot.
const KEYS_LINE: &str = "x strike  r repeat  i inter  b break  t take  a seen  e end  u undo  : more";

enum Drawing {
    Lines(Vec<String>),
    Block(Vec<String>),
    Typing(Option<String>),
    Restore,
}

/// The terminal view.
pub struct Screen {
    painter: Painter,
    ink: Ink,
    width: usize,
    drawings: Option<SyncSender<Drawing>>,
    thread: Option<JoinHandle<()>>,
    last_block: Vec<String>,
}

/// What the keys need of the screen: a way to show what is being typed.
pub struct Keys {
    drawings: SyncSender<Drawing>,
}

impl Screen {
    /// Draws on `out`. Gives the keys' way to it.
    pub fn new(ink: Ink, mut out: impl Write + Send + 'static) -> (Self, Keys) {
        let width = crossterm::terminal::size().map_or(80, |(columns, _)| usize::from(columns)).clamp(WIDTH.0, WIDTH.1);
        let (drawings, waiting) = sync_channel(WAITING_MAX);
        let thread = std::thread::Builder::new()
            .name("screen".to_owned())
            .spawn(move || {
                // A terminal that went away ends the drawing, not the recording.
                let _ = draw(&waiting, &mut out);
            })
            .ok();
        let keys = Keys { drawings: drawings.clone() };
        let painter = Painter::new(ink, width);
        (Screen { painter, ink, width, drawings: Some(drawings), thread, last_block: Vec::new() }, keys)
    }

    fn send(&mut self, drawing: Drawing) {
        if let Some(drawings) = &self.drawings
            && matches!(drawings.try_send(drawing), Err(TrySendError::Disconnected(_)))
        {
            self.drawings = None;
        }
    }
}

impl Outlet for Screen {
    fn show(&mut self, shown: &Shown<'_>) {
        let lines: Vec<String> = shown.lines.iter().flat_map(|line| self.painter.paint(line)).collect();
        if !lines.is_empty() {
            self.send(Drawing::Lines(lines));
        }
    }

    fn stands(&mut self, book: &Book, heard_ago: Option<Duration>) {
        let simulated = if book.simulated() { "SIMULATED  " } else { "" };
        let heard = match heard_ago {
            Some(ago) if ago < Duration::from_secs(3) => "instrument heard".to_owned(),
            Some(ago) => format!("◌ last heard {} s ago", ago.as_secs()),
            None => "◌ not heard yet".to_owned(),
        };
        let status = live::status(book);
        let due = status.due.map_or(String::new(), |role| format!("  due: {}", role.word()));
        let block = status_block(&status, &format!("{simulated}{heard}{due}"), self.ink, self.width);
        if block != self.last_block {
            self.last_block.clone_from(&block);
            self.send(Drawing::Block(block));
        }
    }

    fn end(&mut self) {
        self.send(Drawing::Restore);
        self.drawings = None;
        if let Some(thread) = self.thread.take() {
            wait_for(&thread);
        }
    }
}

/// Draws what comes until nothing more can.
fn draw(waiting: &Receiver<Drawing>, out: &mut impl Write) -> std::io::Result<()> {
    let mut block: Vec<String> = Vec::new();
    let mut typing: Option<String> = None;
    let mut drawn = 0usize;
    loop {
        let first = match waiting.recv_timeout(Duration::from_secs(3600)) {
            Ok(drawing) => drawing,
            Err(RecvTimeoutError::Timeout) => continue,
            Err(RecvTimeoutError::Disconnected) => return Ok(()),
        };
        let mut text = String::new();
        if drawn > 0 {
            text += &format!("\x1b[{drawn}A\r\x1b[J");
        }
        let mut restore = false;
        for drawing in std::iter::once(first).chain(std::iter::from_fn(|| waiting.try_recv().ok())) {
            match drawing {
                Drawing::Lines(lines) => {
                    for line in lines {
                        text += &line;
                        text += "\r\n";
                    }
                }
                Drawing::Block(lines) => block = lines,
                Drawing::Typing(line) => typing = line,
                Drawing::Restore => restore = true,
            }
        }
        drawn = 0;
        if !restore {
            let foot = typing.as_ref().map_or_else(|| KEYS_LINE.to_owned(), |line| format!(": {}", last_part(line)));
            for line in block.iter().chain([&foot]) {
                text += line;
                text += "\r\n";
                drawn += 1;
            }
        }
        out.write_all(text.as_bytes())?;
        out.flush()?;
        if restore {
            return Ok(());
        }
    }
}

/// The end of what is being typed: a foot line that wraps could not be drawn over.
fn last_part(line: &str) -> String {
    let skip = line.chars().count().saturating_sub(WIDTH.0 - 4);
    line.chars().skip(skip).collect()
}

/// Reads keys on a thread of their own, if standard input is a terminal, and puts it back as it was when dropped.
pub fn read_keys(keys: Keys, asks: mpsc::Sender<Ask>, stop: Stop) -> Option<RawTerminal> {
    if !std::io::stdin().is_terminal() {
        return None;
    }
    let raw = RawTerminal::enter()?;
    let read = move || {
        let mut typed: Option<String> = None;
        while let Ok(event) = crossterm::event::read() {
            let Event::Key(key) = event else { continue };
            if key.kind == KeyEventKind::Release {
                continue;
            }
            match press(key, &mut typed) {
                Pressed::Nothing => {}
                Pressed::Stop => return stop.ask(),
                Pressed::Said(words) => {
                    let ask = Ask { words, by: Origin::Terminal, answer: None };
                    // A full queue means that the loop is behind; the key is pressed again then.
                    let _ = asks.try_send(ask);
                }
            }
            let _ = keys.drawings.try_send(Drawing::Typing(typed.clone()));
        }
    };
    std::thread::Builder::new().name("keys".to_owned()).spawn(read).ok()?;
    Some(raw)
}

/// The terminal in raw mode, until dropped.
pub struct RawTerminal(());

impl RawTerminal {
    fn enter() -> Option<Self> {
        crossterm::terminal::enable_raw_mode().ok().map(|()| RawTerminal(()))
    }
}

impl Drop for RawTerminal {
    fn drop(&mut self) {
        // There is nobody left to tell if it fails.
        let _ = crossterm::terminal::disable_raw_mode();
    }
}

#[derive(Debug, PartialEq, Eq)]
enum Pressed {
    Nothing,
    Stop,
    Said(Vec<String>),
}

/// What a key means, given what is being typed.
fn press(key: KeyEvent, typed: &mut Option<String>) -> Pressed {
    let control = key.modifiers.contains(KeyModifiers::CONTROL);
    if control && matches!(key.code, KeyCode::Char('c' | 'd')) {
        return Pressed::Stop;
    }
    if let Some(line) = typed {
        match key.code {
            KeyCode::Enter => {
                let words: Vec<String> = line.split_whitespace().map(str::to_owned).collect();
                *typed = None;
                return if words.is_empty() { Pressed::Nothing } else { Pressed::Said(words) };
            }
            KeyCode::Esc => *typed = None,
            KeyCode::Backspace => {
                line.pop();
            }
            KeyCode::Char(c) if !control && line.len() < COMMAND_MAX => line.push(c),
            _ => {}
        }
        return Pressed::Nothing;
    }
    let word = match key.code {
        KeyCode::Char(':') => {
            *typed = Some(String::new());
            return Pressed::Nothing;
        }
        KeyCode::Char('x') => "strike",
        KeyCode::Char('r') => "repeat",
        KeyCode::Char('i') => "inter",
        KeyCode::Char('b') => "break",
        KeyCode::Char('t') => "take",
        KeyCode::Char('a') => "ack",
        KeyCode::Char('e') => "end",
        KeyCode::Char('u') => "undo",
        _ => return Pressed::Nothing,
    };
    Pressed::Said(vec![word.to_owned()])
}

#[cfg(test)]
mod tests {
    use super::*;

    fn key(c: char) -> KeyEvent {
        KeyEvent::new(KeyCode::Char(c), KeyModifiers::NONE)
    }

    #[test]
    fn a_letter_is_a_command_and_a_colon_begins_one() {
        let mut typed = None;
        assert_eq!(press(key('x'), &mut typed), Pressed::Said(vec!["strike".to_owned()]));
        assert_eq!(press(key(':'), &mut typed), Pressed::Nothing);
        for c in "note wind x".chars() {
            assert_eq!(press(key(c), &mut typed), Pressed::Nothing);
        }
        let enter = KeyEvent::new(KeyCode::Enter, KeyModifiers::NONE);
        let words = ["note", "wind", "x"].map(str::to_owned).to_vec();
        assert_eq!(press(enter, &mut typed), Pressed::Said(words));
        assert_eq!(typed, None);
    }

    #[test]
    fn control_c_stops_even_while_typing() {
        let mut typed = Some("strike".to_owned());
        assert_eq!(press(KeyEvent::new(KeyCode::Char('c'), KeyModifiers::CONTROL), &mut typed), Pressed::Stop);
    }

    #[test]
    fn no_line_at_the_foot_wraps_at_eighty_columns() {
        assert!(KEYS_LINE.chars().count() < 80, "{}", KEYS_LINE.chars().count());
        assert!(last_part(&"long ".repeat(60)).chars().count() < WIDTH.0);
    }

    #[test]
    fn the_block_is_drawn_over_and_lines_stay() {
        let (send, receive) = sync_channel(8);
        send.send(Drawing::Block(vec!["one".to_owned()])).unwrap();
        drop(send);
        let mut out = Vec::new();
        draw(&receive, &mut out).unwrap();
        assert_eq!(String::from_utf8(out).unwrap(), format!("one\r\n{KEYS_LINE}\r\n"));
    }
}
