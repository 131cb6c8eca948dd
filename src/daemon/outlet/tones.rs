//! One tone for *hold* and another for *clear*, on the machine that records.
//!
//! Played by whatever sound player the machine has; where it has none, by the terminal's bell: twice for *hold*, once
//! for *clear*.

use std::io::Write;
use std::process::{Command, Stdio};
use std::sync::mpsc::{SyncSender, sync_channel};
use std::time::{Duration, Instant};

use super::{Outlet, Shown};
use crate::book::event::Verdict;
use crate::book::finding::Priority;
use crate::report::live::What;

/// After a *hold* tone the next comes no sooner, however many findings there are.
const HOLD_PAUSE: Duration = Duration::from_secs(5);
/// How many tones wait: one is playing, one may follow; more would say what is no longer so.
const WAITING_MAX: usize = 2;
/// Samples a second: enough for notes below 1 kHz.
const RATE: u32 = 16_000;
/// Between the two bells of a *hold*.
const BELL_PAUSE: Duration = Duration::from_millis(250);

/// What is to be heard.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Tone {
    /// Two low notes.
    Hold,
    /// One middle note.
    Warn,
    /// One high short note.
    Clear,
}

/// Makes a tone heard. Never waits.
pub trait Sounder {
    /// Sounds it.
    fn sound(&mut self, tone: Tone);
}

/// Chooses tones: one a cause, never chattering.
pub struct Tones<S> {
    sounder: S,
    held: Option<Instant>,
    now: fn() -> Instant,
}

impl<S: Sounder> Tones<S> {
    /// Through this sounder.
    pub fn new(sounder: S) -> Self {
        Tones { sounder, held: None, now: Instant::now }
    }

    fn hold(&mut self) {
        let now = (self.now)();
        if self.held.is_none_or(|held| now.duration_since(held) >= HOLD_PAUSE) {
            self.held = Some(now);
            self.sounder.sound(Tone::Hold);
        }
    }
}

impl<S: Sounder> Outlet for Tones<S> {
    fn show(&mut self, shown: &Shown<'_>) {
        let (mut hold, mut warn, mut clear) = (false, false, false);
        for line in shown.lines {
            match &line.what {
                What::Finding(finding) => {
                    hold |= finding.priority == Priority::Hold;
                    warn |= finding.priority == Priority::Warn;
                }
                What::Notice { priority, .. } => hold |= *priority == Priority::Hold,
                What::Verdict(verdict) => clear |= verdict.verdict == Verdict::ClearToMove,
                _ => {}
            }
        }
        if hold {
            self.hold();
        } else if clear {
            self.held = None;
            self.sounder.sound(Tone::Clear);
        } else if warn {
            self.sounder.sound(Tone::Warn);
        }
    }
}

/// The machine's sound player, or the terminal's bell.
pub struct SystemSounder {
    tones: Option<SyncSender<Tone>>,
}

impl SystemSounder {
    /// Looks for a player once; `bell` is used where there is none.
    pub fn new(mut bell: impl Write + Send + 'static) -> Self {
        let (tones, waiting) = sync_channel::<Tone>(WAITING_MAX);
        let play = move || {
            let player = player();
            while let Ok(tone) = waiting.recv() {
                let played = player.is_some_and(|player| play_with(player, tone).is_ok());
                if !played && ring(&mut bell, tone).is_err() {
                    return;
                }
            }
        };
        let thread = std::thread::Builder::new().name("tones".to_owned()).spawn(play);
        SystemSounder { tones: thread.ok().map(|_| tones) }
    }
}

impl Sounder for SystemSounder {
    fn sound(&mut self, tone: Tone) {
        if let Some(tones) = &self.tones {
            // A tone that finds no room is left out: another has just been heard.
            let _ = tones.try_send(tone);
        }
    }
}

/// Sound players that take a WAV file on standard input, with what each wants for that.
const PLAYERS: &[(&str, &[&str])] = &[("pw-cat", &["--playback", "-"]), ("paplay", &[]), ("aplay", &["-q", "-"])];

fn player() -> Option<(&'static str, &'static [&'static str])> {
    let path = std::env::var_os("PATH")?;
    let there = |name: &str| std::env::split_paths(&path).any(|folder| folder.join(name).is_file());
    PLAYERS.iter().copied().find(|(name, _)| there(name))
}

fn play_with((name, arguments): (&str, &[&str]), tone: Tone) -> std::io::Result<()> {
    let mut command = Command::new(name);
    command.args(arguments).stdin(Stdio::piped()).stdout(Stdio::null()).stderr(Stdio::null());
    let mut child = command.spawn()?;
    if let Some(mut input) = child.stdin.take() {
        input.write_all(&wav(tone))?;
    }
    if child.wait()?.success() { Ok(()) } else { Err(std::io::Error::other("the player failed")) }
}

fn ring(bell: &mut impl Write, tone: Tone) -> std::io::Result<()> {
    bell.write_all(b"\x07")?;
    bell.flush()?;
    if tone == Tone::Hold {
        std::thread::sleep(BELL_PAUSE);
        bell.write_all(b"\x07")?;
        bell.flush()?;
    }
    Ok(())
}

/// Notes of a tone: frequency in Hz and length in ms. A frequency of 0 is a rest.
fn notes(tone: Tone) -> &'static [(f64, u32)] {
    match tone {
        Tone::Hold => &[(220.0, 180), (0.0, 80), (220.0, 260)],
        Tone::Warn => &[(440.0, 160)],
        Tone::Clear => &[(880.0, 110)],
    }
}

/// A mono 16-bit WAV file of the tone, each note faded at its ends so that it does not click.
fn wav(tone: Tone) -> Vec<u8> {
    let mut samples: Vec<i16> = Vec::new();
    for &(frequency, ms) in notes(tone) {
        let count = RATE * ms / 1000;
        let fade = f64::from(RATE / 100);
        for index in 0..count {
            let edge = (f64::from(index.min(count - 1 - index)) / fade).min(1.0);
            let angle = std::f64::consts::TAU * frequency * f64::from(index) / f64::from(RATE);
            samples.push((angle.sin() * edge * 0.5 * f64::from(i16::MAX)) as i16);
        }
    }
    let bytes = samples.len() as u32 * 2;
    let mut out = Vec::with_capacity(44 + bytes as usize);
    out.extend_from_slice(b"RIFF");
    out.extend_from_slice(&(36 + bytes).to_le_bytes());
    out.extend_from_slice(b"WAVEfmt ");
    out.extend_from_slice(&16u32.to_le_bytes());
    out.extend_from_slice(&1u16.to_le_bytes());
    out.extend_from_slice(&1u16.to_le_bytes());
    out.extend_from_slice(&RATE.to_le_bytes());
    out.extend_from_slice(&(RATE * 2).to_le_bytes());
    out.extend_from_slice(&2u16.to_le_bytes());
    out.extend_from_slice(&16u16.to_le_bytes());
    out.extend_from_slice(b"data");
    out.extend_from_slice(&bytes.to_le_bytes());
    for sample in samples {
        out.extend_from_slice(&sample.to_le_bytes());
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::book::Book;
    use crate::report::live::{FindingLine, Line};

    #[derive(Default)]
    struct Heard(Vec<Tone>);

    impl Sounder for &mut Heard {
        fn sound(&mut self, tone: Tone) {
            self.0.push(tone);
        }
    }

    fn finding(priority: Priority) -> Line {
        let what = What::Finding(FindingLine {
            key: String::new(),
            priority,
            fact: String::new(),
            todo: String::new(),
            value: None,
            limit: None,
            basis: None,
        });
        Line { schema: 1, instrument: None, event: 1, at: String::new(), simulated: false, what }
    }

    #[test]
    fn thirty_findings_at_a_setup_are_one_tone() {
        let mut heard = Heard::default();
        let mut tones = Tones::new(&mut heard);
        let book = Book::new();
        for _ in 0..30 {
            tones.show(&Shown { book: &book, event: None, lines: &[finding(Priority::Hold)] });
        }
        assert_eq!(heard.0, [Tone::Hold]);
    }

    #[test]
    fn a_note_makes_no_sound() {
        let mut heard = Heard::default();
        let book = Book::new();
        Tones::new(&mut heard).show(&Shown { book: &book, event: None, lines: &[finding(Priority::Note)] });
        assert_eq!(heard.0, []);
    }

    #[test]
    fn the_tones_differ_and_are_whole_files() {
        let (hold, clear) = (wav(Tone::Hold), wav(Tone::Clear));
        assert_ne!(hold, clear);
        for file in [hold, clear] {
            assert_eq!(u32::from_le_bytes(file[40..44].try_into().unwrap()) as usize, file.len() - 44);
        }
    }
}
