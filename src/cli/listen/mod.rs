//! `closerun listen`: joins links, formats, jobs and the outlets, and runs until told to stop.

mod plan;

use std::net::TcpListener;
use std::path::{Path, PathBuf};

use tokio::sync::mpsc;

use super::Failure;
use super::arguments::{Listen, View};
use super::outlets::{Instrument, KeysAre, Outlets, supervised};
use super::page::{self, OnPage};
use super::say;
use super::signals::stop_on_signals;
use crate::book::Book;
use crate::book::moment::Moment;
use crate::config::{Config, SettingsFile, Sound};
use crate::daemon::control::Control;
use crate::daemon::{ASKS_MAX, Ask, Clock, Ending, NotKept, Outcome, Post, Session, Setting, SystemClock, attend};
use crate::link::{self, EventReceiver, LinkHandle, LinkSpec, Registry, Simulated, Stop, Trouble};
use crate::store::{Fault, Job};
use plan::Plan;

pub(super) fn run(listen: Listen) -> Result<(), Failure> {
    let file = listen.settings.as_deref().map(read_settings).transpose()?;
    let configs = Config::from(file.as_ref(), listen.given.given()).map_err(Failure::input)?;
    let sound = configs.first().map_or(Sound::On, |config| config.sound);
    let now = SystemClock::new().wall();
    let plans = configs.into_iter().map(|config| Plan::of(config, now)).collect::<Result<Vec<Plan>, _>>()?;
    let page = page::listen(&listen.view)?;
    // Somebody has just typed one name: if it leads nowhere, that is said before a job is begun. A converter on the
    // network may still be off, and one of several instruments too.
    let gives_up = match &plans[..] {
        [Plan { spec: LinkSpec::Serial { .. } | LinkSpec::Ble { .. } | LinkSpec::Capture { .. }, .. }] => !listen.wait,
        _ => false,
    };
    let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build().map_err(Failure::outcome)?;
    runtime.block_on(async {
        let stop = Stop::new();
        stop_on_signals(&stop)?;
        let mut opened = Vec::new();
        for plan in plans {
            match Opened::of(plan, gives_up, &stop).await {
                Ok(instrument) => opened.push(instrument),
                Err(failure) => {
                    opened.into_iter().for_each(Opened::forget);
                    return Err(failure);
                }
            }
        }
        hear(opened, &listen.view, sound, page, &stop).await
    })
}

/// An instrument whose link is being opened, and whose job is.
struct Opened {
    plan: Plan,
    simulated: Simulated,
    link: LinkHandle,
    events: EventReceiver,
    store: Job,
    book: Book,
    asks: mpsc::Sender<Ask>,
    taken: mpsc::Receiver<Ask>,
}

impl Opened {
    async fn of(plan: Plan, gives_up: bool, stop: &Stop) -> Result<Self, Failure> {
        let simulated = simulated(&plan.spec);
        let (link, mut events) = link::start(plan.spec.clone(), Stop::new());
        if gives_up && let Some(trouble) = opened_or_stopped(&mut events, stop).await {
            return Err(plan.failed(Failure::input(trouble)));
        }
        let (store, book) = open_job(&plan.path).map_err(|failure| plan.failed(failure))?;
        let (asks, taken) = mpsc::channel(ASKS_MAX);
        Ok(Opened { plan, simulated, link, events, store, book, asks, taken })
    }

    fn on_page(&self) -> OnPage<'_> {
        OnPage::of(self.plan.name.as_deref(), &self.plan.path, &self.asks)
    }

    /// A job that was made for nothing is not left behind.
    fn forget(self) {
        if self.store.close().is_ok() && self.book.last_event() == 0 {
            let _ = std::fs::remove_file(&self.plan.path);
        }
    }
}

/// Runs all of them to their ends, and says what became of each.
async fn hear(
    opened: Vec<Opened>,
    view: &View,
    sound: Sound,
    page: Option<TcpListener>,
    stop: &Stop,
) -> Result<(), Failure> {
    let paths: Vec<(Option<String>, PathBuf)> =
        opened.iter().map(|opened| (opened.plan.name.clone(), opened.plan.path.clone())).collect();
    let on_page: Vec<OnPage<'_>> = opened.iter().map(Opened::on_page).collect();
    let page = page.map(|listener| page::open(listener, &on_page)).transpose()?;
    let mut pages = page.into_iter().flatten();
    let instruments: Vec<Instrument> =
        opened.iter().map(|opened| Instrument { name: opened.plan.name.clone(), asks: opened.asks.clone() }).collect();
    let stdin = opened.iter().any(|opened| matches!(opened.plan.spec, LinkSpec::Stdin));
    let keys = if stdin { KeysAre::Unused } else { KeysAre::Commands };
    let outlets = Outlets::choose(view, sound, keys, &instruments, stop);
    let mut supervisors = supervised(opened.len()).into_iter();
    let (mut posts, mut controls) = (Vec::new(), Vec::new());
    for Opened { plan, simulated, link, events, store, book, asks, taken } in opened {
        let mut own = outlets.of_one();
        own.extend(pages.next());
        own.extend(supervisors.next());
        let control = Control::open(&plan.path, asks);
        let mut session = Session::new(Setting {
            name: plan.name,
            store,
            book,
            settings: plan.settings,
            listener: plan.listener,
            link,
            clock: Box::new(SystemClock::new()),
            outlets: own,
            simulated,
            quiet_after: plan.quiet_after,
        });
        if let Err(error) = &control {
            session.warn(format!("tell will not reach this run: {error}"));
        }
        controls.push(control);
        posts.push(Post { session, link: events, asks: taken });
    }
    let outcomes = attend(posts, stop).await;
    drop((controls, outlets));
    report(&paths, outcomes)
}

/// Says where each job is, and fails if any of them did.
fn report(paths: &[(Option<String>, PathBuf)], outcomes: Vec<Outcome>) -> Result<(), Failure> {
    let mut failures = Vec::new();
    for ((name, path), outcome) in paths.iter().zip(outcomes) {
        let lead = name.as_ref().map(|name| format!("{name}: ")).unwrap_or_default();
        match (outcome.book, outcome.ending) {
            (Err(NotKept { cause, .. }), _) => failures.push(format!("{lead}not all is kept: {cause}")),
            (Ok(_), Ending::Bad { why }) => failures.push(format!("{lead}{why}")),
            (Ok(book), Ending::Good) => {
                say::aside(format_args!("{lead}{} readings kept in {}", book.entries().len(), path.display()));
                say::aside(format_args!("{:1$}next: closerun book {2}", "", lead.len(), path.display()));
            }
        }
    }
    if failures.is_empty() { Ok(()) } else { Err(Failure::outcome(failures.join("\n"))) }
}

/// The first trouble of a link that could not be opened; none once it is open, or somebody wants it to stop.
pub(super) async fn opened_or_stopped(events: &mut EventReceiver, stop: &Stop) -> Option<Trouble> {
    tokio::select! {
        trouble = events.first_trouble() => trouble,
        () = stop.wait() => None,
    }
}

fn read_settings(path: &Path) -> Result<SettingsFile, Failure> {
    let text = std::fs::read_to_string(path)
        .map_err(|error| Failure::input(format!("settings file {}: {error}", path.display())))?;
    SettingsFile::parse(&path.display().to_string(), &text).map_err(Failure::input)
}

/// Opens the job, or makes it if it is not there or its making was cut short.
pub(super) fn open_job(path: &Path) -> Result<(Job, Book), Failure> {
    let job = match Job::open(path) {
        Err(error) if error.fault == Fault::Missing => Job::create(path),
        Err(error) if error.fault == Fault::Unmade => Job::create_in_empty(path),
        other => other,
    };
    let job = job.map_err(Failure::input)?;
    let book = crate::daemon::fold(&job).map_err(|NotKept { cause, .. }| Failure::input(cause))?;
    Ok((job, book))
}

/// A job file named by the time at which it is begun, and by the instrument if that has a name.
pub(super) fn named_by_time(now: Moment, instrument: Option<&str>) -> PathBuf {
    let digits: String = now.to_string().chars().take(19).filter(char::is_ascii_digit).collect();
    let whose = instrument.map(|name| format!("-{name}")).unwrap_or_default();
    PathBuf::from(format!("run-{}-{}{whose}.job", &digits[..8], &digits[8..]))
}

/// Whether this user's simulators know the port: the link says so again when it opens, but the job opens first.
pub(super) fn simulated(spec: &LinkSpec) -> Simulated {
    let port = match spec {
        LinkSpec::Serial { path, .. } => {
            std::fs::canonicalize(path).map_or_else(|_| path.clone(), |path| path.display().to_string())
        }
        LinkSpec::Tcp { address } => address.clone(),
        LinkSpec::Ble { .. } | LinkSpec::Stdin | LinkSpec::Capture { .. } => return Simulated::No,
    };
    if Registry::of_user().holds(&port) { Simulated::Yes } else { Simulated::No }
}
