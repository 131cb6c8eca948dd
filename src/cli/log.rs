//! The log: standard error for people, a file of JSON lines on request. Quiet unless asked.

use std::fs::OpenOptions;

use tracing_subscriber::filter::{LevelFilter, Targets};
use tracing_subscriber::layer::SubscriberExt;
use tracing_subscriber::util::SubscriberInitExt;
use tracing_subscriber::{Layer, fmt};

use super::Failure;
use super::arguments::Logging;

/// Starts the log. What goes wrong with it later does not concern the recording.
pub(super) fn start(logging: &Logging) -> Result<(), Failure> {
    let ours = |level: LevelFilter| Targets::new().with_target("closerun", level);
    let level = match logging.verbose {
        0 => LevelFilter::OFF,
        1 => LevelFilter::INFO,
        2 => LevelFilter::DEBUG,
        _ => LevelFilter::TRACE,
    };
    // What goes wrong with a log is told to nobody: it would be told on standard error, which may be what is gone.
    let to_people = fmt::layer().log_internal_errors(false).with_writer(std::io::stderr).with_target(false);
    let to_people = to_people.with_filter(ours(level));
    let to_file = match &logging.log {
        None => None,
        Some(path) => {
            let file = OpenOptions::new().create(true).append(true).open(path);
            let file = file.map_err(|error| Failure::input(format!("log file {}: {error}", path.display())))?;
            let level = level.max(LevelFilter::INFO);
            let to_file = fmt::layer().json().log_internal_errors(false).with_writer(std::sync::Mutex::new(file));
            Some(to_file.with_filter(ours(level)))
        }
    };
    // A second start, in a test, keeps the first.
    let _ = tracing_subscriber::registry().with(to_people).with(to_file).try_init();
    Ok(())
}
