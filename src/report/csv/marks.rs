//! The results of a report as a table for other programs: RFC 4180, one row a mark; behind them one row a line of what was
//! carried up a tape or across a gap. `record` tells them apart.
//!
//! | column | kind | what |
//! |---|---|---|
//! | `job` | text | name of the job |
//! | `simulated` | text | `SIMULATED` in every row of a job in which a simulated instrument was heard, else empty |
//! | `digest` | text | the job file's digest: the hash of its last event |
//! | `job_standing` | text | `closes`, `not-judged`, `provisional`, `does-not-close`, `empty` |
//! | `point` | text | the mark |
//! | `kind` | text | `known`, `assumed`, `carried`, `intermediate`; `tape-transfer`, `reciprocal-levelling` |
//! | `unit` | text | unit of the next two columns |
//! | `observed` | number | elevation as observed when it was last reached; empty if it was not |
//! | `elevation` | number | elevation, adjusted where the network could be |
//! | `deviation_unit` | text | unit of the next two columns |
//! | `deviation` | number | standard deviation; empty if not adjusted, or held |
//! | `interval` | number | half of the interval that holds the true elevation with that confidence |
//! | `confidence_percent` | number | the confidence |
//! | `runs` | text | the runs that reached it |
//! | `remarks` | text | what must be said of it, `; ` between |
//! | `record` | text | `mark`; `reading`, `step` and `rise` of what was carried up a tape or across a gap |
//! | `activity` | number | of such a row: the activity |
//! | `to` | text | the other mark; `point` is the first |
//! | `what` | text | what was read, or what the step is |
//! | `value`, `value_unit` | number, text | the reading as sent, the step, the rise; `deviation` is that of the step or rise |
//!
//! Texts are made safe for spreadsheets as in the table of readings.

use std::borrow::Cow;

use super::cell_of;
use crate::report::document::full::Report;
use crate::report::document::full::tree::{JobStanding, MarkKind, ResultRow};
use crate::report::document::tree::{Figure, RiseMethod, RiseView};
use crate::units::Unit;

const COLUMNS: [&str; 21] = [
    "job",
    "simulated",
    "digest",
    "job_standing",
    "point",
    "kind",
    "unit",
    "observed",
    "elevation",
    "deviation_unit",
    "deviation",
    "interval",
    "confidence_percent",
    "runs",
    "remarks",
    "record",
    "activity",
    "to",
    "what",
    "value",
    "value_unit",
];

/// The results as CSV.
///
/// # Panics
/// Never: memory takes every row.
pub fn print(report: &Report) -> String {
    let mut writer = ::csv::Writer::from_writer(Vec::new());
    writer.write_record(COLUMNS).expect("memory takes a row");
    for row in &report.results {
        let cells = cells(report, row);
        writer.write_record(cells.iter().map(|cell| cell.as_bytes())).expect("memory takes a row");
    }
    for rise in &report.book.rises {
        for cells in rise_rows(report, rise) {
            writer.write_record(cells.iter().map(|cell| cell.as_bytes())).expect("memory takes a row");
        }
    }
    let bytes = writer.into_inner().expect("memory takes the last row");
    String::from_utf8(bytes).expect("every cell is text")
}

fn cells<'a>(report: &'a Report, row: &'a ResultRow) -> [Cow<'a, str>; COLUMNS.len()] {
    let text = |text: &'a str| cell_of(text.into());
    let number = |figure: &'a Option<Figure>| Cow::Borrowed(figure.as_ref().map_or("", |figure| figure.shown.as_str()));
    let confidence = report.adjustment.figures.as_ref().filter(|_| row.interval.is_some());
    let runs: Vec<String> = row.runs.iter().map(ToString::to_string).collect();
    [
        text(&report.book.job),
        text(if report.book.simulated { "SIMULATED" } else { "" }),
        text(&report.record.digest),
        text(standing(report.answer.standing)),
        text(&row.point),
        text(kind(row.kind)),
        text(report.book.shown.unit.symbol()),
        number(&row.observed),
        row.elevation.shown.as_str().into(),
        text(report.book.shown.height_unit.symbol()),
        number(&row.deviation),
        number(&row.interval),
        confidence.map_or(Cow::Borrowed(""), |figures| figures.confidence.to_string().into()),
        cell_of(runs.join(" ").into()),
        cell_of(row.remarks.join("; ").into()),
        "mark".into(),
        "".into(),
        "".into(),
        "".into(),
        "".into(),
        "".into(),
    ]
}

/// The lines of a rise: its readings, its steps, and what it came to.
fn rise_rows<'a>(report: &'a Report, rise: &'a RiseView) -> Vec<[Cow<'a, str>; COLUMNS.len()]> {
    let row = |record: &'a str,
               what: &'a str,
               value: &'a str,
               unit: Unit,
               deviation: Option<&'a Figure>,
               remarks: &'a str| {
        let deviation_unit = if deviation.is_some() { report.book.shown.height_unit.symbol() } else { "" };
        let cells: [(&str, Cow<'a, str>); 15] = [
            ("job", cell_of(report.book.job.as_str().into())),
            ("simulated", if report.book.simulated { "SIMULATED" } else { "" }.into()),
            ("digest", report.record.digest.as_str().into()),
            ("job_standing", standing(report.answer.standing).into()),
            ("point", cell_of(rise.from.as_str().into())),
            ("kind", method(rise.method).into()),
            ("deviation_unit", deviation_unit.into()),
            ("deviation", deviation.map_or("", |figure| figure.shown.as_str()).into()),
            ("remarks", cell_of(remarks.into())),
            ("record", record.into()),
            ("activity", rise.activity.to_string().into()),
            ("to", cell_of(rise.to.as_str().into())),
            ("what", cell_of(what.into())),
            ("value", value.into()),
            ("value_unit", unit.symbol().into()),
        ];
        COLUMNS.map(|column| cells.iter().find(|(name, _)| *name == column).map_or("".into(), |(_, cell)| cell.clone()))
    };
    let readings = rise.readings.iter().map(|reading| {
        let remarks = if reading.struck { "struck out" } else { "" };
        row("reading", &reading.what, &reading.sent.digits, reading.sent.unit, None, remarks)
    });
    let steps = rise
        .steps
        .iter()
        .map(|step| row("step", &step.what, &step.value.shown, step.unit, step.deviation.as_ref(), ""));
    let result = row("rise", "", &rise.rise.shown, report.book.shown.unit, Some(&rise.deviation), &rise.standing);
    readings.chain(steps).chain([result]).collect()
}

fn method(method: RiseMethod) -> &'static str {
    match method {
        RiseMethod::TapeTransfer => "tape-transfer",
        RiseMethod::ReciprocalLevelling => "reciprocal-levelling",
    }
}

fn standing(standing: JobStanding) -> &'static str {
    match standing {
        JobStanding::Closes => "closes",
        JobStanding::NotJudged => "not-judged",
        JobStanding::Provisional => "provisional",
        JobStanding::DoesNotClose => "does-not-close",
        JobStanding::Empty => "empty",
    }
}

fn kind(kind: MarkKind) -> &'static str {
    match kind {
        MarkKind::Known => "known",
        MarkKind::Assumed => "assumed",
        MarkKind::Carried => "carried",
        MarkKind::Intermediate => "intermediate",
    }
}
