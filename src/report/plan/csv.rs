//! A plan as a table for other programs: RFC 4180, marks, then runs, then runs that could be added, told apart by `record`.
//!
//! | column | of | what |
//! |---|---|---|
//! | `record` | all | `mark`, `run`, or `extra` for one that could be added |
//! | `number` | runs, extra | as handed in; of extra runs the place in the order of help |
//! | `mark`, `to` | all | the mark; of a run both its ends |
//! | `size_unit` | all | of every length in the row |
//! | `deviation` | marks, extra | standard deviation of the elevation; of an extra run its own |
//! | `half_interval` | marks | half of the interval |
//! | `redundancy` | runs | no unit |
//! | `detectable` | marks, runs | smallest detectable mistake; of a mark the worst that one just missed could do |
//! | `detectable_in` | marks | in which run |
//! | `standing`, `hangs_on` | marks | `held`, `checked`, `unchecked`, and by which run |
//! | `newly_checked` | extra | marks that it would put under check |
//! | `worst`, `mean` | extra | largest standard deviation of any mark, and root of the mean variance, with it |
//!
//! A text that a spreadsheet would take for a formula stands behind an apostrophe.

use super::PlanReport;
use crate::report::csv::cell_of;
use crate::report::network::figures::Size;

const COLUMNS: [&str; 15] = [
    "record",
    "number",
    "mark",
    "to",
    "size_unit",
    "deviation",
    "half_interval",
    "redundancy",
    "detectable",
    "detectable_in",
    "standing",
    "hangs_on",
    "newly_checked",
    "worst",
    "mean",
];

/// The plan as CSV.
///
/// # Panics
/// Never: memory takes every row.
pub fn print(report: &PlanReport) -> String {
    let mut writer = ::csv::Writer::from_writer(Vec::new());
    writer.write_record(COLUMNS).expect("memory takes a row");
    let mut write = |cells: &[(&str, String)]| {
        let cell = |column: &str| match column {
            "size_unit" => report.shown.size_unit.symbol().to_owned(),
            _ => cells.iter().find(|(name, _)| *name == column).map(|(_, text)| text.clone()).unwrap_or_default(),
        };
        let row: Vec<String> = COLUMNS.iter().map(|column| cell(column)).collect();
        writer.write_record(row).expect("memory takes a row");
    };
    let number = |number: Option<usize>| number.map(|number| number.to_string()).unwrap_or_default();
    let size = |size: &Option<Size>| size.as_ref().map(|size| size.shown.clone()).unwrap_or_default();
    for mark in &report.marks {
        write(&[
            ("record", "mark".to_owned()),
            ("mark", named(&mark.mark)),
            ("deviation", mark.deviation.shown.clone()),
            ("half_interval", mark.half_interval.shown.clone()),
            ("detectable", size(&mark.detectable)),
            ("detectable_in", number(mark.detectable_in)),
            ("standing", mark.standing.to_owned()),
            ("hangs_on", number(mark.hangs_on)),
        ]);
    }
    for run in &report.runs {
        write(&[
            ("record", "run".to_owned()),
            ("number", run.number.to_string()),
            ("mark", named(&run.from)),
            ("to", named(&run.to)),
            ("redundancy", format!("{:.4}", run.redundancy)),
            ("detectable", size(&run.detectable)),
        ]);
    }
    for (at, extra) in report.extra.iter().enumerate() {
        write(&[
            ("record", "extra".to_owned()),
            ("number", (at + 1).to_string()),
            ("mark", named(&extra.from)),
            ("to", named(&extra.to)),
            ("deviation", extra.deviation.shown.clone()),
            ("newly_checked", extra.newly_checked.to_string()),
            ("worst", extra.worst.shown.clone()),
            ("mean", extra.mean.shown.clone()),
        ]);
    }
    let bytes = writer.into_inner().expect("memory takes the last row");
    String::from_utf8(bytes).expect("every cell is text")
}

fn named(name: &str) -> String {
    cell_of(name.into()).into_owned()
}
