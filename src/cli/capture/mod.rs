//! `closerun capture`: records what arrives on a port, byte for byte and when, until told to stop.
//!
//! It understands nothing of what it records, and sends nothing unless `--talk` says so. Each chunk is in the file before
//! the next is taken, and before it is answered.

mod talk;

use std::io::{self, IsTerminal, Write};
use std::path::{Path, PathBuf};
use std::time::Duration;

use tokio::time::{Instant, MissedTickBehavior, interval, sleep_until};

use super::Failure;
use super::arguments::Capture;
use super::polls::TICK;
use super::signals::stop_on_signals;
use super::{formats, say, source};
use crate::book::moment::Moment;
use crate::daemon::{Clock, SystemClock};
use crate::link::{self, CaptureWriter, EventReceiver, Gone, LinkEvent, LinkHandle, Simulated, Stop};
use talk::Talk;

/// How often the line that says how far it is is written anew, on a terminal.
const PROGRESS_EVERY: Duration = Duration::from_secs(1);

pub(super) fn run(capture: Capture) -> Result<(), Failure> {
    let path = capture.file.clone();
    let length = capture.seconds.map(|seconds| Duration::from_secs(u64::from(seconds)));
    if path.exists() {
        let shown = path.display();
        return Err(Failure::input(format!("capture file {shown}: there already; name another, none is written over")));
    }
    let talk = capture.talks_as().map(formats::named_or_file).transpose()?.map(Talk::new);
    let spec = source::link(capture.given(), None)?;
    let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build().map_err(Failure::outcome)?;
    runtime.block_on(async {
        let stop = Stop::new();
        stop_on_signals(&stop)?;
        let (link, events) = link::start(spec, stop.clone());
        let mut recorder =
            Recorder { path, stop, link, talk, file: None, tally: Tally::default(), progress: Progress::new() };
        let ended = recorder.record(events, length).await;
        recorder.progress.clear();
        recorder.finish(ended)
    })
}

/// What was recorded, counted.
#[derive(Clone, Copy, Default)]
struct Tally {
    bytes: u64,
    chunks: u64,
    gaps: u64,
}

/// Why recording ended.
enum Ended {
    /// As asked.
    Good,
    /// The link could not be opened.
    NeverOpened(String),
    /// Something failed; what came before is in the file.
    Failed(String),
}

struct Recorder {
    path: PathBuf,
    stop: Stop,
    link: LinkHandle,
    /// What is sent; nothing without it.
    talk: Option<Talk>,
    file: Option<Recording>,
    tally: Tally,
    progress: Progress,
}

/// The file, once the link was opened.
struct Recording {
    writer: CaptureWriter,
    link: String,
    simulated: Simulated,
    began: Instant,
}

impl Recorder {
    /// Takes what the link hears until it ends; `length` counts from when it was opened.
    async fn record(&mut self, mut events: EventReceiver, length: Option<Duration>) -> Ended {
        let mut ticks = interval(PROGRESS_EVERY);
        ticks.set_missed_tick_behavior(MissedTickBehavior::Skip);
        let mut pauses = interval(TICK);
        pauses.set_missed_tick_behavior(MissedTickBehavior::Skip);
        loop {
            let end = self.file.as_ref().zip(length).map(|(file, length)| file.began + length);
            let over = async {
                match end {
                    Some(end) => sleep_until(end).await,
                    None => std::future::pending().await,
                }
            };
            tokio::select! {
                event = events.recv() => match event {
                    Ok(event) => if let Err(ended) = self.take(event) {
                        return ended;
                    },
                    Err(Gone::Ended) => return Ended::Good,
                    Err(died @ Gone::Died { .. }) => return Ended::Failed(died.to_string()),
                },
                // What the link had heard by then still comes, and then its end.
                () = over, if !self.stop.asked() => self.stop.ask(),
                _ = ticks.tick() => self.progress.show(self.tally),
                _ = pauses.tick(), if self.talk.is_some() => self.answer(|talk| talk.silence(now())),
            }
        }
    }

    fn take(&mut self, event: LinkEvent) -> Result<(), Ended> {
        match event {
            LinkEvent::Opened { what, simulated } => {
                self.opened(what, simulated)?;
                self.answer(|talk| talk.opened(now()));
            }
            LinkEvent::Chunk { at_us, bytes } => {
                let Some(file) = &mut self.file else { return Ok(()) };
                file.writer.bytes(at_us, &bytes).map_err(|error| self.unwritten(&error))?;
                self.tally.bytes += bytes.len() as u64;
                self.tally.chunks += 1;
                self.answer(|talk| talk.heard(&bytes, Moment::from_us(at_us)));
            }
            LinkEvent::Lost { why } => {
                self.progress.say(&why);
                self.talk.iter_mut().for_each(Talk::closed);
                let Some(file) = &mut self.file else { return Ok(()) };
                file.writer.gap(now().us(), &why).map_err(|error| self.unwritten(&error))?;
                self.tally.gaps += 1;
            }
            LinkEvent::Waiting { why } if self.file.is_none() => return Err(Ended::NeverOpened(why.to_string())),
            LinkEvent::Waiting { why } => self.progress.say(&format!("waiting: {why}")),
            LinkEvent::Warned { what } => self.progress.say(&what),
            LinkEvent::StoodStill { .. } | LinkEvent::Finished => {}
        }
        Ok(())
    }

    fn opened(&mut self, link: String, simulated: Simulated) -> Result<(), Ended> {
        match &self.file {
            None => {
                let writer = CaptureWriter::create(&self.path, &link, simulated, now().us())
                    .map_err(|error| self.unwritten(&error))?;
                let mark = if simulated == Simulated::Yes { "  SIMULATED" } else { "" };
                self.progress.say(&format!("recording {link}{mark} into {}; Ctrl-C ends it", self.path.display()));
                self.file = Some(Recording { writer, link, simulated, began: Instant::now() });
                Ok(())
            }
            Some(file) if file.simulated == simulated => {
                self.progress.say(&format!("open again: {link}"));
                Ok(())
            }
            // The capture's first line speaks for all of it.
            Some(file) => {
                let what = |simulated| if simulated == Simulated::Yes { "a simulated" } else { "a real" };
                let (was, is) = (what(file.simulated), what(simulated));
                Err(Ended::Failed(format!(
                    "{was} instrument was recorded and {is} one is on the port now: one file does not hold both"
                )))
            }
        }
    }

    /// Sends what there is to be sent after something happened.
    fn answer(&mut self, happened: impl FnOnce(&mut Talk) -> Vec<Vec<u8>>) {
        for bytes in self.talk.as_mut().map(happened).unwrap_or_default() {
            let shown = bytes.escape_ascii().to_string();
            if let Err(error) = self.link.send(bytes) {
                self.progress.say(&format!("{error}: {shown}"));
            }
        }
    }

    fn unwritten(&self, error: &io::Error) -> Ended {
        Ended::Failed(format!("capture file {}: {error}", self.path.display()))
    }

    fn finish(self, ended: Ended) -> Result<(), Failure> {
        let shown = self.path.display();
        let Some(Recording { writer, link, simulated, began }) = self.file else {
            return match ended {
                Ended::Good => Err(Failure::outcome("stopped before the port was open: nothing was recorded")),
                Ended::NeverOpened(why) => Err(Failure::input(why)),
                Ended::Failed(why) => Err(Failure::outcome(why)),
            };
        };
        let Tally { bytes, chunks, gaps } = self.tally;
        let seconds = began.elapsed().as_secs_f64();
        if bytes == 0 {
            discard(writer, &self.path);
            return Err(Failure::outcome(match ended {
                Ended::Failed(why) | Ended::NeverOpened(why) => why,
                Ended::Good => format!(
                    "nothing was heard in {seconds:.0} s from {link}: no capture is kept; check the cable, the speed, \
                     and that the instrument sends by itself: one that is asked or answered needs --format and --talk"
                ),
            }));
        }
        let synced = writer.finish();
        let gaps = match gaps {
            0 => String::new(),
            1 => ", 1 gap".to_owned(),
            more => format!(", {more} gaps"),
        };
        let mark = if simulated == Simulated::Yes { "  SIMULATED" } else { "" };
        say::line(format_args!("{bytes} bytes in {chunks} chunks{gaps} over {seconds:.0} s, kept in {shown}{mark}"));
        synced.map_err(|error| Failure::outcome(format!("capture file {shown}: {error}")))?;
        match ended {
            Ended::Good => {
                say::line(format_args!("next: closerun format try FORMAT {shown}"));
                Ok(())
            }
            Ended::Failed(why) | Ended::NeverOpened(why) => Err(Failure::outcome(why)),
        }
    }
}

/// A file in which nothing is would only be in the way of the next try.
fn discard(writer: CaptureWriter, path: &Path) {
    drop(writer);
    let _ = std::fs::remove_file(path);
}

fn now() -> Moment {
    SystemClock::new().wall()
}

/// Sentences on standard error and, on a terminal, a line under them that says how far it is.
struct Progress {
    terminal: bool,
}

impl Progress {
    fn new() -> Self {
        Progress { terminal: io::stderr().is_terminal() }
    }

    fn say(&mut self, sentence: &str) {
        self.clear();
        say::aside(format_args!("{sentence}"));
    }

    fn show(&mut self, tally: Tally) {
        if self.terminal {
            self.clear();
            let _ = write!(io::stderr(), "{} bytes in {} chunks", tally.bytes, tally.chunks);
            let _ = io::stderr().flush();
        }
    }

    fn clear(&mut self) {
        if self.terminal {
            let _ = write!(io::stderr(), "\r\x1b[K");
        }
    }
}
