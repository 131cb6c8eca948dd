//! What is no job of this program, or is one that may not be written, is refused with a sentence that says what to do,
//! and left as it is.

use std::fs;
use std::os::unix::fs::{PermissionsExt, symlink};
use std::os::unix::process::CommandExt;
use std::path::{Path, PathBuf};
use std::process::Command;

use closerun::store::{Fault, Guards, Job, Verification, backup, verify};

use crate::child::Child;
use crate::record::names;
use crate::samples;

/// A job of ten events.
pub(crate) fn ten(folder: &Path) -> PathBuf {
    let path = folder.join("tower.job");
    let mut job = Job::create(&path).unwrap();
    job.append(&samples::day(10)).unwrap();
    job.close().unwrap();
    path
}

/// All files of the folder with their content and the time of their last change.
pub(crate) fn state(folder: &Path) -> Vec<(String, Vec<u8>, std::time::SystemTime)> {
    let files = names(folder).into_iter().map(|name| {
        let path = folder.join(&name);
        (name, fs::read(&path).unwrap(), path.metadata().unwrap().modified().unwrap())
    });
    files.collect()
}

/// Opening to write, to read, to verify and to copy all say the same, and change nothing.
fn refused(path: &Path) -> String {
    let folder = path.parent().unwrap();
    let before = state(folder);
    let error = Job::open(path).unwrap_err();
    assert_eq!(Job::read(path).unwrap_err(), error);
    assert_eq!(verify(path).unwrap_err(), error);
    assert_eq!(backup(path, &folder.join("copy.job")).unwrap_err(), error);
    assert_eq!(state(folder), before);
    error.fault.to_string()
}

#[test]
fn a_missing_job_is_missing() {
    let folder = tempfile::tempdir().unwrap();
    for name in ["tower.job", "nowhere/tower.job"] {
        let error = Job::open(&folder.path().join(name)).unwrap_err();
        assert_eq!(error.fault, Fault::Missing);
        assert!(error.to_string().ends_with("missing: no file or folder of that name; check the name"), "{error}");
    }
    assert_eq!(Job::create(&folder.path().join("nowhere/tower.job")).unwrap_err().fault, Fault::Missing);
    assert_eq!(names(folder.path()), [""; 0]);
}

/// What is said of a file, and how it is made.
type Case<'a> = (&'a str, &'a dyn Fn(&Path));

#[test]
fn what_is_no_job_is_named_and_left_alone() {
    let sql = |path: &Path, text: &str| rusqlite::Connection::open(path).unwrap().execute_batch(text).unwrap();
    let write = |content: &'static [u8]| move |path: &Path| fs::write(path, content).unwrap();
    let cases: [Case; 7] = [
        ("an empty file found, a job file was wanted", &write(b"")),
        ("a file that begins with \"PK\\u{3}\\u{4}\" found", &write(b"PK\x03\x04")),
        ("a file that begins with \"point,ba\" found", &write(b"point,back,fore\n")),
        ("the first few bytes of a database found", &write(b"SQLite format 3\0\x10\0")),
        ("a database of another program (application id 0x00000000) found", &|path| {
            sql(path, "PRAGMA journal_mode = WAL; CREATE TABLE event (seq, body); INSERT INTO event VALUES (1, 'x')");
        }),
        ("a database of another program (application id 0x47504b47) found", &|path| {
            sql(path, "CREATE TABLE t (x); PRAGMA application_id = 0x47504b47");
        }),
        ("version 2 found, this program reads version 1", &|path| {
            fs::rename(ten(path.parent().unwrap()), path).unwrap();
            sql(path, "PRAGMA user_version = 2");
        }),
    ];
    for (sentence, make) in cases {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("some.job");
        make(&path);
        let found = refused(&path);
        assert!(found.starts_with(sentence), "{found:?}, {sentence:?} was wanted");
        assert!(found.ends_with("; nothing was changed"), "{found:?}");
        assert_eq!(Job::create(&path).unwrap_err().fault, Fault::Exists);
        assert_eq!(names(folder.path()), ["some.job"]);
    }
}

#[test]
fn a_job_is_made_in_an_empty_file_and_in_no_other() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("some.job");
    assert_eq!(Job::create_in_empty(&path).unwrap_err().fault, Fault::Missing);
    fs::write(&path, b"x").unwrap();
    assert_eq!(Job::create_in_empty(&path).unwrap_err().fault, Fault::Exists);
    assert_eq!(fs::read(&path).unwrap(), b"x");

    fs::write(&path, b"").unwrap();
    assert_eq!(Job::open(&path).unwrap_err().fault, Fault::Unmade);
    // A log beside it may be all that is left of a job that was emptied.
    let log = folder.path().join("some.job-wal");
    fs::write(&log, b"pages").unwrap();
    assert_eq!(Job::create_in_empty(&path).unwrap_err().fault, Fault::Leftover { beside: log.clone() });
    fs::remove_file(&log).unwrap();

    Job::create_in_empty(&path).unwrap().close().unwrap();
    assert_eq!(Job::create_in_empty(&path).unwrap_err().fault, Fault::Exists);
    Job::open(&path).unwrap().close().unwrap();
    assert_eq!(names(folder.path()), ["some.job"]);
}

#[test]
fn a_folder_is_no_job() {
    let folder = tempfile::tempdir().unwrap();
    for error in [Job::open(folder.path()).unwrap_err(), Job::read(folder.path()).unwrap_err()] {
        assert_eq!(error.fault, Fault::NotOurs { found: "a folder".into() });
    }
}

#[test]
fn a_hot_journal_of_another_program_is_not_rolled_back() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("other.db");
    let other = rusqlite::Connection::open(&path).unwrap();
    other.execute_batch("CREATE TABLE t (x); PRAGMA cache_size = 1; BEGIN").unwrap();
    for _ in 0..50 {
        other.execute_batch("INSERT INTO t VALUES (zeroblob(3000))").unwrap();
    }
    // As a killed process would leave it.
    let killed = tempfile::tempdir().unwrap();
    for name in ["other.db", "other.db-journal"] {
        fs::copy(folder.path().join(name), killed.path().join(name)).unwrap();
    }
    assert!(refused(&killed.path().join("other.db")).starts_with("a database of another program"));
}

#[test]
fn a_new_job_takes_no_name_that_is_taken() {
    let folder = tempfile::tempdir().unwrap();
    let path = ten(folder.path());
    let before = state(folder.path());
    assert_eq!(Job::create(&path).unwrap_err().fault, Fault::Exists);
    symlink("nothing", folder.path().join("link.job")).unwrap();
    assert_eq!(Job::create(&folder.path().join("link.job")).unwrap_err().fault, Fault::Exists);
    fs::remove_file(folder.path().join("link.job")).unwrap();
    assert_eq!(state(folder.path()), before);
}

/// Row 43: an old log beside a new name would be taken for the new job's own.
#[test]
fn a_new_job_is_not_begun_beside_an_old_log() {
    for ending in ["-wal", "-shm", "-journal"] {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("tower.job");
        let beside = folder.path().join(format!("tower.job{ending}"));
        fs::write(&beside, "old").unwrap();
        let error = Job::create(&path).unwrap_err();
        assert_eq!(error.fault, Fault::Leftover { beside });
        assert!(
            error.to_string().contains("belongs to an older job of that name; bring the older job back"),
            "{error}"
        );
        assert_eq!(names(folder.path()), [format!("tower.job{ending}")]);

        let other = folder.path().join("other");
        fs::create_dir(&other).unwrap();
        assert!(matches!(backup(&ten(&other), &path).unwrap_err().fault, Fault::Leftover { .. }), "nor a backup");
    }
}

/// Rows 10 and K: in use, missing and not allowed are three sentences.
#[test]
fn a_second_writer_is_refused_and_the_first_unharmed() {
    let folder = tempfile::tempdir().unwrap();
    let path = ten(folder.path());
    let mut first = Child::start(&path);
    assert_eq!(first.ask("open"), "ok 10");

    for path in [path.clone(), {
        let link = folder.path().join("link.job");
        symlink(&path, &link).unwrap();
        link
    }] {
        let error = Job::open(&path).unwrap_err();
        assert_eq!(error.fault, Fault::InUse);
        assert!(
            error.to_string().contains("in use: another run of this program is writing it; stop that one"),
            "{error}"
        );
    }
    assert_eq!(Child::start(&path).ask("open"), "InUse", "and from a third process");

    assert_eq!(first.ask("append 5"), "ok 15");
    first.kill();
    let mut job = Job::open(&path).expect("the lock went with its owner");
    assert_eq!(job.head().seq, 15);
    assert_eq!(Job::open(&path).unwrap_err().fault, Fault::InUse, "nor twice in one process");
    assert_eq!(Child::start(&path).ask("open"), "InUse", "and the refusal has not loosened the lock");
    job.append(&[samples::reading(16)]).unwrap();
    drop(job);
    assert_eq!(Child::start(&path).ask("open"), "ok 16");
}

#[test]
fn a_closed_folder_or_file_is_not_allowed() {
    if !rustix::process::geteuid().is_root() {
        eprintln!("skipped: needs root, to work as another user");
        return;
    }
    let folder = tempfile::tempdir().unwrap();
    let path = ten(folder.path());
    // This program where everybody may run it.
    let programs = tempfile::tempdir().unwrap();
    fs::set_permissions(programs.path(), fs::Permissions::from_mode(0o755)).unwrap();
    let program = programs.path().join("store");
    fs::copy(std::env::current_exe().unwrap(), &program).unwrap();
    let as_nobody = || {
        let mut command = Command::new(&program);
        command.uid(NOBODY).gid(NOBODY);
        Child::start_by(&mut command, &path)
    };
    let open = |mode| fs::set_permissions(&path, fs::Permissions::from_mode(mode)).unwrap();
    let enter = |mode| fs::set_permissions(folder.path(), fs::Permissions::from_mode(mode)).unwrap();

    enter(0o755);
    open(0o600);
    assert_eq!((as_nobody().ask("open"), as_nobody().ask("read")), ("NotAllowed".into(), "NotAllowed".into()));
    // It may be read, and its folder not be written: nothing is laid beside it.
    open(0o644);
    let before = state(folder.path());
    assert_eq!((as_nobody().ask("open"), as_nobody().ask("read")), ("NotAllowed".into(), "ok 10".into()));
    assert_eq!(state(folder.path()), before);
    // While it is written by somebody else it can be read too.
    let mut job = Job::open(&path).unwrap();
    job.append(&[samples::reading(11)]).unwrap();
    assert_eq!(as_nobody().ask("read"), "ok 11");
    job.close().unwrap();
    // The file may be written, its folder not: a log could not be laid beside it.
    open(0o666);
    assert_eq!(as_nobody().ask("open"), "NotAllowed");
    enter(0o700);
    assert_eq!(as_nobody().ask("open"), "NotAllowed");
    enter(0o755);
    fs::remove_file(&path).unwrap();
    assert_eq!(as_nobody().ask("create"), "NotAllowed");
}

/// A user without rights; the number by long custom.
const NOBODY: u32 = 65_534;

/// Reading leaves no trace: not in the file, not beside it, whatever end the recording had.
#[test]
fn reading_changes_nothing() {
    let folder = tempfile::tempdir().unwrap();
    let path = ten(folder.path());
    // The index beside a log is SQLite's scratch paper.
    let kept = || state(folder.path()).into_iter().filter(|(name, ..)| !name.ends_with("-shm")).collect::<Vec<_>>();
    let look = || {
        let before = kept();
        let reader = Job::read(&path).unwrap();
        assert!(matches!(reader.verify().unwrap(), Verification::Whole { guards: Guards::Standing, .. }));
        drop(reader);
        assert_eq!(kept(), before);
    };
    look();
    assert_eq!(names(folder.path()), ["tower.job"]);
    let mut child = Child::start(&path);
    child.ask("open");
    child.ask("append 7");
    look();
    child.kill();
    look();
    assert_eq!(names(folder.path()), ["tower.job", "tower.job-shm", "tower.job-wal"]);
    let mut job = Job::open(&path).unwrap();
    assert_eq!(job.head().seq, 17);
    job.append(&[samples::reading(18)]).unwrap();
    job.close().unwrap();
    look();
    assert_eq!(names(folder.path()), ["tower.job"]);
}

#[test]
fn the_library_is_new_enough() {
    assert!(rusqlite::version_number() >= 3_051_003, "SQLite {}", rusqlite::version());
}
