//! The spreadsheet: every formula comes to what is stored with it, a changed reading recomputes to the report of a job
//! with that reading, and nothing that people named is a formula.

use closerun::book::event::{Body, Command, Event, Target};
use closerun::book::reading::Heard;
use closerun::book::settings::Booking;
use closerun::book::{Book, Input};
use closerun::report::document::Distribution;
use closerun::report::document::full::Report;
use closerun::report::document::tree::Figure;
use closerun::report::xlsx;
use closerun::units::{Measured, Unit};

use crate::harness::crew::{Crew, known, name, reading, settings};
use crate::office::{Formulas, Sheets, cells, cells_of};
use crate::samples::{Job, corrected, day, long, side};

/// Corrections and elevations are kept to 1e-10 m, which is 1e-7 mm; a formula has all digits.
const CLOSE: f64 = 1e-7;

fn print(report: &Report) -> Vec<u8> {
    xlsx::print(report).unwrap()
}

/// A known point that is met in the middle of a run, as a side point; then a gap, and the same point again.
fn late_datum() -> Job {
    let mut settings = settings();
    settings.start = Some(name("A"));
    settings.known = vec![known("BM-9", "51.0000"), known("BM-7", "50.7100")];
    let mut crew = Crew::new(settings);
    crew.shoot([("1.5000", "20.00"), ("1.2000", "20.00"), ("1.6000", "18.00")]);
    crew.hear(Heard::Reading(side("1.1000", "6.00", "BM-9")));
    crew.hear(Heard::Reading(side("1.1003", "6.00", "BM-9")));
    crew.shoot([("1.3000", "18.50"), ("1.4000", "12.00")]);
    crew.say(Command::Point { reading: Target::Next, point: name("BM-7") });
    crew.shoot([("1.5890", "12.30"), ("1.5000", "10.00"), ("1.4000", "10.00")]);
    let lost = crew.book.entries().len() as u32;
    crew.shoot([("1.5000", "10.00"), ("1.2000", "10.00")]);
    crew.say(Command::Strike { reading: lost, place: Default::default() });
    crew.shoot([("1.3000", "10.00")]);
    crew.say(Command::Point { reading: Target::Next, point: name("BM-7") });
    crew.shoot([("1.2000", "10.00")]);
    Job::of(crew)
}

/// Out from a known point to A, and back from there in a run of its own; a loop that is tied to nothing.
fn out_and_back() -> Job {
    let mut crew = Crew::new(settings());
    crew.shoot([("1.5000", "20.00"), ("1.2000", "20.00"), ("1.5000", "22.00")]);
    crew.say(Command::Point { reading: Target::Next, point: name("A") });
    crew.shoot([("1.1000", "22.00")]);
    crew.say(Command::EndRun { reading: None });
    crew.shoot([("1.3008", "20.00"), ("1.6500", "20.50"), ("1.3000", "20.00")]);
    crew.say(Command::Point { reading: Target::Next, point: name("BM-1") });
    crew.shoot([("1.6500", "20.00"), ("1.2000", "15.00"), ("1.3000", "15.00")]);
    crew.say(Command::EndRun { reading: None });
    crew.say(Command::StartRun { point: name("X"), after: None });
    crew.shoot([("1.5000", "20.00"), ("1.2000", "20.00"), ("1.2001", "20.00")]);
    crew.say(Command::Point { reading: Target::Next, point: name("X") });
    crew.shoot([("1.5000", "20.00")]);
    Job::of(crew)
}

/// The same report in every form that changes a formula.
fn forms(job: &Job) -> Vec<Report> {
    let mut reports = Vec::new();
    for (form, unit, distribution) in [
        (Booking::HeightOfInstrument, Unit::Metre, Distribution::ByLength),
        (Booking::RiseAndFall, Unit::Foot, Distribution::BySetups),
    ] {
        let mut options = job.report_options();
        (options.book.form, options.book.unit, options.book.distribution) = (form, Some(unit), distribution);
        reports.push(job.report(options));
    }
    reports
}

fn differences(stored: &Sheets, recomputed: &Sheets) -> Vec<String> {
    assert_eq!(stored.keys().collect::<Vec<_>>(), recomputed.keys().collect::<Vec<_>>());
    let mut found = Vec::new();
    for (sheet, rows) in stored {
        let again = &recomputed[sheet];
        assert_eq!(rows.len(), again.len(), "{sheet}");
        for (row, (cells, again)) in rows.iter().zip(again).enumerate() {
            for (column, (cell, again)) in cells.iter().zip(again).enumerate() {
                let same = match (cell.parse::<f64>(), again.parse::<f64>()) {
                    (Ok(cell), Ok(again)) => (cell - again).abs() < CLOSE,
                    _ => cell == again,
                };
                if !same {
                    found.push(format!("{sheet} row {} column {column}: stored {cell}, recomputed {again}", row + 1));
                }
            }
        }
    }
    found
}

#[test]
fn every_formula_comes_to_what_is_stored_with_it() {
    let jobs = [day(), corrected(), long(12), late_datum(), out_and_back()];
    let books: Vec<Vec<u8>> = jobs.iter().flat_map(forms).map(|report| print(&report)).collect();
    let Some(stored) = cells_of(&books, Formulas::AsStored) else { return };
    let recomputed = cells_of(&books, Formulas::Recomputed).unwrap();
    for (stored, recomputed) in stored.iter().zip(&recomputed) {
        assert_eq!(differences(stored, recomputed), Vec::<String>::new());
        let text = format!("{recomputed:?}");
        for error in ["#REF!", "#NAME?", "#VALUE!", "#DIV/0!", "Err:5"] {
            assert!(!text.contains(error), "{error}");
        }
    }
}

/// The same events with another staff reading at that number.
fn with_reading(job: &Job, number: u32, staff: &str) -> Job {
    let seq = job.book.entries()[number as usize - 1].event;
    let change = |event: &Event| {
        let mut event = event.clone();
        if event.seq == seq {
            let reading = match &mut event.body {
                Body::Heard { heard: Heard::Reading(reading) } => reading,
                Body::Commanded { command: Command::KeyIn { reading }, .. } => &mut **reading,
                other => panic!("event {seq} is {other:?}"),
            };
            reading.staff = Measured::parse(staff, Unit::Metre).unwrap();
        }
        event
    };
    let events: Vec<Event> = job.events.iter().map(change).collect();
    Job { book: Book::fold(&events), events }
}

#[test]
fn a_changed_reading_recomputes_to_the_report_of_a_job_with_that_reading() {
    let (mut changed, mut wanted) = (Vec::new(), Vec::new());
    for (job, number, staff) in
        [(day(), 3, "1.5999"), (day(), 12, "1.2190"), (late_datum(), 3, "1.7123"), (out_and_back(), 2, "1.2017")]
    {
        let other = with_reading(&job, number, staff);
        for (mut report, other) in forms(&job).into_iter().zip(forms(&other)) {
            // The cell of the reading is changed and nothing else: what is stored with the formulas is that of before.
            report.book.readings[number as usize - 1].reading =
                other.book.readings[number as usize - 1].reading.clone();
            changed.push(print(&report));
            wanted.push(print(&other));
        }
    }
    let Some(found) = cells_of(&changed, Formulas::Recomputed) else { return };
    let before = cells_of(&changed, Formulas::AsStored).unwrap();
    let wanted = cells_of(&wanted, Formulas::AsStored).unwrap();
    for ((found, before), wanted) in found.iter().zip(&before).zip(&wanted) {
        for (sheet, rows) in wanted.iter().filter(|(sheet, _)| sheet.starts_with("Run ")) {
            same_numbers(sheet, &found[sheet], rows);
        }
        assert_ne!(before["Run 1"], found["Run 1"], "the change was seen");
    }
}

/// Numbers of the page, page checks, misclosures and sharing out; allowances depend on nothing that was changed. What is
/// said in words may be another remark, on a row more or less.
fn same_numbers(sheet: &str, found: &[Vec<String>], wanted: &[Vec<String>]) {
    let numbers = |rows: &[Vec<String>]| -> Vec<Vec<Option<f64>>> {
        let of_row = |row: &Vec<String>| row.iter().map(|cell| cell.parse().ok()).collect();
        let rows: Vec<Vec<Option<f64>>> = rows.iter().map(of_row).collect();
        rows.into_iter().filter(|row| row.iter().flatten().next().is_some()).collect()
    };
    let (found, wanted) = (numbers(found), numbers(wanted));
    assert_eq!(found.len(), wanted.len(), "{sheet}: rows with numbers");
    let mut compared = 0;
    for (found, wanted) in found.iter().zip(&wanted) {
        for (one, other) in found.iter().zip(wanted) {
            assert_eq!(one.is_some(), other.is_some(), "{sheet}: {found:?}, wanted {wanted:?}");
            let (Some(one), Some(other)) = (one, other) else { continue };
            assert!((one - other).abs() < CLOSE, "{sheet}: {found:?}, wanted {wanted:?}");
            compared += 1;
        }
    }
    assert!(compared > 10, "{sheet}: only {compared} numbers");
}

#[test]
fn the_cells_show_what_the_document_shows() {
    let reports: Vec<Report> = [day(), long(12), out_and_back()].iter().flat_map(forms).collect();
    let books: Vec<Vec<u8>> = reports.iter().map(print).collect();
    let Some(books) = cells_of(&books, Formulas::Recomputed) else { return };
    for (report, sheets) in reports.iter().zip(&books) {
        let shown = &report.book.shown;
        let same = |cell: &str, figure: &Figure, unit: Unit, what: &str| {
            let value: f64 = cell.parse().unwrap_or_else(|_| panic!("{what}: {cell:?}"));
            let metres = value
                * match unit {
                    Unit::Metre => 1.0,
                    Unit::Millimetre => 1e-3,
                    Unit::Foot => 0.3048,
                    Unit::SurveyFoot => 1200.0 / 3937.0,
                };
            assert!((metres - figure.exact.to_f64_m()).abs() < 1e-9, "{what}: {cell}, wanted {figure:?}");
        };
        let results = &sheets["Results"];
        let head = results.iter().position(|row| row[0] == "point").unwrap();
        for (row, wanted) in results[head + 1..].iter().zip(&report.results) {
            assert_eq!(row[0], wanted.point);
            same(&row[1], &wanted.elevation, shown.unit, &wanted.point);
            if let Some(deviation) = &wanted.deviation {
                same(&row[2], deviation, shown.height_unit, &wanted.point);
            }
        }
        for run in &report.book.runs {
            let rows = &sheets[&format!("Run {}", run.number)];
            let head = rows.iter().position(|row| row[0] == "setup").unwrap();
            let column = rows[head].iter().position(|cell| cell.starts_with("elevation")).unwrap();
            for (row, line) in rows[head + 1..].iter().zip(&run.lines) {
                assert_eq!(row[1], line.point.clone().unwrap_or_default());
                match &line.elevation {
                    Some(elevation) => same(&row[column], elevation, shown.unit, &row[1]),
                    None => assert_eq!(row[column], ""),
                }
            }
            let closures = rows.iter().position(|row| row[0].starts_with("Closures"));
            assert_eq!(closures.is_some(), !run.closures.is_empty());
            for (at, closure) in run.closures.iter().enumerate() {
                let row = &rows[closures.unwrap() + 2 + at];
                same(&row[2], &closure.misclosure, shown.height_unit, &closure.point);
                assert_eq!(row[5], closure.verdict.words());
            }
        }
    }
}

#[test]
fn equal_reports_give_equal_bytes_and_simulated_is_on_every_sheet() {
    let job = day().simulated();
    let report = job.report(job.report_options());
    assert_eq!(print(&report), print(&report));
    let Some(sheets) = cells(&print(&report), Formulas::AsStored) else { return };
    for (sheet, rows) in &sheets {
        assert!(rows[1][0].starts_with("SIMULATED"), "{sheet}");
    }
}

#[test]
fn a_name_that_looks_like_a_formula_is_text() {
    let mut settings = settings();
    settings.start = Some(name("=2+3"));
    settings.known = vec![known("=2+3", "50.0000")];
    let mut crew = Crew::new(settings);
    crew.shoot([("1.5000", "20.00")]);
    for point in ["+4+5", "@SUM(1)", "-6"] {
        crew.hear(Heard::Reading(side("1.1000", "6.00", point)));
    }
    let mut fore = reading("1.2000", "20.00");
    fore.point = Some(name("=HYPERLINK(\"x\")"));
    crew.take(Input::Heard {
        at: closerun::book::moment::Moment::from_us(0),
        raw: Vec::new(),
        heard: Heard::Reading(fore),
    })
    .unwrap();
    let job = Job::of(crew);
    let report = job.report(job.report_options());
    let Some(sheets) = cells(&print(&report), Formulas::Recomputed) else { return };
    let all: Vec<&String> = sheets.values().flatten().flatten().collect();
    for point in ["=2+3", "+4+5", "@SUM(1)", "-6", "=HYPERLINK(\"x\")"] {
        assert!(all.iter().filter(|cell| **cell == point).count() >= 2, "{point}");
    }
}
