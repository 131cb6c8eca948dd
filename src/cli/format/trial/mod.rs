//! `closerun format try`: every frame of a capture or a live port, with what each part of it was taken for, what was
//! refused and why, at which byte; and a summary.
//!
//! A capture is read as it goes by: memory does not grow with it.

mod frame;
mod live;
mod paint;
mod play;
mod summary;

use std::io::{self, BufWriter, IsTerminal, StdoutLock, Write};
use std::sync::Arc;

use serde::Serialize;

use crate::book::moment::Moment;
use crate::book::reading::Heard;
use crate::cli::Failure;
use crate::cli::arguments::{FormatTry, Shown};
use crate::cli::{formats, outlets};
use crate::link::Simulated;
use crate::protocol::{Decoder, Format, Piece};
use crate::report::live::Ink;
use frame::FrameView;
use summary::Summary;

/// What is held before it is written: enough that a long capture is not slowed by its own printing.
const OUT_BYTES: usize = 64 * 1024;

pub(super) fn run(arguments: FormatTry) -> Result<(), Failure> {
    let format = formats::named_or_file(&arguments.format)?;
    let mut trial = Trial::new(&format, &arguments);
    let done = match &arguments.capture {
        Some(capture) => play::play(capture, &mut trial),
        None => live::listen(arguments.given(), &mut trial),
    };
    match done {
        Ok(()) => trial.end().or_else(Stopped::outcome),
        // What was read before the failure is still worth its summary.
        Err(Stopped::Failed(failure)) => {
            if trial.summary.bytes > 0 {
                let _ = trial.end();
            }
            Err(failure)
        }
        Err(gone @ Stopped::NoReader) => gone.outcome(),
    }
}

/// Why a trial cannot go on.
enum Stopped {
    /// Nobody reads the output any more.
    NoReader,
    /// Something failed.
    Failed(Failure),
}

impl Stopped {
    fn outcome(self) -> Result<(), Failure> {
        match self {
            // Whoever read the output has seen enough.
            Stopped::NoReader => Ok(()),
            Stopped::Failed(failure) => Err(failure),
        }
    }
}

impl From<io::Error> for Stopped {
    fn from(error: io::Error) -> Self {
        match error.kind() {
            io::ErrorKind::BrokenPipe => Stopped::NoReader,
            _ => Stopped::Failed(Failure::outcome(format!("the output: {error}"))),
        }
    }
}

impl From<Failure> for Stopped {
    fn from(failure: Failure) -> Self {
        Stopped::Failed(failure)
    }
}

/// How what comes out is written.
enum Form {
    /// One JSON object a line.
    Json,
    /// Text.
    Text(Ink),
}

/// A format held against bytes.
struct Trial {
    decoder: Decoder,
    pieces: Vec<Piece>,
    form: Form,
    shown: Shown,
    out: BufWriter<StdoutLock<'static>>,
    summary: Summary,
}

impl Trial {
    fn new(format: &Arc<Format>, arguments: &FormatTry) -> Self {
        let ink = if io::stdout().is_terminal() { outlets::ink() } else { Ink::Plain };
        Trial {
            decoder: Decoder::new(Arc::clone(format)),
            pieces: Vec::new(),
            form: if arguments.json { Form::Json } else { Form::Text(ink) },
            shown: arguments.show,
            out: BufWriter::with_capacity(OUT_BYTES, io::stdout().lock()),
            summary: Summary::default(),
        }
    }

    fn format(&self) -> Arc<Format> {
        Arc::clone(self.decoder.format())
    }

    /// The link was opened.
    fn opened(&mut self, at: Moment, simulated: Simulated) {
        self.summary.simulated |= simulated == Simulated::Yes;
        self.decoder.opened(at);
    }

    /// Bytes arrived. Gives what the instrument waits for in return.
    fn push(&mut self, bytes: &[u8], at: Moment) -> Result<Vec<Vec<u8>>, Stopped> {
        let mut pieces = std::mem::take(&mut self.pieces);
        self.decoder.push(bytes, at, &mut pieces);
        self.take(pieces, at)
    }

    /// Nothing came until now.
    fn silence(&mut self, at: Moment) -> Result<Vec<Vec<u8>>, Stopped> {
        let mut pieces = std::mem::take(&mut self.pieces);
        self.decoder.silence(at, &mut pieces);
        self.take(pieces, at)
    }

    /// The link went: what is left is unfinished.
    fn closed(&mut self, at: Moment) -> Result<(), Stopped> {
        let mut pieces = std::mem::take(&mut self.pieces);
        self.decoder.closed(&mut pieces);
        self.take(pieces, at).map(drop)
    }

    /// Something about the link or the capture.
    fn note(&mut self, text: &str) -> Result<(), Stopped> {
        match self.form {
            Form::Json => json(&mut self.out, &Line::Note { text }),
            Form::Text(_) => Ok(writeln!(self.out, "-- {text}")?),
        }
    }

    fn take(&mut self, mut pieces: Vec<Piece>, at: Moment) -> Result<Vec<Vec<u8>>, Stopped> {
        let format = self.format();
        let mut replies = Vec::new();
        for piece in pieces.drain(..) {
            let at_byte = self.summary.bytes;
            self.summary.count(&piece);
            let bad = matches!(piece.heard, Heard::Refused(_) | Heard::Unfinished | Heard::Fragment);
            if self.shown == Shown::All || (self.shown == Shown::Refused && bad) {
                let view = FrameView::of(&format, &piece, at_byte, at);
                match self.form {
                    Form::Json => json(&mut self.out, &Line::Frame(&view))?,
                    Form::Text(ink) => self.out.write_all(paint::frame(&view, &piece, ink).as_bytes())?,
                }
            }
            replies.extend(piece.reply);
        }
        self.pieces = pieces;
        Ok(replies)
    }

    fn flush(&mut self) -> Result<(), Stopped> {
        Ok(self.out.flush()?)
    }

    /// Writes the summary. That nothing was understood is a failure.
    fn end(mut self) -> Result<(), Stopped> {
        match self.form {
            Form::Json => json(&mut self.out, &Line::Summary(&self.summary))?,
            Form::Text(_) => write!(self.out, "{}", self.summary)?,
        }
        self.flush()?;
        match self.summary.understood() {
            0 => Err(Stopped::Failed(Failure::outcome(format!(
                "nothing of it was understood by the format {}",
                self.format().name()
            )))),
            _ => Ok(()),
        }
    }
}

/// A line of `--json`.
#[derive(Serialize)]
#[serde(tag = "type", rename_all = "kebab-case")]
enum Line<'a> {
    /// Something about the link or the capture.
    Note {
        /// In words.
        text: &'a str,
    },
    /// A frame.
    Frame(&'a FrameView<'a>),
    /// The last line.
    Summary(&'a Summary),
}

fn json(out: &mut impl Write, line: &Line<'_>) -> Result<(), Stopped> {
    serde_json::to_writer(&mut *out, line).map_err(io::Error::from)?;
    Ok(out.write_all(b"\n")?)
}
