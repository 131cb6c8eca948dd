//! `closerun simulate`: an instrument in any record format on a pseudo-terminal or a TCP port, shooting an invented run,
//! with faults on demand. What it shows on its display is printed, so that it can be compared with what is heard.

mod display;
mod walk;

use std::any::Any;
use std::slice;
use std::sync::Arc;
use std::time::Duration;

use tokio::sync::Notify;

use super::Failure;
use super::arguments::{Faults, Simulate};
use super::demo::SHOT_S;
use super::formats;
use super::signals::stop_on_signals;
use crate::book::moment::Moment;
use crate::book::reading::{Heard, Reading};
use crate::book::sequence::Sequence;
use crate::cli::say;
use crate::link::{Registry, Stop};
use crate::protocol::{Decoder, Format};
use crate::simulate::scene::{Level, Shot, shots};
use crate::simulate::{self, Act, Chance, Frame, Instrument, Make, Place, Rates, Register, Tempo, Voice, strew};
use crate::units::{Length, Unit};
use display::Display;
use walk::{START, Walk};

pub(super) fn run(arguments: &Simulate) -> Result<(), Failure> {
    let format = formats::named_or_file(&arguments.format)?;
    let rates = rates(&arguments.faults)?;
    let mut day = Day::new(arguments, &format);
    let unit = day.unit_sent()?;
    if arguments.feet && !unit.is_foot() {
        return Err(Failure::input(format!("--feet: the format {} sends {unit} only", format.name())));
    }
    let idle = Arc::new(Notify::new());
    let display = Display::new(Arc::clone(&idle));
    let instrument = start(arguments, &format, &day, &display)?;
    announce(arguments, &format, &instrument, unit);
    let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build().map_err(Failure::outcome)?;
    runtime.block_on(async {
        let stop = Stop::new();
        stop_on_signals(&stop)?;
        let tally = loop {
            match day.next_setup()? {
                Some(shots) => {
                    let acts = strew(day.acts(&shots), rates, &mut day.faults);
                    display.expect(&acts, shots.iter().map(|(shot, _)| shot));
                    if let Some(status) = day.status()? {
                        instrument.set_status(status);
                    }
                    instrument.play(acts).map_err(Failure::outcome)?;
                }
                None => {
                    // Where silence ends a record, the last one needs some behind it.
                    instrument.play(vec![Act::Pause(day.silence)]).map_err(Failure::outcome)?;
                    break instrument.finish();
                }
            }
            tokio::select! {
                () = idle.notified() => {}
                () = instrument.ended() => break instrument.finish(),
                () = stop.wait() => break instrument.stop(),
            }
        };
        let tally = tally.map_err(|error| Failure::outcome(format!("the simulated instrument: {error}")))?;
        display::count(&tally);
        Ok(())
    })
}

/// The crew's day: the run, what the level reads on it, and what goes wrong.
struct Day {
    voice: Voice,
    level: Level,
    walk: Walk,
    readings: Chance,
    faults: Chance,
    /// Between two shots.
    pause: Duration,
    /// What ends a record, where silence does.
    silence: Duration,
    /// Shots so far, and to do.
    shot: u64,
    wanted: Option<u64>,
}

impl Day {
    fn new(arguments: &Simulate, format: &Arc<Format>) -> Self {
        let chance = Chance::seeded(arguments.seed);
        // A setup is a backsight and a foresight; an odd shot is a backsight at the end.
        let setups = arguments.shots.map(|shots| (shots / 2).max(1));
        Day {
            voice: Voice::of(Arc::clone(format)),
            level: if arguments.feet { Level::feet() } else { Level::metric() },
            walk: Walk::new(setups, chance.branch(1)),
            readings: chance.branch(2),
            faults: chance.branch(3),
            pause: Duration::from_secs_f64(SHOT_S / arguments.speed),
            silence: format.link().silence_ms.map_or(Duration::ZERO, |ms| 2 * Duration::from_millis(u64::from(ms))),
            shot: 0,
            wanted: arguments.shots.map(u64::from),
        }
    }

    /// The shots of the next setup as records; `None` when the day is over.
    fn next_setup(&mut self) -> Result<Option<Vec<(Shot, Frame)>>, Failure> {
        let left = self.wanted.map_or(u64::MAX, |wanted| wanted.saturating_sub(self.shot));
        if left == 0 {
            return Ok(None);
        }
        let setup = self.walk.setup();
        let mut taken =
            shots(&self.level, slice::from_ref(&setup), Sequence::BF, &mut self.readings).map_err(Failure::outcome)?;
        taken.truncate(usize::try_from(left).unwrap_or(usize::MAX));
        let said = taken.into_iter().map(|mut shot| {
            self.shot += 1;
            shot.reading.sequence = Some(self.shot);
            let frame = say(&self.voice, &shot)?;
            Ok((shot, frame))
        });
        said.collect::<Result<_, _>>().map(Some)
    }

    /// What the instrument does at a setup: it waits for a listener, so that nothing is sent to nobody.
    fn acts(&self, shots: &[(Shot, Frame)]) -> Vec<Act> {
        shots.iter().flat_map(|(_, frame)| [Act::Pause(self.pause), Act::Send(frame.clone()), Act::UntilRead]).collect()
    }

    /// The state of the instrument now, if the format can say it.
    fn status(&self) -> Result<Option<Frame>, Failure> {
        self.voice.status(&self.level.status(self.shot)).map_err(Failure::outcome)
    }

    /// In which unit the format sends what this level reads: found by letting it.
    fn unit_sent(&self) -> Result<Unit, Failure> {
        let setup = Walk::new(None, Chance::seeded(1)).setup();
        let taken = shots(&self.level, slice::from_ref(&setup), Sequence::BF, &mut Chance::seeded(1))
            .map_err(Failure::outcome)?;
        let frame = say(&self.voice, &taken[0])?;
        let (mut decoder, mut pieces) = (Decoder::new(Arc::clone(self.voice.format())), Vec::new());
        decoder.push(&frame.bytes, Moment::default(), &mut pieces);
        decoder.silence(Moment::from_us(i64::MAX), &mut pieces);
        match pieces.pop().map(|piece| piece.heard) {
            Some(Heard::Reading(reading)) => Ok(reading.staff.unit()),
            other => {
                Err(Failure::outcome(format!("what the format writes it does not read back as a reading: {other:?}")))
            }
        }
    }
}

/// A shot as a record that tells role and point where the format can: what stands in a field that must not be empty is
/// then true.
fn say(voice: &Voice, shot: &Shot) -> Result<Frame, Failure> {
    let told = |role, point| {
        let reading = Reading { role, point, ..shot.reading.clone() };
        voice.shot(&Shot { reading, ..shot.clone() })
    };
    let (role, point) = (Some(shot.role), Some(shot.point.clone()));
    told(role, point)
        .or_else(|_| told(role, None))
        .or_else(|_| told(None, None))
        .map_err(|error| Failure::outcome(format!("the format cannot be spoken: {error}")))
}

fn rates(faults: &Faults) -> Result<Rates, Failure> {
    let &Faults { damage, truncate, repeat, noise, silence, burst } = faults;
    if damage + truncate + repeat > 1.0 {
        return Err(Failure::input(
            "--damage, --truncate, --repeat: one record has one of them, so at most 1 together",
        ));
    }
    Ok(Rates { damage, truncate, repeat, noise, silence, burst })
}

fn start(arguments: &Simulate, format: &Arc<Format>, day: &Day, display: &Display) -> Result<Instrument, Failure> {
    let make = Make {
        place: match &arguments.tcp {
            Some(address) => Place::Tcp { address: address.clone() },
            None => Place::PseudoTerminal { link: arguments.at.clone() },
        },
        tempo: Tempo::Line(day.voice.wire()),
        manners: day.voice.manners(),
        status: day.status()?,
        seed: arguments.seed,
    };
    let what = format!("a level that speaks {}", format.name());
    let register: Register = Box::new(move |port| {
        let registration = Registry::of_user().register(port, &what)?;
        Ok(Box::new(registration) as Box<dyn Any + Send>)
    });
    simulate::start(make, register, display.observer())
        .map_err(|error| Failure::input(format!("the simulated instrument: {error}")))
}

/// Says where it is and how to hear it.
fn announce(arguments: &Simulate, format: &Format, instrument: &Instrument, unit: Unit) {
    let port = quoted(instrument.port());
    let flag = if arguments.tcp.is_some() { "--tcp" } else { "--port" };
    let unit = if unit.is_foot() { unit } else { Unit::Metre };
    let (start, elevation) = (START.0, Length::from_mm(START.1).show(unit, 4));
    let set = if unit == Unit::Metre { String::new() } else { format!(" --unit {unit}") };
    say::line(format_args!(
        "SIMULATED: a level that speaks {} ({}), on {}",
        format.name(),
        format.title(),
        instrument.port()
    ));
    say::line(format_args!("to hear it, in another terminal:"));
    say::line(format_args!(
        "  closerun listen {flag} {port} --format {}{set} --start {start} --known {start}={elevation}",
        quoted(&arguments.format)
    ));
    say::line(format_args!("it shoots as soon as somebody listens; Ctrl-C ends it"));
}

/// As a word of a shell.
fn quoted(text: &str) -> String {
    let plain = |c: char| c.is_ascii_alphanumeric() || "/._-:".contains(c);
    if !text.is_empty() && text.chars().all(plain) {
        text.to_owned()
    } else {
        format!("'{}'", text.replace('\'', r"'\''"))
    }
}
