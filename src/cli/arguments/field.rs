//! Arguments of the rest of the day: tests, marks, targets, gaps, tapes, the day's list.

use std::path::PathBuf;

use clap::{Args, Subcommand};

use super::PaperSize;

/// Where something is kept, and what was written down for it.
#[derive(Debug, Default, Args)]
pub(in crate::cli) struct Desk {
    /// Keep it in this job, also while it is being recorded; without a job it is only reckoned
    #[arg(long, value_name = "FILE", help_heading = "Job")]
    pub(in crate::cli) job: Option<PathBuf>,
    /// Unit of a job that is made or of what is only reckoned
    #[arg(long, value_name = "m|ft|sft", help_heading = "Job")]
    pub(in crate::cli) unit: Option<String>,
    /// Accuracy class of the same (see classes)
    #[arg(long, value_name = "NAME", help_heading = "Job")]
    pub(in crate::cli) class: Option<String>,
    /// A point whose elevation is known, in the same; may be repeated
    #[arg(long, value_name = "POINT=ELEVATION", help_heading = "Job")]
    pub(in crate::cli) known: Vec<String>,
    /// Standard deviation of one staff reading, in the same
    #[arg(long, value_name = "LENGTH", help_heading = "Job")]
    pub(in crate::cli) reading_sd: Option<String>,
    /// What the instrument is called, in the same
    #[arg(long, value_name = "NAME", help_heading = "Job")]
    pub(in crate::cli) instrument: Option<String>,
    /// Readings in the order in which they are asked for: STAFF, or STAFF@SIGHT
    #[arg(long, value_name = "STAFF[@SIGHT]", num_args = 1.., allow_hyphen_values = true, help_heading = "Readings")]
    pub(in crate::cli) read: Vec<String>,
    /// Readings from a file: staff,sight or back,fore in its first line
    #[arg(long, value_name = "FILE", conflicts_with = "read", help_heading = "Readings")]
    pub(in crate::cli) csv: Option<PathBuf>,
}

/// Arguments of `test`, `reciprocal` and `tape`: the words that `tell` takes too.
#[derive(Debug, Args)]
pub(in crate::cli) struct Activity {
    /// What is done, in the words of tell
    #[arg(value_name = "WORDS", required = true)]
    pub(in crate::cli) words: Vec<String>,
    #[command(flatten)]
    pub(in crate::cli) desk: Desk,
}

/// Arguments of `marks`.
#[derive(Debug, Args)]
pub(in crate::cli) struct Marks {
    #[command(subcommand)]
    pub(in crate::cli) verb: MarksVerb,
}

/// What to do with marks.
#[derive(Debug, Subcommand)]
pub(in crate::cli) enum MarksVerb {
    /// List the marks of a job or of a register
    List {
        /// A job or a register
        #[arg(value_name = "JOB|REGISTER")]
        of: PathBuf,
        /// As a register, to be shared between jobs
        #[arg(long)]
        csv: bool,
    },
    /// Put the marks of a register into a job
    Add {
        /// The register
        #[arg(value_name = "REGISTER")]
        register: PathBuf,
        /// The job
        #[arg(long, value_name = "FILE")]
        job: PathBuf,
    },
    /// Check a mark against another: MARK against MARK
    Check {
        /// MARK against MARK
        #[arg(value_name = "WORDS", required = true)]
        words: Vec<String>,
        #[command(flatten)]
        desk: Desk,
    },
    /// Compare two epochs: which marks have settled beyond their uncertainty
    Compare {
        /// The earlier one: a job or a register
        #[arg(value_name = "JOB|REGISTER")]
        first: PathBuf,
        /// The later one
        #[arg(value_name = "JOB|REGISTER")]
        second: PathBuf,
    },
}

/// Arguments of `set`.
#[derive(Debug, Args)]
pub(in crate::cli) struct Set {
    #[command(subcommand)]
    pub(in crate::cli) verb: SetVerb,
}

/// What to do with targets.
#[derive(Debug, Subcommand)]
pub(in crate::cli) enum SetVerb {
    /// Work out a list of design elevations: grades, the reading to look for, cut and fill
    List {
        /// The list
        #[arg(value_name = "LIST")]
        list: PathBuf,
        /// Elevation of the line of sight
        #[arg(long, value_name = "ELEVATION", allow_hyphen_values = true)]
        line_of_sight: Option<String>,
    },
    /// Put the targets of a list into a job
    Load {
        /// The list
        #[arg(value_name = "LIST")]
        list: PathBuf,
        /// The job
        #[arg(long, value_name = "FILE")]
        job: PathBuf,
    },
    /// How the targets of a job stand, adjusted where the run has closed
    State {
        /// The job
        #[arg(value_name = "JOB")]
        job: PathBuf,
        /// Show feet
        #[arg(long, conflicts_with = "metres")]
        feet: bool,
        /// Show metres
        #[arg(long)]
        metres: bool,
        /// As comma-separated values
        #[arg(long)]
        csv: bool,
    },
}

/// Arguments of `today`.
#[derive(Debug, Args)]
pub(in crate::cli) struct Today {
    /// The job file
    #[arg(value_name = "JOB")]
    pub(in crate::cli) job: PathBuf,
    /// As one JSON document
    #[arg(long)]
    pub(in crate::cli) json: bool,
}

/// Arguments of `cards`.
#[derive(Debug, Args)]
pub(in crate::cli) struct Cards {
    /// The job file
    #[arg(value_name = "JOB")]
    pub(in crate::cli) job: PathBuf,
    /// Only this target; may be repeated
    #[arg(long, value_name = "NAME")]
    pub(in crate::cli) target: Vec<String>,
    /// Who set the marks, where that was not said with: mark by AB
    #[arg(long, value_name = "INITIALS")]
    pub(in crate::cli) by: Option<String>,
    /// Write them into this PDF, eight to a sheet
    #[arg(long, value_name = "FILE")]
    pub(in crate::cli) to: Option<PathBuf>,
    /// Size of the paper; letter for a job in feet, else A4, if absent
    #[arg(long, value_enum, requires = "to")]
    pub(in crate::cli) paper: Option<PaperSize>,
    /// One to a label of this size in mm, 96x66 unless said
    #[arg(long, value_name = "WIDTHxHEIGHT", requires = "to", conflicts_with = "paper", num_args = 0..=1,
          default_missing_value = "96x66")]
    pub(in crate::cli) label: Option<String>,
}
