//! Rows 39 and 40: each sync and each write in turn fails once. It is told at once, nothing is acknowledged after it until
//! the job has recovered, and everything that was acknowledged is in the file that it went on in.

use std::env;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;
use std::sync::OnceLock;
use std::time::{Duration, Instant};

use closerun::store::{Guards, Job, Verification, verify};

use crate::child::Child;
use crate::record::names;
use crate::refuse::ten;
use crate::{naive, samples};

/// What the disk does wrong.
#[derive(Clone, Copy)]
struct Disk {
    call: &'static str,
    how: &'static str,
    nth: usize,
    times: usize,
}

/// The library that makes the disk fail, built once.
fn library() -> &'static Path {
    static LIBRARY: OnceLock<PathBuf> = OnceLock::new();
    LIBRARY.get_or_init(|| {
        let source = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/store/shim/disk.c");
        let library = Path::new(env!("CARGO_TARGET_TMPDIR")).join(format!("disk-{}.so", std::process::id()));
        let mut compiler = Command::new("cc");
        compiler.args(["-O1", "-shared", "-fPIC", "-o"]).arg(&library).arg(&source).arg("-ldl");
        assert!(compiler.status().expect("a C compiler is needed").success());
        library
    })
}

/// A folder with a log of the disk's calls, and in it a folder for the job.
struct Bench {
    folder: tempfile::TempDir,
    job: PathBuf,
    log: PathBuf,
}

impl Bench {
    fn new() -> Bench {
        let folder = tempfile::tempdir().unwrap();
        let (site, log) = (folder.path().join("site"), folder.path().join("calls"));
        fs::create_dir(&site).unwrap();
        fs::write(&log, "").unwrap();
        Bench { job: site.join("tower.job"), log, folder }
    }

    fn site(&self) -> PathBuf {
        self.folder.path().join("site")
    }

    fn child(&self, disk: Disk, breaks: &str) -> Child {
        let mut command = Command::new(env::current_exe().unwrap());
        command.env("LD_PRELOAD", library()).env("DISK_FILE", "/site").env("DISK_LOG", &self.log);
        command.env("DISK_CALL", disk.call).env("DISK_HOW", disk.how).env("DISK_NTH", disk.nth.to_string());
        command
            .env("DISK_TIMES", disk.times.to_string())
            .env("DISK_MS", SLOW.as_millis().to_string())
            .env(naive::BREAKS, breaks);
        Child::start_by(&mut command, &self.job)
    }

    /// The calls so far: `.` for one that did its work, `!` for the one that failed.
    fn calls(&self) -> String {
        fs::read_to_string(&self.log).unwrap()
    }
}

/// The promise: an order during which the disk failed is not answered with `ok`.
fn judge(failed_before: bool, failed_now: bool, answer: &str) -> Result<(), String> {
    let happened = failed_now && !failed_before;
    let acknowledged = answer.starts_with("ok") || answer == "OneFile";
    match (happened, acknowledged) {
        (true, true) => Err(format!("the disk failed, and the answer was {answer:?}")),
        (false, false) => Err(format!("the disk did not fail, and the answer was {answer:?}")),
        _ => Ok(()),
    }
}

/// Records a small day on a disk that fails once, recovers, and checks everything that must hold. Gives the number of
/// calls, and what became of the failure.
fn day_on(disk: Disk) -> (usize, String) {
    let bench = Bench::new();
    let mut child = bench.child(disk, "");
    let (mut acknowledged, mut place, mut outcome) = (0, bench.job.clone(), "nothing failed".to_owned());
    let mut old = None;
    let orders = ["create"].into_iter().chain(["append 1"; 4]).chain(["checkpoint"]).chain(["append 1"; 4]);
    for order in orders.chain(["checkpoint", "append 1", "close"]) {
        let before = bench.calls().contains('!');
        let answer = child.ask(order);
        judge(before, bench.calls().contains('!'), &answer).unwrap_or_else(|wrong| panic!("{order}: {wrong}"));
        if let Some(seq) = answer.strip_prefix("ok ") {
            acknowledged = seq.parse().unwrap();
        }
        if before || !bench.calls().contains('!') {
            continue;
        }
        assert!(["Sync", "DiskFull", "Io"].iter().any(|kind| answer.starts_with(kind)), "{order}: {answer}");
        outcome = format!("{order}: {}", answer.split([' ', '{']).next().unwrap());
        if order == "create" {
            assert_eq!(names(&bench.site()), [""; 0], "nothing is left of a job that could not be made");
            assert_eq!(child.ask("create"), "ok 0");
            continue;
        }
        if order == "close" {
            break;
        }
        for refused in ["append 1", "append 1", "checkpoint"] {
            assert_eq!(child.ask(refused), answer, "it stays refused, with the same words");
        }
        let log = bench.job.with_file_name("tower.job-wal");
        let recovered = child.ask("recover");
        let mut words = recovered.splitn(3, ' ');
        let (how, head) = (words.next().unwrap(), words.next().unwrap().parse::<u64>().unwrap());
        // The event whose append failed may be there, or not.
        assert!(head == acknowledged || (order == "append 1" && head == acknowledged + 1), "{recovered}");
        let wanted = if answer.starts_with("Sync") { "fresh" } else { "same" };
        assert_eq!(how, wanted, "{answer}");
        if let Some(path) = words.next() {
            place = PathBuf::from(path);
            old = Some((log.clone(), fs::read(&bench.job).unwrap(), fs::read(&log).unwrap()));
        }
        acknowledged = head;
    }
    drop(child);
    if let Some((log, job_bytes, log_bytes)) = old {
        assert_eq!(fs::read(&bench.job).unwrap(), job_bytes, "the old file is left as it is");
        assert_eq!(fs::read(log).unwrap(), log_bytes);
    }
    let reader = Job::read(&place).unwrap();
    let events: Vec<_> = reader.events().map(Result::unwrap).collect();
    assert_eq!(events, samples::day(acknowledged));
    let Verification::Whole { events, guards: Guards::Standing, .. } = reader.verify().unwrap() else { panic!() };
    assert_eq!(events, acknowledged);
    drop(reader);
    let mut job = Job::open(&place).unwrap();
    job.append(&[samples::numbered(acknowledged + 1)]).unwrap();
    (bench.calls().len(), outcome)
}

/// A day on a disk whose first, second, third ... call fails.
fn each_in_turn(call: &'static str, how: &'static str) -> Vec<String> {
    let (calls, outcome) = day_on(Disk { call, how, nth: 0, times: 0 });
    assert_eq!(outcome, "nothing failed");
    let mut outcomes: Vec<String> = (1..=calls).map(|nth| day_on(Disk { call, how, nth, times: 1 }).1).collect();
    outcomes.dedup();
    eprintln!("{call}, {how}: {calls} calls, each failed once: {}", outcomes.join("; "));
    outcomes
}

#[test]
fn each_sync_in_turn_fails() {
    let outcomes = each_in_turn("sync", "eio");
    for wanted in ["create: Sync", "append 1: Sync", "checkpoint: Sync", "close: Sync"] {
        assert!(outcomes.iter().any(|outcome| outcome == wanted), "{wanted}: {outcomes:?}");
    }
}

#[test]
fn each_write_in_turn_fails() {
    let outcomes = each_in_turn("write", "eio");
    for wanted in ["create: Io", "append 1: Io", "checkpoint: Io", "close: Io"] {
        assert!(outcomes.iter().any(|outcome| outcome == wanted), "{wanted}: {outcomes:?}");
    }
}

#[test]
fn each_write_in_turn_finds_the_disk_full() {
    let outcomes = each_in_turn("write", "enospc");
    assert!(outcomes.iter().any(|outcome| outcome == "append 1: DiskFull"), "{outcomes:?}");
}

#[test]
fn each_write_in_turn_is_cut_short() {
    let outcomes = each_in_turn("write", "short");
    assert!(outcomes.iter().any(|outcome| outcome == "append 1: DiskFull"), "{outcomes:?}");
}

/// A fresh copy whose sync fails too is no copy: nothing is left of it, and recovering can be tried again.
#[test]
fn a_recovery_that_fails_can_be_tried_again() {
    let probe = Bench::new();
    fs::rename(ten(probe.folder.path()), &probe.job).unwrap();
    let mut child = probe.child(Disk { call: "sync", how: "eio", nth: 0, times: 0 }, "");
    child.ask("open");
    let opened = probe.calls().len();
    for times in 2..=5 {
        let bench = Bench::new();
        fs::rename(ten(bench.folder.path()), &bench.job).unwrap();
        let mut child = bench.child(Disk { call: "sync", how: "eio", nth: opened + 1, times }, "");
        assert_eq!(child.ask("open"), "ok 10");
        assert!(child.ask("append 1").starts_with("Sync"));
        for _ in 1..times {
            let answer = child.ask("recover");
            assert!(answer.starts_with("Sync"), "{answer}");
            assert_eq!(names(&bench.site()), ["tower.job", "tower.job-shm", "tower.job-wal"]);
            assert!(child.ask("append 1").starts_with("Sync"));
        }
        assert!(child.ask("recover").starts_with("fresh 10 "));
        assert_eq!(child.ask("append 3"), "ok 13");
        assert_eq!(child.ask("close"), "OneFile");
    }
}

/// A backup on a disk that fails is no backup, and none is left.
#[test]
fn a_backup_on_a_failing_disk_leaves_nothing() {
    for (call, how) in [("sync", "eio"), ("write", "short"), ("folder", "eio")] {
        let copy = |nth| {
            let bench = Bench::new();
            fs::rename(ten(bench.folder.path()), &bench.job).unwrap();
            let to = bench.job.with_file_name("copy.job");
            let answer = bench.child(Disk { call, how, nth, times: 1 }, "").ask(&format!("backup {}", to.display()));
            let there = verify(&to);
            match answer.as_str() {
                "ok 10" => assert!(matches!(there.unwrap(), Verification::Whole { events: 10, .. })),
                _ => assert_eq!(names(&bench.site()), ["tower.job"], "{answer}"),
            }
            (bench.calls().len(), answer == "ok 10")
        };
        let (calls, copied) = copy(0);
        assert!(copied && calls > 0, "{call}");
        let failed = (1..=calls).filter(|&nth| !copy(nth).1).count();
        assert!(failed > 0, "{call}: {calls} calls, none of them mattered");
        eprintln!("backup: {call}, {how}: {failed} of {calls} calls matter");
    }
}

/// The name of the log is forced to the disk by us: SQLite would go on when that fails.
#[test]
fn each_sync_of_the_folder_in_turn_fails() {
    let told = |nth| {
        let bench = Bench::new();
        let mut child = bench.child(Disk { call: "folder", how: "eio", nth, times: 1 }, "");
        let answer = child.ask("create");
        let made = answer == "ok 0";
        assert!(made || answer.starts_with("Sync"), "{answer}");
        assert_eq!(made, bench.job.exists());
        (bench.calls().len(), made)
    };
    let (calls, made) = told(0);
    assert!(made);
    let (last, made) = told(calls);
    assert_eq!((last, made), (calls, false), "the last one is ours");

    let bench = Bench::new();
    fs::rename(ten(bench.folder.path()), &bench.job).unwrap();
    assert!(bench.child(Disk { call: "folder", how: "eio", nth: 1, times: 1 }, "").ask("open").starts_with("Sync"));
    assert_eq!(Job::open(&bench.job).unwrap().head().seq, 10);
}

/// Planted: a writer that tries again on the same file after a failed sync is caught by the same judge.
#[test]
fn a_writer_that_shrugs_at_a_failed_sync_is_caught() {
    let bench = Bench::new();
    fs::rename(ten(bench.folder.path()), &bench.job).unwrap();
    let mut child = bench.child(Disk { call: "sync", how: "eio", nth: 3, times: 1 }, "retry");
    child.ask("naive");
    let caught = (0..10).any(|_| {
        let before = bench.calls().contains('!');
        let answer = child.ask("append");
        judge(before, bench.calls().contains('!'), &answer).is_err()
    });
    assert!(caught, "the calls were {}", bench.calls());
}

/// How much longer a slow disk takes for each sync.
const SLOW: Duration = Duration::from_millis(150);

/// The time that one append takes on a slow disk.
fn time_of_append(order: &str, breaks: &str) -> Duration {
    let bench = Bench::new();
    fs::rename(ten(bench.folder.path()), &bench.job).unwrap();
    let mut child = bench.child(Disk { call: "sync", how: "slow", nth: 0, times: 0 }, breaks);
    child.ask(order);
    child.ask("append 1");
    let begun = Instant::now();
    assert_eq!(child.ask("append 1"), "ok 12");
    begun.elapsed()
}

/// An acknowledgement waits for the sync, however slow. Planted: with `synchronous=NORMAL` it does not.
#[test]
fn an_acknowledgement_waits_for_a_slow_disk() {
    let (ours, planted) = (time_of_append("open", ""), time_of_append("naive", "normal"));
    assert!(ours >= SLOW, "{ours:?}");
    assert!(planted < SLOW, "{planted:?}");
}

/// Row 18: a disk that takes two seconds for a sync loses nothing and reorders nothing. The events wait with the caller.
#[test]
fn a_slow_disk_keeps_everything() {
    let bench = Bench::new();
    let mut child = bench.child(Disk { call: "sync", how: "slow", nth: 0, times: 0 }, "");
    for order in ["create", "append 8", "checkpoint", "append 1", "close"] {
        child.ask(order);
    }
    assert!(matches!(verify(&bench.job).unwrap(), Verification::Whole { events: 9, .. }));
}
