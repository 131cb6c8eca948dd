//! `closerun listen`: joins a link, a format, a job and the outlets, and runs until told to stop.

use std::path::{Path, PathBuf};
use std::sync::Arc;

use tokio::sync::mpsc;

use super::Failure;
use super::arguments::Listen;
use super::formats;
use super::outlets::{self, KeysAre};
use super::page::{OnPage, named_by_job};
use super::ports;
use super::say;
use super::signals::stop_on_signals;
use crate::book::Book;
use crate::config::{self, Config, SettingsFile, Sound, Source};
use crate::daemon::control::Control;
use crate::daemon::outlet::RawTerminal;
use crate::daemon::{ASKS_MAX, Clock, Ending, Listener, NotKept, Session, Setting, SystemClock, run as run_session};
use crate::link::{self, EventReceiver, LinkSpec, PortKind, Registry, SerialSettings, Simulated, Stop, Trouble};
use crate::protocol::Format;
use crate::store::{Fault, Job};

pub(super) fn run(listen: Listen) -> Result<(), Failure> {
    let file = listen.settings.as_deref().map(read_settings).transpose()?;
    let config = Config::from(file.as_ref(), listen.given.given()).map_err(Failure::input)?;
    let source = match &config.source {
        Some(source) => source.clone(),
        None => the_only_port()?,
    };
    let format = config.format.as_ref().map(formats::choose).transpose()?;
    let candidates = match &format {
        Some(format) => vec![Arc::clone(format)],
        None => formats::all()?,
    };
    let (spec, listener) = plan(source, config.serial, format, candidates);
    let path = config.job.clone().unwrap_or_else(|| named_by_time(SystemClock::new().wall()));
    let page = super::page::listen(&listen.view)?;

    let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build().map_err(Failure::outcome)?;
    runtime.block_on(async {
        let stop = Stop::new();
        stop_on_signals(&stop)?;
        let simulated = simulated(&spec);
        // Somebody has just typed the name: if it leads nowhere, that is said before a job is begun. A converter on the
        // network may still be off.
        let gives_up = !listen.wait && matches!(spec, LinkSpec::Serial { .. } | LinkSpec::Capture { .. });
        let keys = if matches!(spec, LinkSpec::Stdin) { KeysAre::Unused } else { KeysAre::Commands };
        let (link, mut events) = link::start(spec, stop.clone());
        if gives_up && let Some(trouble) = opened_or_stopped(&mut events, &stop).await {
            return Err(Failure::input(trouble));
        }
        let (store, book) = open_job(&path)?;
        let (asks, taken) = mpsc::channel(ASKS_MAX);
        let on_page = OnPage { name: named_by_job(&path), job: &path, asks: &asks };
        let page = page.map(|listener| super::page::open(listener, &[on_page])).transpose()?;
        let mut outlets = outlets::choose(&listen.view, config.sound == Sound::On, keys, &asks, &stop);
        outlets.all.extend(page.into_iter().flatten());
        let control = Control::open(&path, asks.clone());
        let mut session = Session::new(Setting {
            store,
            book,
            settings: config.settings,
            listener,
            link,
            clock: Box::new(SystemClock::new()),
            outlets: outlets.all,
            simulated,
            quiet_after: config.quiet_after,
        });
        if let Err(error) = &control {
            session.warn(format!("tell will not reach this run: {error}"));
        }
        let ending = run_session(&mut session, events, taken, stop).await;
        finish(session, ending, &path, outlets.raw)
    })
}

/// The first trouble of a link that could not be opened; none once it is open, or somebody wants it to stop.
pub(super) async fn opened_or_stopped(events: &mut EventReceiver, stop: &Stop) -> Option<Trouble> {
    tokio::select! {
        trouble = events.first_trouble() => trouble,
        () = stop.wait() => None,
    }
}

/// Ends a session and says where the job is.
fn finish(session: Session<Job>, ending: Ending, path: &Path, raw: Option<RawTerminal>) -> Result<(), Failure> {
    let reason = match &ending {
        Ending::Good => "told to stop, or the input ended",
        Ending::Bad { .. } => "a part of the program failed",
    };
    let closed = session.close(reason);
    drop(raw);
    let book = closed.map_err(|NotKept { cause, .. }| Failure::outcome(format!("not all is kept: {cause}")))?;
    match ending {
        Ending::Bad { why } => Err(Failure::outcome(why)),
        Ending::Good => {
            say::aside(format_args!("{} readings kept in {}", book.entries().len(), path.display()));
            say::aside(format_args!("next: closerun book {}", path.display()));
            Ok(())
        }
    }
}

fn read_settings(path: &Path) -> Result<SettingsFile, Failure> {
    let text = std::fs::read_to_string(path)
        .map_err(|error| Failure::input(format!("settings file {}: {error}", path.display())))?;
    SettingsFile::parse(&path.display().to_string(), &text).map_err(Failure::input)
}

/// Opens the job, or makes it if it is not there.
pub(super) fn open_job(path: &Path) -> Result<(Job, Book), Failure> {
    let job = match Job::open(path) {
        Err(error) if error.fault == Fault::Missing => Job::create(path),
        other => other,
    };
    let job = job.map_err(Failure::input)?;
    let book = crate::daemon::fold(&job).map_err(|NotKept { cause, .. }| Failure::input(cause))?;
    Ok((job, book))
}

/// A job file named by the time at which it is begun.
pub(super) fn named_by_time(now: crate::book::moment::Moment) -> PathBuf {
    let digits: String = now.to_string().chars().take(19).filter(char::is_ascii_digit).collect();
    PathBuf::from(format!("run-{}-{}.job", &digits[..8], &digits[8..]))
}

/// The port, when only one is plugged in.
fn the_only_port() -> Result<Source, Failure> {
    // Ports that are part of the machine are there whether anything is plugged in or not.
    let plugged = |kind: &PortKind| !matches!(kind, PortKind::BuiltIn);
    let found: Vec<link::PortInfo> = link::ports().into_iter().filter(|port| plugged(&port.kind)).collect();
    match &found[..] {
        [port] => Ok(Source::Port(port.path.clone())),
        [] => Err(Failure::input(
            "no serial port is plugged in: plug the instrument in, or name a source with --port, --tcp, --stdin or --capture",
        )),
        several => {
            let list: Vec<String> = several.iter().flat_map(ports::lines).map(|line| format!("\n  {line}")).collect();
            Err(Failure::input(format!("several serial ports are plugged in, name one with --port:{}", list.concat())))
        }
    }
}

/// The link to open and the formats to hear it with. Without a named format only those are candidates whose serial
/// settings can be heard at the same time.
fn plan(
    source: Source,
    serial: config::Serial,
    format: Option<Arc<Format>>,
    candidates: Vec<Arc<Format>>,
) -> (LinkSpec, Listener) {
    let settings = format.as_ref().map_or(SerialSettings::at(formats::BAUD), |format| formats::serial_of(format));
    let spec = source.link(serial.over(settings));
    let listener = match (format, &spec) {
        (Some(format), _) => Listener::named(format),
        (None, LinkSpec::Serial { settings, .. }) => {
            Listener::open(candidates.into_iter().filter(|format| formats::serial_of(format) == *settings))
        }
        (None, _) => Listener::open(candidates),
    };
    (spec, listener)
}

/// Whether this user's simulators know the port: the link says so again when it opens, but the job opens first.
pub(super) fn simulated(spec: &LinkSpec) -> Simulated {
    let port = match spec {
        LinkSpec::Serial { path, .. } => {
            std::fs::canonicalize(path).map_or_else(|_| path.clone(), |path| path.display().to_string())
        }
        LinkSpec::Tcp { address } => address.clone(),
        LinkSpec::Stdin | LinkSpec::Capture { .. } => return Simulated::No,
    };
    if Registry::of_user().holds(&port) { Simulated::Yes } else { Simulated::No }
}
