//! What `listen` is told: a settings file and the command line, of which the command line wins.
//!
//! Two layers. [`Given`] is what was said, each thing absent or with its place; the settings file is read into it and
//! the command line fills in the same. [`Config`] is checked: once it is there, nothing needs to be looked at again.
//! All that is wrong is said at once, each at its place. No file is opened here, and no port.
//!
//! ```toml
//! port = "/dev/ttyUSB0"             # or ble = "LEVEL-7", tcp = "host:port", stdin = true, capture = "morning.capture"
//! format = "comma"                  # a shipped format's name, or a path
//! job = "core-north.job"
//! unit = "m"                        # m, ft, sft
//! class = "building"                # or a table [class] with the job's own limits
//! sequence = "BF"
//! start = "BM-1"
//! known = ["BM-1=52.3480", "BM-7=171.750ft"]
//!
//! [staffs]
//! in-use = "pair"
//! length = "5 m"                    # every length names its unit
//! ```
//!
//! Several instruments are heard at once by a table for each. What stands before the tables holds for all of them:
//!
//! ```toml
//! known = ["BM-1=52.3480", "BM-7=171.750ft"]
//!
//! [[instrument]]
//! name = "north"
//! port = "/dev/ttyUSB0"
//! job = "core-north.job"
//! start = "BM-1"
//!
//! [[instrument]]
//! name = "south"
//! tcp = "192.168.4.1:7001"
//! job = "core-south.job"
//! start = "BM-7"
//! ```

mod check;
mod class;
mod errors;
mod file;
mod given;
mod instruments;
mod job;
mod listening;
mod measures;
mod points;

pub use errors::{ConfigError, ConfigErrors, Located};
pub use file::{FILE_MAX_BYTES, SettingsFile};
pub use given::{ClassGiven, CorrectionsGiven, Given, LevelGiven, OwnClass, Place, Said, SerialGiven, StaffsGiven};
pub use instruments::{INSTRUMENTS_MAX, NAME_MAX};
pub use listening::{FormatChoice, Serial, Sound, Source};

use std::path::PathBuf;
use std::time::Duration;

use crate::book::settings::Settings;
use check::Check;

/// Checked settings of one instrument.
#[derive(Clone, Debug, PartialEq)]
pub struct Config {
    /// What it is called; always said where there are several.
    pub name: Option<String>,
    /// Where the bytes come from; the only port that is plugged in, if it was not said.
    pub source: Option<Source>,
    /// Settings of a serial port that differ from the format's.
    pub serial: Serial,
    /// The record format; the only one that fits, if it was not said.
    pub format: Option<FormatChoice>,
    /// The job file.
    pub job: Option<PathBuf>,
    /// What the job is set to.
    pub settings: Settings,
    /// Silence after which the link is said to be quiet; what the format expects, if it was not said.
    pub quiet_after: Option<Duration>,
    /// Whether tones are given.
    pub sound: Sound,
}

impl Config {
    /// Checks the settings of the file, if there is one, and of the flags, which win: one for each instrument, and at
    /// least one.
    ///
    /// # Errors
    /// Everything that is wrong, each at its place.
    pub fn from(file: Option<&SettingsFile>, flags: Given) -> Result<Vec<Config>, ConfigErrors> {
        let mut check = Check::new(file);
        let given = file.map(|file| file.given().clone()).unwrap_or_default();
        let each = instruments::each(&mut check, given, flags);
        let configs: Vec<Config> = each.iter().map(|given| Config::read(&mut check, given)).collect();
        instruments::apart(&mut check, &each, &configs);
        check.finish(configs)
    }

    /// Checks the settings of one instrument, without a file.
    ///
    /// # Errors
    /// Everything that is wrong, each at its place.
    pub fn of(given: Given) -> Result<Config, ConfigErrors> {
        let mut check = Check::new(None);
        let config = Config::read(&mut check, &given);
        check.finish(config)
    }

    fn read(check: &mut Check<'_>, given: &Given) -> Config {
        Config {
            name: instruments::name(check, given),
            source: listening::source(check, given),
            serial: listening::serial(check, &given.serial),
            format: listening::format(check, given),
            job: listening::job(check, given),
            settings: job::settings(check, given),
            quiet_after: listening::quiet_after(check, given),
            sound: listening::sound(check, given),
        }
    }
}

#[cfg(test)]
mod tests;
