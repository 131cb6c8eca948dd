//! What the whole report says: elevations against sums by hand, standings, what was left out, changes with their reasons.

use closerun::adjust::levelled::{Origin, levelled};
use closerun::adjust::observed::{Detail, Deviations, Source, observed};
use closerun::adjust::significance::{Levels, Sigma};
use closerun::adjust::{Effects, Network, Options, WeightRule, adjust};
use closerun::book::classes::{self, Class};
use closerun::book::event::{Command, Target};
use closerun::book::settings::{KnownPoint, Settings};
use closerun::report::csv::marks;
use closerun::report::document::Distribution;
use closerun::report::document::full::tree::{ChangeKind, JobStanding, MarkKind, ResultRow};
use closerun::report::document::full::{Report, ReportOptions};
use closerun::report::document::tree::Reached;
use closerun::units::{Length, Unit};

use crate::harness::crew::{Crew, known, metres, name, settings};
use crate::samples::{Job, day, long, side};
use closerun::book::reading::Heard;

fn report(crew: Crew) -> Report {
    let job = Job::of(crew);
    job.report(job.report_options())
}

fn setup_to(crew: &mut Crew, point: &str, back: (&str, &str), fore: (&str, &str)) {
    crew.shoot([back]);
    crew.say(Command::Point { reading: Target::Next, point: name(point) });
    crew.shoot([fore]);
}

fn mark<'a>(report: &'a Report, point: &str) -> &'a ResultRow {
    report.results.iter().find(|row| row.point == point).unwrap_or_else(|| panic!("{point}: {:?}", report.results))
}

fn end(crew: &mut Crew) {
    crew.say(Command::EndRun { reading: None });
}

/// A class of the job's own with no constant for misclosures but these.
fn class(change: impl FnOnce(&mut Class)) -> Settings {
    let mut settings = settings();
    let class = &mut settings.class;
    (class.loop_mm_per_sqrt_km, class.section_mm_per_sqrt_km, class.mm_per_sqrt_setup) = (None, None, None);
    change(class);
    settings
}

/// Out to A in three setups of 80 m each, back in one of 20 m, 1.2 mm too high in all.
fn out_and_back(settings: Settings) -> Crew {
    let mut crew = Crew::new(settings);
    crew.shoot([("1.5000", "40.00"), ("1.4000", "40.00"), ("1.5000", "40.00"), ("1.4000", "40.00")]);
    setup_to(&mut crew, "A", ("1.5000", "40.00"), ("1.4000", "40.00"));
    end(&mut crew);
    setup_to(&mut crew, "BM-1", ("1.2012", "10.00"), ("1.5000", "10.00"));
    crew
}

#[test]
fn two_lines_to_a_mark_give_it_what_a_sum_by_hand_gives() {
    let report = report(out_and_back(settings()));
    assert_eq!(report.answer.standing, JobStanding::Closes, "1.2 mm of 12 sqrt(0.26) = 6.1 mm");
    let a = mark(&report, "A");
    // By hand: misclosure 1.2 mm, three of four setups: -0.9 mm on 50.3000.
    assert_eq!((a.elevation.shown.as_str(), a.kind), ("50.2991", MarkKind::Carried));
    // A reading is good to 0.3 mm, a setup to 0.424 mm: 0.424 sqrt 3 and 0.424, combined 0.424 sqrt(3/4) = 0.367 mm.
    assert_eq!(a.deviation.as_ref().unwrap().shown, "0.37");
    assert_eq!(a.interval.as_ref().unwrap().shown, "0.72", "1.96 times as much");
    assert_eq!((a.observed.as_ref().unwrap().shown.as_str(), &a.runs[..]), ("50.3000", &[1, 2][..]));
    assert_eq!(a.remarks, [""; 0]);
    let figures = report.adjustment.figures.as_ref().unwrap();
    assert_eq!((figures.observations, figures.unknowns, figures.degrees_of_freedom), (2, 1, 1));
    // v'Pv = 1.2^2 / (4 * 0.18) = 2, whose root is s0.
    assert!((figures.global.as_ref().unwrap().statistic - 2.0).abs() < 1e-6, "{figures:?}");
    assert!((figures.s0.unwrap() - 2f64.sqrt()).abs() < 1e-6);
    let [out, back] = &figures.lines[..] else { panic!("{:?}", figures.lines) };
    assert_eq!((out.residual.shown.as_str(), back.residual.shown.as_str()), ("-0.9", "-0.3"));
    assert!((out.redundancy - 0.75).abs() < 1e-6 && (back.redundancy - 0.25).abs() < 1e-6);
    assert!(report.adjustment.weights.starts_with("0.42 mm per root setup, as one reading is said to be good"));
    // The way by hand in the field book comes to the same.
    let section = &report.book.runs[1].sections[0];
    assert_eq!(report.book.shown.distribution, Distribution::BySetups);
    let by_hand = section.points.iter().find(|point| point.point == "A").unwrap();
    assert_eq!(by_hand.adjusted, a.elevation);
}

#[test]
fn what_a_class_allows_judges_and_weighs_nothing() {
    let building = classes::find("building").unwrap();
    let same = |report: &Report| {
        let a = mark(report, "A");
        (a.elevation.clone(), a.deviation.clone(), report.adjustment.weights.clone())
    };
    let usual = report(out_and_back(settings()));
    for (settings, standing) in [
        (class(|class| class.loop_mm_per_sqrt_km = building.loop_mm_per_sqrt_km), JobStanding::Closes),
        (class(|class| class.mm_per_sqrt_setup = building.mm_per_sqrt_setup), JobStanding::Closes),
        (class(|_| {}), JobStanding::NotJudged),
    ] {
        let report = report(out_and_back(settings));
        assert_eq!((report.answer.standing, same(&report)), (standing, same(&usual)));
    }
    let mut better = settings();
    better.instrument.reading_sd = metres("0.0001");
    let better = report(out_and_back(better));
    // A third of 0.367 mm.
    assert_eq!(mark(&better, "A").deviation.as_ref().unwrap().shown, "0.12");
}

#[test]
fn a_loop_without_a_named_mark_is_cut_at_its_middle() {
    let job = long(8);
    let found = levelled(&job.book);
    // The side marks hang at TP5; the middle of what is left is cut nowhere else.
    let line = |at: usize| {
        let section = &found.given.sections[at];
        (section.from.as_str(), section.to.as_str(), section.setups.unwrap(), found.origins[at])
    };
    let of = |first, last| Origin::Line { run: 1, first, last };
    assert_eq!((line(0), line(1)), (("BM-1", "TP5", 5, of(1, 5)), ("TP5", "BM-1", 3, of(6, 8))));
    let mut bare = Crew::new(settings());
    bare.shoot([("1.5000", "20.00"), ("1.2000", "20.00"), ("1.2000", "20.00")]);
    bare.say(Command::Point { reading: Target::Next, point: name("BM-1") });
    bare.shoot([("1.5000", "20.00")]);
    let found = levelled(&bare.book);
    assert_eq!(found.given.sections.len(), 2);
    let rises: Vec<Length> = found.given.sections.iter().map(|section| section.rise).collect();
    assert_eq!(rises, [metres("0.3"), metres("-0.3")]);
    let report = report(bare);
    assert_eq!(report.results.len(), 1, "a turning point is no result: {:?}", report.results);
}

#[test]
fn an_intermediate_sight_hangs_on_its_setup_and_says_so() {
    let mut crew = Crew::new(settings());
    crew.shoot([("1.5000", "20.00")]);
    crew.hear(Heard::Reading(side("1.1000", "5.00", "slab")));
    crew.shoot([("1.2000", "20.00"), ("1.2006", "20.00")]);
    crew.say(Command::Point { reading: Target::Next, point: name("BM-1") });
    crew.shoot([("1.5000", "20.00")]);
    let job = Job::of(crew);
    let mut options = job.report_options();
    options.book.distribution = Distribution::ByLength;
    let report = job.report(options);
    let slab = mark(&report, "slab");
    assert_eq!((slab.kind, &slab.remarks[..]), (MarkKind::Intermediate, &["single, unchecked".to_owned()][..]));
    // 50.4000 as observed, less the half of 0.6 mm that its setup's fore point takes.
    assert_eq!((slab.observed.as_ref().unwrap().shown.as_str(), slab.elevation.shown.as_str()), ("50.4000", "50.3997"));
    let by_hand = report.book.runs[0].sections[0].points.iter().find(|point| point.point == "slab").unwrap();
    assert_eq!(by_hand.adjusted, slab.elevation, "the same as by hand");
}

#[test]
fn what_is_not_tied_is_left_out_and_an_assumed_point_beside_given_ones_holds_nothing() {
    let mut settings = settings();
    settings.known.push(KnownPoint { assumed: true, ..known("A", "10.0000") });
    let mut crew = out_and_back(settings);
    end(&mut crew);
    crew.say(Command::StartRun { point: name("X"), after: None });
    setup_to(&mut crew, "Y", ("1.5000", "20.00"), ("1.2000", "20.00"));
    let report = report(crew);
    assert_eq!(
        report.adjustment.left_out,
        [
            "the assumed elevation of A: points whose elevation was given hold the network",
            "not tied to any known point: X, Y"
        ]
    );
    assert!(report.results.iter().all(|row| row.point != "X" && row.point != "Y"), "they have no elevation");
    assert_eq!(report.answer.standing, JobStanding::DoesNotClose, "A is 40 m off its assumed elevation");
}

#[test]
fn an_open_run_is_provisional_and_a_bad_one_not_to_be_used() {
    let mut crew = Crew::new(settings());
    setup_to(&mut crew, "A", ("1.5000", "20.00"), ("1.2000", "20.00"));
    let open = report(crew);
    assert_eq!(open.answer.standing, JobStanding::Provisional);
    assert_eq!(mark(&open, "A").remarks, ["provisional: hangs on a single line, unchecked"]);
    assert_eq!(open.answer.verdict, "run 1, BM-1 to A, has not closed");

    let mut crew = Crew::new(settings());
    setup_to(&mut crew, "A", ("1.5000", "20.00"), ("1.2000", "20.00"));
    setup_to(&mut crew, "BM-1", ("1.2500", "20.00"), ("1.5000", "20.00"));
    let bad = report(crew);
    assert_eq!(bad.answer.standing, JobStanding::DoesNotClose);
    assert_eq!(mark(&bad, "A").remarks, ["not to be used: run 1 does not close"]);
    assert!(bad.answer.verdict.starts_with("run 1 at BM-1: +50.0 mm of "), "{}", bad.answer.verdict);
    assert!(bad.answer.closed[0].share.unwrap() > 1000);
    let figures = bad.adjustment.figures.as_ref().unwrap();
    assert!(!figures.global.as_ref().unwrap().passed && figures.lines.iter().all(|line| line.doubtful));
    assert_eq!(figures.doubts.last().unwrap(), "the observations cannot tell which of these it is");
}

#[test]
fn a_job_without_readings_has_a_report_that_says_so() {
    let report = report(Crew::new(settings()));
    assert_eq!((report.answer.standing, report.results.len()), (JobStanding::Empty, 0));
    assert_eq!(
        report.adjustment.not_adjusted.as_deref(),
        Some("the network holds no section, at least one observed rise was wanted")
    );
}

#[test]
fn changes_stand_with_their_reasons_and_what_took_them_back() {
    let job = day();
    let report = job.report(job.report_options());
    let struck = report.changes.iter().find(|row| row.what == "reading 2 struck out").unwrap();
    assert_eq!(struck.reason.as_deref(), Some("staff was bumped by the loader"));
    assert_eq!((struck.kind, struck.setup), (ChangeKind::Change, Some(Reached { run: 1, setup: 1 })));
    let bare = report.changes.iter().find(|row| row.what.ends_with("is a repeat of the staff before it")).unwrap();
    assert_eq!(bare.reason, None, "nobody said why");
    let notes: Vec<&str> =
        report.changes.iter().filter(|row| row.kind == ChangeKind::Note).map(|row| row.what.as_str()).collect();
    assert_eq!(notes, ["note: wind from the west, gusty"], "the other stands with its strike");
    assert!(report.changes.iter().any(|row| row.what.contains("keyed in: 1.3620 m")));
    assert!(report.changes.is_sorted_by_key(|row| row.event));
    assert!(report.changes.iter().all(|row| !row.what.starts_with("seen: ")), "those stand with their findings");
}

#[test]
fn one_run_alone_keeps_the_elevations_of_the_whole_job() {
    let job = day();
    let whole = job.report(job.report_options());
    let part = job.report(ReportOptions { run: Some(1), ..job.report_options() });
    assert_eq!(part.book.runs.len(), 1);
    assert_eq!(mark(&part, "slab-7"), mark(&whole, "slab-7"));
    assert!(whole.results.len() > part.results.len(), "run 2 reached marks of its own");
    assert!(part.plots.iter().all(|plot| plot.run != Some(2)) && whole.plots.iter().any(|plot| plot.run == Some(2)));
    assert_eq!((whole.answer.standing, part.answer.standing), (JobStanding::Provisional, JobStanding::Closes));
}

#[test]
fn the_table_of_marks_says_what_the_report_says() {
    let job = day().simulated();
    let report = job.report(job.report_options());
    let text = marks::print(&report);
    let mut reader = ::csv::Reader::from_reader(text.as_bytes());
    let columns: Vec<String> = reader.headers().unwrap().iter().map(str::to_owned).collect();
    let rows: Vec<::csv::StringRecord> = reader.records().map(Result::unwrap).collect();
    assert_eq!(rows.len(), report.results.len());
    for (row, result) in rows.iter().zip(&report.results) {
        let cell = |name: &str| &row[columns.iter().position(|column| column == name).unwrap()];
        assert_eq!(cell("elevation"), result.elevation.shown);
        assert_eq!(cell("deviation"), result.deviation.as_ref().map_or("", |figure| &figure.shown));
        assert_eq!(closerun::report::csv::text_of(cell("point")), result.point);
        assert_eq!((cell("simulated"), cell("digest")), ("SIMULATED", report.record.digest.as_str()));
        assert!(row.iter().all(|cell| !cell.starts_with(['=', '+', '@'])), "{row:?}");
    }
    assert!(rows.iter().any(|row| row.iter().any(|cell| cell == "'=1+1")), "the mark with a name like a formula");
}

#[test]
fn a_job_gives_the_same_lines_elevations_and_deviations_to_its_report_and_to_an_adjustment_with_others() {
    for job in [day(), long(12), Job::of(out_and_back(settings()))] {
        let (own, beside) = (levelled(&job.book).given, [Source { name: "core-3", book: &job.book }]);
        let all = observed(&beside, Detail::Marks, Deviations::Stated).given;
        assert!(own.sections.len() > 1);
        for section in &own.sections {
            assert!(all.sections.contains(section), "{section:?} in {:?}", all.sections);
        }
        let network = Network::new(all).unwrap();
        let options = Options {
            weights: WeightRule::Stated,
            sigma: Sigma::APriori,
            levels: Levels::USUAL,
            effects: Effects::OnEveryMark,
        };
        let outcome = adjust(&network, &options).unwrap();
        let report = job.report(job.report_options());
        let mut compared = 0;
        for (name, adjusted) in network.names().iter().zip(&outcome.last().marks) {
            let Some(row) = report.results.iter().find(|row| row.point == name.as_str()) else { continue };
            assert_eq!(row.elevation.exact, adjusted.elevation, "{name}");
            if let Some(deviation) = &row.deviation {
                assert!((deviation.exact.to_f64_m() - adjusted.deviation_m).abs() < 1e-9, "{name}");
            }
            compared += 1;
        }
        assert!(compared > 0);
    }
}

#[test]
fn drawings_follow_the_unit_that_is_asked_for() {
    let job = Job::of(out_and_back(settings()));
    for (unit, axes, stands) in [
        (Unit::Metre, ["elevation, m", "misclosure, mm", "back less fore sight length, m"], "A stands at 50.3000 m"),
        // 50.3 / 0.3048 = 165.0262.
        (
            Unit::Foot,
            ["elevation, ft", "misclosure, 0.001 ft", "back less fore sight length, ft"],
            "A stands at 165.0262 ft",
        ),
    ] {
        let mut options = job.report_options();
        options.book.unit = Some(unit);
        let report = job.report(options);
        for (what, axis) in ["profile", "misclosure", "balance"].into_iter().zip(axes) {
            let view = report.plots.iter().find(|view| view.name == format!("run-1-{what}")).unwrap();
            assert!(view.plot.svg.contains(&format!(">{axis}<")), "{axis} in {}", view.plot.svg);
            assert!(
                view.words.contains(&format!(" {}", if unit == Unit::Foot { "ft" } else { "m" })),
                "{}",
                view.words
            );
        }
        assert!(report.plots[0].words.contains(stands), "{}", report.plots[0].words);
    }
}
