//! What `listen` is told: a settings file and the command line, of which the command line wins.
//!
//! Two layers. [`Given`] is what was said, each thing absent or with its place; the settings file is read into it and
//! the command line fills in the same. [`Config`] is checked: once it is there, nothing needs to be looked at again.
//! All that is wrong is said at once, each at its place. No file is opened here, and no port.
//!
//! ```toml
//! port = "/dev/ttyUSB0"             # or tcp = "host:port", stdin = true, capture = "morning.capture"
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

mod check;
mod class;
mod errors;
mod file;
mod given;
mod job;
mod listening;
mod measures;
mod points;

pub use errors::{ConfigError, ConfigErrors, Located};
pub use file::{FILE_MAX_BYTES, SettingsFile};
pub use given::{
    ClassGiven, CorrectionsGiven, Given, InstrumentGiven, OwnClass, Place, Said, SerialGiven, StaffsGiven,
};
pub use listening::{FormatChoice, Serial, Sound, Source};

use std::path::PathBuf;
use std::time::Duration;

use crate::book::settings::Settings;
use check::Check;

/// Checked settings.
#[derive(Clone, Debug, PartialEq)]
pub struct Config {
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
    /// Checks the settings of the file, if there is one, and of the flags, which win.
    ///
    /// # Errors
    /// Everything that is wrong, each at its place.
    pub fn from(file: Option<&SettingsFile>, flags: Given) -> Result<Config, ConfigErrors> {
        let given = flags.over(file.map(|file| file.given().clone()).unwrap_or_default());
        let mut check = Check::new(file);
        let config = Config {
            source: listening::source(&mut check, &given),
            serial: listening::serial(&mut check, &given.serial),
            format: listening::format(&mut check, &given),
            job: listening::job(&mut check, &given),
            settings: job::settings(&mut check, &given),
            quiet_after: listening::quiet_after(&mut check, &given),
            sound: listening::sound(&mut check, &given),
        };
        check.finish(config)
    }
}

#[cfg(test)]
mod tests;
