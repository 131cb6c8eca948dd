//! `closerun adjust` and `closerun plan` from end to end: published networks come out of the program as printed, jobs and
//! network files are adjusted together, nothing is taken out but by a flag, and each refusal names the marks.

use std::fs;
use std::path::{Path, PathBuf};

use closerun::adjust::csv;
use closerun::book::event::{Command, Target};
use closerun::book::settings::Settings;
use closerun::store::Job;
use closerun::units::{Length, Unit};
use serde_json::Value;
use tempfile::TempDir;
use toml::Table;

use crate::example::{Example, number};
use crate::harness::crew::{self, Crew};
use crate::program::{Ended, run};

fn folder() -> TempDir {
    tempfile::tempdir().unwrap()
}

fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

fn done(folder: &TempDir, arguments: &str) -> String {
    let ended = run(folder.path(), arguments);
    assert_eq!(ended.code, 0, "{arguments}: {}", ended.err);
    ended.out
}

fn json(folder: &TempDir, arguments: &str) -> Value {
    serde_json::from_str(&done(folder, &format!("{arguments} --json"))).unwrap()
}

/// The refusal, without the name of the program.
fn refusal(folder: &TempDir, arguments: &str, code: i32) -> String {
    let Ended { code: found, err, .. } = run(folder.path(), arguments);
    assert_eq!(found, code, "{arguments}: {err}");
    err.trim().strip_prefix("closerun: ").unwrap().to_owned()
}

/// A network file with this text behind its head.
fn network(folder: &TempDir, name: &str, rows: &str) {
    fs::write(folder.path().join(name), format!("kind,from,to,height,unit,deviation,length,setups\n{rows}")).unwrap();
}

/// The flags by which the program weighs as the source does.
fn flags(example: &Example) -> String {
    use closerun::adjust::WeightRule;
    match example.rule() {
        WeightRule::Setups { mm_per_sqrt_setup } => format!("--weights setups --rate {mm_per_sqrt_setup}"),
        WeightRule::Length { mm_per_sqrt_km } => format!("--weights length --rate {mm_per_sqrt_km}"),
        _ => String::new(),
    }
}

/// What the flags have no word for, the file says: a deviation for each section.
fn with_deviations(example: &Example) -> closerun::adjust::Given {
    use closerun::adjust::WeightRule;
    let mut given = example.given();
    for section in &mut given.sections {
        let mm = match example.rule() {
            WeightRule::Equal { mm } => mm,
            WeightRule::ProportionalToLength { mm_per_km } => mm_per_km * section.length.unwrap().to_f64_m() / 1000.0,
            _ => continue,
        };
        section.deviation = Length::from_f64_m(mm / 1000.0);
    }
    given
}

#[test]
fn published_networks_come_out_of_the_program_as_printed() {
    let folder = folder();
    let mut compared = 0;
    for file in fs::read_dir(root().join("fixtures/adjustment")).unwrap() {
        let table: Table = fs::read_to_string(file.unwrap().path()).unwrap().parse().unwrap();
        let example = Example(table);
        if example.0["kind"].as_str() != Some("level_network") {
            continue;
        }
        let unit = example.unit();
        let name = format!("{}.csv", example.id());
        fs::write(folder.path().join(&name), csv::write(&with_deviations(&example), unit)).unwrap();
        let shown = if unit.is_foot() { "--feet" } else { "--metres" };
        let found = json(&folder, &format!("adjust {name} --sigma a-posteriori {shown} {}", flags(&example)));
        let metres = |text: &Value| text.as_str().unwrap().parse::<f64>().unwrap();
        let marks = found["marks"].as_array().unwrap();
        let of = |mark: &str| marks.iter().find(|row| row["mark"] == mark).unwrap_or_else(|| panic!("{mark}"));
        for (key, printed) in example.published() {
            match key.as_str() {
                "adjusted_elevation" => {
                    example.compare_marks(&key, &printed, |mark| metres(&of(mark)["elevation"]["m"]) / example.unit_m())
                }
                "standard_deviation_elevation_mm" => {
                    example.compare_marks(&key, &printed, |mark| of(mark)["deviation"]["m"].as_f64().unwrap() * 1000.0)
                }
                "residual" | "residual_mm" => {
                    let scale = if key == "residual" { example.unit_m() } else { 0.001 };
                    let sections = found["sections"].as_array().unwrap();
                    let residuals: Vec<f64> =
                        sections.iter().map(|row| row["residual"]["m"].as_f64().unwrap() / scale).collect();
                    example.compare_rows(&key, &printed, &residuals);
                }
                "test_u_a_priori" | "test_t_a_posteriori" => {
                    let statistic = if key == "test_u_a_priori" { "w" } else { "tau" };
                    let sections = found["sections"].as_array().unwrap();
                    let tests: Vec<f64> = sections.iter().map(|row| row[statistic].as_f64().unwrap().abs()).collect();
                    example.compare_rows(&key, &printed, &tests);
                }
                "sigma_0" => {
                    let last = if found["held"].is_null() { &found["free"] } else { &found["held"] };
                    example.compare(&key, number(&printed), last["s0"].as_f64().unwrap());
                }
                // The library's own tests compare the rest.
                _ => continue,
            }
            compared += 1;
        }
    }
    assert!(compared >= 13, "{compared} published keys were compared");
}

/// The text that people read. Its numbers are those of the published network, compared above.
#[test]
fn the_text_is_as_it_was_looked_at() {
    for (arguments, name) in [
        ("adjust snooping.csv --sigma a-posteriori", "snooping.txt"),
        ("adjust snooping.csv --csv", "snooping-table.csv"),
        ("plan plan.csv", "plan.txt"),
        ("plan plan.csv --csv", "plan-table.csv"),
    ] {
        let fixtures = root().join("fixtures/network");
        let found = run(&fixtures, arguments);
        assert_eq!(found.code, 0, "{}", found.err);
        let golden = fixtures.join(name);
        if std::env::var("CLOSERUN_BLESS").is_ok_and(|value| value == "1") {
            fs::write(&golden, &found.out).unwrap();
        }
        let wanted = fs::read_to_string(&golden).unwrap_or_else(|error| panic!("{}: {error}", golden.display()));
        assert_eq!(found.out, wanted, "{name}");
        if name.ends_with(".txt") {
            let wide: Vec<&str> = found.out.lines().filter(|line| line.chars().count() > 80).collect();
            assert!(wide.is_empty(), "{wide:#?}");
        }
    }
    let table: Table = fs::read_to_string(root().join("fixtures/adjustment/level_network_data_snooping.toml"))
        .unwrap()
        .parse()
        .unwrap();
    let written = csv::write(&with_deviations(&Example(table)), Unit::Metre);
    let kept = fs::read_to_string(root().join("fixtures/network/snooping.csv")).unwrap();
    assert_eq!(written, kept, "the network of the golden is the published one");
}

/// A job with the sum of runs: a setup a pair of readings, `to` named where it is not empty.
fn job(folder: &TempDir, name: &str, known: &[(&str, &str)], start: &str, setups: &[(&str, &str, &str)]) -> PathBuf {
    let known = known.iter().map(|(point, elevation)| crew::known(point, elevation)).collect();
    let mut crew = Crew::new(Settings { start: Some(crew::name(start)), known, ..crew::settings() });
    for (back, fore, to) in setups {
        crew.shoot([(*back, "20.00"), (*fore, "20.00")]);
        if !to.is_empty() {
            let reading = Target::Number(crew.book.entries().len() as u32);
            crew.say(Command::Point { reading, point: crew::name(to) });
        }
    }
    let path = folder.path().join(name);
    let mut job = Job::create(&path).unwrap();
    job.append(&crew.events).unwrap();
    job.close().unwrap();
    path
}

/// Forward in one job, back in another: the mean of both, each of two setups.
#[test]
fn two_jobs_that_meet_are_adjusted_together() {
    let folder = folder();
    let known = [("BM-1", "10.0000")];
    job(&folder, "forward.job", &known, "BM-1", &[("1.5000", "1.0000", ""), ("1.4000", "1.0000", "C-1")]);
    job(&folder, "back.job", &known, "C-1", &[("1.0000", "1.4000", ""), ("1.0000", "1.5020", "BM-1")]);
    let found = json(&folder, "adjust forward.job back.job");
    let marks = found["marks"].as_array().unwrap();
    // 0.9000 forward, 0.9020 back, equally good.
    assert_eq!(marks[1]["elevation"]["shown"], "10.9010");
    assert_eq!(marks[1]["standing"], "checked");
    // Each run has 0.3 sqrt(2) sqrt(2) mm, the mean of both 1/sqrt(2) of it.
    assert!((marks[1]["deviation"]["m"].as_f64().unwrap() * 1000.0 - 0.6 / 2f64.sqrt()).abs() < 1e-6);
    assert_eq!(found["sections"].as_array().unwrap().len(), 2);
    let all = json(&folder, "adjust forward.job back.job --turning-points");
    let names: Vec<&str> = all["marks"].as_array().unwrap().iter().map(|row| row["mark"].as_str().unwrap()).collect();
    assert_eq!(names, ["BM-1", "TP1 (forward)", "C-1", "TP1 (back)"], "turning points belong to their job");
    let estimated = json(&folder, "adjust forward.job back.job --weights setups --estimate");
    // d = 2 mm over four setups: s = 1/2 sqrt(d^2 / 2) a root setup of the mean, sqrt(2) times that of one run.
    let words = estimated["weights"].as_str().unwrap();
    assert_eq!(words, "1.000 mm per root setup, estimated from 1 difference of sections levelled again");
}

/// What a job gave is written as a plain network, read again, and comes to the same.
#[test]
fn a_job_as_a_plain_network_comes_to_the_same() {
    let folder = folder();
    let setups = [("1.5000", "1.0000", "C-1"), ("1.4000", "1.0000", "BM-2"), ("0.9000", "1.8013", "BM-1")];
    job(&folder, "a.job", &[("BM-1", "10.0000"), ("BM-2", "10.9000")], "BM-1", &setups);
    let mut of_job = json(&folder, "adjust a.job --network a.csv");
    let of_csv = json(&folder, "adjust a.csv");
    let came: Vec<Value> =
        of_job["sections"].as_array_mut().unwrap().iter_mut().map(|section| section["came"].take()).collect();
    assert_eq!(came, ["run 1, setup 1", "run 1, setup 2", "run 1, setup 3"], "a plain network does not say");
    for key in ["marks", "sections", "free", "held", "doubts"] {
        assert_eq!(of_job[key], of_csv[key], "{key}");
    }
    assert!(refusal(&folder, "adjust a.job --network a.csv", 1).starts_with("a.csv: "), "it is not written over");
}

const SQUARE: &str = "known,A,,10,m,,,\nrise,A,B,1,m,0.001,,\nrise,B,C,1,m,0.001,,\nrise,C,D,1,m,0.001,,\n\
                      rise,D,A,-3,m,0.001,,\nrise,A,C,2,m,0.001,,\nrise,B,D,2.02,m,0.001,,\n";

#[test]
fn a_mistake_is_proposed_and_only_a_flag_takes_it_out() {
    let folder = folder();
    network(&folder, "a.csv", SQUARE);
    let found = json(&folder, "adjust a.csv");
    let doubt = &found["doubts"][0];
    assert_eq!((&doubt["sections"][0], &doubt["to_take_out"]), (&6.into(), &"--set-aside 6".into()));
    assert!(doubt["words"].as_str().unwrap().starts_with("section 6 (B to D); |w| "), "{doubt}");
    assert!(doubt["words"].as_str().unwrap().contains("a mistake of +20.00 mm"), "{doubt}");
    assert_eq!(found["sections"].as_array().unwrap().len(), 6, "it is still adjusted");
    let without = json(&folder, "adjust a.csv --set-aside 6");
    assert_eq!((without["doubts"].as_array().unwrap().len(), without["sections"].as_array().unwrap().len()), (0, 5));
    assert_eq!(without["set_aside"][0]["number"], 6);
    assert!(done(&folder, "adjust a.csv --set-aside 6").contains("SET ASIDE   section 6, B to D"), "never silent");
    // The numbers of the others stay.
    let later = json(&folder, "adjust a.csv --set-aside 2");
    let numbers: Vec<u64> =
        later["sections"].as_array().unwrap().iter().map(|row| row["number"].as_u64().unwrap()).collect();
    assert_eq!(numbers, [1, 3, 4, 5, 6]);
    assert_eq!(
        refusal(&folder, "adjust a.csv --set-aside 7", 2),
        "--set-aside: no section 7: there are sections 1 to 6"
    );
}

#[test]
fn known_marks_are_held_weighted_or_left_free() {
    let folder = folder();
    network(&folder, "a.csv", &format!("{SQUARE}known,C,,12.030,m,,,\n"));
    let found = json(&folder, "adjust a.csv --set-aside 6");
    let misfit = found["known"].as_array().unwrap().iter().find(|row| row["mark"] == "C").unwrap();
    assert_eq!(misfit["free_difference"]["shown"], "-30.00");
    assert!(misfit["words"].as_str().unwrap().contains("it does not fit the others: --release C leaves it free"));
    let free = json(&folder, "adjust a.csv --set-aside 6 --release C");
    assert!(free["held"].is_null());
    let elevation = |found: &Value, mark: &str| {
        let marks = found["marks"].as_array().unwrap();
        marks.iter().find(|row| row["mark"] == mark).unwrap()["elevation"]["shown"].as_str().unwrap().to_owned()
    };
    assert_eq!(elevation(&free, "C"), "12.0000");
    assert_eq!(elevation(&found, "C"), "12.0300");
    // Two ways of 1 mm (over B), of 1 mm, and of sqrt(2) mm (over D) from A to C: 0.894... mm together; 12.030 with 1000
    // times that hardly pulls.
    let weighted = json(&folder, "adjust a.csv --set-aside 6 --known C=12.030+-1");
    assert_eq!(elevation(&weighted, "C"), "12.0000");
    let refusal = refusal(&folder, "adjust a.csv --release CC", 2);
    assert!(refusal.starts_with("--release: CC is no known mark"), "{refusal}");
}

#[test]
fn refusals_name_the_marks_and_the_flag_that_helps() {
    let folder = folder();
    network(&folder, "no-datum.csv", "rise,A,B,1,m,0.001,,\n");
    network(&folder, "apart.csv", "known,A,,10,m,,,\nrise,A,B,1,m,0.001,,\nrise,X,Y,1,m,0.001,,\n");
    network(&folder, "alike.csv", "known,BM 1,,10,m,,,\nrise,BM 1,B,1,m,0.001,,\nrise,bm-1,B,1,m,0.001,,\n");
    network(&folder, "unweighted.csv", "known,A,,10,m,,,\nrise,A,B,1,m,,,\n");
    network(&folder, "two.csv", "known,A,,10,m,,,\nknown,A,,11,m,,,\nrise,A,B,1,m,0.001,,\n");
    network(&folder, "broken.csv", "rise,A,B,one,m,,,\n");
    for (arguments, wanted) in [
        (
            "adjust no-datum.csv",
            "2 marks (A, B) and no known elevation among them: give one of them an elevation, assumed if need be (--known MARK=ELEVATION)",
        ),
        (
            "adjust apart.csv",
            "no section joins 2 marks (X, Y) to A or to any other known mark: level a section to them, or give one of them an elevation (--known MARK=ELEVATION)",
        ),
        (
            "adjust alike.csv",
            "BM 1 and bm-1 differ only by letter case or separators, and may be one mark under two names: write one name for one mark, or clearly different names for two (--same MARK=MARK says that they are one)",
        ),
        (
            "adjust unweighted.csv",
            "section 1 (A to B) states no standard deviation: give it one, or choose a rule by length or setups (--weights length --rate MM, or setups)",
        ),
        ("adjust two.csv", "A is known twice, at 10 m and at 11 m: keep one of them (--known MARK=ELEVATION decides)"),
    ] {
        assert_eq!(refusal(&folder, arguments, 1), wanted);
    }
    assert!(done(&folder, "adjust no-datum.csv --known A=5").contains("5.0000"));
    assert!(refusal(&folder, "adjust alike.csv --same BM=x --known", 2).contains("--known"));
    assert!(refusal(&folder, "adjust broken.csv", 2).starts_with("broken.csv: line 2, column height: "));
    assert!(refusal(&folder, "adjust absent.csv", 2).starts_with("absent.csv: "));
    assert_eq!(
        refusal(&folder, "adjust unweighted.csv --weights length", 2),
        "no job says how good its instrument is: give a rate in mm with --rate, or --estimate"
    );
}

#[test]
fn two_names_of_one_mark_are_tied_by_a_flag() {
    let folder = folder();
    network(&folder, "a.csv", "known,BM1,,10,m,,,\nrise,BM1,B,1,m,0.001,,\nrise,B,CP-4,-1,m,0.001,,\n");
    let found = json(&folder, "adjust a.csv --same BM1=CP-4");
    let names: Vec<&str> = found["marks"].as_array().unwrap().iter().map(|row| row["mark"].as_str().unwrap()).collect();
    assert_eq!(names, ["BM1", "B"]);
}

/// A line with a spur: the best extra run checks the spur.
#[test]
fn a_plan_says_what_hangs_and_what_to_add() {
    let folder = folder();
    let rows =
        "known,BM 1,,,,,,\nknown,BM 2,,,,,,\nrise,BM 1,A,,m,,400,9\nrise,A,BM 2,,m,,500,11\nrise,A,C,,m,,100,3\n";
    network(&folder, "plan.csv", rows);
    let found = json(&folder, "plan plan.csv");
    let marks = found["marks"].as_array().unwrap();
    let spur = marks.iter().find(|row| row["mark"] == "C").unwrap();
    assert_eq!((&spur["standing"], &spur["hangs_on"]), (&"unchecked".into(), &3.into()));
    assert_eq!(found["extra"][0]["newly_checked"], 1);
    assert!(found["weights"].as_str().unwrap().ends_with("common practice, no source"));
    // A: 9 and 11 setups of 0.42 mm from either side.
    let a = marks.iter().find(|row| row["mark"] == "A").unwrap();
    let wanted = 0.42 * (9.0f64 * 11.0 / 20.0).sqrt();
    assert!((a["deviation"]["m"].as_f64().unwrap() * 1000.0 - wanted).abs() < 1e-9);
    network(&folder, "asked.csv", &format!("{rows}extra,C,BM 2,,m,,450,10\n"));
    let asked = json(&folder, "plan asked.csv");
    assert_eq!(
        (&asked["extra"][0]["origin"], &asked["extra"][0]["effort"]),
        (&"asked for".into(), &"450 m, 10 setups".into())
    );
    job(&folder, "a.job", &[("A", "1")], "A", &[("1.5", "1.0", "B")]);
    assert_eq!(refusal(&folder, "plan a.job", 2), "a.job: a job file found, a network of intended runs was wanted");
}

#[test]
fn documents_hold_what_their_schema_promises() {
    let folder = folder();
    network(&folder, "a.csv", SQUARE);
    for (command, which) in [("adjust a.csv", "adjust"), ("plan a.csv", "plan")] {
        let document = json(&folder, command);
        let schema: Value = serde_json::from_str(&done(&folder, &format!("schema {which}"))).unwrap();
        let keys = |value: &Value| value.as_object().unwrap().keys().cloned().collect::<Vec<_>>();
        assert_eq!(keys(&document), keys(&schema["properties"]), "{which}");
    }
}

/// A name that a spreadsheet would take for a formula is text in the table.
#[test]
fn hostile_names_stay_text() {
    let folder = folder();
    network(&folder, "a.csv", "known,A,,10,m,,,\nrise,A,'=1+1,1,m,0.001,,\n");
    let table = done(&folder, "adjust a.csv --csv");
    assert!(table.contains(",'=1+1,") && !table.contains(",=1+1"), "{table}");
}
