//! `format try`: every frame of a capture with what its parts were taken for, as text and as data; at the same memory
//! however long the capture.

use std::path::{Path, PathBuf};

use serde_json::Value;

use super::golden::is_golden;
use super::program::run;

fn fixtures() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/trial")
}

/// The captures of the folder, by the name of the format that they are tried with.
fn captures() -> Vec<String> {
    let files = std::fs::read_dir(fixtures()).unwrap().map(|entry| entry.unwrap().file_name().into_string().unwrap());
    let mut names: Vec<String> = files.filter_map(|name| name.strip_suffix(".capture").map(str::to_owned)).collect();
    names.sort();
    names
}

#[test]
fn every_capture_has_its_text() {
    let names = captures();
    assert!(names.len() >= 3, "{names:?}");
    for name in names {
        let ended = run(&fixtures(), &format!("format try {name} {name}.capture"));
        assert_eq!(ended.code, 0, "{ended:?}");
        is_golden(&fixtures().join(format!("{name}.txt")), &ended.out);
    }
}

/// Every byte of a capture is in exactly one frame, parts lie inside their frame, and the summary counts what was shown.
#[test]
fn as_data_it_accounts_for_every_byte() {
    for name in captures() {
        let ended = run(&fixtures(), &format!("format try {name} {name}.capture --json"));
        let lines: Vec<Value> = ended.out.lines().map(|line| serde_json::from_str(line).expect("JSON")).collect();
        let (summary, lines) = lines.split_last().unwrap();
        assert_eq!(summary["type"], "summary");
        let frames: Vec<&Value> = lines.iter().filter(|line| line["type"] == "frame").collect();
        let mut bytes = Vec::new();
        for frame in &frames {
            assert_eq!(frame["at_byte"], bytes.len(), "{frame}");
            let raw = frame["hex"].as_str().unwrap();
            bytes.push(raw.to_owned());
            bytes.extend((1..raw.len() / 2).map(|_| String::new()));
            for part in frame["parts"].as_array().into_iter().flatten() {
                let (from, to) = (part["from"].as_u64().unwrap(), part["to"].as_u64().unwrap());
                assert!(from < to && to <= raw.len() as u64 / 2, "{part} of {frame}");
            }
        }
        let captured = std::fs::read_to_string(fixtures().join(format!("{name}.capture"))).unwrap();
        let captured = captured.lines().map(|line| serde_json::from_str::<Value>(line).unwrap());
        let captured: String = captured.filter_map(|line| line["hex"].as_str().map(str::to_owned)).collect();
        assert_eq!(bytes.concat(), captured, "{name}");
        assert_eq!(summary["bytes"], captured.len() / 2);
        let count = |what: &str| frames.iter().filter(|frame| frame["heard"]["what"] == what).count();
        assert_eq!(summary["readings"], count("reading"), "{name}");
        assert_eq!(summary["refused"], count("refused"), "{name}");
        assert_eq!(summary["simulated"], name == "packet", "{name}");
    }
}

/// What a frame is refused for, and where, is what `listen` says of it.
#[test]
fn a_refusal_names_its_byte_in_the_frame() {
    let ended = run(&fixtures(), "format try comma comma.capture --json --show refused");
    let lines = ended.out.lines().map(|line| serde_json::from_str::<Value>(line).unwrap());
    let refused: Vec<Value> = lines.filter(|line| line["heard"]["what"] == "refused").collect();
    assert_eq!(refused[0]["heard"]["reason"], "staff of a reading: 4 decimals found, 5 were wanted");
    // R,12,TP6,1.2834,31.42: the fifth decimal was due at byte 15; what stands before the number was understood.
    assert_eq!(refused[0]["heard"]["at_byte"], 15);
    assert_eq!((&refused[0]["parts"][0]["name"], &refused[0]["parts"][0]["holds"]), (&"sequence".into(), &"12".into()));
    let shown = run(&fixtures(), "format try comma comma.capture --show none");
    assert!(shown.out.lines().all(|line| !line.starts_with("byte ")), "{}", shown.out);
}

#[test]
fn a_format_that_does_not_fit_says_that_nothing_was_understood() {
    let ended = run(&fixtures(), "format try packet comma.capture");
    assert_eq!(ended.code, 1);
    assert_eq!(ended.err, "closerun: nothing of it was understood by the format packet\n");
}

#[test]
fn what_cannot_be_tried_is_named() {
    for (arguments, code, why) in [
        ("comma absent.capture", 2, "capture absent.capture: No such file"),
        ("absent.toml comma.capture", 2, "unknown format \"absent.toml\""),
        ("comma --port absent-port", 2, "serial port absent-port is not there"),
        ("comma", 2, "required"),
        ("comma comma.capture --port x", 2, "cannot be used with"),
    ] {
        let ended = run(&fixtures(), &format!("format try {arguments}"));
        assert_eq!(ended.code, code, "{ended:?}");
        assert!(ended.err.contains(why) && ended.out.is_empty(), "{ended:?}");
    }
}

/// A damaged line of a capture is said, and bytes are not glued over it.
#[test]
fn a_damaged_capture_is_read_on_behind_the_damage() {
    let folder = tempfile::tempdir().unwrap();
    let text = std::fs::read_to_string(fixtures().join("comma.capture")).unwrap();
    std::fs::write(folder.path().join("torn.capture"), text.replace("{\"us\":1015000,", "{\"us\":10150x0,")).unwrap();
    let ended = run(folder.path(), "format try comma torn.capture");
    assert_eq!(ended.code, 0, "{ended:?}");
    assert!(ended.out.contains("-- line 3 of the capture is damaged: "), "{}", ended.out);
    assert!(ended.out.contains("unfinished: its end never came, 14 bytes\n  R,12,TP6,1.283\n"), "{}", ended.out);
}
