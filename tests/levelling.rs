//! Published worked examples, keyed in reading by reading, come out of the book as they were printed: elevations in
//! both forms of booking, sums, misclosures, corrections. Where a source contradicts itself, its own other numbers win.

mod harness;

use closerun::book::classes::{Basis, Class, Rate};
use closerun::book::closure::{Rule, distribute};
use closerun::book::event::Command;
use closerun::book::finding::{FindingId, FindingKey, Place};
use closerun::book::reading::{Reading, Role};
use closerun::book::run::{Closure, Run};
use closerun::book::settings::{KnownPoint, Settings};
use closerun::units::{Length, Measured, Unit};
use harness::crew::{Crew, name, settings};
use harness::page::{Page, page};
use harness::published::{Distribution, DoubleCase, MisclosureCase, RowElevation, RunCase, Sense, cases, files};

fn runs() -> Vec<RunCase> {
    cases("level_run")
}

/// Keys a published run in, line by line, and gives the crew that did.
fn keyed(case: &RunCase) -> Crew {
    let input = &case.of.input;
    let known = |given: &RowElevation| {
        assert_eq!(input.row[given.row - 1].point, given.point, "{}", case.id);
        KnownPoint { name: name(&given.point), elevation: case.measured(&given.elevation), assumed: false }
    };
    let mut known: Vec<KnownPoint> = input.known_elevation.iter().chain(&input.closing_elevation).map(known).collect();
    known.dedup_by(|second, first| second.name == first.name && second.elevation == first.elevation);
    let unit = case.of.units;
    let mut crew = Crew::new(Settings { unit, start: Some(name(&input.row[0].point)), known, ..settings() });
    for row in &input.row {
        // A foresight comes before the backsight on the same line: the instrument moves in between.
        let sights =
            [(&row.intermediate_sight, Role::Intermediate), (&row.foresight, Role::Fore), (&row.backsight, Role::Back)];
        for (number, role) in sights {
            let Some(number) = number else { continue };
            let mut reading = Reading::of(case.measured(number));
            assert_eq!(reading.staff.value() < Length::ZERO, row.inverted, "{}: {}", case.id, row.point);
            reading.role = Some(role);
            reading.point = Some(name(&row.point));
            crew.say(Command::KeyIn { reading: Box::new(reading) });
        }
    }
    crew
}

/// The only run of the crew, laid out, its lines being those of the file.
fn laid_out(case: &RunCase, crew: &Crew) -> Page {
    let [run] = crew.book.runs() else { panic!("{}: one run was wanted", case.id) };
    let page = page(run);
    let points: Vec<&str> = page.lines.iter().map(|line| line.point.as_str()).collect();
    let wanted: Vec<&str> = case.of.input.row.iter().map(|row| row.point.as_str()).collect();
    assert_eq!(points, wanted, "{}", case.id);
    assert_eq!(case.of.published.row.iter().map(|row| row.point.as_str()).collect::<Vec<_>>(), wanted, "{}", case.id);
    page
}

#[test]
fn every_file_is_in_the_list_of_fixtures_with_its_grade() {
    let list = include_str!("../fixtures/README.md");
    let graded = |id: &str, kind: &str, grade: &str| {
        let (start, end) = (format!("| `{id}` | `{kind}` |"), format!(" | {grade} | "));
        assert!(list.lines().any(|line| line.starts_with(&start) && line.contains(&end)), "{id}, {kind}, {grade}");
    };
    for (id, file) in files() {
        let text = |key: &str| file[key].as_str().unwrap().to_owned();
        graded(&id, &text("kind"), &text("authority"));
    }
}

#[test]
fn heights_of_instrument_and_elevations_are_the_printed_ones() {
    let mut compared = 0;
    for case in runs() {
        let page = laid_out(&case, &keyed(&case));
        for (row, (line, printed)) in (1..).zip(page.lines.iter().zip(&case.of.published.row)) {
            for (field, printed, found) in [
                ("height_of_instrument", &printed.height_of_instrument, line.height_of_instrument),
                ("elevation", &printed.elevation, line.elevation),
            ] {
                if let Some(printed) = printed {
                    let found = found.unwrap_or_else(|| panic!("{}: no {field} in row {row}", case.id));
                    case.agrees(field, row, field, printed, found);
                    compared += 1;
                }
            }
        }
    }
    assert!(compared >= 97, "{compared} compared, the first eight files print 71 elevations and 26 heights");
}

#[test]
fn rises_and_falls_are_the_printed_ones_and_carry_the_same_elevations() {
    let mut compared = 0;
    for case in runs() {
        let page = laid_out(&case, &keyed(&case));
        let mut elevation = page.lines[0].elevation.unwrap();
        for (row, (line, printed)) in (1..).zip(page.lines.iter().zip(&case.of.published.row)) {
            let rise = line.rise.unwrap_or(Length::ZERO);
            elevation += rise;
            assert_eq!(Some(elevation), line.elevation, "{}: row {row}, both forms", case.id);
            for (field, printed, found) in [("rise", &printed.rise, rise), ("fall", &printed.fall, -rise)] {
                if let Some(printed) = printed {
                    case.agrees(field, row, field, printed, found);
                    compared += 1;
                }
            }
        }
    }
    assert!(compared >= 25, "{compared} compared, the first two files with any print 8 and 17");
}

#[test]
fn sums_are_the_printed_ones_and_the_page_check_is_an_equality() {
    let mut compared = 0;
    for case in runs() {
        let page = laid_out(&case, &keyed(&case));
        let printed = &case.of.published;
        for (field, printed, found) in [
            ("sum_backsight", &printed.sum_backsight, page.sum_backsight),
            ("sum_foresight", &printed.sum_foresight, page.sum_foresight),
            ("sum_rise", &printed.sum_rise, page.sum_rise),
            ("sum_fall", &printed.sum_fall, page.sum_fall),
            (
                "sum_backsight_minus_foresight",
                &printed.sum_backsight_minus_foresight,
                page.sum_backsight - page.sum_foresight,
            ),
        ] {
            if let Some(printed) = printed {
                case.agrees(field, 0, "sum", printed, found);
                compared += 1;
            }
        }
        let (first, last) = (page.lines.first().unwrap(), page.lines.last().unwrap());
        let carried = last.elevation.unwrap() - first.elevation.unwrap();
        assert_eq!(page.sum_backsight - page.sum_foresight, carried, "{}", case.id);
        assert_eq!(page.sum_rise - page.sum_fall, carried, "{}", case.id);
    }
    assert!(compared >= 17, "{compared} compared, the first eight files print 17");
}

/// The closure at the end of the run that the file closes on a known point.
fn closing<'a>(case: &RunCase, run: &'a Run) -> Option<&'a Closure> {
    let closing = case.of.input.closing_elevation.as_ref()?;
    let closure = run.closures().last().unwrap_or_else(|| panic!("{}: nothing closed", case.id));
    assert_eq!(closure.point.as_str(), closing.point, "{}", case.id);
    Some(closure)
}

#[test]
fn misclosures_are_the_printed_ones() {
    let mut compared = 0;
    for case in runs() {
        let crew = keyed(&case);
        let Some(closure) = closing(&case, &crew.book.runs()[0]) else { continue };
        let Some(printed) = &case.of.published.misclosure else { continue };
        let found = match case.of.published.misclosure_sense {
            Some(Sense::ObservedMinusKnown) => closure.misclosure,
            Some(Sense::KnownMinusObserved) => -closure.misclosure,
            None => panic!("{}: a misclosure without its sense", case.id),
        };
        case.agrees("misclosure", 0, "misclosure", printed, found);
        compared += 1;
    }
    assert!(compared >= 3, "{compared} compared, the first eight files print 3");
}

#[test]
fn a_run_on_its_own_start_closes_though_the_source_does_not_say_so() {
    // 150.535 on the benchmark that is 150.485: from the source's own first and last elevation.
    let case = runs().into_iter().find(|case| case.id == "level_run_nptel_rise_fall").unwrap();
    let crew = keyed(&case);
    let closure = crew.book.runs()[0].closures().last().unwrap();
    assert_eq!((closure.misclosure, closure.setups), (Length::from_mm(50), 8));
    assert!(crew.stands(FindingId::Misclosure));
}

#[test]
fn a_misclosure_shared_by_setups_gives_the_printed_corrections() {
    let mut compared = 0;
    for case in runs() {
        let crew = keyed(&case);
        let run = &crew.book.runs()[0];
        let (Some(closure), Some(Distribution::Setups)) = (closing(&case, run), case.of.input.distribution) else {
            continue;
        };
        let setups: Vec<i64> = run.setups.iter().map(|setup| i64::from(setup.setups())).collect();
        let corrections = distribute(closure.misclosure, &setups);
        assert_eq!(corrections.len(), run.setups.len());
        if let Some(printed) = &case.of.published.correction_per_setup {
            case.agrees("correction_per_setup", 0, "correction", printed, corrections[0]);
            compared += 1;
        }
        let page = laid_out(&case, &crew);
        for (row, (line, printed)) in (1..).zip(page.lines.iter().zip(&case.of.published.row)) {
            // All that was seen from one setup has one correction; the start has none.
            let correction = (line.setup as usize).checked_sub(1).map_or(Length::ZERO, |index| corrections[index]);
            if let Some(printed) = &printed.correction {
                case.agrees("correction", row, "correction", printed, correction);
                compared += 1;
            }
            if let Some(printed) = &printed.adjusted_elevation {
                let adjusted = line.elevation.unwrap() + correction;
                case.agrees("adjusted_elevation", row, "adjusted_elevation", printed, adjusted);
                compared += 1;
            }
        }
        let known = case.length(&case.of.input.closing_elevation.as_ref().unwrap().elevation);
        assert_eq!(page.lines.last().unwrap().elevation.unwrap() + *corrections.last().unwrap(), known, "{}", case.id);
    }
    assert!(compared >= 45, "{compared} compared: 1 a setup, 12 and 9 corrections, 13 and 10 adjusted elevations");
}

#[test]
fn a_misprint_is_one_because_the_book_does_not_give_it() {
    let mut seen = 0;
    for case in runs() {
        let page = laid_out(&case, &keyed(&case));
        for misprint in &case.of.misprint {
            let line = &page.lines[misprint.row - 1];
            let found = match misprint.field.as_str() {
                "elevation" => line.elevation.unwrap(),
                "rise" => line.rise.unwrap(),
                "fall" => -line.rise.unwrap(),
                other => panic!("{}: a misprint of {other}", case.id),
            };
            assert_eq!(found, case.length(&misprint.consistent), "{}", case.id);
            assert_ne!(found, case.length(&misprint.printed), "{}", case.id);
            seen += 1;
        }
    }
    assert!(seen >= 2, "{seen} seen, the first eight files have 2");
}

#[test]
fn setups_observed_at_two_heights_give_the_printed_means_and_differences() {
    for case in cases("double_observed_setup") {
        let case: DoubleCase = case;
        for (sequence, order) in [
            ("BFFB", [(Role::Back, 0), (Role::Fore, 0), (Role::Fore, 1), (Role::Back, 1)]),
            ("BBFF", [(Role::Back, 0), (Role::Back, 1), (Role::Fore, 0), (Role::Fore, 1)]),
        ] {
            let mut crew = Crew::new(Settings { sequence: sequence.parse().unwrap(), ..settings() });
            for setup in &case.of.input.setup {
                for (role, height) in order {
                    let pair = if role == Role::Back { &setup.backsight } else { &setup.foresight };
                    let reading = Reading::of(case.measured(&pair[height]));
                    crew.say(Command::KeyIn { reading: Box::new(reading) });
                }
            }
            let [run] = crew.book.runs() else { panic!("one run was wanted") };
            assert_eq!(run.setups.len(), case.of.input.setup.len(), "{sequence}");
            let published = &case.of.published;
            let mut disagreeing = Vec::new();
            for (at, setup) in run.setups.iter().enumerate() {
                let row = at + 1;
                let reduced = &setup.reduced;
                case.agrees("mean_backsight", row, "mean", &published.mean_backsight[at], reduced.back.unwrap());
                case.agrees("mean_foresight", row, "mean", &published.mean_foresight[at], reduced.fore.unwrap());
                let rise = &published.height_difference[at];
                case.agrees("height_difference", row, "height_difference", rise, reduced.rise().unwrap());

                let input = &case.of.input.setup[at];
                let difference =
                    |height: usize| case.length(&input.backsight[height]) - case.length(&input.foresight[height]);
                assert_eq!(reduced.differences, Some((difference(0), difference(1))), "{sequence}, setup {row}");
                // The class for building work lets them differ by 1 mm.
                if (difference(0) - difference(1)).abs() > Length::from_mm(1) {
                    disagreeing.push(Place::Setup { run: 1, setup: setup.number });
                }
            }
            let told: Vec<Place> = crew
                .book
                .findings()
                .filter(|finding| finding.key.id == FindingId::TwoDifferences)
                .map(|finding| finding.key.place.clone())
                .collect();
            assert_eq!(told, disagreeing, "{sequence}");
            assert_eq!(told, [Place::Setup { run: 1, setup: 3 }], "{sequence}: 325 mm against 224 mm");
        }
    }
}

#[test]
fn the_misprinted_backsight_would_not_give_the_printed_mean() {
    for case in cases("double_observed_setup") {
        let case: DoubleCase = case;
        let [misprint] = case.of.misprint.as_slice() else { panic!("{}: one misprint was wanted", case.id) };
        assert_eq!(misprint.field, "input.setup.backsight");
        let pair = case.of.input.setup[misprint.row - 1].backsight.each_ref().map(|number| case.length(number));
        let mean = case.length(&case.of.published.mean_backsight[misprint.row - 1]);
        assert_eq!(Length::mean(pair), Some(mean));
        assert_eq!(pair[1], case.length(&misprint.consistent), "the file holds the value that agrees");
        assert_ne!(Length::mean([pair[0], case.length(&misprint.printed)]), Some(mean));
    }
}

#[test]
fn a_link_run_is_accepted_by_the_root_of_its_setups() {
    for case in cases("misclosure") {
        let case: MisclosureCase = case;
        let input = &case.of.input;
        assert_eq!(input.method, "allowable_by_setups");
        let class = Class {
            section_mm_per_sqrt_km: None,
            loop_mm_per_sqrt_km: None,
            mm_per_sqrt_setup: Some(Rate { mm: input.allowance_per_root_setup, basis: Basis::Own }),
            ..settings().class
        };
        let point = |point: &str, elevation: &str| KnownPoint {
            name: name(point),
            elevation: Measured::parse(elevation, Unit::Metre).unwrap(),
            assumed: false,
        };
        // The source gives the computed elevation alone: level setups carry it from the start to the end.
        let start = point("A", case.digits(&input.computed_elevation_m));
        let end = point("B", case.digits(&input.known_elevation_m));
        let mut crew = Crew::new(Settings { class, start: Some(name("A")), known: vec![start, end], ..settings() });
        for setup in 1..=input.setups {
            for role in [Role::Back, Role::Fore] {
                let mut reading = Reading::of(Measured::parse(&format!("1.{setup}"), Unit::Metre).unwrap());
                reading.role = Some(role);
                reading.point = (role == Role::Fore && setup == input.setups).then(|| name("B"));
                crew.say(Command::KeyIn { reading: Box::new(reading) });
            }
        }
        let closure = crew.book.runs()[0].closures().last().expect("a closure");
        case.agrees("misclosure", 0, "misclosure", &case.of.published.misclosure, closure.misclosure);
        let allowance = closure.allowance.as_ref().expect("an allowance");
        assert_eq!(allowance.rule, Rule::BySetups);
        case.agrees(
            "allowable_misclosure",
            0,
            "allowable_misclosure",
            &case.of.published.allowable_misclosure,
            allowance.value,
        );
        assert_eq!(!closure.over(), case.of.published.accepted);
        let over = |key: &FindingKey| key.id == FindingId::Misclosure;
        assert_eq!(
            crew.book.findings().filter(|finding| over(&finding.key)).count(),
            0,
            "6 mm are 69 % of 8.66 mm: not yet a warning"
        );
    }
}
