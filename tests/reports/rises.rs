//! What was carried up a tape and across a gap: the same lines, corrections and uncertainties on paper, in the
//! spreadsheet, the table, the JSON and the text, and where they entered the network.

use closerun::adjust::observed::{Detail, Deviations, Source, observed};
use closerun::adjust::significance::{Levels, Sigma};
use closerun::adjust::{Effects, Network, Options, WeightRule, adjust};
use closerun::book::activity::{TapeSettings, Task};
use closerun::book::event::{Command, Target};
use closerun::report::document::full::tree::MarkKind;
use closerun::report::document::tree::{RiseMethod, RiseView};
use closerun::report::network::{self, Came, figures::Figures};
use closerun::report::pdf::{self, Paper};
use closerun::report::text::{self, Layout};
use closerun::report::{csv::marks, json, xlsx};
use closerun::units::{Length, Unit};

use crate::harness::crew::{Crew, metres, name, reading, settings};
use crate::office::{Formulas, cells, pdf_pages};
use crate::samples::Job;

fn tape() -> TapeSettings {
    TapeSettings {
        nominal: metres("50"),
        certified: metres("50.002"),
        standard_c: 20.0,
        standard_pull_n: 50.0,
        expansion_ppm_per_c: 11.6,
        cross_section_mm2: 2.5,
        modulus_gpa: 200.0,
        weight_n_per_m: 0.2,
        plummet_n: Some(50.0),
        temperature_c: Some(10.0),
        clamped_at: Length::ZERO,
        hung: metres("50"),
        certified_spans: None,
        reading_sd: metres("0.0003"),
        certificate_sd_ppm: 10.0,
        temperature_sd_c: 1.0,
        pull_sd_n: 1.0,
    }
}

fn begin(crew: &mut Crew, task: Task) {
    crew.say(Command::BeginActivity { task: Box::new(task) });
}

fn key(crew: &mut Crew, staffs: [&str; 4]) {
    for staff in staffs {
        crew.say(Command::KeyIn { reading: Box::new(reading(staff, "")) });
    }
}

fn transfer(crew: &mut Crew, staffs: [&str; 4]) {
    let (from, to) = (name("L1"), name("L7"));
    begin(crew, Task::TapeTransfer { from, to, tape: Box::new(tape()), reading_sd: metres("0.0003") });
    key(crew, staffs);
}

/// A loop from BM-1 over L1, twice up a tape to L7, and from L1 across a gap to F.
fn tower() -> Job {
    let mut crew = Crew::new(settings());
    crew.shoot([("1.5000", "20.00")]);
    crew.say(Command::Point { reading: Target::Next, point: name("L1") });
    crew.shoot([("1.4000", "20.00"), ("1.4000", "20.00")]);
    crew.say(Command::Point { reading: Target::Next, point: name("BM-1") });
    crew.shoot([("1.5000", "20.00")]);
    crew.say(Command::EndRun { reading: None });
    transfer(&mut crew, ["1.500", "22.000", "2.000", "1.400"]);
    transfer(&mut crew, ["1.400", "22.501", "2.400", "1.400"]);
    let (from, to, distance) = (name("L1"), name("F"), metres("200"));
    begin(&mut crew, Task::Reciprocal { from, to, distance, sets: 1, reading_sd: metres("0.0003") });
    key(&mut crew, ["1.5000", "2.7070", "2.6000", "1.4070"]);
    // The staff on the near bank was read once more: the first shot stays, struck out.
    crew.say(Command::BeginActivity {
        task: Box::new(Task::Reciprocal {
            from: name("L1"),
            to: name("F"),
            distance,
            sets: 1,
            reading_sd: metres("0.0003"),
        }),
    });
    crew.say(Command::KeyIn { reading: Box::new(reading("1.9999", "")) });
    crew.say(Command::StrikeShot { shot: 1 });
    key(&mut crew, ["1.5002", "2.7072", "2.6000", "1.4070"]);
    Job::of(crew)
}

fn rises(job: &Job) -> Vec<RiseView> {
    job.document(job.options()).rises
}

#[test]
fn the_way_from_the_readings_to_the_rise_adds_up_line_by_line() {
    let job = tower();
    let [first, second, gap, again] = &rises(&job)[..] else { panic!() };
    assert_eq!((first.method, first.from.as_str(), first.to.as_str()), (RiseMethod::TapeTransfer, "L1", "L7"));
    let told: Vec<(&str, &str)> =
        first.steps.iter().map(|step| (step.what.as_str(), step.value.shown.as_str())).collect();
    // By hand: 20 (50.002 - 50) / 50; 20 x 11.6e-6 x -10; the plummet pulls as the certificate did; 20 / (2.5 x 200 000)
    // x 0.2 x (50 - 12).
    assert_eq!(
        told,
        [
            ("tape between the lines of sight", "20.0000"),
            ("standard", "+0.80"),
            ("temperature", "-2.32"),
            ("pull", "0.00"),
            ("own weight", "+0.30"),
            ("readings of staffs and tape", "0.00"),
            ("height between the lines of sight", "19.9988"),
            ("staff below, added", "1.5000"),
            ("staff above, taken off", "1.4000"),
        ]
    );
    assert_eq!(first.rise.shown, "20.0988");
    let added: Length = first.steps[1..6].iter().map(|step| step.value.exact).sum();
    assert_eq!(first.steps[0].value.exact + added + metres("0.1"), first.rise.exact, "to the last digit");
    // sqrt(0.2^2 + 0.232^2 + 0.04^2 + 4 x 0.3^2) mm.
    let squares: f64 =
        first.steps.iter().filter_map(|step| step.deviation.as_ref()).map(|d| d.exact.to_f64_mm().powi(2)).sum();
    assert!((squares.sqrt() - first.deviation.exact.to_f64_mm()).abs() < 1e-6);
    assert!((first.deviation.exact.to_f64_mm() - 0.4554f64.sqrt()).abs() < 1e-4, "{:?}", first.deviation);
    assert!(first.checked && second.checked && first.standing == "agrees with a second one");
    assert!(first.conditions[0].contains("50.0020 m at 20 C under 50 N, supported throughout, good to 10 ppm"));
    assert!(first.conditions[2].contains("under a plummet of 50 N") && first.conditions[2].contains("at 10 C"));
    // Near A 1.5 - 2.707, near F 1.407 - 2.6: their mean, and half of how far they are apart.
    assert_eq!((gap.rise.shown.as_str(), gap.deviation.shown.as_str()), ("-1.2000", "0.30"));
    assert_eq!(gap.steps.last().unwrap().value.shown, "+7.00");
    assert_eq!(gap.readings[1].what, "set 1: far staff, on F");
    assert!(again.readings[0].struck && !again.readings[1].struck);
    assert_eq!((again.readings.len(), again.readings[0].sent.digits.as_str()), (5, "1.9999"));
}

#[test]
fn marks_that_only_a_tape_or_a_gap_reached_are_among_the_results_and_say_so() {
    let job = tower();
    let report = job.report(job.report_options());
    let mark = |point: &str| report.results.iter().find(|row| row.point == point).unwrap();
    let (l1, l7) = (mark("L1"), mark("L7"));
    assert_eq!((l7.kind, &l7.runs[..], &l7.observed), (MarkKind::Carried, &[][..], &None));
    assert_eq!(l7.remarks, ["by tape transfer, activity 1", "by tape transfer, activity 2"]);
    // 50.1 m, and the mean of two rises of equal weight, 20.098784 and 20.0997...
    let [first, second, ..] = &rises(&job)[..] else { panic!() };
    let mean = (first.rise.exact + second.rise.exact).divide(2);
    let close = |one: Length, other: Length| (one - other).abs() < Length::from_um(1);
    assert!(close(l7.elevation.exact, l1.elevation.exact + mean), "{l7:?}");
    let figures = report.adjustment.figures.as_ref().unwrap();
    let entered: Vec<_> = figures.lines.iter().map(|line| (line.run, line.activity)).collect();
    let run = |run| (Some(run), None);
    let rise = |activity| (None, Some(activity));
    assert_eq!(entered, [run(1), run(1), rise(1), rise(2), rise(3), rise(4)]);
    assert!(
        report.answer.carried.iter().any(|words| words.starts_with("tape transfer from L1 to L7: a rise of 20.09"))
    );
    let part = job.report(closerun::report::document::full::ReportOptions { run: Some(1), ..job.report_options() });
    assert!(
        part.book.rises.is_empty() && part.adjustment.figures.unwrap().lines.iter().all(|line| line.run == Some(1))
    );
}

#[test]
fn an_unchecked_rise_is_said_on_the_first_page() {
    let mut crew = Crew::new(settings());
    transfer(&mut crew, ["1.500", "22.000", "2.000", "1.400"]);
    let job = Job::of(crew);
    let report = job.report(job.report_options());
    assert!(report.answer.reliance.iter().any(|words| words.contains("no second one agrees")), "{:?}", report.answer);
    assert_eq!(report.answer.verdict, "no run was levelled that could close");
    assert!(report.adjustment.left_out.iter().any(|words| words == "not tied to any known point: L1, L7"));
}

#[test]
fn every_output_lists_each_rise_with_its_corrections() {
    for unit in [Unit::Metre, Unit::Foot] {
        let job = tower();
        let mut options = job.report_options();
        options.book.unit = Some(unit);
        let report = job.report(options);
        let rises = &report.book.rises;
        assert_eq!(rises.len(), 4);

        let value: serde_json::Value = serde_json::from_str(&json::print_report(&report)).unwrap();
        assert_eq!(value["book"]["rises"][0]["steps"][2]["value"]["shown"], rises[0].steps[2].value.shown);

        let table = marks::print(&report);
        let mut reader = ::csv::Reader::from_reader(table.as_bytes());
        let heads = reader.headers().unwrap().clone();
        let rows: Vec<::csv::StringRecord> = reader.records().map(Result::unwrap).collect();
        let cell =
            |row: &::csv::StringRecord, head: &str| row[heads.iter().position(|held| held == head).unwrap()].to_owned();

        let printed = text::print(&report.book, Layout::default());
        assert!(printed.lines().all(|line| line.chars().count() <= 80), "{printed}");

        let paper = pdf_pages(&pdf::print(&report, Paper::A4, &mut |_| ()).unwrap().bytes);
        let paper: Option<Vec<String>> = paper.map(|pages| {
            let plain = |line: &str| line.split_whitespace().collect::<Vec<_>>().join(" ").replace('\u{2212}', "-");
            pages.iter().flat_map(|page| page.lines()).map(plain).collect()
        });
        let sheets = cells(&xlsx::print(&report).unwrap(), Formulas::Recomputed);

        let stands = |parts: &[&str]| {
            let on = |line: &str| parts.iter().all(|part| line.contains(part));
            assert!(printed.lines().any(on), "{parts:?} in\n{printed}");
            if let Some(paper) = &paper {
                assert!(paper.iter().any(|line| on(line)), "{parts:?} on no line of the paper");
            }
        };
        for rise in rises {
            let number = rise.activity.to_string();
            let of = |record: &str| -> Vec<&::csv::StringRecord> {
                rows.iter().filter(|row| cell(row, "record") == record && cell(row, "activity") == number).collect()
            };
            let (readings, steps, result) = (of("reading"), of("step"), of("rise"));
            assert_eq!((readings.len(), steps.len(), result.len()), (rise.readings.len(), rise.steps.len(), 1));
            for (row, step) in steps.iter().zip(&rise.steps) {
                assert_eq!((cell(row, "what"), cell(row, "value")), (step.what.clone(), step.value.shown.clone()));
                let deviation = step.deviation.as_ref().map_or("", |figure| figure.shown.as_str());
                assert_eq!(cell(row, "deviation"), deviation);
                stands(&[&step.what, &step.value.shown, deviation]);
            }
            for (row, reading) in readings.iter().zip(&rise.readings) {
                assert_eq!(cell(row, "value"), reading.sent.digits);
                stands(&[&reading.what, &reading.reading.shown]);
            }
            assert_eq!(cell(result[0], "value"), rise.rise.shown);
            assert_eq!(cell(result[0], "deviation"), rise.deviation.shown);
            stands(&["rise", &rise.rise.shown]);
            if let Some(paper) = &paper {
                let entered = format!("by {}, activity {number}", rise.method.words());
                assert!(paper.contains(&entered), "{entered} under no line of the adjustment");
            }
            let Some(sheets) = &sheets else { continue };
            let rows: Vec<_> = sheets["Rises"].iter().filter(|row| row[0] == number).collect();
            for step in &rise.steps {
                let row = rows.iter().find(|row| row[3] == step.what).unwrap_or_else(|| panic!("no {}", step.what));
                let shown: f64 = step.value.shown.parse().unwrap();
                let held: f64 = [&row[4], &row[5]].iter().find(|cell| !cell.is_empty()).unwrap().parse().unwrap();
                let decimals = step.value.shown.split_once('.').map_or(0, |(_, behind)| behind.len());
                assert!((held - shown).abs() <= 0.5001 * 10f64.powi(-(decimals as i32)), "{}: {held}", step.what);
            }
            assert!(rows.iter().any(|row| row[3] == "rise" && !row[4].is_empty() && !row[6].is_empty()));
        }
    }
}

#[test]
fn an_adjustment_of_several_jobs_says_where_each_section_entered() {
    let job = tower();
    let source = [Source { name: "tower", book: &job.book }];
    let all = observed(&source, Detail::Marks, Deviations::LeftOut);
    let came: Vec<Came> = all.origins.iter().map(|(_, origin)| Came::of(&job.book, Some("tower"), *origin)).collect();
    let network = Network::new(all.given).unwrap();
    let options = Options {
        weights: WeightRule::Setups { mm_per_sqrt_setup: 0.5 },
        sigma: Sigma::APriori,
        levels: Levels::USUAL,
        effects: Effects::OnEveryMark,
    };
    let outcome = adjust(&network, &options).unwrap();
    let origin = network::Origin {
        files: vec!["tower.job".to_owned()],
        simulated: false,
        numbers: (1..=network.sections().len()).collect(),
        set_aside: Vec::new(),
        came,
        weights: "0.500 mm per root setup, as given".to_owned(),
    };
    let document = network::document(&network, &outcome, &origin, Figures::new(Unit::Metre));
    let came: Vec<&str> = document.sections.iter().filter_map(|row| row.came.as_deref()).collect();
    assert_eq!(
        came,
        [
            "run 1, setup 1 of tower",
            "run 1, setup 2 of tower",
            "tape transfer, activity 1 of tower",
            "tape transfer, activity 2 of tower",
            "reciprocal levelling, activity 3 of tower",
            "reciprocal levelling, activity 4 of tower",
        ]
    );
    assert_eq!(document.sections[0].stated, None, "a rule weighs it");
    let text = network::text(&document).split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(text.contains("section 3: tape transfer, activity 1 of tower, with its own deviation of 0.67"), "{text}");
    let mut table = ::csv::Reader::from_reader(std::io::Cursor::new(network::csv(&document)));
    let heads = table.headers().unwrap().clone();
    let at = |head: &str| heads.iter().position(|held| held == head).unwrap();
    let rows: Vec<::csv::StringRecord> = table.records().map(Result::unwrap).collect();
    let third = rows.iter().find(|row| &row[at("record")] == "section" && &row[at("number")] == "3").unwrap();
    assert_eq!((&third[at("came")], &third[at("stated")]), ("tape transfer, activity 1 of tower", "0.67"));
}
