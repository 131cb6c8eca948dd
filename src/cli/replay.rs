//! `closerun replay`: recomputes a job from its raw bytes, and says whether book and findings are what was booked.

use std::sync::Arc;

use super::Failure;
use super::arguments::Replay;
use super::formats;
use super::say;
use crate::book::event::Event;
use crate::daemon::replay::{Difference, Replayed, replay};
use crate::store::Job;

/// How many differences are shown.
const SHOWN_MAX: usize = 10;

pub(super) fn run(arguments: &Replay) -> Result<(), Failure> {
    let reader = Job::read(&arguments.job).map_err(Failure::input)?;
    let events: Vec<Event> = reader.events().collect::<Result<_, _>>().map_err(Failure::input)?;
    let format = match &arguments.format {
        Some(text) => Some(formats::named_or_file(text)?),
        None => None,
    };
    let replayed = replay(&events, format.as_ref().map(Arc::clone)).map_err(Failure::input)?;
    report(&replayed)
}

fn report(replayed: &Replayed) -> Result<(), Failure> {
    say::line(format_args!(
        "{} bytes in {} records read again: {} readings",
        replayed.bytes, replayed.records, replayed.readings
    ));
    if replayed.differences.is_empty() {
        say::line(format_args!("the same to the last digit: book, findings and verdicts"));
        return Ok(());
    }
    for difference in replayed.differences.iter().take(SHOWN_MAX) {
        let Difference { event, was, is } = difference;
        say::line(format_args!("event {event}\n  was booked: {was}\n  comes to:   {is}"));
    }
    let left = replayed.differences.len().saturating_sub(SHOWN_MAX);
    let more = if left > 0 { format!(" ({left} more)") } else { String::new() };
    Err(Failure::outcome(format!("{} differences from what was booked{more}", replayed.differences.len())))
}
