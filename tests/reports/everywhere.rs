//! The same numbers everywhere: what stands in the JSON is what another program reads on the paper, in the spreadsheet
//! after it recomputed it, and in the table.

use closerun::book::settings::Booking;
use closerun::report::csv::marks;
use closerun::report::document::full::Report;
use closerun::report::pdf::{self, Paper};
use closerun::report::{json, xlsx};
use closerun::units::Unit;
use serde_json::Value;

use crate::office::{Formulas, Sheets, cells_of, pdf_pages};
use crate::samples::{corrected, day, long};

/// A report as other programs read it.
struct Read {
    json: Value,
    /// Lines of the paper, blanks made one and minus made plain.
    paper: Vec<String>,
    sheets: Sheets,
    table: Vec<csv::StringRecord>,
}

fn read(reports: &[Report]) -> Option<Vec<Read>> {
    let books: Vec<Vec<u8>> = reports.iter().map(|report| xlsx::print(report).unwrap()).collect();
    let sheets = cells_of(&books, Formulas::Recomputed)?;
    reports.iter().zip(sheets).map(|(report, sheets)| read_one(report, sheets)).collect()
}

fn read_one(report: &Report, sheets: Sheets) -> Option<Read> {
    let printed = pdf::print(report, Paper::A4, &mut |_| ()).unwrap();
    let pages = pdf_pages(&printed.bytes)?;
    let words = |line: &str| line.split_whitespace().collect::<Vec<_>>().join(" ").replace('\u{2212}', "-");
    Some(Read {
        json: serde_json::from_str(&json::print_report(report)).unwrap(),
        paper: pages.iter().flat_map(|page| page.lines()).map(words).collect(),
        sheets,
        table: csv::Reader::from_reader(marks::print(report).as_bytes()).records().map(Result::unwrap).collect(),
    })
}

fn list<'a>(value: &'a Value, key: &str) -> &'a [Value] {
    value[key].as_array().unwrap_or_else(|| panic!("no {key} in {value}"))
}

/// What is shown of a figure; none where there is none.
fn shown<'a>(row: &'a Value, key: &str) -> Option<&'a str> {
    row[key]["shown"].as_str()
}

impl Read {
    fn on_paper(&self, parts: &[&str]) {
        assert!(self.paper.iter().any(|line| parts.iter().all(|part| line.contains(part))), "{parts:?} on no line");
    }

    fn rows_after(&self, sheet: &str, head: &str) -> &[Vec<String>] {
        let rows = &self.sheets[sheet];
        let head = rows.iter().position(|row| row[0].starts_with(head)).unwrap_or_else(|| panic!("{sheet}: no {head}"));
        &rows[head + 1..]
    }
}

/// A cell holds all digits; those that are shown are its rounding.
fn rounds_to(cell: &str, shown: &str, what: &str) {
    let number = |text: &str| text.parse::<f64>().unwrap_or_else(|_| panic!("{what}: {text:?} is no number"));
    let decimals = shown.split_once('.').map_or(0, |(_, behind)| behind.len());
    // Half a unit of the last digit, and what floats lose.
    let half = 0.5 * 10f64.powi(-(decimals as i32)) + 1e-9;
    assert!((number(cell) - number(shown)).abs() <= half, "{what}: {cell} in the sheet, {shown} elsewhere");
}

#[test]
fn paper_spreadsheet_table_and_json_say_the_same_numbers() {
    let mut reports = Vec::new();
    for job in [day(), corrected(), long(12)] {
        for (form, unit) in [(Booking::HeightOfInstrument, Unit::Metre), (Booking::RiseAndFall, Unit::Foot)] {
            let mut options = job.report_options();
            (options.book.form, options.book.unit) = (form, Some(unit));
            reports.push(job.report(options));
        }
    }
    let Some(all) = read(&reports) else { return };
    for read in &all {
        let compared = results(read) + runs(read);
        assert!(compared > 5, "only {compared} numbers");
    }
}

fn results(read: &Read) -> usize {
    let mut compared = 0;
    let (sheet, results) = (read.rows_after("Results", "point"), list(&read.json, "results"));
    assert_eq!(read.table.len(), results.len());
    for ((row, cells), table) in results.iter().zip(sheet).zip(&read.table) {
        let point = row["point"].as_str().unwrap();
        assert_eq!(cells[0], point);
        let mut parts = vec![point];
        // Column of the spreadsheet, and of the table.
        let columns = [("elevation", 1, 8), ("deviation", 2, 10), ("interval", 3, 11), ("observed", 4, 7)];
        for (key, column, of_table) in columns {
            match shown(row, key) {
                Some(text) => {
                    rounds_to(&cells[column], text, point);
                    assert_eq!(&table[of_table], text, "{point}: {key}");
                    parts.push(text);
                    compared += 1;
                }
                None => assert_eq!((cells[column].as_str(), &table[of_table]), ("", ""), "{point}: {key}"),
            }
        }
        read.on_paper(&parts);
    }
    compared
}

fn runs(read: &Read) -> usize {
    let mut compared = 0;
    for run in list(&read.json["book"], "runs") {
        let sheet = format!("Run {}", run["number"]);
        let heads = read.sheets[&sheet].iter().find(|row| row[0] == "setup").unwrap();
        let elevation = heads.iter().position(|head| head.starts_with("elevation")).unwrap();
        for (line, cells) in list(run, "lines").iter().zip(read.rows_after(&sheet, "setup")) {
            let point = line["point"].as_str().unwrap_or_default();
            assert_eq!(cells[1], point);
            let Some(text) = shown(line, "elevation") else { continue };
            rounds_to(&cells[elevation], text, point);
            read.on_paper(&[point, text]);
            compared += 1;
        }
        let closures = list(run, "closures");
        if !closures.is_empty() {
            // Behind the title of the closures stand their heads.
            for (closure, cells) in closures.iter().zip(&read.rows_after(&sheet, "Closures")[1..]) {
                let text = shown(closure, "misclosure").unwrap();
                rounds_to(&cells[2], text, &sheet);
                read.on_paper(&["misclosure", text]);
                compared += 1;
            }
        }
        for check in list(run, "page_checks") {
            let text = shown(check, "backsights_less_foresights").unwrap();
            read.on_paper(&["sum of backsights - sum of foresights", text]);
            let found = read.sheets[&sheet].iter().filter(|row| row[1] == "sum of backsights less sum of foresights");
            let same = |row: &&Vec<String>| {
                let (cell, shown) = (row[4].parse::<f64>().unwrap(), text.parse::<f64>().unwrap());
                (cell - shown).abs() < 0.51e-4
            };
            assert!(found.filter(same).count() > 0, "{sheet}: {text}");
            compared += 1;
        }
    }
    compared
}
