//! `closerun tell`: says something to a running `listen`.

use super::Failure;
use super::arguments::Tell;
use super::say;
use crate::daemon::control::{self, Reply, TellError};
use crate::daemon::words::VERBS;

pub(super) fn run(tell: Tell) -> Result<(), Failure> {
    if tell.words.is_empty() {
        for verb in VERBS {
            say::line(format_args!("  {:<50} {}", format!("{} {}", verb.word, verb.follows).trim_end(), verb.does));
        }
        return Ok(());
    }
    match control::tell(tell.job.as_deref(), tell.words) {
        Ok(Reply::Done(done)) => {
            for line in done {
                say::line(format_args!("{line}"));
            }
            Ok(())
        }
        Ok(Reply::Job(job)) => Err(Failure::outcome(format!("the daemon of {job} did not understand"))),
        Ok(Reply::Refused(why)) => Err(Failure::outcome(why)),
        Ok(Reply::NotUnderstood(why)) => Err(Failure::input(why)),
        Err(error @ TellError::Failed { .. }) => Err(Failure::outcome(error)),
        Err(error) => Err(Failure::input(error)),
    }
}
