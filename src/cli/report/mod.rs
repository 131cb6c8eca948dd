//! `closerun report`: the report of a job in each form, also while the job is being recorded.

pub(super) mod file;
mod progress;

use std::path::{Path, PathBuf};

use super::Failure;
use super::arguments::{PaperSize, Report as Arguments};
use super::book;
use super::job::{name, print};
use crate::book::Book;
use crate::book::event::Event;
use crate::report::csv::marks;
use crate::report::document::full::{RecordView, Report, ReportOptions, report};
use crate::report::{json, pdf, xlsx};
use crate::store::{Guards, Job, Verification};
use file::Kind;
use progress::Progress;

pub(super) fn run(arguments: &Arguments) -> Result<(), Failure> {
    let progress = Progress::new();
    progress.step("reading the job");
    let (book, events, record) = read(&arguments.job)?;
    if let Some(run) = arguments.run
        && !book.runs().iter().any(|held| held.number == run)
    {
        let runs = book.runs().len();
        return Err(Failure::input(format!("run {run}: the job holds {runs}; leave --run out for all of them")));
    }
    progress.step("adjusting and drawing");
    let options = ReportOptions { book: book::options(&book, &arguments.shape), run: arguments.run, record };
    let report = report(&book, &events, &name(&arguments.job), options);
    let written = write(arguments, &report, &progress)?;
    drop(progress);
    if arguments.csv {
        return print(&marks::print(&report));
    }
    if arguments.json {
        return print(&json::print_report(&report));
    }
    print(&written.concat())
}

/// Writes every file that is asked for. Gives a line on each.
fn write(arguments: &Arguments, report: &Report, progress: &Progress) -> Result<Vec<String>, Failure> {
    let mut written = Vec::new();
    if let Some(to) = pdf_path(arguments) {
        let paper = paper(arguments, report);
        let pdf = pdf::print(report, paper, &mut |page| progress.step(format!("laying out page {page}")));
        let pdf = pdf.map_err(Failure::outcome)?;
        file::write(&to, Kind::Pdf, &pdf.bytes, &arguments.job)?;
        let pages = if pdf.pages == 1 { "1 page".to_owned() } else { format!("{} pages", pdf.pages) };
        written.push(format!(
            "{}: {pages}, {}: {}\n",
            to.display(),
            report.answer.standing.word(),
            report.answer.verdict
        ));
    }
    if let Some(to) = &arguments.xlsx {
        progress.step("writing the spreadsheet");
        let sheet = xlsx::print(report).map_err(Failure::outcome)?;
        file::write(to, Kind::Xlsx, &sheet, &arguments.job)?;
        written.push(format!("{}: a spreadsheet that recomputes\n", to.display()));
    }
    if let Some(folder) = &arguments.svg {
        progress.step("writing the drawings");
        file::folder(folder)?;
        for view in &report.plots {
            let to = folder.join(format!("{}.svg", view.name));
            file::write(&to, Kind::Svg, view.plot.svg.as_bytes(), &arguments.job)?;
            written.push(format!("{}: {}\n", to.display(), view.words));
        }
    }
    Ok(written)
}

fn pdf_path(arguments: &Arguments) -> Option<PathBuf> {
    let other = arguments.csv || arguments.json || arguments.xlsx.is_some() || arguments.svg.is_some();
    arguments.to.clone().or_else(|| (!other).then(|| arguments.job.with_extension("pdf")))
}

fn paper(arguments: &Arguments, report: &Report) -> pdf::Paper {
    match arguments.paper {
        Some(PaperSize::A4) => pdf::Paper::A4,
        Some(PaperSize::Letter) => pdf::Paper::Letter,
        None if report.book.shown.job_unit.is_foot() => pdf::Paper::Letter,
        None => pdf::Paper::A4,
    }
}

/// The book with its events and the state of its record, all from one look at the file.
fn read(path: &Path) -> Result<(Book, Vec<Event>, RecordView), Failure> {
    let reader = Job::read(path).map_err(Failure::input)?;
    let events: Vec<Event> = reader.events().collect::<Result<_, _>>().map_err(Failure::input)?;
    let book = Book::fold(&events);
    if !book.is_open() {
        return Err(Failure::input(format!("job file {}: it holds no events yet", path.display())));
    }
    let head = reader.head().map_err(Failure::input)?;
    let damage = match reader.verify().map_err(Failure::input)? {
        Verification::Whole { guards: Guards::Standing, .. } => None,
        Verification::Whole { guards: Guards::Removed, .. } => {
            Some("the chain is whole, but the guards against changes were removed by another program".to_owned())
        }
        Verification::Broken { at, what, whole_to } => {
            Some(format!("broken at event {at}: {what}; whole up to event {}", whole_to.seq))
        }
    };
    let record = RecordView { events: head.seq, digest: head.hash.to_string(), damage };
    Ok((book, events, record))
}
