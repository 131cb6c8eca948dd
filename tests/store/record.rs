//! A job is created, appended to, closed, opened again and read: the events are the same.

use std::fs;
use std::path::Path;

use closerun::store::{Closing, Fault, Guards, Head, Job, Verification, backup, verify};

use crate::samples;

/// The names in the folder, in order.
pub(crate) fn names(folder: &Path) -> Vec<String> {
    let mut names: Vec<_> =
        fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().file_name().into_string().unwrap()).collect();
    names.sort();
    names
}

#[test]
fn what_was_appended_is_read_back_to_the_last_digit() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("tower.job");
    let events = samples::all();

    let mut job = Job::create(&path).unwrap();
    assert_eq!(job.head(), Head::start());
    for event in &events {
        job.append(std::slice::from_ref(event)).unwrap();
        assert_eq!(job.head().seq, event.seq);
    }
    let head = job.head();
    assert_eq!(job.events().collect::<Result<Vec<_>, _>>().unwrap(), events);
    assert_eq!(job.close().unwrap(), Closing::OneFile);
    assert_eq!(names(folder.path()), ["tower.job"]);

    let reader = Job::read(&path).unwrap();
    assert_eq!(reader.events().collect::<Result<Vec<_>, _>>().unwrap(), events);
    assert_eq!(reader.head().unwrap(), head);
    let whole = Verification::Whole { events: events.len() as u64, head, guards: Guards::Standing };
    assert_eq!(reader.verify().unwrap(), whole);
    drop(reader);
    assert_eq!(verify(&path).unwrap(), whole);

    let mut job = Job::open(&path).unwrap();
    assert_eq!(job.head(), head);
    job.append(&[samples::reading(head.seq + 1)]).unwrap();
    job.close().unwrap();
    assert_eq!(names(folder.path()), ["tower.job"]);
}

#[test]
fn a_batch_is_one_and_a_gap_is_refused() {
    let folder = tempfile::tempdir().unwrap();
    let mut job = Job::create(&folder.path().join("tower.job")).unwrap();
    job.append(&samples::day(10)).unwrap();
    let error = job.append(&[samples::reading(11), samples::reading(13)]).unwrap_err();
    assert_eq!(error.fault, Fault::Gap { wanted: 12, found: 13 });
    assert_eq!(job.head().seq, 10);
    job.append(&[samples::reading(11)]).unwrap();
    assert_eq!(job.append(&[samples::reading(11)]).unwrap_err().fault, Fault::Gap { wanted: 12, found: 11 });
    job.append(&[]).unwrap();
    assert_eq!(job.events().count(), 11);
}

#[test]
fn a_backup_is_one_complete_file() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("tower.job");
    let copy = folder.path().join("copy.job");
    let mut job = Job::create(&path).unwrap();
    job.append(&samples::day(1000)).unwrap();
    let report = backup(&path, &copy).unwrap();
    assert_eq!(report.head, job.head());
    job.append(&[samples::reading(1001)]).unwrap();
    assert_eq!(names(folder.path()), ["copy.job", "tower.job", "tower.job-shm", "tower.job-wal"]);
    assert_eq!(
        verify(&copy).unwrap(),
        Verification::Whole { events: 1000, head: report.head, guards: Guards::Standing }
    );
    assert_eq!(backup(&path, &copy).unwrap_err().fault, Fault::Exists);
    job.close().unwrap();
    assert_eq!(names(folder.path()), ["copy.job", "tower.job"]);
}
