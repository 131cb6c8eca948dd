//! The report on paper: its text by another program says the same numbers as the document; heads, feet, sizes, fonts;
//! the same bytes each time.

use closerun::book::settings::Booking;
use closerun::report::document::full::{RecordView, Report, ReportOptions};
use closerun::report::document::tree::RunStanding;
use closerun::report::pdf::{Paper, print};
use closerun::units::Unit;

use crate::office::{pdf_pages, poppler};
use crate::samples::{Job, corrected, day, long};

fn pdf(report: &Report, paper: Paper) -> Vec<u8> {
    let mut begun = 0;
    let printed = print(report, paper, &mut |page| begun = page).unwrap();
    assert_eq!(begun, printed.pages, "each page was told of");
    printed.bytes
}

fn report(job: &Job) -> Report {
    job.report(job.report_options())
}

/// A text without its line breaks and indents.
fn words(text: &str) -> String {
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

/// A number as paper has it.
fn minus(shown: &str) -> String {
    shown.replace('-', "\u{2212}")
}

#[test]
fn the_paper_says_the_numbers_of_the_document() {
    for job in [day(), corrected(), long(24)] {
        for (form, unit) in [(Booking::HeightOfInstrument, Unit::Metre), (Booking::RiseAndFall, Unit::Foot)] {
            let mut options = job.report_options();
            (options.book.form, options.book.unit) = (form, Some(unit));
            let report = job.report(options);
            let Some(pages) = pdf_pages(&pdf(&report, Paper::A4)) else { return };
            let text = pages.join("\n");
            let lines: Vec<String> = text.lines().map(words).collect();
            let has_line = |parts: &[String]| {
                assert!(
                    lines.iter().any(|line| parts.iter().all(|part| line.contains(part.as_str()))),
                    "no line with {parts:?} in\n{text}"
                );
            };
            for row in &report.results {
                let figures =
                    [Some(&row.elevation), row.deviation.as_ref(), row.interval.as_ref(), row.observed.as_ref()];
                let mut parts = vec![row.point.clone()];
                parts.extend(figures.into_iter().flatten().map(|figure| minus(&figure.shown)));
                has_line(&parts);
            }
            for run in &report.book.runs {
                for line in run.lines.iter().filter(|line| line.elevation.is_some()) {
                    let figures = [&line.height_of_instrument, &line.rise, &line.fall, &line.elevation];
                    let form_of = [Booking::HeightOfInstrument, Booking::RiseAndFall, Booking::RiseAndFall];
                    let mut parts: Vec<String> = line.point.iter().cloned().collect();
                    for (at, figure) in figures.into_iter().enumerate() {
                        if at == 3 || form_of[at] == form {
                            parts.extend(figure.iter().map(|figure| minus(&figure.shown)));
                        }
                    }
                    has_line(&parts);
                }
                for closure in &run.closures {
                    has_line(&[minus(&closure.words)]);
                }
                for check in &run.page_checks {
                    assert!(check.holds);
                }
                for point in run.sections.iter().flat_map(|section| &section.points) {
                    has_line(&[
                        point.point.clone(),
                        point.observed.shown.clone(),
                        minus(&point.correction.shown),
                        point.adjusted.shown.clone(),
                    ]);
                }
            }
            for line in report.adjustment.figures.iter().flat_map(|figures| &figures.lines) {
                has_line(&[minus(&line.observed.shown), minus(&line.residual.shown), minus(&line.adjusted.shown)]);
            }
            let whole = words(&text);
            for change in &report.changes {
                let first = change.what.split_whitespace().take(2).collect::<Vec<_>>().join(" ");
                assert!(whole.contains(&minus(&first).replace('\u{2212}', "-")) || whole.contains(&first), "{first}");
            }
        }
    }
}

#[test]
fn every_page_names_its_data_and_counts_itself() {
    let job = long(100).simulated();
    let report = report(&job);
    let Some(pages) = pdf_pages(&pdf(&report, Paper::A4)) else { return };
    assert!(pages.len() > 5);
    for (page, number) in pages.iter().zip(1..) {
        let page = words(page);
        assert!(page.contains(&format!("page {number} of {}", pages.len())), "{page}");
        assert!(page.contains("core-3") && page.contains("digest 0123456789abcdef"), "{page}");
        assert!(page.matches("SIMULATED").count() >= 2, "in the head and in the foot of page {number}: {page}");
    }
    let book: Vec<String> =
        pages.iter().map(|page| words(page)).filter(|page| page.contains("brought forward")).collect();
    assert!(book.len() >= 2, "the field book goes over pages");
    for page in book {
        assert!(page.contains("back inter fore height of elevation"), "the heads are repeated: {page}");
        assert!(page.contains("page check holds"), "each page has its own: {page}");
    }
}

#[test]
fn the_first_page_answers_and_says_what_it_lacks() {
    let job = day().simulated();
    let whole = report(&job);
    let Some(pages) = pdf_pages(&pdf(&whole, Paper::Letter)) else { return };
    let first = words(&pages[0]);
    for said in [
        "core-3",
        "PROVISIONAL",
        "What was carried where",
        "from BM-1 (known, 52.34800 m) to BM-1 (observed 52.34735 m), 5 setups, 206.34 m",
        "How well it closed",
        "May it be used",
        "SIMULATED: nothing here was measured",
        "licensed surveyor or engineer",
        "signature, date",
    ] {
        assert!(first.contains(said), "{said:?} in {first}");
    }
    // Run 2 hangs: each page that shows it says so. Run 1 closes.
    let open = whole.book.runs.iter().find(|run| run.standing == RunStanding::Provisional).unwrap().number;
    let of_run = |number: u32| {
        pages.iter().filter(move |page| words(page).contains(&format!("run {number} ")) && page.contains("Field book"))
    };
    assert!(of_run(open).count() > 0 && of_run(open).all(|page| page.contains("PROVISIONAL")));
    let alone = job.report(ReportOptions { run: Some(1), ..job.report_options() });
    let pages = pdf_pages(&pdf(&alone, Paper::A4)).unwrap();
    assert!(words(&pages[0]).contains("RUN 1 ONLY"));
    assert!(pages.iter().all(|page| !page.contains("PROVISIONAL")), "run 1 closes");
}

#[test]
fn a_record_that_is_not_as_it_was_kept_is_said_first() {
    let job = day();
    let damage = "broken at event 9: its content and its hash do not agree; whole up to event 8".to_owned();
    let record = RecordView { damage: Some(damage), ..job.report_options().record };
    let report = job.report(ReportOptions { record, ..job.report_options() });
    let Some(pages) = pdf_pages(&pdf(&report, Paper::A4)) else { return };
    assert!(words(&pages[0]).contains("The record is not as it was kept: broken at event 9"));
    assert!(words(&pages.join(" ")).contains("NOT AS IT WAS KEPT"));
}

#[test]
fn papers_have_their_sizes_and_fonts_are_in_them() {
    let job = day();
    let report = report(&job);
    for (paper, size) in [(Paper::A4, "595.28 x 841.89 pts (A4)"), (Paper::Letter, "612 x 792 pts (letter)")] {
        let bytes = pdf(&report, paper);
        assert_eq!(bytes, pdf(&report, paper), "the same bytes each time");
        let Some(info) = poppler("pdfinfo", &bytes, &[], &[]) else { return };
        assert!(info.contains(size), "{info}");
        assert!(info.contains("Title:           Levelling report: core-3"), "{info}");
        let fonts = poppler("pdffonts", &bytes, &[], &[]).unwrap();
        let rows: Vec<&str> = fonts.lines().skip(2).collect();
        assert!(rows.len() >= 2, "{fonts}");
        for row in rows {
            assert!(
                row.contains("DejaVuSansCondensed") && row.contains("yes yes yes"),
                "in it, a part, with its letters: {row}"
            );
        }
        assert!(bytes.len() < 400_000, "{} bytes", bytes.len());
    }
}

#[test]
fn hostile_names_stay_text_and_nothing_is_lost_beyond_the_edge() {
    let job = day();
    let mut report = report(&job);
    report.book.job = "a\u{1b}[2J\u{202e}c".to_owned();
    report.book.runs[0].lines[1].point = Some("x\u{7}y".repeat(40));
    report.results[0].point = "\u{627}\u{10fffd}\u{6f22}".repeat(20);
    let Some(pages) = pdf_pages(&pdf(&report, Paper::Letter)) else { return };
    assert!(pages.iter().all(|page| !page.contains(['\u{1b}', '\u{7}', '\u{202e}'])));
    assert!(words(&pages[0]).contains("a\u{fffd}[2J\u{fffd}c"), "{}", pages[0]);
}

#[test]
fn a_job_without_readings_has_a_paper_too() {
    let mut job = day();
    job.events.truncate(1);
    job.book = closerun::book::Book::fold(&job.events);
    let Some(pages) = pdf_pages(&pdf(&report(&job), Paper::A4)) else { return };
    assert!(words(&pages[0]).contains("nothing levelled yet"));
}
