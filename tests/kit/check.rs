//! `format check`: what is wrong with a format file is said at its place, and what a good one cannot deliver is said too.

use std::path::{Path, PathBuf};

use serde_json::Value;

use super::golden::is_golden;
use super::program::run;

fn fixtures() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/formats")
}

/// The format files of the folder, by name.
fn files() -> Vec<String> {
    let files = std::fs::read_dir(fixtures()).unwrap().map(|entry| entry.unwrap().file_name().into_string().unwrap());
    let mut files: Vec<String> = files.filter(|name| name.ends_with(".toml")).collect();
    files.sort();
    files
}

/// Each file with its listing beside it: a new case is two new files.
#[test]
fn every_file_has_its_listing() {
    let files = files();
    assert!(files.len() >= 15, "{files:?}");
    for file in &files {
        let ended = run(&fixtures(), &format!("format check {file}"));
        is_golden(&fixtures().join(file.replace(".toml", ".txt")), &ended.out);
        let good = file.starts_with("good");
        assert_eq!((ended.code, &*ended.err), if good { (0, "") } else { (1, "closerun: the file has errors\n") });
    }
}

#[test]
fn the_listing_as_data_says_the_same() {
    let files = files();
    let ended = run(&fixtures(), &format!("format check --json {}", files.join(" ")));
    assert_eq!(ended.code, 1);
    let reports: Vec<Value> = ended.out.lines().map(|line| serde_json::from_str(line).expect("JSON")).collect();
    assert_eq!(reports.len(), files.len());
    for (file, report) in files.iter().zip(&reports) {
        assert_eq!(report["file"], **file);
        let errors = report["errors"].as_array().unwrap();
        assert_eq!(report["good"], errors.is_empty());
        let text: String =
            errors.iter().map(|error| format!("{file}, {}\n", error["text"].as_str().unwrap())).collect();
        let doubts = report["doubts"].as_array().unwrap().iter().map(|doubt| doubt.as_str().unwrap());
        if !errors.is_empty() {
            let text = text + &doubts.map(|doubt| format!("{file}: {doubt}\n")).collect::<String>();
            is_golden(&fixtures().join(file.replace(".toml", ".txt")), &text);
        }
        for error in errors {
            let place = format!("line {}, column {}: ", error["line"], error["column"]);
            assert!(error["text"].as_str().unwrap().starts_with(&place), "{error}");
        }
    }
    let good = reports.iter().find(|report| report["file"] == "good.toml").unwrap();
    let lacks = good["format"]["lacks"].as_array().unwrap();
    assert!(lacks.iter().any(|lack| lack["what"] == "no record of a fault" && lack["silent"][0] == "instrument-fault"));
}

/// Every shipped format is good, and what it lacks follows from what its readings carry.
#[test]
fn shipped_formats_are_good_and_say_what_stays_silent() {
    let folder = tempfile::tempdir().unwrap();
    let listed = run(folder.path(), "formats").out;
    let names: Vec<&str> = listed.lines().filter_map(|line| line.split_whitespace().next()).collect();
    assert!(names.len() >= 4, "{names:?}");
    let ended = run(folder.path(), &format!("format check --json {}", names.join(" ")));
    assert_eq!(ended.code, 0, "{ended:?}");
    for line in ended.out.lines() {
        let report: Value = serde_json::from_str(line).unwrap();
        let format = &report["format"];
        let carries = |means: &str| format["reading"].as_array().unwrap().iter().any(|known| known == means);
        let silent = format["lacks"].as_array().unwrap().iter().flat_map(|lack| lack["silent"].as_array().unwrap());
        let silent: Vec<&str> = silent.map(|id| id.as_str().unwrap()).collect();
        assert!(carries("staff"));
        for check in ["sight-long", "sight-short", "balance", "balance-sum"] {
            assert_eq!(silent.contains(&check), !carries("sight"), "{report}");
        }
        assert_eq!(silent.contains(&"instrument-fault"), format["faults"] == false, "{report}");
    }
}

#[test]
fn a_format_without_sight_lengths_says_which_checks_that_silences() {
    let folder = tempfile::tempdir().unwrap();
    let text = std::fs::read_to_string(fixtures().join("good.toml")).unwrap();
    let text = text.replace("    { is = \"decimal\", means = \"sight\", unit = \"m\", decimals = 2 },\n", "");
    let text = text.replace(", sight = \"31.42 m\"", "").replace(",31.42", "");
    std::fs::write(folder.path().join("f.toml"), text).unwrap();
    let ended = run(folder.path(), "format check f.toml");
    assert_eq!(ended.code, 0, "{ended:?}");
    let said = "no sight lengths: these checks will be silent: sight-long, sight-short, balance, balance-sum";
    assert!(ended.out.contains(said), "{}", ended.out);
}

#[test]
fn a_file_that_cannot_be_read_is_named_and_the_others_are_checked() {
    let folder = tempfile::tempdir().unwrap();
    std::fs::write(folder.path().join("bytes.toml"), [0xFF, 0xFE]).unwrap();
    let ended = run(folder.path(), "format check absent.toml comma bytes.toml");
    assert_eq!(ended.code, 2);
    assert!(ended.out.contains("comma: good"), "{ended:?}");
    assert!(ended.err.contains("format file absent.toml: ") && ended.err.contains("format file bytes.toml: "));
}
