//! The adjusted network as a table for other programs: RFC 4180, marks first, then sections, told apart by `record`.
//!
//! | column | of | what |
//! |---|---|---|
//! | `record` | all | `mark`, `section`, or `aside` for a section that was taken out |
//! | `number` | sections | as handed in |
//! | `mark`, `to` | all | the mark; of a section both its ends |
//! | `unit` | all | of `elevation`, `observed` and `adjusted` |
//! | `elevation` | marks | adjusted |
//! | `observed`, `adjusted` | sections | rises |
//! | `size_unit` | all | of the columns that follow, where they are lengths |
//! | `residual` | sections | adjusted less observed |
//! | `deviation`, `half_interval` | marks, sections | standard deviation, and half of the interval |
//! | `redundancy`, `w`, `tau` | sections | no unit; `w` with the a-priori sigma, `tau` with the a-posteriori one |
//! | `detectable`, `moves`, `moves_by` | sections | smallest detectable mistake, the mark that it moves most, and by how much |
//! | `standing` | marks | `held`, `checked`, `unchecked` |
//! | `hangs_on` | marks | the unchecked section that it hangs on |
//! | `off_by`, `off_by_section` | marks | the worst that a mistake just missed could do, and in which section |
//! | `came` | sections | where a job has it from: `run 1, setups 1 to 6`, `tape transfer, activity 2` |
//! | `stated` | sections | the standard deviation that it states; empty where a rule weighs it |
//!
//! A text that a spreadsheet would take for a formula stands behind an apostrophe.

use super::{AsideRow, MarkRow, NetworkReport, SectionRow};
use crate::report::csv::cell_of;

const COLUMNS: [&str; 24] = [
    "record",
    "number",
    "mark",
    "to",
    "unit",
    "elevation",
    "observed",
    "adjusted",
    "size_unit",
    "residual",
    "deviation",
    "half_interval",
    "redundancy",
    "w",
    "tau",
    "detectable",
    "moves",
    "moves_by",
    "standing",
    "hangs_on",
    "off_by",
    "off_by_section",
    "came",
    "stated",
];

/// The network as CSV.
///
/// # Panics
/// Never: memory takes every row.
pub fn print(report: &NetworkReport) -> String {
    let mut writer = ::csv::Writer::from_writer(Vec::new());
    writer.write_record(COLUMNS).expect("memory takes a row");
    let mut write = |row: &[String]| writer.write_record(row).expect("memory takes a row");
    report.marks.iter().for_each(|mark| write(&of_mark(report, mark)));
    report.sections.iter().for_each(|section| write(&of_section(report, section)));
    report.set_aside.iter().for_each(|section| write(&of_aside(report, section)));
    let bytes = writer.into_inner().expect("memory takes the last row");
    String::from_utf8(bytes).expect("every cell is text")
}

/// A row with these cells filled.
fn row(report: &NetworkReport, record: &str, cells: &[(&str, String)]) -> Vec<String> {
    let cell = |column: &str| match column {
        "record" => record.to_owned(),
        "unit" => report.shown.unit.symbol().to_owned(),
        "size_unit" => report.shown.size_unit.symbol().to_owned(),
        _ => cells.iter().find(|(name, _)| *name == column).map(|(_, text)| text.clone()).unwrap_or_default(),
    };
    COLUMNS.iter().map(|column| cell(column)).collect()
}

fn named(name: &str) -> String {
    cell_of(name.into()).into_owned()
}

fn of_mark(report: &NetworkReport, mark: &MarkRow) -> Vec<String> {
    let exposure = |text: fn(&super::ExposureView) -> String| mark.exposure.as_ref().map(text).unwrap_or_default();
    let cells = [
        ("mark", named(&mark.mark)),
        ("elevation", mark.elevation.shown.clone()),
        ("deviation", mark.deviation.shown.clone()),
        ("half_interval", mark.half_interval.shown.clone()),
        ("standing", mark.standing.to_owned()),
        ("hangs_on", mark.hangs_on.map(|section| section.to_string()).unwrap_or_default()),
        ("off_by", exposure(|exposure| exposure.by.shown.clone())),
        ("off_by_section", exposure(|exposure| exposure.section.to_string())),
    ];
    row(report, "mark", &cells)
}

fn of_section(report: &NetworkReport, section: &SectionRow) -> Vec<String> {
    let number = |value: Option<f64>| value.map(|value| format!("{value:.4}")).unwrap_or_default();
    let size = |size: &Option<super::Size>| size.as_ref().map(|size| size.shown.clone()).unwrap_or_default();
    let cells = [
        ("number", section.number.to_string()),
        ("mark", named(&section.from)),
        ("to", named(&section.to)),
        ("observed", section.observed.shown.clone()),
        ("adjusted", section.adjusted.shown.clone()),
        ("residual", section.residual.shown.clone()),
        ("deviation", section.deviation.shown.clone()),
        ("half_interval", section.half_interval.shown.clone()),
        ("redundancy", format!("{:.4}", section.redundancy)),
        ("w", number(section.w)),
        ("tau", number(section.tau)),
        ("detectable", size(&section.detectable)),
        ("moves", section.moves.as_deref().map(named).unwrap_or_default()),
        ("moves_by", size(&section.moves_by)),
        ("came", section.came.as_deref().map(named).unwrap_or_default()),
        ("stated", size(&section.stated)),
    ];
    row(report, "section", &cells)
}

fn of_aside(report: &NetworkReport, section: &AsideRow) -> Vec<String> {
    let cells = [
        ("number", section.number.map(|number| number.to_string()).unwrap_or_default()),
        ("mark", named(&section.from)),
        ("to", named(&section.to)),
        ("observed", section.observed.shown.clone()),
    ];
    row(report, "aside", &cells)
}
