//! Row 41: the disk is full before, during and at the opening of a job, in three ways. It is told as what it is, the
//! reserve lets the last events in, nothing acknowledged is lost, and the recording goes on when there is room.

use std::fs;
use std::os::unix::process::CommandExt;
use std::process::Command;

use closerun::book::event::Event;
use closerun::store::{Fault, GoesOn, Job, NEW_JOB_NEEDS, Room, Verification, backup, verify};

use crate::child::Child;
use crate::mount::{Disk, Kind, fill};
use crate::record::names;
use crate::refuse::ten;
use crate::{naive, samples};

/// So many events at once: a disk in a file on a disk takes its time for each sync.
const BATCH: u64 = 20;

/// An event with a large record, so that a disk is full before the day is over.
fn heavy(seq: u64) -> Event {
    Event { raw: vec![seq as u8; 8 << 10], ..samples::numbered(seq) }
}

/// The next events of a day.
fn next(job: &Job) -> Vec<Event> {
    (job.head().seq + 1..=job.head().seq + BATCH).map(heavy).collect()
}

/// Appends until it is refused.
fn until_refused(job: &mut Job) -> Fault {
    loop {
        let head = job.head();
        if let Err(error) = job.append(&next(job)) {
            assert_eq!(job.head(), head, "what was refused does not count");
            return error.fault;
        }
    }
}

fn a_disk_runs_full(kind: Kind) {
    let Some(disk) = Disk::new(kind, 64) else { return };
    let path = disk.path().join("tower.job");
    let mut job = Job::create(&path).unwrap();
    job.append(&next(&job)).unwrap();
    assert!(matches!(job.room(), Room::Low { .. }), "{:?}", job.room());

    let filler = fill(&disk.path());
    assert_eq!(until_refused(&mut job), Fault::DiskFull);
    assert_eq!(until_refused(&mut job), Fault::DiskFull, "it stays refused");
    assert!(job.failure().is_some());

    // The reserve of 8 MiB: so much of records gets in, and the log's own share.
    let before = job.head().seq;
    assert_eq!(job.recover().unwrap().place, GoesOn::InSameFile);
    assert_eq!(job.room(), Room::LastEvents);
    while job.head().seq < before + 300 {
        job.append(&next(&job)).unwrap();
    }
    assert_eq!(until_refused(&mut job), Fault::DiskFull);
    let kept = job.head().seq;
    assert!(kept >= before + 300);
    // Without room it can recover as often as it likes: what was kept is there, nothing gets in.
    for _ in 0..3 {
        let recovered = job.recover().unwrap();
        assert!(recovered.head.seq >= kept);
        assert_eq!(until_refused(&mut job), Fault::DiskFull);
    }
    let kept = job.head().seq;
    assert_eq!(backup(&path, &disk.path().join("copy.job")).unwrap_err().fault, Fault::DiskFull);

    fs::remove_file(filler).unwrap();
    assert_eq!(job.append(&[heavy(kept + 1)]).unwrap_err().fault, Fault::DiskFull, "sticky until recovered");
    job.recover().unwrap();
    job.append(&[heavy(kept + 1)]).unwrap();
    job.checkpoint().unwrap();
    assert!(matches!(job.room(), Room::Low { .. }), "and the reserve is there again");
    job.close().unwrap();
    assert_eq!(names(&disk.path()).into_iter().filter(|name| name != "lost+found").collect::<Vec<_>>(), ["tower.job"]);
    let events: Vec<_> = Job::read(&path).unwrap().events().map(Result::unwrap).collect();
    assert!(events.into_iter().eq((1..=kept + 1).map(heavy)));
    assert!(matches!(verify(&path).unwrap(), Verification::Whole { .. }));
}

#[test]
fn a_memory_disk_runs_full() {
    a_disk_runs_full(Kind::Tmpfs);
}

#[test]
fn an_ext4_disk_runs_full() {
    a_disk_runs_full(Kind::Ext4);
}

/// Before and at the opening.
#[test]
fn a_full_disk_is_told_when_a_job_is_begun_or_taken_up() {
    let Some(disk) = Disk::new(Kind::Tmpfs, 64) else { return };
    let path = ten(&disk.path());
    let nearly = fs::File::create(disk.path().join("nearly")).unwrap();
    rustix::fs::fallocate(&nearly, rustix::fs::FallocateFlags::empty(), 0, (64 << 20) - NEW_JOB_NEEDS + 4096).unwrap();
    let error = Job::create(&disk.path().join("new.job")).unwrap_err();
    assert!(matches!(error.fault, Fault::LowSpace { free } if free < NEW_JOB_NEEDS), "{error}");
    assert!(error.to_string().contains("19 MiB free on the disk, at least 20 MiB were wanted; make room"), "{error}");
    // A job that was begun is taken up all the same.
    drop(Job::open(&path).unwrap());

    let filler = fill(&disk.path());
    let before = fs::read(&path).unwrap();
    assert_eq!(Job::open(&path).unwrap_err().fault, Fault::DiskFull);
    assert_eq!(fs::read(&path).unwrap(), before);
    fs::remove_file(filler).unwrap();
    assert_eq!(Job::open(&path).unwrap().head().seq, 10);
}

/// The third way: a limit on the size of files. It is another error, and reads as "cannot write".
#[test]
fn a_limit_on_the_size_of_files_is_told() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("tower.job");
    Job::create(&path).unwrap().close().unwrap();
    // 100 blocks of 512 bytes; without the signal, which would end the process.
    let mut command = Command::new("sh");
    command.args(["-c", "trap '' XFSZ; ulimit -f 100; exec \"$0\" \"$@\""]).arg(std::env::current_exe().unwrap());
    command.process_group(0);
    let mut child = Child::start_by(&mut command, &path);
    assert_eq!(child.ask("open"), "ok 0");
    let mut kept = 0;
    let refused = loop {
        match child.ask("append 1").strip_prefix("ok ") {
            Some(seq) => kept = seq.parse().unwrap(),
            None => break child.ask("append 1"),
        }
    };
    assert!(refused.starts_with("Io { what: "), "{refused}");
    assert!(kept > 5);
    assert_eq!(child.ask("recover"), format!("same {kept}"));
    child.kill();
    let mut job = Job::open(&path).unwrap();
    assert_eq!(job.head().seq, kept);
    job.append(&[samples::numbered(kept + 1)]).unwrap();
    assert_eq!(job.events().map(Result::unwrap).collect::<Vec<_>>(), samples::day(kept + 1));
}

/// Row 42a: the disk is mounted anew for reading only.
#[test]
fn a_disk_that_turns_read_only_is_told() {
    let Some(disk) = Disk::new(Kind::Ext4, 64) else { return };
    let path = disk.path().join("tower.job");
    let mut child = Child::start(&path);
    child.ask("create");
    assert_eq!(child.ask("append 10"), "ok 10");
    child.kill();
    let remount = |how: &str| crate::mount::run(Command::new("mount").args(["-o", how]).arg(disk.path())).unwrap();
    remount("remount,ro");
    assert_eq!(Job::open(&path).unwrap_err().fault, Fault::ReadOnly);
    assert_eq!(Job::create(&disk.path().join("new.job")).unwrap_err().fault, Fault::ReadOnly);
    remount("remount,rw");
    assert_eq!(Job::open(&path).unwrap().head().seq, 10);
}

/// Planted: a writer that takes no error seriously loses what it acknowledged on a full disk.
#[test]
fn a_writer_that_shrugs_at_a_full_disk_is_caught() {
    let Some(disk) = Disk::new(Kind::Tmpfs, 64) else { return };
    let path = ten(&disk.path());
    let mut command = Command::new(std::env::current_exe().unwrap());
    let mut child = Child::start_by(command.env(naive::BREAKS, "ignore"), &path);
    child.ask("naive");
    child.ask("append");
    let filler = fill(&disk.path());
    let acknowledged = (0..100).map(|_| child.ask("append")).last();
    assert_eq!(acknowledged.as_deref(), Some("ok 111"));
    child.kill();
    fs::remove_file(filler).unwrap();
    let head = Job::read(&path).unwrap().head().unwrap().seq;
    assert!(crate::crash::judge_head(head, 111, 111).is_err(), "{head}");
}
