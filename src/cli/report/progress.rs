//! What is being done, on standard error, for a person who waits: nothing in the first second, nothing in a pipe.
//!
//! A thread of its own draws, so that one long step shows too.

use std::io::{self, IsTerminal, Write};
use std::sync::mpsc::{self, Receiver, RecvTimeoutError, Sender};
use std::thread::{self, JoinHandle};
use std::time::{Duration, Instant};

/// Nobody wonders before that.
const SILENT_FOR: Duration = Duration::from_secs(1);
/// Drawn anew no more often than the eye follows.
const EVERY: Duration = Duration::from_millis(100);

/// A line that says what is being done; it goes when this is dropped.
pub(super) struct Progress {
    steps: Option<Sender<String>>,
    drawing: Option<JoinHandle<()>>,
}

impl Progress {
    /// For a person at a terminal; for nobody in a pipe.
    pub(super) fn new() -> Self {
        if !io::stderr().is_terminal() {
            return Progress { steps: None, drawing: None };
        }
        let (steps, taken) = mpsc::channel();
        Progress { steps: Some(steps), drawing: Some(thread::spawn(move || draw_from(&taken))) }
    }

    /// What is done next.
    pub(super) fn step(&self, words: impl Into<String>) {
        if let Some(steps) = &self.steps {
            // A line that nobody draws any more is no reason to stop.
            let _ = steps.send(words.into());
        }
    }
}

impl Drop for Progress {
    fn drop(&mut self) {
        self.steps = None;
        if let Some(drawing) = self.drawing.take() {
            let _ = drawing.join();
        }
    }
}

fn draw_from(steps: &Receiver<String>) {
    let (mut words, mut drawn) = (String::new(), false);
    let mut next = Instant::now() + SILENT_FOR;
    loop {
        match steps.recv_timeout(next.saturating_duration_since(Instant::now())) {
            Ok(step) => words = step,
            Err(RecvTimeoutError::Timeout) => {}
            Err(RecvTimeoutError::Disconnected) => break,
        }
        if Instant::now() >= next {
            draw(&format!("\r\x1b[K{words} ..."));
            (drawn, next) = (true, Instant::now() + EVERY);
        }
    }
    if drawn {
        draw("\r\x1b[K");
    }
}

/// A terminal that takes nothing more is no reason to stop.
fn draw(text: &str) {
    let mut terminal = io::stderr().lock();
    let _ = terminal.write_all(text.as_bytes()).and_then(|()| terminal.flush());
}
