//! A terminal of eighty columns for the program to be seen on: a pseudo-terminal, and what stands on its screen.

use std::fs::File;
use std::io::Read;
use std::os::fd::{AsFd, OwnedFd};
use std::path::Path;
use std::process::{Command, Stdio};
use std::sync::mpsc::{Receiver, RecvTimeoutError, channel};
use std::time::Instant;

use rustix::pty::{OpenptFlags, grantpt, openpt, ptsname, unlockpt};
use rustix::termios::{Termios, Winsize, tcgetattr, tcsetwinsize};

use crate::program::{PATIENCE, Program, settle};

pub(crate) const COLUMNS: u16 = 80;
const ROWS: u16 = 24;

/// A terminal, with what was drawn on it so far.
pub(crate) struct Terminal {
    ours: OwnedFd,
    theirs: File,
    bytes: Receiver<Vec<u8>>,
    /// Everything that was written, as it came.
    pub(crate) raw: Vec<u8>,
}

impl Terminal {
    pub(crate) fn new() -> Self {
        let ours = openpt(OpenptFlags::RDWR | OpenptFlags::NOCTTY | OpenptFlags::CLOEXEC).unwrap();
        grantpt(&ours).unwrap();
        unlockpt(&ours).unwrap();
        let node = ptsname(&ours, Vec::new()).unwrap().into_string().unwrap();
        let theirs = File::options().read(true).write(true).open(node).unwrap();
        tcsetwinsize(&theirs, Winsize { ws_row: ROWS, ws_col: COLUMNS, ws_xpixel: 0, ws_ypixel: 0 }).unwrap();
        let mut from = File::from(ours.try_clone().unwrap());
        let (sender, bytes) = channel();
        std::thread::spawn(move || {
            let mut buffer = [0; 4096];
            while let Ok(length @ 1..) = from.read(&mut buffer) {
                if sender.send(buffer[..length].to_vec()).is_err() {
                    return;
                }
            }
        });
        Terminal { ours, theirs, bytes, raw: Vec::new() }
    }

    /// Starts the program on it, with it as its controlling terminal.
    pub(crate) fn start(&self, folder: &Path, arguments: &str) -> Program {
        let mut command = Command::new("setsid");
        command.arg("--ctty").arg(env!("CARGO_BIN_EXE_closerun")).args(arguments.split_whitespace());
        settle(&mut command, folder);
        let end = || Stdio::from(self.theirs.try_clone().unwrap());
        Program::of(command.env("TERM", "xterm-256color").stdin(end()).stdout(end()).stderr(end()))
    }

    /// How it is set.
    pub(crate) fn settings(&self) -> Termios {
        tcgetattr(&self.theirs).unwrap()
    }

    /// Somebody presses keys.
    pub(crate) fn press(&self, keys: &str) {
        rustix::io::write(self.ours.as_fd(), keys.as_bytes()).unwrap();
    }

    /// Waits until this stands on the screen.
    #[track_caller]
    pub(crate) fn until(&mut self, wanted: &str) -> Vec<String> {
        let begun = Instant::now();
        loop {
            let screen = self.screen();
            if screen.iter().any(|row| row.contains(wanted)) {
                return screen;
            }
            match self.bytes.recv_timeout(PATIENCE.saturating_sub(begun.elapsed())) {
                Ok(bytes) => self.raw.extend(bytes),
                Err(RecvTimeoutError::Timeout | RecvTimeoutError::Disconnected) => {
                    panic!("{wanted:?} was wanted on the screen, which shows\n{}", screen.join("\n"))
                }
            }
        }
    }

    /// Waits until nothing is on its way any more: the program has ended.
    pub(crate) fn settle(&mut self) {
        while let Ok(bytes) = self.bytes.recv_timeout(std::time::Duration::from_millis(200)) {
            self.raw.extend(bytes);
        }
    }

    /// What stands on it, scrolled-off rows included: enough of a terminal for what is drawn here. Any other sequence
    /// is a failure, so that nothing is drawn that an old terminal would not know.
    pub(crate) fn screen(&self) -> Vec<String> {
        let text = String::from_utf8_lossy(&self.raw);
        let mut rows: Vec<Vec<char>> = vec![Vec::new()];
        let (mut row, mut column) = (0, 0);
        let mut chars = text.chars().peekable();
        while let Some(c) = chars.next() {
            match c {
                '\r' => column = 0,
                '\n' => {
                    row += 1;
                    if row == rows.len() {
                        rows.push(Vec::new());
                    }
                }
                '\x07' => {}
                '\x1b' => {
                    if chars.next_if_eq(&'[').is_none() {
                        // The rest of the sequence is still on its way.
                        assert!(chars.peek().is_none(), "an unknown sequence in {text:?}");
                        break;
                    }
                    let mut parameters = String::new();
                    while let Some(digit) = chars.next_if(|c| c.is_ascii_digit() || *c == ';') {
                        parameters.push(digit);
                    }
                    match chars.next() {
                        Some('m') => {}
                        Some('A') => row -= parameters.parse::<usize>().unwrap(),
                        Some('J') => {
                            rows.truncate(row + 1);
                            rows[row].truncate(column);
                        }
                        None => break,
                        Some(other) => panic!("an unknown sequence {parameters}{other}"),
                    }
                }
                c => {
                    let line = &mut rows[row];
                    line.resize(line.len().max(column), ' ');
                    if column < line.len() {
                        line[column] = c
                    } else {
                        line.push(c)
                    }
                    column += 1;
                }
            }
        }
        rows.into_iter().map(|row| row.into_iter().collect::<String>().trim_end().to_owned()).collect()
    }
}
