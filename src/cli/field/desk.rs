//! To whom words are said: the daemon that records the job, a job that nobody records, or nobody.

use std::path::Path;

use super::super::Failure;
use super::super::arguments::Desk as Arguments;
use super::super::listen::open_job;
use super::super::say;
use crate::config::{ClassGiven, Config, Given, Said};
use crate::daemon::control::{self, Reply, TellError};
use crate::daemon::{Answer, Desk as AtDesk, NotKept, NothingKept, SystemClock};
use crate::field::keyed;
use crate::store::Job;

/// The readings that were written down, each as the words that key it in.
pub(super) fn readings(arguments: &Arguments) -> Result<Vec<Vec<String>>, Failure> {
    let key = |staff: &str, sight: Option<&str>| {
        ["key", staff].into_iter().chain(sight).map(str::to_owned).collect::<Vec<_>>()
    };
    if let Some(file) = &arguments.csv {
        let bytes = super::read_file(file)?;
        let written = keyed::read(&bytes).map_err(|error| super::in_file(file, &error))?;
        return Ok(written.iter().map(|written| key(&written.staff, written.sight.as_deref())).collect());
    }
    let given = arguments.read.iter().flat_map(|several| several.split_whitespace());
    Ok(given
        .map(|reading| match reading.split_once('@') {
            Some((staff, sight)) => key(staff, Some(sight)),
            None => key(reading, None),
        })
        .collect())
}

/// To whom words are said.
pub(super) enum Desk {
    /// The daemon that records this job, or the only one that listens.
    Daemon(Option<std::path::PathBuf>),
    /// A job that nobody records.
    Job(Box<AtDesk<Job>>),
    /// Nobody: it is only reckoned.
    Reckoned(Box<AtDesk<NothingKept>>),
}

impl Desk {
    /// The one that is meant: without a job and without readings, the crew that is being listened to, if there is one.
    pub(super) fn open(arguments: &Arguments, guided: bool) -> Result<Self, Failure> {
        if let Some(job) = &arguments.job {
            return Desk::of_job(job, arguments);
        }
        if guided && let Ok(Reply::Done(_)) = control::tell(None, vec!["status".to_owned()]) {
            return Ok(Desk::Daemon(None));
        }
        let (store, book) = (NothingKept, crate::book::Book::new());
        let desk = AtDesk::open(store, book, settings(arguments)?, Box::new(SystemClock::new())).map_err(not_kept)?;
        Ok(Desk::Reckoned(Box::new(desk)))
    }

    /// A job, by way of the daemon if one records it.
    pub(super) fn of_job(job: &Path, arguments: &Arguments) -> Result<Self, Failure> {
        match control::tell(Some(job), vec!["status".to_owned()]) {
            Ok(_) => return Ok(Desk::Daemon(Some(job.to_owned()))),
            Err(TellError::NobodyRecords { .. }) => {}
            // A socket that nobody answers at is left over from a daemon that is gone: the job's own lock decides.
            Err(TellError::Failed { .. }) => {}
            Err(error) => return Err(Failure::input(error)),
        }
        let settings = settings(arguments)?;
        let (store, book) = open_job(job)?;
        let desk = AtDesk::open(store, book, settings, Box::new(SystemClock::new())).map_err(not_kept)?;
        Ok(Desk::Job(Box::new(desk)))
    }

    /// Says something, and prints the answer.
    pub(super) fn say(&mut self, words: &[String]) -> Result<(), Failure> {
        let answer = match self {
            Desk::Daemon(job) => match control::tell(job.as_deref(), words.to_vec()) {
                Ok(Reply::Done(done)) => Answer::Done(done),
                Ok(Reply::Refused(why)) => Answer::Refused(why),
                Ok(Reply::NotUnderstood(why)) => Answer::NotUnderstood(why),
                Ok(Reply::Job(job)) => return Err(Failure::outcome(format!("the daemon of {job} did not understand"))),
                Err(error) => return Err(Failure::outcome(error)),
            },
            Desk::Job(desk) => desk.say(words).map_err(not_kept)?,
            Desk::Reckoned(desk) => desk.say(words).map_err(not_kept)?,
        };
        match answer {
            Answer::Done(done) => {
                done.iter().for_each(|line| say::line(format_args!("{line}")));
                Ok(())
            }
            Answer::Refused(why) => Err(Failure::outcome(why)),
            Answer::NotUnderstood(why) => Err(Failure::input(why)),
        }
    }

    /// Ends it: a job is left as one complete file; what was only reckoned must have come to something.
    pub(super) fn close(self) -> Result<(), Failure> {
        match self {
            Desk::Daemon(_) => Ok(()),
            Desk::Job(desk) => desk.close().map(|_| ()).map_err(not_kept),
            Desk::Reckoned(desk) => match desk.book().activities().under_way() {
                Some(activity) => {
                    let (held, slots) = (activity.counted().count(), activity.task.slots());
                    let wanted = slots.map_or_else(|| "more".to_owned(), |slots| slots.to_string());
                    Err(Failure::outcome(format!(
                        "{held} readings found, {wanted} were wanted: give them with --read or --csv, or shoot them while \
                         listen runs"
                    )))
                }
                None => Ok(()),
            },
        }
    }
}

fn not_kept(not: NotKept) -> Failure {
    Failure::outcome(format!("not kept: {}", not.cause))
}

/// Settings of a job that is made here: those given, the usual ones otherwise.
fn settings(arguments: &Arguments) -> Result<crate::book::settings::Settings, Failure> {
    let text = |flag: &'static str, value: &Option<String>| value.clone().map(|value| Said::flag(flag, value));
    let mut given = Given {
        unit: text("--unit", &arguments.unit),
        class: arguments.class.clone().map(|name| Said::flag("--class", ClassGiven::Named(name))),
        known: arguments.known.iter().map(|known| Said::flag("--known", known.clone())).collect(),
        ..Given::default()
    };
    given.level.reading_sd = text("--reading-sd", &arguments.reading_sd);
    given.level.name = text("--instrument", &arguments.instrument);
    Config::of(given).map(|config| config.settings).map_err(Failure::input)
}
