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
    let to_people = fmt::layer().with_writer(std::io::stderr).with_target(false).with_filter(ours(level));
    let to_file = match &logging.log {
        None => None,
        Some(path) => {
            let file = OpenOptions::new().create(true).append(true).open(path);
            let file = file.map_err(|error| Failure::input(format!("log file {}: {error}", path.display())))?;
            let level = level.max(LevelFilter::INFO);
            Some(fmt::layer().json().with_writer(std::sync::Mutex::new(file)).with_filter(ours(level)))
        }
    };
    // A second start, in a test, keeps the first.
    let _ = tracing_subscriber::registry().with(to_people).with(to_file).try_init();
    Ok(())
}
