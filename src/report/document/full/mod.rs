//! From the book to the whole report: the field book, the answer of its first page, results with their uncertainties,
//! how they were adjusted, what people changed and why, and the drawings.
//!
//! Nothing is decided here: what stands in the report is what the book, the class and the adjustment say.

mod adjusted;
mod answer;
mod changes;
mod results;
pub mod tree;

pub use answer::standing_counts;
pub use tree::{RecordView, Report};

use super::figure::Scales;
use super::tree::{FieldBook, FindingRow};
use super::{BookOptions, document};
use crate::adjust::levelled::levelled;
use crate::book::Book;
use crate::book::event::Event;
use crate::book::finding::{FindingKey, Place};
use crate::book::run::Run;
use crate::report::causes::explained;
use crate::report::plot::{self, Plot};
use crate::units::Unit;
use tree::{PlotView, SCHEMA};

/// How a report is wanted.
#[derive(Clone, Debug)]
pub struct ReportOptions {
    /// How the field book in it is wanted.
    pub book: BookOptions,
    /// The run that it is about; all of them if absent.
    pub run: Option<u32>,
    /// The record that it is made from.
    pub record: RecordView,
}

/// Width of a drawing, in CSS pixels: as wide as the text of a page at the size of its letters. Two stand side by side at
/// half of it.
const PLOT_WIDTH: u32 = 720;

/// The report of a job: `book` is the fold of `events`.
///
/// # Panics
/// If the events do not open a job.
pub fn report(book: &Book, events: &[Event], job: &str, options: ReportOptions) -> Report {
    let levelled = levelled(book);
    let mut field_book = document(book, events, job, options.book);
    let scales = Scales::from(&field_book.shown);
    let adjusted = adjusted::adjusted(scales, book, &levelled);
    let mut results = results::results(book, &field_book, &levelled, adjusted.outcome.as_ref());
    let mut adjustment = adjusted.view;
    let mut changes = changes::changes(&field_book, events);
    if let Some(run) = options.run {
        field_book.runs.retain(|part| part.number == run);
        field_book.findings.retain(|finding| concerns(book, finding, run));
        field_book.verdicts.retain(|verdict| verdict.run == run);
        results.retain(|row| row.runs.contains(&run));
        if let Some(figures) = &mut adjustment.figures {
            figures.lines.retain(|line| line.run == Some(run));
        }
        field_book.rises.clear();
        changes.retain(|change| change.setup.is_none_or(|setup| setup.run == run));
    }
    let misclosures = explained(book, &field_book.job, options.run).misclosures;
    let plots = plots(book, &field_book, &adjustment);
    Report {
        schema: SCHEMA,
        run: options.run,
        answer: answer::answer(&field_book, &options.record, &adjustment),
        record: options.record,
        results,
        adjustment,
        misclosures,
        changes,
        plots,
        book: field_book,
    }
}

/// Whether a finding is about a run, or about none.
fn concerns(book: &Book, finding: &FindingRow, run: u32) -> bool {
    let Ok(key) = finding.key.parse::<FindingKey>() else { return true };
    match key.place {
        Place::Job | Place::Event(_) => true,
        Place::Reading(number) => book.spot(number).is_none_or(|spot| spot.run == run),
        Place::Setup { run: of, .. }
        | Place::Section { run: of, .. }
        | Place::Run(of)
        | Place::Point { run: of, .. } => of == run,
    }
}

fn plots(book: &Book, field_book: &FieldBook, adjustment: &tree::AdjustmentView) -> Vec<PlotView> {
    let runs = book.runs().iter().filter(|run| field_book.runs.iter().any(|part| part.number == run.number));
    let unit = field_book.shown.unit;
    let mut plots = Vec::new();
    for run in runs {
        let mut draw = |what: &str, paper_width: u32, draw: fn(&Book, &Run, Unit, u32) -> Option<Plot>| {
            let name = format!("run-{}-{what}", run.number);
            plots.extend(view(name, Some(run.number), paper_width, |width| draw(book, run, unit, width)));
        };
        draw("profile", PLOT_WIDTH, plot::profile);
        draw("misclosure", PLOT_WIDTH / 2, plot::misclosure);
        draw("balance", PLOT_WIDTH / 2, plot::balance);
    }
    if let Some(figures) = &adjustment.figures {
        plots.extend(view("residuals".to_owned(), None, PLOT_WIDTH, |width| plot::residuals(figures, width)));
        plots.extend(view("network".to_owned(), None, PLOT_WIDTH, |width| plot::network(field_book, figures, width)));
    }
    plots
}

fn view(name: String, run: Option<u32>, paper_width: u32, draw: impl Fn(u32) -> Option<Plot>) -> Option<PlotView> {
    let plot = draw(PLOT_WIDTH)?;
    let paper = if paper_width == PLOT_WIDTH { plot.drawing.clone() } else { draw(paper_width)?.drawing };
    Some(PlotView { name, run, words: plot.words.clone(), plot, paper })
}
