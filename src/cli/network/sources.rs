//! What is read before a network can be adjusted: job files, and plain networks as CSV, told apart by their first bytes.

use std::fs::{self, File};
use std::io::Read;
use std::path::{Path, PathBuf};

use crate::adjust::csv::{self as plain, Intended};
use crate::adjust::given::Given;
use crate::adjust::observed::{Detail, Deviations, Observed, Source, observed};
use crate::book::Book;
use crate::cli::Failure;
use crate::cli::job::{name, read};
use crate::report::network::Came;
use crate::units::Unit;

/// How every SQLite file begins.
const SQLITE: &[u8; 16] = b"SQLite format 3\0";

/// The largest network file that is read: some ten million sections. More is a mistaken name.
const NETWORK_BYTES_MAX: u64 = 1 << 30;

/// What was read.
pub(super) struct Sources {
    /// Jobs with the names that their own points are told apart by.
    jobs: Vec<(String, Book)>,
    networks: Vec<Given>,
    /// Names of all files, in order.
    pub(super) files: Vec<String>,
}

impl Sources {
    pub(super) fn read(files: &[PathBuf]) -> Result<Self, Failure> {
        let mut sources = Sources { jobs: Vec::new(), networks: Vec::new(), files: Vec::new() };
        for file in files {
            sources.files.push(name(file));
            if is_job(file)? {
                let stem = file.file_stem().unwrap_or(file.as_os_str()).to_string_lossy().into_owned();
                let same = sources
                    .jobs
                    .iter()
                    .filter(|(held, _)| *held == stem || held.starts_with(&format!("{stem} ")))
                    .count();
                let told_apart = if same == 0 { stem } else { format!("{stem} {}", same + 1) };
                sources.jobs.push((told_apart, read(file)?.0));
            } else {
                let given = plain::read(&bytes(file)?);
                sources.networks.push(given.map_err(|error| of_file(file, error))?);
            }
        }
        Ok(sources)
    }

    /// The jobs.
    pub(super) fn jobs(&self) -> Vec<Source<'_>> {
        self.jobs.iter().map(|(name, book)| Source { name, book }).collect()
    }

    /// Anything came from a simulated instrument.
    pub(super) fn simulated(&self) -> bool {
        self.jobs.iter().any(|(_, book)| book.simulated())
    }

    /// The unit of the first job, or metres.
    pub(super) fn unit(&self) -> Unit {
        self.jobs.first().map_or(Unit::Metre, |(_, book)| book.settings().unit)
    }

    /// All of them as one network, with where the sections of jobs come from; those of networks follow.
    pub(super) fn given(&self, detail: Detail, deviations: Deviations) -> (Given, Vec<Came>) {
        let Observed { given: mut whole, origins } = observed(&self.jobs(), detail, deviations);
        let several = self.jobs.len() > 1;
        let came: Vec<Came> = origins
            .into_iter()
            .map(|(job, origin)| {
                let (name, book) = &self.jobs[job];
                Came::of(book, several.then_some(name.as_str()), origin)
            })
            .collect();
        for network in &self.networks {
            whole.known.extend(network.known.iter().cloned());
            whole.sections.extend(network.sections.iter().cloned());
            whole.set_aside.extend(network.set_aside.iter().cloned());
            whole.same.extend(network.same.iter().cloned());
        }
        (whole, came)
    }
}

/// The intended runs.
pub(super) fn intended(file: &Path) -> Result<Intended, Failure> {
    if is_job(file)? {
        return Err(Failure::input(format!(
            "{}: a job file found, a network of intended runs was wanted",
            file.display()
        )));
    }
    plain::read_plan(&bytes(file)?).map_err(|error| of_file(file, error))
}

fn is_job(file: &Path) -> Result<bool, Failure> {
    let mut first = Vec::new();
    let read = File::open(file).and_then(|opened| opened.take(SQLITE.len() as u64).read_to_end(&mut first));
    read.map_err(|error| of_file(file, error))?;
    Ok(first == SQLITE)
}

fn bytes(file: &Path) -> Result<Vec<u8>, Failure> {
    let length = fs::metadata(file).map_err(|error| of_file(file, error))?.len();
    if length > NETWORK_BYTES_MAX {
        let wanted = NETWORK_BYTES_MAX >> 20;
        return Err(of_file(file, format!("{} MiB found, at most {wanted} MiB were wanted", length >> 20)));
    }
    fs::read(file).map_err(|error| of_file(file, error))
}

fn of_file(file: &Path, error: impl std::fmt::Display) -> Failure {
    Failure::input(format!("{}: {error}", file.display()))
}
