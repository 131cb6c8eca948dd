//! Plain lines or JSON lines on a stream, written on a thread of their own: a pipe that nobody reads, or one that was
//! closed, does not hold up the recording.

use std::io::Write;
use std::sync::mpsc::{RecvTimeoutError, SyncSender, TrySendError, sync_channel};
use std::thread::JoinHandle;
use std::time::{Duration, Instant};

use super::screen::painter;
use super::{Outlet, Shown};
use crate::report::live::{Ink, Painter};

/// How many texts wait for a slow reader; beyond it they are counted and left out. A line is some hundred bytes.
const WAITING_MAX: usize = 4096;
/// How long the end waits for a slow reader.
const END_WAIT: Duration = Duration::from_secs(1);

/// Columns of text in a pipe.
const WIDTH: usize = 80;

/// In which form lines are written.
pub enum Form {
    /// One JSON object a line.
    Json,
    /// Text.
    Text(Painter),
}

/// Writes lines. Dropped, it waits until what is on its way is written, within a bounded time.
pub struct LineWriter {
    form: Form,
    texts: Option<SyncSender<String>>,
    thread: Option<JoinHandle<()>>,
    left_out: usize,
}

impl Form {
    /// Text of eighty columns about instruments of these names; none for one that needs no name.
    pub fn text(names: &[String]) -> Self {
        Form::Text(painter(Ink::Plain, WIDTH, names))
    }
}

impl LineWriter {
    /// Writes to `out`. A failed write ends the writing, not the recording.
    pub fn new(form: Form, mut out: impl Write + Send + 'static) -> Self {
        let (texts, waiting) = sync_channel::<String>(WAITING_MAX);
        let write = move || {
            while let Ok(text) = waiting.recv() {
                let mut held = text;
                // What waits already goes out in the same write.
                while let Ok(more) = waiting.try_recv() {
                    held.push_str(&more);
                }
                if out.write_all(held.as_bytes()).and_then(|()| out.flush()).is_err() {
                    return;
                }
            }
        };
        let thread = std::thread::Builder::new().name("lines".to_owned()).spawn(write).ok();
        LineWriter { form, texts: Some(texts), thread, left_out: 0 }
    }

    fn send(&mut self, mut text: String) {
        let Some(texts) = &self.texts else { return };
        if self.left_out > 0 && matches!(self.form, Form::Text(_)) {
            text = format!("({} lines were left out: the reader was slow)\n{text}", self.left_out);
        }
        match texts.try_send(text) {
            Ok(()) => self.left_out = 0,
            Err(TrySendError::Full(_)) => self.left_out += 1,
            Err(TrySendError::Disconnected(_)) => self.texts = None,
        }
    }
}

impl Outlet for LineWriter {
    fn show(&mut self, shown: &Shown<'_>) {
        let mut text = String::new();
        for line in shown.lines {
            match &mut self.form {
                Form::Json => {
                    text.push_str(&serde_json::to_string(line).expect("a line is plain data"));
                    text.push('\n');
                }
                Form::Text(painter) => {
                    for painted in painter.paint(line) {
                        text.push_str(&painted);
                        text.push('\n');
                    }
                }
            }
        }
        if !text.is_empty() {
            self.send(text);
        }
    }
}

impl Drop for LineWriter {
    fn drop(&mut self) {
        self.texts = None;
        if let Some(thread) = self.thread.take() {
            wait_for(&thread);
        }
    }
}

/// Waits for a thread to end, for a bounded time: a reader that has stopped reading is left.
pub(super) fn wait_for(thread: &JoinHandle<()>) {
    let (_keep, never) = std::sync::mpsc::channel::<()>();
    let start = Instant::now();
    while !thread.is_finished() && start.elapsed() < END_WAIT {
        let step = never.recv_timeout(Duration::from_millis(2));
        debug_assert_eq!(step, Err(RecvTimeoutError::Timeout));
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::book::Book;
    use crate::report::live::{Line, What};

    struct Closed;

    impl Write for Closed {
        fn write(&mut self, _: &[u8]) -> std::io::Result<usize> {
            Err(std::io::ErrorKind::BrokenPipe.into())
        }
        fn flush(&mut self) -> std::io::Result<()> {
            Ok(())
        }
    }

    fn notice() -> Line {
        let what = What::Ended { reason: "x".to_owned() };
        Line {
            schema: 1,
            instrument: None,
            event: 1,
            at: "2026-01-01T10:00:00.000000Z".to_owned(),
            simulated: false,
            what,
        }
    }

    #[test]
    fn a_closed_pipe_ends_the_writing_and_nothing_else() {
        let mut writer = LineWriter::new(Form::text(&[]), Closed);
        let book = Book::new();
        for _ in 0..3 * WAITING_MAX {
            writer.show(&Shown { book: &book, event: None, lines: &[notice()] });
        }
        assert!(writer.texts.is_none(), "the writing has ended, and was not waited for");
    }
}
