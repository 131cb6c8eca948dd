//! What was altered, removed or damaged later shows: refused by the file itself, else named by the chain.

use std::fs;
use std::path::Path;

use closerun::store::{Break, Fault, Guards, Head, Job, Verification, verify};
use rusqlite::Connection;

use crate::child::Child;
use crate::record::names;
use crate::refuse::{state, ten};
use crate::samples;

fn sql(path: &Path) -> Connection {
    Connection::open(path).unwrap()
}

/// Every way that SQL has to change a row, tried on a finished job.
#[test]
fn the_file_itself_refuses_changes() {
    let folder = tempfile::tempdir().unwrap();
    let path = ten(folder.path());
    let whole = verify(&path).unwrap();
    let alien = "SELECT 5, at, kind, simulated, body, x'', hash FROM event WHERE seq = 5";
    for (change, refusal) in [
        ("UPDATE event SET raw = x'' WHERE seq = 5".to_owned(), "an event is never altered"),
        ("UPDATE OR REPLACE event SET seq = 4 WHERE seq = 5".into(), "an event is never altered"),
        ("DELETE FROM event WHERE seq = 10".into(), "an event is never deleted"),
        ("DELETE FROM event".into(), "an event is never deleted"),
        (format!("INSERT OR REPLACE INTO event {alien}"), "an event follows the last one"),
        (format!("REPLACE INTO event {alien}"), "an event follows the last one"),
        (format!("INSERT OR IGNORE INTO event {alien}"), "an event follows the last one"),
        (
            format!("INSERT INTO event {alien} ON CONFLICT (seq) DO UPDATE SET raw = x''"),
            "an event follows the last one",
        ),
        (
            "INSERT INTO event SELECT NULL, at, kind, simulated, body, raw, hash FROM event WHERE seq = 5".into(),
            "an event follows the last one",
        ),
        (
            "INSERT INTO event SELECT 12, at, kind, simulated, body, raw, hash FROM event WHERE seq = 5".into(),
            "an event follows the last one",
        ),
        (
            "INSERT INTO event SELECT 11, at, 'note', simulated, body, raw, hash FROM event WHERE seq = 5".into(),
            "CHECK constraint failed",
        ),
        (
            "INSERT INTO event SELECT 11, at, kind, 2, body, raw, hash FROM event WHERE seq = 5".into(),
            "CHECK constraint failed",
        ),
        (
            "INSERT INTO event SELECT 11, at, kind, simulated, body, 'text', hash FROM event WHERE seq = 5".into(),
            "cannot store TEXT value in BLOB column",
        ),
    ] {
        let error = sql(&path).execute_batch(&change).unwrap_err().to_string();
        assert!(error.contains(refusal), "{change}: {error}");
    }
    assert_eq!(verify(&path).unwrap(), whole);
}

/// Row 66: with the guards gone, the chain names the first event that is not as it was.
#[test]
fn the_chain_names_the_first_altered_event() {
    use Break::{Altered, Missing};
    for (change, at, what) in [
        ("UPDATE event SET raw = CAST(raw || x'00' AS BLOB) WHERE seq = 4", 4, Altered),
        ("UPDATE event SET at = '2026-03-14T08:00:09.000000Z' WHERE seq = 9", 9, Altered),
        ("UPDATE event SET simulated = 1 WHERE seq IN (7, 8)", 7, Altered),
        ("UPDATE event SET body = replace(body, '31.42', '31.43') WHERE seq = 2", 2, Altered),
        ("UPDATE event SET body = body || ' ' WHERE seq = 10", 10, Altered),
        ("UPDATE event SET hash = zeroblob(32) WHERE seq = 1", 1, Altered),
        ("UPDATE event SET hash = (SELECT hash FROM event WHERE seq = 6) WHERE seq = 5", 5, Altered),
        ("DELETE FROM event WHERE seq = 3", 3, Missing { next: 4 }),
        ("DELETE FROM event WHERE seq < 9", 1, Missing { next: 9 }),
        (
            "UPDATE event SET seq = -seq WHERE seq = 6; UPDATE event SET seq = 6 WHERE seq = 7;
          UPDATE event SET seq = 7 WHERE seq = -6",
            6,
            Altered,
        ),
        ("UPDATE event SET seq = 12 WHERE seq = 10", 10, Missing { next: 12 }),
        ("INSERT INTO event SELECT 11, at, kind, simulated, body, raw, hash FROM event WHERE seq = 10", 11, Altered),
    ] {
        let folder = tempfile::tempdir().unwrap();
        let path = ten(folder.path());
        let guards = "DROP TRIGGER event_is_never_altered; DROP TRIGGER event_is_never_deleted;
                      DROP TRIGGER event_follows_the_last; PRAGMA ignore_check_constraints = 1;";
        sql(&path).execute_batch(&format!("{guards} {change}")).unwrap();
        let before = state(folder.path());

        let Verification::Broken { at: found, what: found_what, whole_to } = verify(&path).unwrap() else {
            panic!("{change}: whole");
        };
        assert_eq!((found, &found_what, whole_to.seq), (at, &what, at - 1), "{change}");
        let error = Job::open(&path).unwrap_err();
        assert_eq!(error.fault, Fault::BrokenChain { at, what: what.to_string() });
        assert!(error.to_string().contains(&format!("the record breaks at event {at}: ")), "{error}");
        // It can still be read, up to the break and beyond.
        let events: Vec<_> = Job::read(&path).unwrap().events().map(Result::unwrap).collect();
        assert_eq!(events[..at as usize - 1], samples::day(at - 1));
        assert_eq!(state(folder.path()), before, "{change}");
    }
}

#[test]
fn guards_that_were_removed_are_told() {
    let folder = tempfile::tempdir().unwrap();
    let path = ten(folder.path());
    sql(&path).execute_batch("DROP TRIGGER event_is_never_deleted").unwrap();
    let found = verify(&path).unwrap();
    assert!(matches!(found, Verification::Whole { events: 10, guards: Guards::Removed, .. }), "{found:?}");
    assert!(found.to_string().ends_with("; but what refuses changes to it was removed or damaged"));
}

/// What the chain cannot show by itself, and says so: the end cut off. A head that was written down shows it.
#[test]
fn an_end_that_was_cut_off_shows_against_a_head_that_was_written_down() {
    let folder = tempfile::tempdir().unwrap();
    let path = ten(folder.path());
    let written_down = Job::read(&path).unwrap().head().unwrap();
    sql(&path).execute_batch("DROP TRIGGER event_is_never_deleted; DELETE FROM event WHERE seq > 8").unwrap();
    let Verification::Whole { events: 8, head, .. } = verify(&path).unwrap() else { panic!() };
    assert_ne!(head, written_down);
}

/// Row 38: whichever bit of a finished file is flipped, the events are the same or the file is named as broken. Never
/// other events, never a panic.
#[test]
fn no_flipped_bit_gives_other_events() {
    let folder = tempfile::tempdir().unwrap();
    let path = ten(folder.path());
    let whole = fs::read(&path).unwrap();
    let wanted = samples::day(10);
    let flipped = folder.path().join("flipped.job");
    let mut outcomes = [0_u32; 4];
    // Every bit where a page says how it is laid out, and one bit in some of the other bytes.
    for byte in 0..whole.len() {
        let bits = match byte % 4096 {
            ..40 => 0..8,
            _ if byte < 100 => 0..8,
            _ if byte % 11 == 0 => byte % 8..byte % 8 + 1,
            _ => 0..0,
        };
        for bit in bits {
            let mut bytes = whole.clone();
            bytes[byte] ^= 1 << bit;
            fs::write(&flipped, &bytes).unwrap();
            let outcome = match verify(&flipped) {
                Err(_) => 0,
                Ok(Verification::Broken { .. }) => 1,
                Ok(Verification::Whole { guards, .. }) => {
                    let events: Result<Vec<_>, _> = Job::read(&flipped).unwrap().events().collect();
                    assert_eq!(events.as_ref(), Ok(&wanted), "byte {byte} bit {bit}");
                    2 + usize::from(guards == Guards::Removed)
                }
            };
            outcomes[outcome] += 1;
            assert_eq!(fs::read(&flipped).unwrap(), bytes, "byte {byte} bit {bit}: changed by reading");
            for beside in ["-wal", "-shm"] {
                let _ = fs::remove_file(folder.path().join(format!("flipped.job{beside}")));
            }
        }
    }
    eprintln!(
        "refused {}, broken {}, whole {}, whole without guards {}",
        outcomes[0], outcomes[1], outcomes[2], outcomes[3]
    );
    assert!(outcomes[1] > outcomes.iter().sum::<u32>() / 8, "the events are a good part of the file: {outcomes:?}");
}

/// Row 38: a file that was cut short is named, at every length.
#[test]
fn no_truncated_file_passes_for_whole() {
    let folder = tempfile::tempdir().unwrap();
    let path = ten(folder.path());
    let whole = fs::read(&path).unwrap();
    let cut = folder.path().join("cut.job");
    for length in (0..whole.len()).step_by(509) {
        fs::write(&cut, &whole[..length]).unwrap();
        if let Ok(Verification::Whole { .. }) = verify(&cut) {
            panic!("cut to {length} of {} bytes it passes for whole", whole.len());
        }
        assert!(Job::open(&cut).is_err(), "{length}");
        assert_eq!(fs::read(&cut).unwrap(), whole[..length]);
    }
}

/// Row 38: of a log whose end is torn, everything before the tear is there, and what is there is whole; after a clean
/// start it goes on.
#[test]
fn a_torn_log_loses_its_end_and_nothing_else() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("tower.job");
    let mut child = Child::start(&path);
    child.ask("create");
    // The length of the log after each event: when that much is there, so many events must be.
    let log = folder.path().join("tower.job-wal");
    let lengths: Vec<u64> = (1..=20)
        .map(|seq| {
            assert_eq!(child.ask("append 1"), format!("ok {seq}"));
            log.metadata().unwrap().len()
        })
        .collect();
    child.kill();
    let (job, whole) = (fs::read(&path).unwrap(), fs::read(&log).unwrap());

    let torn = tempfile::tempdir().unwrap();
    let (torn_job, torn_log) = (torn.path().join("tower.job"), torn.path().join("tower.job-wal"));
    let mut seen = Vec::new();
    for length in (0..=whole.len()).step_by(1031).chain([whole.len()]) {
        fs::write(&torn_job, &job).unwrap();
        // Torn, and then whatever the disk held there.
        let mut bytes = whole[..length].to_vec();
        bytes.resize(whole.len(), 0xa5);
        fs::write(&torn_log, bytes).unwrap();
        let kept = lengths.iter().filter(|&&end| end <= length as u64).count() as u64;

        let mut job = Job::open(&torn_job).unwrap();
        assert_eq!(job.head().seq, kept, "torn at {length} of {}", whole.len());
        assert_eq!(job.events().map(Result::unwrap).collect::<Vec<_>>(), samples::day(kept));
        job.append(&[samples::numbered(kept + 1)]).unwrap();
        job.close().unwrap();
        assert_eq!(names(torn.path()), ["tower.job"]);
        seen.push(kept);
    }
    assert_eq!((seen.first(), seen.last()), (Some(&0), Some(&20)));
}

/// Row 44: a plain copy of the main file of a running job is short, and the head shows it; a backup is complete.
#[test]
fn a_plain_copy_of_a_running_job_is_recognised_as_short() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("tower.job");
    let mut child = Child::start(&path);
    child.ask("create");
    child.ask("append 10");
    child.ask("checkpoint");
    child.ask("append 5");
    let copy = folder.path().join("plain.job");
    fs::copy(&path, &copy).unwrap();
    let Verification::Whole { head: short, .. } = verify(&copy).unwrap() else { panic!() };
    let Verification::Whole { head, .. } = verify(&path).unwrap() else { panic!() };
    assert_eq!((short.seq, head.seq), (10, 15), "complete up to the last checkpoint");

    let backup = folder.path().join("backup.job");
    assert_eq!(child.ask(&format!("backup {}", backup.display())), "ok 15");
    let Verification::Whole { head: complete, .. } = verify(&backup).unwrap() else { panic!() };
    assert_eq!(complete, head);
    assert_ne!(short, Head { seq: 10, ..head });
}
