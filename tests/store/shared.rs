//! One writes, others read and copy, in the same process and in others, and nobody takes a lock from anybody.

use std::fs;
use std::os::unix::fs::MetadataExt;
use std::path::Path;
use std::time::{Duration, Instant};

use closerun::store::{Closing, Fault, Guards, Job, Verification, backup, verify};

use crate::child::{Acknowledgement, Child};
use crate::record::names;
use crate::refuse::ten;
use crate::samples;

#[test]
fn a_reader_stands_on_one_state_while_the_writer_goes_on() {
    let folder = tempfile::tempdir().unwrap();
    let path = ten(folder.path());
    let mut job = Job::open(&path).unwrap();
    let mut child = Child::start(&path);
    assert_eq!(child.ask("start-reading"), "ok 10");
    let here = Job::read(&path).unwrap();
    for seq in 11..=500 {
        job.append(&[samples::reading(seq)]).unwrap();
        if seq % 50 == 0 {
            job.checkpoint().unwrap();
        }
    }
    assert_eq!(here.head().unwrap().seq, 10);
    assert_eq!(here.events().map(Result::unwrap).collect::<Vec<_>>(), samples::day(10));
    drop(here);
    assert_eq!(child.ask("read"), "ok 500", "a second reader sees them all");

    // A stop while somebody still reads: complete, with an empty or a needed log beside it.
    assert_eq!(job.close().unwrap(), Closing::StillRead);
    assert_eq!(child.ask("stop-reading"), "ok");
    assert!(matches!(verify(&path).unwrap(), Verification::Whole { events: 500, .. }));
    assert_eq!(Job::open(&path).unwrap().close().unwrap(), Closing::OneFile);
    assert_eq!(names(folder.path()), ["tower.job"]);
    assert!(matches!(verify(&path).unwrap(), Verification::Whole { events: 500, .. }));
}

#[test]
fn the_log_stays_small_when_nobody_asks_for_a_checkpoint() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("tower.job");
    let mut job = Job::create(&path).unwrap();
    let log = folder.path().join("tower.job-wal");
    let mut largest = 0;
    for seq in 1..=2_000 {
        job.append(&[samples::numbered(seq)]).unwrap();
        largest = largest.max(log.metadata().unwrap().len());
    }
    assert!(largest < 3 << 20, "{largest} bytes");
    assert!(path.metadata().unwrap().len() > 500_000, "the log is moved into the job");
}

#[test]
fn a_backup_of_a_running_job_is_complete() {
    let folder = tempfile::tempdir().unwrap();
    let path = ten(folder.path());
    let mut child = Child::start(&path);
    child.ask("open");
    child.tell("stream");
    for round in 0..10 {
        let acknowledged = Acknowledgement::read(&child.answer().unwrap()).unwrap().seq;
        let copy = folder.path().join(format!("copy-{round}.job"));
        let report = backup(&path, &copy).unwrap();
        assert!(report.head.seq >= acknowledged);
        assert_eq!(report.bytes, copy.metadata().unwrap().len());
        let whole = Verification::Whole { events: report.head.seq, head: report.head, guards: Guards::Standing };
        assert_eq!(verify(&copy).unwrap(), whole);
        assert!(!names(folder.path()).iter().any(|name| name.starts_with("copy") && !name.ends_with(".job")));
        // A copy is a job like any other.
        let mut job = Job::open(&copy).unwrap();
        job.append(&[samples::reading(report.head.seq + 1)]).unwrap();
        job.close().unwrap();
    }
    child.kill();
    assert!(matches!(verify(&path).unwrap(), Verification::Whole { .. }));
}

#[test]
fn a_copy_that_fails_leaves_nothing_behind() {
    let folder = tempfile::tempdir().unwrap();
    let path = ten(folder.path());
    let taken = folder.path().join("taken.txt");
    fs::write(&taken, "a letter").unwrap();
    assert_eq!(backup(&path, &taken).unwrap_err().fault, Fault::Exists);
    assert_eq!(fs::read_to_string(&taken).unwrap(), "a letter");
    assert_eq!(backup(&path, &path).unwrap_err().fault, Fault::Exists);
    assert_eq!(backup(&path, &folder.path().join("nowhere/copy.job")).unwrap_err().fault, Fault::Missing);

    let sql = rusqlite::Connection::open(&path).unwrap();
    sql.execute_batch("DROP TRIGGER event_is_never_altered; UPDATE event SET raw = x'' WHERE seq = 6").unwrap();
    drop(sql);
    let error = backup(&path, &folder.path().join("copy.job")).unwrap_err();
    assert!(matches!(error.fault, Fault::BrokenChain { at: 6, .. }));
    assert_eq!(names(folder.path()), ["taken.txt", "tower.job"]);
}

/// Row 45: while another program holds the file locked, the caller is told soon; nothing is lost or reordered.
#[test]
fn another_programs_lock_is_told_and_waited_out() {
    let folder = tempfile::tempdir().unwrap();
    let path = ten(folder.path());
    let mut job = Job::open(&path).unwrap();
    let mut other = Child::start(&path);
    assert_eq!(other.ask("sql BEGIN IMMEDIATE"), "ok");
    for _ in 0..2 {
        let begun = Instant::now();
        let error = job.append(&[samples::reading(11)]).unwrap_err();
        assert_eq!(error.fault, Fault::Busy);
        assert!(!error.fault.stops_recording());
        assert!(begun.elapsed() < Duration::from_secs(2));
    }
    assert_eq!(Job::read(&path).unwrap().head().unwrap().seq, 10, "reading does not wait");
    assert_eq!(other.ask("sql ROLLBACK"), "ok");
    for seq in 11..=13 {
        job.append(&[samples::reading(seq)]).unwrap();
    }
    assert_eq!(job.events().map(Result::unwrap).collect::<Vec<_>>(), samples::day(13));
}

/// Another program that adds to the file (its guards let a right number pass) is noticed before anything is added.
#[test]
fn an_event_of_another_program_is_noticed() {
    let folder = tempfile::tempdir().unwrap();
    let path = ten(folder.path());
    let mut job = Job::open(&path).unwrap();
    let alien = "INSERT INTO event SELECT 11, at, kind, simulated, body, raw, hash FROM event WHERE seq = 10";
    assert_eq!(Child::start(&path).ask(&format!("sql {alien}")), "ok");
    let error = job.append(&[samples::reading(11)]).unwrap_err();
    assert_eq!(error.fault, Fault::Overtaken { found: 11, wanted: 10 });
    assert_eq!(job.append(&[samples::reading(11)]).unwrap_err(), error, "and it stays refused");
    let broken = job.recover().unwrap_err();
    assert!(matches!(broken.fault, Fault::BrokenChain { at: 11, .. }));
    assert_eq!(job.close().unwrap_err(), broken);
}

/// Row 46: whatever this process does with the file of a running job, it does not lose SQLite's locks on it. Without
/// them another program that comes and goes may take itself for the last and the log away with it.
#[test]
fn nothing_that_is_done_with_a_running_job_loosens_its_locks() {
    let folder = tempfile::tempdir().unwrap();
    let path = ten(folder.path());
    let log = folder.path().join("tower.job-wal");
    let mut job = Job::open(&path).unwrap();
    job.append(&[samples::reading(11)]).unwrap();
    assert_eq!(locks(&path), 1);

    assert_eq!(Job::open(&path).unwrap_err().fault, Fault::InUse);
    assert_eq!(locks(&path), 1);
    assert_eq!(Job::create(&path).unwrap_err().fault, Fault::Exists);
    assert_eq!(locks(&path), 1);
    verify(&path).unwrap();
    assert_eq!(locks(&path), 1);
    let reader = Job::read(&path).unwrap();
    assert_eq!(reader.events().count(), 11);
    drop(reader);
    assert_eq!(locks(&path), 1);
    backup(&path, &folder.path().join("copy.job")).unwrap();
    assert_eq!(locks(&path), 1);
    job.checkpoint().unwrap();
    job.still_there();
    job.room();
    job.recover().unwrap();
    assert_eq!(locks(&path), 1);

    let inode = log.metadata().unwrap().ino();
    come_and_go(&path);
    assert_eq!(log.metadata().unwrap().ino(), inode);
    job.append(&[samples::reading(12)]).unwrap();
    drop(job);
    assert_eq!(locks(&path), 0);

    // A reader that was there before the writer, and goes while it writes; a writer that goes before the reader.
    let reader = Job::read(&path).unwrap();
    let mut job = Job::open(&path).unwrap();
    job.append(&[samples::reading(13)]).unwrap();
    drop(reader);
    assert_eq!(locks(&path), 1);
    job.append(&[samples::reading(14)]).unwrap();
    let reader = Job::read(&path).unwrap();
    drop(job);
    assert_eq!(locks(&path), 1);
    assert_eq!(reader.head().unwrap().seq, 14);
}

/// Planted: one plain look into the file, and the locks are gone.
#[test]
fn a_plain_look_into_the_file_loosens_its_locks() {
    let folder = tempfile::tempdir().unwrap();
    let path = ten(folder.path());
    let _job = Job::open(&path).unwrap();
    assert_eq!(locks(&path), 1);
    drop(fs::File::open(&path).unwrap());
    assert_eq!(locks(&path), 0);
}

/// How many record locks this process holds on the file: SQLite's own. By proc(5): number, kind, mode, access, process,
/// device and inode.
fn locks(path: &Path) -> usize {
    let (me, inode) = (std::process::id().to_string(), format!(":{}", path.metadata().unwrap().ino()));
    let all = fs::read_to_string("/proc/locks").unwrap();
    let ours = all.lines().map(|line| line.split_whitespace().collect::<Vec<_>>());
    ours.filter(|line| line[1] == "POSIX" && line[4] == me && line[5].ends_with(&inode)).count()
}

/// Another program opens the job, reads and leaves.
fn come_and_go(path: &Path) {
    let mut other = Child::start(path);
    assert_eq!(other.ask("sql PRAGMA user_version; SELECT count(*) FROM event"), "ok");
    assert_eq!(other.ask("sql-close"), "ok");
}

/// Row 46 in the sources: plain calls to open a file stand in one place, which knows of the trap; the others open
/// folders and the reserve, which no SQLite has open.
#[test]
fn only_the_hold_opens_a_job_by_plain_calls() {
    let store = Path::new(env!("CARGO_MANIFEST_DIR")).join("src/store");
    let mut found = Vec::new();
    for file in names(&store) {
        let text = fs::read_to_string(store.join(&file)).unwrap();
        let code = text.split("#[cfg(test)]").next().unwrap();
        for call in ["File::open", "OpenOptions::new", "File::create", "fs::read(", "fs::read_to_string", "fs::copy"] {
            found.extend(code.matches(call).map(|call| format!("{file}: {call}")));
        }
    }
    found.sort();
    assert_eq!(
        found,
        ["hold.rs: OpenOptions::new", "hold.rs: OpenOptions::new", "room.rs: File::open", "room.rs: OpenOptions::new"]
    );
}
