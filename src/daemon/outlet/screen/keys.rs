//! Keys: a letter for what is needed with gloves on, a colon for everything else, and one for the next instrument.

use std::io::IsTerminal;
use std::sync::mpsc::SyncSender;

use crossterm::event::{Event, KeyCode, KeyEvent, KeyEventKind, KeyModifiers};
use tokio::sync::mpsc;

use super::draw::Drawing;
use crate::book::event::Origin;
use crate::daemon::Ask;
use crate::link::Stop;

/// The longest command line.
const COMMAND_MAX: usize = 200;

/// What the keys need of the screen: a way to show what is being typed, and to whom.
pub struct Keys(pub(super) SyncSender<Drawing>);

impl Keys {
    fn show(&self, drawing: Drawing) {
        // A screen that is behind, or gone, shows it with the next key, or never.
        let _ = self.0.try_send(drawing);
    }
}

/// Reads keys on a thread of their own, if standard input is a terminal, and puts it back as it was when dropped. They
/// are commands to the first of the instruments, until the key for another one is pressed.
pub fn read_keys(keys: Keys, asks: Vec<mpsc::Sender<Ask>>, stop: Stop) -> Option<RawTerminal> {
    if !std::io::stdin().is_terminal() {
        return None;
    }
    let raw = RawTerminal::enter()?;
    let read = move || {
        let mut typed: Option<String> = None;
        let mut selected = 0;
        while let Ok(event) = crossterm::event::read() {
            let Event::Key(key) = event else { continue };
            if key.kind == KeyEventKind::Release {
                continue;
            }
            match press(key, &mut typed) {
                Pressed::Nothing => {}
                Pressed::Stop => return stop.ask(),
                Pressed::Next => {
                    selected = (selected + 1) % asks.len().max(1);
                    keys.show(Drawing::Select(selected));
                }
                Pressed::Said(words) => {
                    let ask = Ask { words, by: Origin::Terminal, answer: None };
                    // A full queue means that the loop is behind; the key is pressed again then. A closed one, that
                    // this instrument is not heard any more, which stands on the screen.
                    let _ = asks.get(selected).map(|asks| asks.try_send(ask));
                }
            }
            keys.show(Drawing::Typing(typed.clone()));
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
    /// The next instrument is meant from now on.
    Next,
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
        KeyCode::Tab => return Pressed::Next,
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
}
