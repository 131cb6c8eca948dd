//! The published examples, keyed in reading by reading, printed in both forms to the published digits.
//!
//! Expected numbers are those of the fixtures; where a source misprints one, its fixture says what is consistent.

use closerun::book::event::Command;
use closerun::book::reading::{Reading, Role};
use closerun::book::settings::{Booking, KnownPoint, Settings};
use closerun::report::document::tree::Sight;
use closerun::report::document::{Distribution, FieldBook};
use closerun::report::text::{self, Layout};
use closerun::units::{Length, Measured, Unit};
use toml::{Table, Value};

use crate::harness::crew::{Crew, name, settings};
use crate::samples::Job;

const FORMS: [Booking; 2] = [Booking::HeightOfInstrument, Booking::RiseAndFall];

/// A fixture with its unit, and the decimals that all its numbers are printed with.
struct Example {
    id: &'static str,
    file: Table,
    unit: Unit,
    decimals: usize,
}

impl Example {
    fn load(id: &'static str) -> Self {
        let path = format!("{}/fixtures/levelling/{id}.toml", env!("CARGO_MANIFEST_DIR"));
        let text = std::fs::read_to_string(&path).unwrap_or_else(|error| panic!("reading {path}: {error}"));
        let mut file: Table = text.parse().unwrap();
        let (unit, decimals) = match file["units"].as_str().unwrap() {
            "m" => (Unit::Metre, 3),
            "ft" => (Unit::Foot, 2),
            "mm" => (Unit::Millimetre, 0),
            other => panic!("unit {other}"),
        };
        mend(&mut file);
        Example { id, file, unit, decimals }
    }

    fn digits(&self, value: &Value) -> String {
        format!("{:.*}", self.decimals, number(value))
    }

    fn measured(&self, value: &Value) -> Measured {
        Measured::parse(&self.digits(value), self.unit).unwrap()
    }

    fn rows(&self, part: &str) -> &[Value] {
        self.file[part].get("row").and_then(Value::as_array).map_or(&[], Vec::as_slice)
    }

    fn settings(&self) -> Settings {
        let mut settings = settings();
        settings.unit = self.unit;
        settings.start = Some(name(self.rows("input")[0]["point"].as_str().unwrap()));
        let given = self.file["input"]["known_elevation"].as_array().unwrap().iter();
        let given = given.chain(self.file["input"].get("closing_elevation"));
        settings.known = given
            .map(|known| KnownPoint {
                name: name(known["point"].as_str().unwrap()),
                elevation: self.measured(&known["elevation"]),
                assumed: false,
            })
            .collect();
        settings
    }

    /// Keys the example's page in: the foresight of a line before its backsight.
    fn job(&self) -> Job {
        let mut crew = Crew::new(self.settings());
        for row in self.rows("input") {
            for (key, role) in
                [("foresight", Role::Fore), ("intermediate_sight", Role::Intermediate), ("backsight", Role::Back)]
            {
                let Some(value) = row.get(key) else { continue };
                let mut reading = Reading::of(self.measured(value));
                reading.role = Some(role);
                reading.point = Some(name(row["point"].as_str().unwrap()));
                crew.say(Command::KeyIn { reading: Box::new(reading) });
            }
        }
        Job::of(crew)
    }
}

/// Puts what is consistent where the source misprints.
fn mend(file: &mut Table) {
    let misprints = file.get("misprint").and_then(Value::as_array).cloned().unwrap_or_default();
    for misprint in misprints {
        let (field, row) = (misprint["field"].as_str().unwrap(), misprint["row"].as_integer().unwrap() as usize);
        let Some(rows) = file["published"].get_mut("row").and_then(Value::as_array_mut) else { continue };
        let printed = rows[row - 1].get_mut(field).unwrap();
        assert_eq!(number(printed), number(&misprint["printed"]), "the misprint is where the fixture says");
        *printed = misprint["consistent"].clone();
    }
}

fn number(value: &Value) -> f64 {
    value.as_float().or_else(|| value.as_integer().map(|whole| whole as f64)).unwrap()
}

/// The lines of the table of run 1 that stand for points: remarks and shots stand under them.
fn printed_rows(text: &str) -> Vec<&str> {
    let table = text.split_once("RUN 1").unwrap().1;
    let head = table.lines().find(|line| line.starts_with("setup")).unwrap();
    let at = head.find("point").unwrap();
    let after = table.split_once("\n---").unwrap().1;
    let rows = after.lines().skip(1).take_while(|line| !line.starts_with("---"));
    rows.filter(|line| line.as_bytes().get(at).is_some_and(|byte| *byte != b' ')).collect()
}

#[test]
fn every_published_run_is_printed_to_its_digits_in_both_forms() {
    let mut compared = 0;
    for id in [
        "level_run_rode_collimation_setups",
        "level_run_usm_collimation_setups",
        "level_run_nptel_rise_fall",
        "level_run_inverted_midrun_benchmark",
        "level_run_underground_inverted",
        "level_run_feet_page_check",
        "level_run_feet_three_setups",
        "level_run_feet_loop_textbook",
    ] {
        let example = Example::load(id);
        let job = example.job();
        for form in FORMS {
            let mut options = job.options();
            options.form = form;
            options.distribution = Distribution::BySetups;
            let book = job.document(options);
            assert_eq!(usize::from(book.shown.decimals), example.decimals, "{id}");
            let text = text::print(&book, Layout::default());
            compared += check_lines(&example, &book, form, &text);
            compared += check_sums(&example, &book, &text);
            compared += check_corrections(&example, &book, &text);
        }
    }

    assert_eq!(compared, 323, "published numbers, each compared in every form that prints it");
}

/// Each line has the published numbers, in the document and in the text. Gives how many were compared.
fn check_lines(example: &Example, book: &FieldBook, form: Booking, text: &str) -> usize {
    let (published, rows) = (example.rows("published"), printed_rows(text));
    let lines = &book.runs[0].lines;
    assert_eq!((lines.len(), rows.len()), (published.len(), published.len()), "{}\n{text}", example.id);
    let mut compared = 0;
    for ((line, row), published) in lines.iter().zip(rows).zip(published) {
        assert_eq!(line.point.as_deref(), published["point"].as_str());
        for (key, figure, printed) in [
            ("height_of_instrument", &line.height_of_instrument, form == Booking::HeightOfInstrument),
            ("elevation", &line.elevation, true),
            ("rise", &line.rise, form == Booking::RiseAndFall),
            ("fall", &line.fall, form == Booking::RiseAndFall),
        ] {
            let Some(value) = published.get(key) else { continue };
            let digits = example.digits(value);
            assert_eq!(figure.as_ref().map(|figure| figure.shown.as_str()), Some(digits.as_str()), "{key} in {row}");
            if printed {
                assert!(row.split_whitespace().any(|cell| cell == digits), "{}: {key} {digits} in {row}", example.id);
                compared += 1;
            }
        }
    }
    compared
}

fn check_sums(example: &Example, book: &FieldBook, text: &str) -> usize {
    let [check] = &book.runs[0].page_checks[..] else { panic!("{}: one page check", example.id) };
    assert!(check.holds && !check.rounded, "{}: {check:?}", example.id);
    let sums = text.lines().find(|line| line.trim_start().starts_with("sums")).unwrap();
    let published = &example.file["published"];
    let mut compared = 0;
    for (key, figure, form) in [
        ("sum_backsight", &check.sum_backsights, None),
        ("sum_foresight", &check.sum_foresights, None),
        ("sum_rise", &check.sum_rises, Some(Booking::RiseAndFall)),
        ("sum_fall", &check.sum_falls, Some(Booking::RiseAndFall)),
    ] {
        let Some(value) = published.get(key) else { continue };
        let digits = example.digits(value);
        assert_eq!(figure.shown, digits, "{}: {key}", example.id);
        if form.is_none_or(|form| form == book.shown.form) {
            assert!(sums.split_whitespace().any(|cell| cell == digits), "{}: {key} in {sums}", example.id);
            compared += 1;
        }
    }
    if let Some(value) = published.get("sum_backsight_minus_foresight") {
        let digits = example.digits(value);
        assert_eq!(check.backsights_less_foresights.shown, digits, "{}", example.id);
        assert!(text.contains(&format!("= {digits}\n")), "{}: {digits}", example.id);
        compared += 1;
    }
    if let Some(value) = published.get("misclosure") {
        let known_less_observed = published["misclosure_sense"].as_str() == Some("known_minus_observed");
        let sign = if known_less_observed { -1.0 } else { 1.0 };
        let [closure] = &book.runs[0].closures[..] else { panic!("{}: one closure", example.id) };
        let expected = Length::parse(&format!("{:.3}", sign * number(value)), example.unit).unwrap();
        assert_eq!(closure.misclosure.exact, expected, "{}", example.id);
        assert!(text.contains(&format!("misclosure  {} ", closure.misclosure.shown)), "{}", example.id);
        compared += 1;
    }
    compared
}

fn check_corrections(example: &Example, book: &FieldBook, text: &str) -> usize {
    if example.file["input"].get("distribution").is_none() {
        return 0;
    }
    let [section] = &book.runs[0].sections[..] else { panic!("{}: one section", example.id) };
    let published = example.rows("published");
    assert_eq!(section.points.len(), published.len(), "{}", example.id);
    let tolerance = |key: &str| number(&example.file["tolerance"][key]);
    let table = text.split_once("\nadjustment").unwrap().1;
    let mut compared = 0;
    for (point, published) in section.points.iter().zip(published) {
        assert_eq!(Some(point.point.as_str()), published["point"].as_str());
        let correction = published.get("correction").map_or(0.0, number);
        let found = point.correction.exact.to_f64_m();
        assert!((found - correction).abs() <= tolerance("correction"), "{}: {point:?}", example.id);
        let adjusted = number(&published["adjusted_elevation"]);
        let found: f64 = point.adjusted.shown.parse().unwrap();
        assert!((found - adjusted).abs() <= tolerance("adjusted_elevation"), "{}: {point:?}", example.id);
        let row = [&point.observed.shown, &point.correction.shown, &point.adjusted.shown].map(String::as_str);
        let printed = |line: &str| row.iter().all(|digits| line.split_whitespace().any(|cell| cell == *digits));
        assert!(table.lines().any(printed), "{}: {row:?} in {table}", example.id);
        compared += 2;
    }
    compared
}

#[test]
fn corrections_by_setups_are_the_published_millimetres() {
    let example = Example::load("level_run_rode_collimation_setups");
    let job = example.job();
    let mut options = job.options();
    options.distribution = Distribution::BySetups;
    let book = job.document(options);
    let per_setup = number(&example.file["published"]["correction_per_setup"]) * 1000.0;
    for point in &book.runs[0].sections[0].points {
        let expected = per_setup * f64::from(point.setups);
        let shown = if expected == 0.0 { "0.0".to_owned() } else { format!("{expected:+.1}") };
        assert_eq!(point.correction.shown, shown, "{}", point.point);
    }
}

#[test]
fn a_setup_observed_twice_prints_both_readings_and_their_published_mean() {
    let example = Example::load("double_observed_setup_polish");
    let number_in = |value: &Value| format!("{:.0}", number(value));
    let setups = example.file["input"]["setup"].as_array().unwrap();
    let mut settings = settings();
    settings.unit = Unit::Metre;
    settings.sequence = "BFFB".parse().unwrap();
    let mut crew = Crew::new(settings);
    for setup in setups {
        let reading = |key: &str, which: usize| number_in(&setup[key].as_array().unwrap()[which]);
        for (key, which) in [("backsight", 0), ("foresight", 0), ("foresight", 1), ("backsight", 1)] {
            let staff = Measured::parse(&reading(key, which), Unit::Millimetre).unwrap();
            crew.say(Command::KeyIn { reading: Box::new(Reading::of(staff)) });
        }
    }
    let job = Job::of(crew);
    let published = |key: &str, at: usize| number(&example.file["published"][key].as_array().unwrap()[at]) / 1000.0;
    for form in FORMS {
        let mut options = job.options();
        options.form = form;
        let book = job.document(options);
        // Readings to a millimetre, means of two to half of one.
        assert_eq!((book.shown.decimals, book.readings[0].reading.shown.as_str()), (4, "1.529"));
        let text = text::print(&book, Layout::default());
        let lines = &book.runs[0].lines;
        assert_eq!(lines.len(), setups.len() + 1);
        for at in 0..setups.len() {
            let booked = |sight: &Option<Sight>| sight.as_ref().unwrap().booked.as_ref().unwrap().shown.clone();
            let (back, fore) = (booked(&lines[at].backsight), booked(&lines[at + 1].foresight));
            assert_eq!(back, format!("{:.4}", published("mean_backsight", at)));
            assert_eq!(fore, format!("{:.4}", published("mean_foresight", at)));
            let rise = lines[at + 1].rise.as_ref().unwrap().shown.clone();
            assert_eq!(rise, format!("{:.4}", published("height_difference", at)));
            let row = printed_rows(&text).into_iter().filter(|row| !row.contains("no. ")).nth(at + 1).unwrap();
            assert!(row.split_whitespace().any(|cell| cell == fore), "{fore} in {row}");
            assert_eq!(
                row.split_whitespace().any(|cell| cell == rise),
                form == Booking::RiseAndFall,
                "{rise} in {row}"
            );
            for shot in [format!("no. {} ", at * 4 + 1), format!("no. {} ", at * 4 + 2)] {
                assert!(text.contains(&shot), "{shot} in {text}");
            }
        }
    }
}
