//! `closerun demo`: a loop through an invented building on a simulated level, over the same serial stack, book and
//! outlets as a real one, with a crew that makes mistakes and mends them when it is told to hold.

mod building;
mod crew;

use std::any::Any;
use std::path::PathBuf;
use std::sync::Arc;

use tokio::sync::{mpsc, watch};

use super::Failure;
use super::arguments::Demo;
use super::book;
use super::listen::{named_by_time, open_job, opened_or_stopped};
use super::outlets::{Instrument, KeysAre, Outlets};
use super::page::{self, OnPage};
use super::signals::stop_on_signals;
use crate::cli::say;
use crate::config::{Config, Given, Said, Sound};
use crate::daemon::control::Control;
use crate::daemon::outlet::{Outlet, Shown};
use crate::daemon::{ASKS_MAX, Clock, Ending, Listener, NotKept, Session, Setting, SystemClock, run as run_session};
use crate::link::{self, LinkSpec, Registry, Simulated, Stop};
use crate::protocol::Format;
use crate::report::live::closing_lines;
use crate::simulate::{self, Chance, Make, Place, Register, Tempo, Voice};
use crate::units::Unit;

use super::formats;
use building::Building;
use crew::Progress;
pub(super) use crew::SHOT_S;

/// Columns of what is printed at the end.
const WIDTH: usize = 80;

/// The format that the simulated level speaks if none is named.
const FORMAT: &str = "comma";

pub(super) fn run(demo: &Demo) -> Result<(), Failure> {
    let format = formats::named_or_file(demo.format.as_deref().unwrap_or(FORMAT))?;
    let unit = if demo.feet { Unit::Foot } else { Unit::Metre };
    let path = demo.job.clone().unwrap_or_else(free_name);
    if path.exists() {
        return Err(Failure::input(format!("job file {}: there already; the demo makes a new one", path.display())));
    }
    let building = Building::new(unit);
    let config = settings(&building, unit)?;
    let page = page::listen(&demo.view)?;
    let (store, kept) = open_job(&path)?;

    let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build().map_err(Failure::outcome)?;
    let (ending, closed) = runtime.block_on(async {
        let (asks, taken) = mpsc::channel(ASKS_MAX);
        let stop = Stop::new();
        stop_on_signals(&stop)?;
        let page = page.map(|listener| page::open(listener, &[OnPage::of(None, &path, &asks)])).transpose()?;
        let instruments = [Instrument { name: None, asks: asks.clone() }];
        let terminal = Outlets::choose(&demo.view, Sound::On, KeysAre::Commands, &instruments, &stop);
        let mut outlets = terminal.of_one();
        outlets.extend(page.into_iter().flatten());
        let (seen, progress) = watch::channel(Progress::default());
        outlets.push(Box::new(Watcher(seen)));
        let instrument = start(&format, demo)?;
        let settings = formats::serial_of(&format);
        let spec = LinkSpec::Serial { path: instrument.port().to_owned(), settings };
        let (link, mut events) = link::start(spec, stop.clone());
        if let Some(trouble) = opened_or_stopped(&mut events, &stop).await {
            return Err(Failure::outcome(trouble));
        }
        let control = Control::open(&path, asks.clone());
        let mut session = Session::new(Setting {
            name: None,
            store,
            book: kept,
            settings: config.settings,
            listener: Listener::named(Arc::clone(&format)),
            link,
            clock: Box::new(SystemClock::new()),
            outlets,
            simulated: Simulated::Yes,
            quiet_after: None,
        });
        let crew = crew::Crew {
            instrument: &instrument,
            voice: Voice::of(Arc::clone(&format)),
            chance: Chance::seeded(demo.seed),
            level: building.level(),
            speed: demo.speed,
            asks,
            progress,
        };
        let working = async {
            let worked = crew.work(&building).await;
            stop.ask();
            worked
        };
        let (ending, worked) = tokio::join!(run_session(&mut session, events, taken, stop.clone()), working);
        let closed = session.close("the demonstration is over");
        drop((control, terminal));
        instrument.stop().map_err(Failure::outcome)?;
        worked.map(|()| (ending, closed))
    })?;
    let book = closed.map_err(|NotKept { cause, .. }| Failure::outcome(format!("not all is kept: {cause}")))?;
    if let Ending::Bad { why } = ending {
        return Err(Failure::outcome(why));
    }
    if demo.view.json {
        return Ok(());
    }
    say::line(format_args!(""));
    book::print_after(&path)?;
    say::line(format_args!(""));
    for line in closing_lines(&book, WIDTH) {
        say::line(format_args!("{line}"));
    }
    say::line(format_args!("\nSIMULATED. The job is kept in {}", path.display()));
    say::line(format_args!("next: closerun book {} --form rise-and-fall", path.display()));
    say::line(format_args!("      closerun verify {}", path.display()));
    Ok(())
}

/// A name for the job that is not taken, in this folder.
fn free_name() -> PathBuf {
    let first = named_by_time(SystemClock::new().wall(), None);
    let name = first.display().to_string().replace("run-", "demo-");
    PathBuf::from(name)
}

/// The settings by the same way as those of `listen`.
fn settings(building: &Building, unit: Unit) -> Result<Config, Failure> {
    let flag = |value: String| Said::flag("demo", value);
    let given = Given {
        unit: Some(flag(unit.symbol().to_owned())),
        start: Some(flag(building.benchmark().to_owned())),
        known: vec![flag(building.known())],
        // The shipped formats send metres; a crew that works in feet declares the conversion.
        also_units: vec![flag(Unit::Metre.symbol().to_owned())],
        ..Given::default()
    };
    Config::of(given).map_err(Failure::outcome)
}

fn start(format: &Arc<Format>, demo: &Demo) -> Result<simulate::Instrument, Failure> {
    let voice = Voice::of(Arc::clone(format));
    let make = Make {
        place: place(),
        tempo: Tempo::Line(voice.wire()),
        manners: voice.manners(),
        status: None,
        seed: demo.seed,
    };
    let register: Register = Box::new(|port| {
        let registration = Registry::of_user().register(port, "the level of the demonstration")?;
        Ok(Box::new(registration) as Box<dyn Any + Send>)
    });
    simulate::start(make, register, |_| {}).map_err(|error| Failure::outcome(format!("the simulated level: {error}")))
}

#[cfg(unix)]
fn place() -> Place {
    Place::PseudoTerminal { link: None }
}

#[cfg(not(unix))]
fn place() -> Place {
    Place::Tcp { address: "127.0.0.1:0".to_owned() }
}

/// Tells the crew how far the book is.
struct Watcher(watch::Sender<Progress>);

impl Outlet for Watcher {
    fn show(&mut self, shown: &Shown<'_>) {
        let readings = shown.book.entries().len();
        let refused = shown.book.records().refused as usize;
        let listening = shown.book.is_open();
        self.0.send_if_modified(|progress| {
            let now = Progress { readings, refused, listening };
            let changed = *progress != now;
            *progress = now;
            changed
        });
    }
}
