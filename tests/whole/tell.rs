//! Words from a second process reach the book and the view, and a wrong word is explained.

use serde_json::Value;

use crate::program::{Program, run};

#[test]
fn a_strike_told_from_another_process_is_shown_and_kept() {
    let folder = tempfile::tempdir().unwrap();
    let mut simulated = Program::start(folder.path(), "simulate comma --at port --shots 6 --speed 60");
    simulated.line_with("closerun listen");
    let mut listening = Program::start(folder.path(), "listen --port port --format comma --job a.job --json --quiet");
    while !listening.line_with("\"type\":").contains("\"number\":6") {}
    let told = run(folder.path(), "tell strike 2");
    assert_eq!(told.code, 0, "{}", told.err);
    assert!(told.out.contains("reading 2 struck out"), "{}", told.out);
    listening.line_with("reading 2 struck out");
    let wrong = run(folder.path(), "tell strik 2");
    assert_eq!((wrong.code, wrong.err.trim()), (2, "closerun: unknown command \"strik\", strike was probably meant"));
    let absent = run(folder.path(), "tell strike 99");
    assert_eq!(absent.code, 1);
    assert_eq!(absent.err.trim(), "closerun: no reading 99: the book holds readings 1 to 6");
    let backup = run(folder.path(), "backup a.job copy.job");
    assert_eq!(backup.code, 0, "{}", backup.err);
    let second = run(folder.path(), "listen --port port --format comma --job a.job");
    assert_eq!(second.code, 2);
    assert!(second.err.contains("in use"), "{}", second.err);
    listening.interrupt();
    assert_eq!(listening.end().code, 0);
    let book: Value = serde_json::from_str(&run(folder.path(), "book a.job --json").out).unwrap();
    let struck = book["readings"].as_array().unwrap().iter().filter(|reading| reading["state"] == "struck").count();
    assert_eq!(struck, 1);
    assert!(!folder.path().join("a.job-wal").exists(), "a clean stop leaves one file");
}
