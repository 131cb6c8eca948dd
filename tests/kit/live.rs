//! An instrument that is simulated, heard, recorded and played again, each in a process of its own: the readings are the
//! same whichever way they come.

use std::path::Path;

use serde_json::Value;

use super::program::{Ended, Program, run};

/// An invented format whose instrument keeps its records until it is polled, and waits for an answer to each.
const POLLED: &str = r#"
format = 1
name = "polled"
title = "polled and acknowledged"
[frame]
kind = "delimited"
start = "<"
end = ">"
max = 60
[[check]]
kind = "xor"
form = "hex"
after = "*"
[[record]]
name = "shot"
kind = "reading"
layout = "separated"
separator = ";"
fields = [
    { is = "integer", means = "sequence" },
    { is = "decimal", means = "staff", unit = "ft", decimals = 4 },
    { is = "decimal", means = "sight", unit = "ft", decimals = 1 },
]
[talk]
greeting = ["HELLO\r"]
poll = [{ every_s = 1, send = "P\r" }]
acknowledge = { good = "OK {sequence}\r", bad = "NO\r", resent = "sequence" }
[[example]]
text = "<12;4.2105;103.1*31>"
record = "shot"
gives = { staff = "4.2105 ft" }
"#;

/// Staff and sight of a shot in metres, and how many decimals of each say something.
type Shot = [(f64, u32); 2];

/// A length as it was told: a decimal with its unit. Zeros at its end may only fill a column.
fn told(digits: &str, unit: &str) -> (f64, u32) {
    let decimals = digits.split_once('.').map_or(0, |(_, behind)| behind.trim_end_matches('0').len() as u32);
    let value: f64 = digits.parse().unwrap();
    match unit {
        "m" => (value, decimals),
        "mm" => (value / 1000.0, decimals + 3),
        // A foot is 0.3048 m exactly; its last decimal is finer than one of a metre.
        "ft" => (value * 0.3048, decimals),
        other => panic!("unit {other}"),
    }
}

/// Each shot as the display of the instrument showed it.
fn displayed(simulated: &Ended) -> Vec<Shot> {
    let shots = simulated.out.lines().filter(|line| line.contains(" back ") || line.contains(" fore "));
    let words = shots.map(|line| line.split_whitespace().collect::<Vec<_>>());
    words.map(|words| [told(words[3], words[4]), told(words[5], words[6])]).collect()
}

/// Each reading that `listen --json` booked.
fn booked(out: &str) -> Vec<Shot> {
    let lines = out.lines().map(|line| serde_json::from_str::<Value>(line).expect("a JSON line"));
    let text = |value: &Value| value.as_str().expect("text").to_owned();
    lines
        .filter(|line| line["type"] == "reading")
        .map(|line| {
            assert_eq!(line["simulated"], true);
            let [staff, staff_unit, sight, unit] = ["staff", "staff_unit", "sight", "unit"].map(|key| text(&line[key]));
            [told(&staff, &staff_unit), told(&sight, &unit)]
        })
        .collect()
}

/// Each reading that `format try --json` found.
fn tried(out: &str) -> Vec<Shot> {
    let lines = out.lines().map(|line| serde_json::from_str::<Value>(line).expect("a JSON line"));
    let text = |value: &Value| value.as_str().expect("text").to_owned();
    let length = |value: &Value| told(&text(&value["digits"]), &text(&value["unit"]));
    let readings = lines.map(|line| line["heard"].clone()).filter(|heard| heard["what"] == "reading");
    readings.map(|heard| [length(&heard["staff"]), length(&heard["sight"])]).collect()
}

/// Whether all shots are the same, as far as the coarser of both tells them.
fn are_the_same(found: &[Shot], wanted: &[Shot]) -> bool {
    let finest = |shots: &[Shot], which: usize| shots.iter().map(|shot| shot[which].1).max().unwrap_or(0);
    let half_a_step = [0, 1].map(|which| {
        let decimals = finest(found, which).min(finest(wanted, which));
        0.5 * 0.1f64.powi(i32::try_from(decimals).unwrap()) + 1e-9
    });
    let same = |(a, b): (&Shot, &Shot)| [0, 1].iter().all(|&at| (a[at].0 - b[at].0).abs() <= half_a_step[at]);
    found.len() == wanted.len() && found.iter().zip(wanted).all(same)
}

/// What a live `listen` books of an instrument that takes `shots` shots.
fn heard_live(folder: &Path, simulate: &str, listen: &str, shots: usize) -> (Ended, Ended) {
    let mut simulated = Program::start(folder, simulate);
    simulated.line_with("closerun listen");
    let mut listening = Program::start(folder, listen);
    for _ in 0..shots {
        listening.line_with("\"type\":\"reading\"");
    }
    let simulated = simulated.end();
    listening.interrupt();
    (simulated, listening.end())
}

/// In every shipped format.
#[test]
fn what_is_shot_is_heard() {
    let folder = tempfile::tempdir().unwrap();
    let folder = folder.path();
    let formats = run(folder, "formats").out;
    let names: Vec<&str> = formats.lines().filter_map(|line| line.split_whitespace().next()).collect();
    assert!(names.len() >= 8, "{names:?}");
    for format in names {
        let simulate = format!("simulate {format} --at level --shots 3 --speed 400 --seed 3");
        let listen = format!("listen --port level --format {format} --json --job {format}.job");
        let (simulated, listened) = heard_live(folder, &simulate, &listen, 3);
        assert_eq!((simulated.code, listened.code), (0, 0), "{simulated:?} {listened:?}");
        assert!(simulated.out.starts_with("SIMULATED"), "{}", simulated.out);
        let shot = displayed(&simulated);
        assert_eq!(shot.len(), 3);
        assert!(are_the_same(&booked(&listened.out), &shot), "{format}: {listened:?} {shot:?}");
        assert!(!simulated.out.contains("unanswered"), "{}", simulated.out);
    }
}

#[test]
fn what_is_shot_is_recorded_and_played_again() {
    let folder = tempfile::tempdir().unwrap();
    let folder = folder.path();
    for (format, serial) in
        [("comma", "9600 8N1"), ("packet", "115200 8N1 rts/cts"), ("stuffed", "57600 8O1"), ("telegram", "38400 8N2")]
    {
        let simulate = format!("simulate {format} --at level --shots 7 --speed 400 --seed 3");
        let listen = format!("listen --port level --format {format} --json --job {format}-live.job");
        let (simulated, listened) = heard_live(folder, &simulate, &listen, 7);
        let (shot, live) = (displayed(&simulated), booked(&listened.out));

        // The same seed again, into a capture.
        let mut again = Program::start(folder, &simulate);
        again.line_with("closerun listen");
        let capture = format!("{format}.capture");
        let capturing = Program::start(folder, &format!("capture level {capture} --format {format}"));
        assert_eq!(displayed(&again.end()), shot);
        capturing.interrupt();
        let captured = capturing.end();
        assert_eq!(captured.code, 0, "{captured:?}");
        assert!(captured.out.contains(" bytes in ") && captured.out.contains("SIMULATED"), "{captured:?}");
        let text = std::fs::read_to_string(folder.join(&capture)).unwrap();
        let header: Value = serde_json::from_str(text.lines().next().unwrap()).unwrap();
        assert_eq!(
            (&header["simulated"], &header["link"]),
            (&Value::from(true), &Value::from(format!("serial level {serial}")))
        );

        let played =
            run(folder, &format!("listen --capture {capture} --pace full --format {format} --json --job played.job"));
        assert_eq!(played.code, 0, "{played:?}");
        assert_eq!(booked(&played.out), live);
        let trial = run(folder, &format!("format try {format} {capture} --json"));
        assert_eq!(trial.code, 0, "{trial:?}");
        assert!(live.len() == 7 && are_the_same(&tried(&trial.out), &live), "{trial:?} {live:?}");
        std::fs::remove_file(folder.join("played.job")).unwrap();
    }
}

#[test]
fn an_instrument_that_is_polled_and_answered_is_heard_over_tcp() {
    let folder = tempfile::tempdir().unwrap();
    let folder = folder.path();
    std::fs::write(folder.join("polled.toml"), POLLED).unwrap();
    let mut simulated =
        Program::start(folder, "simulate polled.toml --tcp 127.0.0.1:0 --shots 3 --speed 400 --feet --repeat 1");
    let told = simulated.line_with("closerun listen");
    // The command that it tells is the one that works.
    let command = told.trim().strip_prefix("closerun ").unwrap();
    assert!(command.contains("--format polled.toml --unit ft --start BM-1 --known BM-1=171.7454"), "{command}");
    let mut listening = Program::start(folder, &format!("{command} --json --job polled.job"));
    let simulated = {
        let ended = simulated.end();
        listening.line_with("\"number\":3");
        ended
    };
    listening.interrupt();
    let listened = listening.end();
    assert_eq!((simulated.code, listened.code), (0, 0), "{simulated:?} {listened:?}");
    assert!(simulated.out.contains("3 records, 3 repeated"), "{}", simulated.out);
    assert!(!simulated.out.contains("unanswered") && !simulated.out.contains("again"), "{}", simulated.out);
    // What was sent a second time is known by its number and booked once.
    assert_eq!(booked(&listened.out).len(), 3);
    assert!(listened.out.contains("\"kind\":\"repeated\""), "{}", listened.out);
}

/// It keeps its records until it is asked, and each until it is answered: without that only the first would come.
#[test]
fn an_instrument_that_is_polled_and_answered_is_recorded() {
    let folder = tempfile::tempdir().unwrap();
    let folder = folder.path();
    std::fs::write(folder.join("polled.toml"), POLLED).unwrap();
    let mut simulated = Program::start(folder, "simulate polled.toml --at level --shots 3 --speed 400 --feet");
    simulated.line_with("closerun listen");
    let capturing = Program::start(folder, "capture level a.capture --format polled.toml --talk");
    let simulated = simulated.end();
    capturing.interrupt();
    let captured = capturing.end();
    assert_eq!((simulated.code, captured.code), (0, 0), "{simulated:?} {captured:?}");
    assert!(!simulated.out.contains("unanswered") && !simulated.out.contains("again"), "{}", simulated.out);
    let trial = run(folder, "format try polled.toml a.capture --json");
    let shot = displayed(&simulated);
    assert!(shot.len() == 3 && are_the_same(&tried(&trial.out), &shot), "{trial:?} {shot:?}");
}

#[test]
fn without_being_asked_to_a_capture_sends_nothing() {
    let folder = tempfile::tempdir().unwrap();
    let folder = folder.path();
    std::fs::write(folder.join("polled.toml"), POLLED).unwrap();
    let mut simulated = Program::start(folder, "simulate polled.toml --at level --shots 1 --speed 400 --feet");
    simulated.line_with("closerun listen");
    let ended = run(folder, "capture level a.capture --format polled.toml --for 2");
    assert!(ended.code == 1 && ended.err.contains("nothing was heard in 2 s"), "{ended:?}");
    assert!(ended.err.contains("needs --format and --talk"), "{ended:?}");
    assert_eq!(run(folder, "capture level a.capture --talk").code, 2, "a format was wanted");
}

#[test]
fn a_format_is_tried_on_a_live_port_and_sends_what_it_says() {
    let folder = tempfile::tempdir().unwrap();
    let folder = folder.path();
    std::fs::write(folder.join("polled.toml"), POLLED).unwrap();
    let mut simulated = Program::start(folder, "simulate polled.toml --at level --shots 2 --speed 400 --feet");
    simulated.line_with("closerun listen");
    let trial = Program::start(folder, "format try polled.toml --port level --json");
    let simulated = simulated.end();
    trial.interrupt();
    let heard = trial.end();
    assert_eq!((simulated.code, heard.code), (0, 0), "{simulated:?} {heard:?}");
    assert!(!simulated.out.contains("unanswered") && !simulated.out.contains("again"), "{}", simulated.out);
    assert!(are_the_same(&tried(&heard.out), &displayed(&simulated)), "{heard:?} {simulated:?}");
    for sent in ["sent HELLO\\\\r", "sent P\\\\r", "sent OK 1\\\\r", "sent OK 2\\\\r"] {
        assert!(heard.out.contains(sent), "{sent} in {}", heard.out);
    }
    assert!(heard.out.lines().last().unwrap().contains("\"simulated\":true"), "{}", heard.out);
}

#[test]
fn faults_on_demand_are_shown_and_heard() {
    let folder = tempfile::tempdir().unwrap();
    let folder = folder.path();
    let faults = "--damage 0.2 --truncate 0.2 --noise 0.3 --burst 0.2";
    let mut simulated =
        Program::start(folder, &format!("simulate sentence --at level --shots 40 --speed 1000 --seed 5 {faults}"));
    simulated.line_with("closerun listen");
    let capturing = Program::start(folder, "capture level faults.capture --format sentence");
    let simulated = simulated.end();
    capturing.interrupt();
    assert_eq!(capturing.end().code, 0);
    for word in ["DAMAGED", "TRUNCATED", "NOISE", "in one go"] {
        assert!(simulated.out.contains(word), "{word} in {}", simulated.out);
    }
    let whole = |line: &&str| {
        (line.contains(" back ") || line.contains(" fore ")) && !line.contains("DAMAGED") && !line.contains("TRUNCATED")
    };
    let whole = simulated.out.lines().filter(whole).count();
    let played = run(folder, "listen --capture faults.capture --pace full --format sentence --json --job a.job");
    let heard = booked(&played.out);
    // A record behind a truncated one is whole all the same: its start byte begins it.
    assert_eq!(heard.len(), whole, "{:?} {heard:?}", displayed(&simulated));
}

#[test]
fn a_capture_is_never_written_over_and_a_port_that_is_not_there_leaves_none() {
    let folder = tempfile::tempdir().unwrap();
    let folder = folder.path();
    std::fs::write(folder.join("old.capture"), "kept").unwrap();
    let ended = run(folder, "capture level old.capture");
    assert_eq!(ended.code, 2);
    assert_eq!(ended.err, "closerun: capture file old.capture: there already; name another, none is written over\n");
    assert_eq!(std::fs::read_to_string(folder.join("old.capture")).unwrap(), "kept");
    for link in ["level", "--tcp 127.0.0.1:1"] {
        let ended = run(folder, &format!("capture {link} new.capture"));
        assert_eq!(ended.code, 2, "{ended:?}");
        assert!(!folder.join("new.capture").exists());
    }
    assert_eq!(run(folder, "capture old.capture").code, 2, "a port and a file are wanted");
}

#[test]
fn a_capture_ends_after_the_time_it_was_given_and_one_of_nothing_is_not_kept() {
    let folder = tempfile::tempdir().unwrap();
    let folder = folder.path();
    let mut simulated = Program::start(folder, "simulate comma --at level --speed 0.1");
    simulated.line_with("closerun listen");
    let ended = run(folder, "capture level silence.capture --for 1");
    assert_eq!(ended.code, 1, "{ended:?}");
    assert!(ended.err.contains("nothing was heard in 1 s from serial level 9600 8N1"), "{ended:?}");
    assert!(!folder.join("silence.capture").exists());
    simulated.interrupt();
    let simulated = simulated.end();
    assert_eq!(simulated.code, 0);
    assert!(simulated.out.ends_with("0 records, 0 bytes\n"), "{}", simulated.out);
}

#[test]
fn a_format_that_cannot_be_spoken_as_asked_is_refused() {
    let folder = tempfile::tempdir().unwrap();
    for (arguments, code, why) in [
        ("comma --feet", 2, "--feet: the format comma sends m only"),
        ("coma", 2, "did you mean comma?"),
        ("comma --damage 0.6 --repeat 0.6", 2, "at most 1 together"),
        ("comma --damage 1.1", 2, "a share from 0 to 1 was wanted"),
        ("comma --speed 0", 2, "a factor from 0.1 to 1000 was wanted"),
    ] {
        let ended = run(folder.path(), &format!("simulate {arguments}"));
        assert_eq!(ended.code, code, "{ended:?}");
        assert!(ended.err.contains(why), "{ended:?}");
    }
}
