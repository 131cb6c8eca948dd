//! The arguments of `adjust` and `plan`.

use std::path::PathBuf;

use clap::{Args, ValueEnum};

/// Arguments of `adjust`.
#[derive(Debug, Args)]
pub(in crate::cli) struct Adjust {
    /// Job files, and plain networks as CSV
    #[arg(value_name = "JOB|CSV", required = true)]
    pub(in crate::cli) files: Vec<PathBuf>,
    /// A known mark, fixed, or with a standard deviation behind +-; it wins over the files. May be repeated
    #[arg(long, value_name = "MARK=ELEVATION[+-SD]", help_heading = "Marks")]
    pub(in crate::cli) known: Vec<String>,
    /// Do not hold a known mark. May be repeated
    #[arg(long, value_name = "MARK", help_heading = "Marks")]
    pub(in crate::cli) release: Vec<String>,
    /// Two names of one mark. May be repeated
    #[arg(long, value_name = "MARK=MARK", help_heading = "Marks")]
    pub(in crate::cli) same: Vec<String>,
    /// Take a section out, by its number: a person's decision. May be repeated
    #[arg(long, value_name = "NUMBER", help_heading = "Marks")]
    pub(in crate::cli) set_aside: Vec<usize>,
    /// Adjust every turning point too
    #[arg(long, help_heading = "Marks")]
    pub(in crate::cli) turning_points: bool,
    #[command(flatten)]
    pub(in crate::cli) weights: WeightFlags,
    /// Take the rate from sections that were levelled more than once
    #[arg(long, requires = "weights", conflicts_with = "rate", help_heading = "Weights")]
    pub(in crate::cli) estimate: bool,
    /// With which sigma deviations and intervals are given
    #[arg(long, value_enum, default_value_t = SigmaFlag::APriori, help_heading = "Weights")]
    pub(in crate::cli) sigma: SigmaFlag,
    #[command(flatten)]
    pub(in crate::cli) shown: ShownAs,
    /// Write the network as CSV, to be read again; the file must not be there yet
    #[arg(long, value_name = "FILE", help_heading = "Output")]
    pub(in crate::cli) network: Option<PathBuf>,
}

/// Arguments of `plan`.
#[derive(Debug, Args)]
pub(in crate::cli) struct Plan {
    /// The intended runs as a plain network in CSV; heights may be left empty, `extra` rows are runs that could be added
    #[arg(value_name = "CSV")]
    pub(in crate::cli) file: PathBuf,
    #[command(flatten)]
    pub(in crate::cli) weights: WeightFlags,
    #[command(flatten)]
    pub(in crate::cli) shown: ShownAs,
}

/// How good each section is.
#[derive(Clone, Copy, Debug, Args)]
pub(in crate::cli) struct WeightFlags {
    /// By what a section's standard deviation grows; one that it states itself wins
    #[arg(long, value_enum, help_heading = "Weights")]
    pub(in crate::cli) weights: Option<Weights>,
    /// Standard deviation of one root kilometre or one root setup, in mm
    #[arg(long, value_name = "MM", requires = "weights", help_heading = "Weights")]
    pub(in crate::cli) rate: Option<f64>,
}

/// By what a section's standard deviation grows.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub(in crate::cli) enum Weights {
    /// The root of its length
    Length,
    /// The root of the number of its setups
    Setups,
    /// Each states its own
    Stated,
}

/// With which sigma.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub(in crate::cli) enum SigmaFlag {
    /// As the weights state
    APriori,
    /// As the residuals turn out
    APosteriori,
}

/// How the result is shown.
#[derive(Clone, Copy, Debug, Args)]
#[command(next_help_heading = "Output")]
pub(in crate::cli) struct ShownAs {
    /// Show feet
    #[arg(long, conflicts_with = "metres")]
    pub(in crate::cli) feet: bool,
    /// Show metres
    #[arg(long)]
    pub(in crate::cli) metres: bool,
    /// As comma-separated values
    #[arg(long, conflicts_with = "json")]
    pub(in crate::cli) csv: bool,
    /// As one JSON document
    #[arg(long)]
    pub(in crate::cli) json: bool,
}
