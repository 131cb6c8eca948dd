//! `format draft`: a draft reads the capture it was made from, says what it does not know, chooses nothing where several
//! fit, and looks at no more than it says.

use std::fmt::Write as _;
use std::path::Path;

use serde_json::Value;

use super::program::run;

/// What one shot is: as the instrument knows it, in hundredths of a millimetre and in centimetres.
#[derive(Clone, Copy)]
struct Shot {
    staff: u64,
    sight: u64,
}

/// Shots between 0.3 and 4.3 m, at 5 to 60 m.
fn shots(count: u64) -> Vec<Shot> {
    let shot = |n: u64| Shot { staff: 30_000 + n * 7_919 * 31 % 400_000, sight: 500 + n * 104_729 % 5_500 };
    (0..count).map(shot).collect()
}

/// As the display of the instrument shows it: rounded to 0.1 mm.
fn displayed(shot: Shot) -> String {
    let (staff, sight) = ((shot.staff + 5) / 10, shot.sight);
    format!("{}.{:04}/{}.{:02}", staff / 10_000, staff % 10_000, sight / 100, sight % 100)
}

/// As the instrument sends it: `W012/0128340/03142~A7` and a line end, with the sum of all characters before the `~`.
fn sent(number: usize, shot: Shot) -> String {
    let body = format!("W{number:03}/{:07}/{:05}", shot.staff, shot.sight);
    let sum = body.bytes().fold(0u8, u8::wrapping_add);
    format!("{body}~{sum:02X}\r\n")
}

fn capture(folder: &Path, shots: &[Shot]) {
    let mut bytes = String::new();
    for (number, shot) in shots.iter().enumerate() {
        bytes += &sent(12 + number, *shot);
        if number % 7 == 3 {
            let _ = write!(bytes, "power {} of 5\r\n", 5 - number / 20);
        }
    }
    std::fs::write(folder.join("morning.bytes"), bytes).unwrap();
}

/// The readings of `format try --json`, staff and sight length.
fn readings(folder: &Path, format: &str) -> Vec<(String, String)> {
    let ended = run(folder, &format!("format try {format} morning.bytes --json"));
    let frames = ended.assert_good().out.lines().map(|line| serde_json::from_str::<Value>(line).expect("JSON"));
    let part = |frame: &Value, means: &str| {
        let parts = frame["parts"].as_array().expect("parts");
        let part = parts.iter().find(|part| part["means"] == means).expect(means);
        part["holds"].as_str().expect("a text").to_owned()
    };
    let read = frames.filter(|frame| frame["heard"]["what"] == "reading");
    read.map(|frame| (part(&frame, "staff"), part(&frame, "sight"))).collect()
}

fn truth(shots: &[Shot]) -> Vec<(String, String)> {
    let digits = |number: u64, scale: u64, wide: usize| format!("{}.{:0wide$} m", number / scale, number % scale);
    shots.iter().map(|shot| (digits(shot.staff, 100_000, 5), digits(shot.sight, 100, 2))).collect()
}

#[test]
fn a_draft_reads_the_capture_it_was_made_from() {
    let folder = tempfile::tempdir().unwrap();
    let shots = shots(40);
    capture(folder.path(), &shots);
    let seen: Vec<String> = [2, 3, 9, 30].map(|place| displayed(shots[place])).to_vec();
    let ended = run(folder.path(), &format!("format draft morning.bytes --seen {} --to mine.toml", seen.join(" ")));
    assert_eq!(ended.code, 0, "{}", ended.err);
    assert!(ended.out.is_empty(), "{}", ended.out);
    for said in [
        // The lines on the power have no check: what is not understood is said, and nothing is surer than it is.
        "one draft fits, fairly sure: 4 readings of the display in 40 readings",
        "understands 91 % of the bytes; 6 frames refused",
        "check: agrees with 23 of 24 frames looked at",
        "open:  how is the reading of an inverted staff sent? None was negative",
        "closerun format check mine.toml",
    ] {
        assert!(ended.err.contains(said), "{said:?} was wanted\n{}", ended.err);
    }
    let checked = run(folder.path(), "format check mine.toml");
    checked.assert_good();
    assert_eq!(readings(folder.path(), "mine.toml"), truth(&shots));
    // To the standard output it is the same.
    let printed = run(folder.path(), &format!("format draft morning.bytes --seen {}", seen.join(" ")));
    assert_eq!(printed.assert_good().out, std::fs::read_to_string(folder.path().join("mine.toml")).unwrap());
}

/// A raw and a corrected reading stand side by side, and the display was only seen where they are the same.
#[test]
fn where_several_fit_none_is_chosen() {
    let folder = tempfile::tempdir().unwrap();
    let pairs = [("1.28340", "1.28340"), ("0.91215", "0.91215"), ("2.30500", "2.30511"), ("1.74620", "1.74633")];
    let lines = pairs.iter().enumerate().map(|(number, (raw, corrected))| format!("R,{number},{raw},{corrected}\r\n"));
    std::fs::write(folder.path().join("morning.bytes"), lines.collect::<String>()).unwrap();
    let ended = run(folder.path(), "format draft morning.bytes --seen 1.2834 0.9122 --to mine.toml");
    assert_eq!(ended.code, 1, "{}", ended.err);
    for said in ["2 drafts fit, and read the capture differently", "A reads 2.30500 m", "B reads 2.30511 m", "--seen"] {
        assert!(ended.err.contains(said), "{said:?} was wanted\n{}", ended.err);
    }
    assert!(ended.err.ends_with("closerun: none of the drafts was chosen\n"), "{}", ended.err);
    assert!(!folder.path().join("mine.toml").exists());
    for beside in ["mine-a.toml", "mine-b.toml"] {
        run(folder.path(), &format!("format check {beside}")).assert_good();
    }
    let decided = run(folder.path(), "format draft morning.bytes --seen 1.2834 0.9122 2.3051 --to mine.toml");
    decided.assert_good();
    assert!(folder.path().join("mine.toml").exists());
}

#[test]
fn what_is_not_there_is_not_made_up() {
    let folder = tempfile::tempdir().unwrap();
    capture(folder.path(), &shots(40));
    let ended = run(folder.path(), "format draft morning.bytes --seen 7.7771 7.7772");
    assert_eq!(ended.code, 1, "{}", ended.err);
    assert!(ended.out.is_empty() && ended.err.contains("no format was found that fits"), "{}", ended.err);
    assert!(ended.err.contains("are the readings in the order in which they were shot"), "{}", ended.err);
}

#[test]
fn a_draft_has_its_bounds() {
    let folder = tempfile::tempdir().unwrap();
    let morning = shots(40);
    capture(folder.path(), &morning);
    let path = folder.path().join("morning.bytes");
    let seen = displayed(morning[2]);
    for (arguments, why) in [
        (
            format!("morning.bytes --seen {}", format!("{seen} ").repeat(65)),
            "65 readings given with --seen, at most 64",
        ),
        (format!("morning.bytes --seen {seen} --to morning.bytes"), "there already; name another"),
        (format!("absent --seen {seen}"), "capture absent: No such file"),
        ("morning.bytes --seen 1.2yd".to_owned(), "\"1.2yd\" found where a reading such as 1.2834/31.42 was wanted"),
        ("morning.bytes".to_owned(), "--seen"),
    ] {
        let ended = run(folder.path(), &format!("format draft {arguments}"));
        assert_eq!(ended.code, 2, "{}", ended.err);
        assert!(ended.err.contains(why) && ended.out.is_empty(), "{why:?} was wanted\n{}", ended.err);
    }
    let mut bytes = std::fs::read(&path).unwrap();
    bytes.extend(b"nothing to be read here\r\n".iter().cycle().take(300_000));
    std::fs::write(&path, bytes).unwrap();
    let seen: Vec<String> = morning[..4].iter().map(|shot| displayed(*shot)).collect();
    let ended = run(folder.path(), &format!("format draft morning.bytes --seen {}", seen.join(" ")));
    assert_eq!(ended.code, 0, "{}", ended.err);
    assert!(ended.err.contains("only the first 262144 bytes are looked at"), "{}", ended.err);
}
