//! The arguments of what is printed for the system that the program is installed on.

use std::path::PathBuf;

use clap::{Args, ValueEnum};
use clap_complete::Shell;

/// Arguments of `service`.
#[derive(Debug, Args)]
pub(in crate::cli) struct Service {
    /// Which file
    #[arg(value_enum)]
    pub(in crate::cli) file: ServiceFile,
}

/// A file for the system.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub(in crate::cli) enum ServiceFile {
    /// The systemd unit, one instance an instrument: closerun@.service
    Unit,
    /// An example of a udev rule, which names an adapter and starts its listener: 70-closerun.rules
    Rule,
}

/// Arguments of `completions`.
#[derive(Debug, Args)]
pub(in crate::cli) struct Completions {
    /// Of which shell
    #[arg(value_enum)]
    pub(in crate::cli) shell: Shell,
}

/// Arguments of `man`.
#[derive(Debug, Args)]
pub(in crate::cli) struct Man {
    /// Write the pages of all commands into this folder
    #[arg(long, value_name = "FOLDER")]
    pub(in crate::cli) into: Option<PathBuf>,
}
