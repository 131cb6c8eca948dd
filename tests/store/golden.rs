//! What is stored is a promise: the JSON of each kind of event is pinned, old rows stay readable, and the chain is
//! computed again by a program that knows nothing of this one.

use std::collections::BTreeMap;
use std::fmt::Write;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;

use closerun::book::event::{Body, Command as Said, LinkState};
use closerun::book::reading::Heard;
use closerun::store::{Job, verify};

use crate::samples;

fn fixtures() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/store")
}

/// Compares with the golden, or rewrites it when `CLOSERUN_BLESS=1`.
fn check(name: &str, found: &str) {
    let path = fixtures().join(name);
    if std::env::var("CLOSERUN_BLESS").is_ok_and(|value| value == "1") {
        fs::create_dir_all(fixtures()).unwrap();
        fs::write(&path, found).unwrap();
    }
    let wanted = fs::read_to_string(&path).unwrap_or_else(|error| panic!("{}: {error}", path.display()));
    assert_eq!(found, wanted, "{}: stored rows have changed; old jobs must stay readable", path.display());
}

#[test]
fn the_stored_json_of_each_kind_is_pinned() {
    let mut kinds: BTreeMap<&str, String> = BTreeMap::new();
    for event in samples::all() {
        let lines = kinds.entry(event.body.kind()).or_default();
        writeln!(lines, "{}", serde_json::to_string(&event.body).unwrap()).unwrap();
    }
    for (kind, lines) in &kinds {
        check(&format!("{kind}.golden"), lines);
    }
    let mut files: Vec<_> = fs::read_dir(fixtures()).unwrap().map(|file| file.unwrap().file_name()).collect();
    files.retain(|name| name.to_string_lossy().ends_with(".golden"));
    assert_eq!(files.len(), kinds.len(), "a golden of a kind that is no more: {files:?}");
}

#[test]
fn a_row_that_was_stored_is_still_understood() {
    let mut bodies = samples::all().into_iter().map(|event| event.body);
    let mut read = BTreeMap::new();
    for file in fs::read_dir(fixtures()).unwrap() {
        let path = file.unwrap().path();
        if path.extension().is_some_and(|ending| ending == "golden") {
            let lines = fs::read_to_string(&path).unwrap();
            let bodies: Vec<Body> = lines.lines().map(|line| serde_json::from_str(line).unwrap()).collect();
            read.insert(path.file_stem().unwrap().to_str().unwrap().to_owned(), bodies.into_iter());
        }
    }
    assert!(bodies.all(|wanted| read.get_mut(wanted.kind()).unwrap().next() == Some(wanted)));
    assert!(read.values_mut().all(|rest| rest.next().is_none()));
}

/// When a variant is added, the build breaks here until a place is given to it, and the test fails until the samples
/// hold it.
#[test]
fn the_samples_hold_every_variant() {
    let (mut bodies, mut heards, mut links, mut commands) = ([0; 14], [0; 10], [0; 6], [0; 24]);
    for event in samples::all() {
        let body = match event.body {
            Body::JobOpened { .. } => 0,
            Body::Resettled { .. } => 1,
            Body::ListeningBegan { .. } => 2,
            Body::LinkChanged { state } => {
                links[match state {
                    LinkState::Open => 0,
                    LinkState::Quiet { .. } => 1,
                    LinkState::Babble { .. } => 2,
                    LinkState::Lost { .. } => 3,
                    LinkState::Waiting { .. } => 4,
                    LinkState::Finished => 5,
                }] += 1;
                3
            }
            Body::Heard { heard } => {
                heards[match heard {
                    Heard::Reading(_) => 0,
                    Heard::Status(_) => 1,
                    Heard::Fault { .. } => 2,
                    Heard::Echo => 3,
                    Heard::Ignored { .. } => 4,
                    Heard::Refused(_) => 5,
                    Heard::Unfinished => 6,
                    Heard::Fragment => 7,
                    Heard::Repeated { .. } => 8,
                    Heard::SetAside { .. } => 9,
                }] += 1;
                4
            }
            Body::Commanded { command, .. } => {
                commands[match command {
                    Said::Strike { .. } => 0,
                    Said::Restore { .. } => 1,
                    Said::Repeat { .. } => 2,
                    Said::Role { .. } => 3,
                    Said::Point { .. } => 4,
                    Said::Rename { .. } => 5,
                    Said::Know { .. } => 6,
                    Said::Note { .. } => 7,
                    Said::Break { .. } => 8,
                    Said::TakeOffer { .. } => 9,
                    Said::EndRun { .. } => 10,
                    Said::StartRun { .. } => 11,
                    Said::Acknowledge { .. } => 12,
                    Said::KeyIn { .. } => 13,
                    Said::Undo { .. } => 14,
                    Said::Accept { .. } => 15,
                    Said::KeyInWires { .. } => 16,
                    Said::BeginActivity { .. } => 17,
                    Said::LeaveActivity => 18,
                    Said::StrikeShot { .. } => 19,
                    Said::MarkHere { .. } => 20,
                    Said::Design { .. } => 21,
                    Said::Register { .. } => 22,
                    Said::Collimation { .. } => 23,
                }] += 1;
                5
            }
            Body::Announced { .. } => 6,
            Body::Withdrawn { .. } => 7,
            Body::VerdictGiven { .. } => 8,
            Body::ClockStepped { .. } => 9,
            Body::RecordingResumed { .. } => 10,
            Body::ListeningEnded { .. } => 11,
            Body::ActivityDone { .. } => 12,
            Body::MachineSlept { .. } => 13,
        };
        bodies[body] += 1;
    }
    assert!(!bodies.contains(&0), "{bodies:?}");
    assert!(!heards.contains(&0), "{heards:?}");
    assert!(!links.contains(&0), "{links:?}");
    assert!(!commands.contains(&0), "{commands:?}");
}

#[test]
fn anyone_can_compute_the_chain_again() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("tower.job");
    let mut job = Job::create(&path).unwrap();
    job.append(&samples::all()).unwrap();
    let head = job.head();
    job.close().unwrap();

    let script = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/store/recompute.py");
    let recompute = || {
        let output = Command::new("python3").arg(&script).arg(&path).output().expect("python3 is needed");
        (String::from_utf8(output.stdout).unwrap(), String::from_utf8(output.stderr).unwrap())
    };
    assert_eq!(recompute(), (format!("{} {}\n", head.seq, head.hash), String::new()));

    let sql = rusqlite::Connection::open(&path).unwrap();
    sql.execute_batch("DROP TRIGGER event_is_never_altered; UPDATE event SET raw = x'00' WHERE seq = 17").unwrap();
    drop(sql);
    assert_eq!(recompute().0, "event 17 was altered\n");
    assert!(verify(&path).unwrap().to_string().starts_with("broken at event 17: "));
}
