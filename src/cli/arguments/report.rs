//! Arguments of `report`.

use std::path::PathBuf;

use clap::{Args, ValueEnum};

use super::BookShape;

/// Arguments of `report`.
#[derive(Debug, Args)]
pub(in crate::cli) struct Report {
    /// The job file
    #[arg(value_name = "JOB")]
    pub(in crate::cli) job: PathBuf,
    /// The PDF to write; the name of the job with the ending pdf, if no other output is asked for
    #[arg(long, value_name = "FILE")]
    pub(in crate::cli) to: Option<PathBuf>,
    /// Size of the paper; letter for a job in feet, else A4, if absent
    #[arg(long, value_enum)]
    pub(in crate::cli) paper: Option<PaperSize>,
    /// Write a spreadsheet that recomputes: change a reading, and elevations, page check and closures follow
    #[arg(long, value_name = "FILE")]
    pub(in crate::cli) xlsx: Option<PathBuf>,
    /// Write the drawings into this folder, one SVG file each
    #[arg(long, value_name = "FOLDER")]
    pub(in crate::cli) svg: Option<PathBuf>,
    /// Print the results as comma-separated values, one row a mark
    #[arg(long, conflicts_with = "json")]
    pub(in crate::cli) csv: bool,
    /// Print the report as one JSON document
    #[arg(long)]
    pub(in crate::cli) json: bool,
    /// Only this run; elevations stay those of the whole job
    #[arg(long, value_name = "NUMBER")]
    pub(in crate::cli) run: Option<u32>,
    #[command(flatten)]
    pub(in crate::cli) shape: BookShape,
}

/// Size of the paper.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub(in crate::cli) enum PaperSize {
    A4,
    Letter,
}
