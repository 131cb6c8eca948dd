//! Row 42: a job that is removed, moved, replaced or overwritten while it is recorded is not written on to nothing: the
//! next append says so, and what was kept goes on in a new file, complete.

use std::fs;
use std::path::{Path, PathBuf};

use closerun::store::{Fault, GoesOn, Job, PathState, Verification, verify};

use crate::child::Child;
use crate::record::names;
use crate::refuse::ten;
use crate::samples;

/// Records, lets something happen to the file, and records on.
fn through(state: PathState, happen: impl Fn(&Path)) -> (tempfile::TempDir, PathBuf) {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("tower.job");
    let mut job = Job::create(&path).unwrap();
    job.append(&samples::day(600)).unwrap();
    job.checkpoint().unwrap();
    job.append(&[samples::reading(601)]).unwrap();
    assert_eq!(job.still_there(), PathState::Same);
    happen(&path);
    assert_eq!(job.still_there(), state);
    let error = job.append(&[samples::reading(602)]).unwrap_err();
    assert_eq!(error.fault, Fault::Elsewhere { state });
    assert_eq!(job.append(&[samples::reading(602)]).unwrap_err(), error);
    assert_eq!(job.checkpoint().unwrap_err(), error);
    let found = fs::read(&path).ok();

    let recovery = job.recover().unwrap();
    let rescued = folder.path().join("tower-rescued-1.job");
    assert_eq!(recovery.place, GoesOn::InFreshCopy(rescued.clone()));
    assert_eq!((recovery.head.seq, job.path()), (601, rescued.as_path()));
    job.append(&[samples::reading(602)]).unwrap();
    assert_eq!(Child::start(&rescued).ask("open"), "InUse", "the lock moves along");
    job.close().unwrap();
    assert_eq!(fs::read(&path).ok(), found, "what lies there now is not ours");
    assert!(matches!(verify(&rescued).unwrap(), Verification::Whole { events: 602, .. }));
    let events: Vec<_> = Job::read(&rescued).unwrap().events().map(Result::unwrap).collect();
    assert_eq!(events, samples::day(602));
    let left: Vec<_> = names(folder.path()).into_iter().filter(|name| name.starts_with("tower")).collect();
    match state {
        PathState::Gone => assert_eq!(left, ["tower-rescued-1.job"]),
        // Its log would spoil whatever lies there now.
        PathState::Replaced | PathState::Overwritten => assert_eq!(left, ["tower-rescued-1.job", "tower.job"]),
        PathState::LogGone | PathState::Same => {}
    }
    (folder, rescued)
}

#[test]
fn a_removed_job_is_rescued() {
    through(PathState::Gone, |path| fs::remove_file(path).unwrap());
}

#[test]
fn a_job_moved_away_is_rescued() {
    let moved = tempfile::tempdir().unwrap();
    through(PathState::Gone, |path| fs::rename(path, moved.path().join("elsewhere.job")).unwrap());
}

#[test]
fn a_replaced_job_is_rescued() {
    through(PathState::Replaced, |path| {
        let other = tempfile::tempdir_in(path.parent().unwrap()).unwrap();
        fs::rename(ten(other.path()), path).unwrap();
    });
}

#[test]
fn a_job_that_another_job_was_copied_over_is_rescued() {
    through(PathState::Overwritten, |path| {
        let other = tempfile::tempdir().unwrap();
        fs::copy(ten(other.path()), path).unwrap();
    });
}

/// The job that was put in its place is not spoilt by the log that lay beside that name.
#[test]
fn the_job_in_its_place_stays_whole() {
    let (folder, _) = through(PathState::Replaced, |path| {
        let other = tempfile::tempdir_in(path.parent().unwrap()).unwrap();
        fs::rename(ten(other.path()), path).unwrap();
    });
    let found = verify(&folder.path().join("tower.job")).unwrap();
    assert!(matches!(found, Verification::Whole { events: 10, .. }), "{found}");
}

#[test]
fn a_job_that_rubbish_was_written_over_is_rescued() {
    through(PathState::Overwritten, |path| fs::write(path, vec![0x55; 100_000]).unwrap());
    through(PathState::Overwritten, |path| fs::write(path, "").unwrap());
}

#[test]
fn a_job_robbed_of_its_log_is_rescued() {
    let log = |path: &Path| path.with_file_name("tower.job-wal");
    through(PathState::LogGone, |path| fs::remove_file(log(path)).unwrap());
    through(PathState::LogGone, |path| {
        fs::remove_file(log(path)).unwrap();
        fs::write(log(path), "").unwrap();
    });
}

#[test]
fn a_job_whose_folder_was_moved_goes_on_where_it_is_told() {
    let outer = tempfile::tempdir().unwrap();
    let folder = outer.path().join("site");
    fs::create_dir(&folder).unwrap();
    let mut job = Job::create(&folder.join("tower.job")).unwrap();
    job.append(&samples::day(10)).unwrap();
    fs::rename(&folder, outer.path().join("moved")).unwrap();
    assert_eq!(job.append(&[samples::reading(11)]).unwrap_err().fault, Fault::Elsewhere { state: PathState::Gone });
    assert_eq!(job.recover().unwrap_err().fault, Fault::Missing, "no folder to go on in");
    let rescued = outer.path().join("rescued.job");
    assert_eq!(job.go_on_in(&rescued).unwrap().place, GoesOn::InFreshCopy(rescued.clone()));
    job.append(&[samples::reading(11)]).unwrap();
    job.close().unwrap();
    assert!(matches!(verify(&rescued).unwrap(), Verification::Whole { events: 11, .. }));
}

/// A backup program that resets the time of the file, or another program that moves the log into it, does no harm.
#[test]
fn a_touch_is_no_overwriting() {
    let folder = tempfile::tempdir().unwrap();
    let path = ten(folder.path());
    let mut job = Job::open(&path).unwrap();
    job.append(&[samples::reading(11)]).unwrap();
    let touch = || fs::File::options().append(true).open(&path).unwrap().set_modified(std::time::UNIX_EPOCH).unwrap();
    touch();
    assert_eq!(job.still_there(), PathState::Overwritten);
    job.append(&[samples::reading(12)]).unwrap();
    assert_eq!(job.still_there(), PathState::Same);

    let mut other = Child::start(&path);
    assert_eq!(other.ask("sql PRAGMA wal_checkpoint"), "ok");
    assert_eq!(job.still_there(), PathState::Overwritten);
    assert_eq!(job.recover().unwrap().place, GoesOn::InSameFile);
    assert_eq!(job.still_there(), PathState::Same);
    touch();
    job.close().unwrap();
    assert!(matches!(verify(&path).unwrap(), Verification::Whole { events: 12, .. }));
}

/// Planted: a writer that does not look acknowledges events that nobody will ever find.
#[test]
fn a_writer_that_does_not_look_writes_to_nothing() {
    let folder = tempfile::tempdir().unwrap();
    let path = ten(folder.path());
    let mut command = std::process::Command::new(std::env::current_exe().unwrap());
    let mut child = Child::start_by(command.env(crate::naive::BREAKS, "look"), &path);
    assert_eq!(child.ask("naive"), "ok 10");
    assert_eq!(child.ask("append"), "ok 11");
    let moved = folder.path().join("moved.job");
    fs::rename(&path, &moved).unwrap();
    assert_eq!(child.ask("append"), "ok 12");
    assert_eq!(child.ask("close"), "OneFile");
    drop(child);
    assert_eq!(Job::read(&moved).unwrap().head().unwrap().seq, 10);
}
