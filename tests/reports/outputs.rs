//! One job in every output against its golden, and what must hold between outputs: same digits, same numbers in metres
//! and in feet, no formula, lines no longer than the page, SIMULATED everywhere.
//!
//! Goldens stand in `fixtures/reports/`. `CLOSERUN_BLESS=1` writes them anew; a missing one fails.

use closerun::book::settings::{Booking, Settings};
use closerun::report::document::tree::{Figure, State};
use closerun::report::document::{Distribution, FieldBook};
use closerun::report::text::{self, Layout, Pages};
use closerun::report::{csv, json, live};
use closerun::units::{Length, Unit};

use crate::harness::crew::settings;
use crate::samples::{Job, corrected, day, day_with, long};

fn check_golden(name: &str, found: &str) {
    let path = format!("{}/fixtures/reports/{name}", env!("CARGO_MANIFEST_DIR"));
    if std::env::var_os("CLOSERUN_BLESS").is_some() {
        std::fs::write(&path, found).unwrap();
    }
    let wanted = std::fs::read_to_string(&path).unwrap_or_else(|error| panic!("reading {path}: {error}"));
    for (line, (found, wanted)) in found.lines().zip(wanted.lines()).enumerate() {
        assert_eq!(found, wanted, "{name}, line {}", line + 1);
    }
    assert_eq!(found, wanted, "{name}");
}

fn in_unit(job: &Job, unit: Unit) -> FieldBook {
    let mut options = job.options();
    options.unit = Some(unit);
    job.document(options)
}

#[test]
fn the_terminal_and_the_book_show_the_same_digits() {
    let in_feet = Settings { unit: Unit::Foot, also_units: vec![Unit::Metre], ..settings() };
    for job in [day(), day_with(in_feet), corrected()] {
        let book = job.document(job.options());
        let mut compared = 0;
        for (number, row) in (1..).zip(&book.readings) {
            let line = live::reading_view(&job.book, number).unwrap();
            assert_eq!(line.staff_shown, row.reading.shown, "reading {number}");
            if let Some(elevation) = line.elevation {
                assert_eq!(Some(elevation), row.elevation.as_ref().map(|figure| figure.shown.clone()));
                compared += 1;
            }
        }
        assert!(compared > 1, "{compared} elevations");
    }
}

#[test]
fn the_text_of_a_day() {
    let job = day().simulated();
    check_golden("day.txt", &text::print(&job.document(job.options()), Layout::default()));
}

#[test]
fn the_text_of_a_day_in_feet_by_rise_and_fall_on_pages() {
    let job = day();
    let mut options = job.options();
    (options.form, options.unit, options.distribution) =
        (Booking::RiseAndFall, Some(Unit::Foot), Distribution::BySetups);
    let layout = Layout { width: 80, pages: Pages::OfLines(Layout::LINES) };
    check_golden("day-feet-pages.txt", &text::print(&job.document(options), layout));
}

#[test]
fn the_text_of_corrected_readings() {
    let job = corrected();
    check_golden("corrected.txt", &text::print(&job.document(job.options()), Layout::default()));
}

#[test]
fn the_text_of_a_long_run_on_short_pages() {
    let job = long(24).simulated();
    let layout = Layout { width: 80, pages: Pages::OfLines(40) };
    check_golden("long-pages.txt", &text::print(&job.document(job.options()), layout));
}

#[test]
fn the_table_and_the_json_of_a_day() {
    let job = day().simulated();
    let book = job.document(job.options());
    check_golden("day.csv", &csv::print(&book));
    check_golden("day.json", &json::print(&book));
}

#[test]
fn the_report_of_a_day() {
    let job = day().simulated();
    let mut report: serde_json::Value =
        serde_json::from_str(&json::print_report(&job.report(job.report_options()))).unwrap();
    // The field book in it has a golden of its own.
    report["book"] = "see day.json".into();
    check_golden("day-report.json", &format!("{report:#}\n"));
}

#[test]
fn the_schema() {
    check_golden("field-book.schema.json", &format!("{:#}\n", json::schema()));
    check_golden("report.schema.json", &format!("{:#}\n", json::report_schema()));
}

#[test]
fn no_line_is_longer_than_the_page() {
    for job in [day(), corrected(), long(24)] {
        for form in [Booking::HeightOfInstrument, Booking::RiseAndFall] {
            for unit in [Unit::Metre, Unit::Foot, Unit::SurveyFoot] {
                for (width, pages) in [(72, Pages::Continuous), (80, Pages::OfLines(30)), (132, Pages::OfLines(58))] {
                    let mut options = job.options();
                    (options.form, options.unit) = (form, Some(unit));
                    let text = text::print(&job.document(options), Layout { width, pages });
                    for line in text.lines() {
                        let columns = line.trim_start_matches('\x0c').chars().count();
                        assert!(columns <= usize::from(width), "{columns} of {width}: {line}");
                        assert_eq!(line, line.trim_end(), "nothing stands behind a line");
                    }
                    let lines = if let Pages::OfLines(lines) = pages { usize::from(lines) } else { usize::MAX };
                    assert!(text.split('\x0c').all(|page| page.lines().count() <= lines));
                }
            }
        }
    }
}

#[test]
fn every_page_counts_itself_and_has_its_own_page_check() {
    let job = long(24);
    let layout = Layout { width: 80, pages: Pages::OfLines(40) };
    let text = text::print(&job.document(job.options()), layout);
    let pages: Vec<&str> = text.split('\x0c').collect();
    for (index, page) in pages.iter().enumerate() {
        let head = page.lines().next().unwrap();
        assert!(head.ends_with(&format!("page {} of {}", index + 1, pages.len())), "{head}");
    }
    let tables: Vec<&&str> = pages.iter().filter(|page| page.contains("\nsetup  point")).collect();
    assert!(tables.len() >= 2, "the table is long enough to be cut");
    for page in tables {
        assert!(page.contains("\npage check") && page.contains("holds from"), "{page}");
    }
}

#[test]
fn simulated_is_on_every_page_table_row_and_tree() {
    let job = day().simulated();
    let book = job.document(job.options());
    let paged = text::print(&book, Layout { width: 80, pages: Pages::OfLines(30) });
    for page in paged.split('\x0c') {
        assert!(page.lines().next().unwrap().contains("SIMULATED"), "{page}");
    }
    let text = text::print(&book, Layout::default());
    for head in ["FIELD BOOK", "RUN 1", "RUN 2", "FINDINGS"] {
        let line = text.lines().find(|line| line.starts_with(head)).unwrap();
        assert!(line.ends_with("SIMULATED"), "{line}");
    }
    assert!(csv::print(&book).lines().skip(1).all(|row| row.contains("SIMULATED")));
    assert!(book.simulated && book.readings.iter().all(|row| row.simulated));
    let real = day();
    let real = real.document(real.options());
    for text in [text::print(&real, Layout::default()), csv::print(&real)] {
        assert!(!text.contains("SIMULATED"));
    }
}

#[test]
fn the_table_reads_back_to_the_digits_that_were_sent_and_no_text_is_a_formula() {
    for unit in [Unit::Metre, Unit::Foot] {
        let job = day();
        let book = in_unit(&job, unit);
        let text = csv::print(&book);
        let mut reader = ::csv::Reader::from_reader(text.as_bytes());
        let columns: Vec<String> = reader.headers().unwrap().iter().map(str::to_owned).collect();
        let texts: Vec<&str> = csv::text_columns().collect();
        assert!(texts.iter().all(|name| columns.iter().any(|column| column == name)));
        let rows: Vec<::csv::StringRecord> = reader.records().map(Result::unwrap).collect();
        assert_eq!(rows.len(), job.book.entries().len(), "one row a reading, struck ones included");
        for ((row, entry), reading) in rows.iter().zip(job.book.entries()).zip(&book.readings) {
            let cell = |name: &str| &row[columns.iter().position(|column| column == name).unwrap()];
            assert_eq!(cell("staff_digits"), entry.reading.staff.digits().as_str());
            assert_eq!(cell("sight_digits"), entry.reading.sight.map_or(String::new(), |s| s.digits().to_string()));
            assert_eq!(csv::text_of(cell("point")), reading.point.as_deref().unwrap_or(""));
            assert_eq!(csv::text_of(cell("remarks")), reading.remarks.join("; "));
            assert_eq!(cell("elevation").is_empty(), !reading.state.counts(), "what is struck has no elevation");
            for (column, cell) in columns.iter().zip(row) {
                safe(Cell::of(&texts, column), cell).unwrap_or_else(|why| panic!("{column}: {why}"));
            }
        }
        let sent: Vec<&str> = job.book.entries().iter().map(|entry| entry.reading.staff.digits().as_str()).collect();
        assert!(sent.contains(&"-2.1050"), "a negative reading with a trailing zero is among them");
        assert_eq!(book.readings.iter().filter(|row| row.state == State::Struck).count(), 1);
    }
}

/// What a column holds.
#[derive(Clone, Copy)]
enum Cell {
    Text,
    Number,
}

impl Cell {
    fn of(texts: &[&str], column: &str) -> Self {
        if texts.contains(&column) { Cell::Text } else { Cell::Number }
    }
}

/// A number is nothing but its digits, and no text is taken for a formula.
fn safe(kind: Cell, cell: &str) -> Result<(), String> {
    let digits = cell.strip_prefix('-').unwrap_or(cell);
    match kind {
        Cell::Text if cell.starts_with(['=', '+', '-', '@', '\t', '\r']) => Err(format!("{cell:?} is a formula")),
        Cell::Number if !digits.bytes().all(|byte| byte.is_ascii_digit() || byte == b'.') => {
            Err(format!("{cell:?} is no plain number"))
        }
        _ => Ok(()),
    }
}

/// Planted: texts written as they came, and numbers dressed as texts are.
#[test]
fn a_table_that_a_spreadsheet_would_take_for_formulas_is_seen() {
    for text in ["=1+1", "-x", "+2", "@sum"] {
        assert!(safe(Cell::Text, text).unwrap_err().contains("is a formula"));
    }
    for number in ["'-0.0001", "1,234", "1.2e3"] {
        assert!(safe(Cell::Number, number).unwrap_err().contains("no plain number"));
    }
    assert_eq!((safe(Cell::Number, "-0.0001"), safe(Cell::Text, "'=1+1")), (Ok(()), Ok(())));
}

#[test]
fn metres_and_feet_agree() {
    let job = day();
    let (metres, feet, survey) =
        (in_unit(&job, Unit::Metre), in_unit(&job, Unit::Foot), in_unit(&job, Unit::SurveyFoot));
    let levels = |book: &FieldBook| -> Vec<Figure> {
        let lines = book.runs.iter().flat_map(|run| &run.lines);
        let of_lines = lines.flat_map(|line| {
            [&line.height_of_instrument, &line.rise, &line.fall, &line.elevation].into_iter().flatten().cloned()
        });
        let points = book.runs.iter().flat_map(|run| &run.sections).flat_map(|section| &section.points);
        let adjusted = points.flat_map(|point| [point.observed.clone(), point.adjusted.clone()]);
        let readings = book.readings.iter().map(|row| row.reading.clone());
        of_lines.chain(adjusted).chain(readings).collect()
    };
    let in_metres = levels(&metres);
    assert!(in_metres.len() > 50);
    for other in [&feet, &survey] {
        let in_other = levels(other);
        assert_eq!(in_metres.len(), in_other.len());
        for (m, ft) in in_metres.iter().zip(&in_other) {
            assert_eq!(m.exact, ft.exact, "the same length, whatever it is shown in");
            for (figure, unit) in [(m, Unit::Metre), (ft, other.shown.unit)] {
                let shown = Length::parse(&figure.shown, unit).unwrap();
                let decimals = figure.shown.split_once('.').unwrap().1.len() as u32;
                let half = Length::parse("0.5", unit).unwrap().divide(10i64.pow(decimals));
                let apart = (shown - figure.exact).abs();
                assert!(apart <= half + Length::from_tenth_nm(1), "{figure:?} in {unit}");
            }
        }
        for (m, ft) in metres.runs.iter().zip(&other.runs) {
            assert!(m.page_checks.iter().chain(&ft.page_checks).all(|check| check.holds));
            assert_eq!(m.standing, ft.standing);
        }
    }
}

#[test]
fn hostile_names_stay_text() {
    let job = day();
    let mut book = job.document(job.options());
    book.job = "a\x1b[2Jb\u{202e}c".to_owned();
    book.runs[0].lines[1].point = Some("x\x07y".repeat(40));
    for pages in [Pages::Continuous, Pages::OfLines(40)] {
        let text = text::print(&book, Layout { width: 80, pages });
        let seen = |c: char| c == '\n' || c == '\x0c' || !(c.is_control() || c == '\u{202e}');
        assert!(text.chars().all(seen), "{text:?}");
        assert!(text.lines().all(|line| line.chars().count() <= 81));
    }
}
