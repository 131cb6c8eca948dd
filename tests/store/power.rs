//! Row 37: the power goes while a job is recorded. What was acknowledged is on the disk: once, unchanged, in order.

use std::path::Path;
use std::process::Command;
use std::thread;
use std::time::Duration;

use closerun::store::{Closing, Job};

use crate::child::{Acknowledgement, Child};
use crate::crash::{Dice, judge, judge_head};
use crate::mount::{Disk, Kind};
use crate::{naive, samples};

/// Rounds, unless `CLOSERUN_POWER_CUTS` says otherwise.
const CUTS: u32 = 5;

fn cuts() -> u32 {
    std::env::var("CLOSERUN_POWER_CUTS").map_or(CUTS, |text| text.parse().expect("CLOSERUN_POWER_CUTS is a number"))
}

/// What a child said before and after the power was cut.
struct Said {
    /// The last event that was acknowledged before the cut began.
    in_time: u64,
    /// The last event that was acknowledged at all. While the disk is going down the kernel may yet answer a sync with
    /// success that did not reach it; with real power there is nobody left to hear that.
    at_all: u64,
}

/// Lets a child record on the disk, cuts the power after a random time and brings it back. `None`, with the reason
/// printed, where the power cannot be cut.
fn cut(disk: &Disk, mut child: Child, dice: &mut Dice) -> Option<Said> {
    let mut heard = vec![Acknowledgement::read(&child.answer().unwrap()).unwrap()];
    thread::sleep(Duration::from_millis(dice.below(150)));
    let script = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/store/power_cut.py");
    let done = Command::new("python3").arg(script).arg(disk.path()).output().expect("python3 is needed");
    child.kill();
    if !done.status.success() {
        eprintln!("skipped: the power cannot be cut here: {}", String::from_utf8_lossy(&done.stderr));
        return None;
    }
    let begun_ns: u128 = String::from_utf8(done.stdout).unwrap().trim().parse().unwrap();
    while let Some(answer) = child.answer() {
        // The last thing that it says may be what went wrong.
        heard.extend(Acknowledgement::read(&answer));
    }
    disk.unmount().unwrap();
    disk.mount().unwrap();
    let in_time = heard.iter().filter(|said| said.at_ns < begun_ns).map(|said| said.seq).max().unwrap_or(0);
    Some(Said { in_time, at_all: heard.last().map_or(0, |said| said.seq) })
}

#[test]
fn what_was_acknowledged_survives_a_power_cut() {
    let Some(disk) = Disk::new(Kind::Ext4, 64) else { return };
    let path = disk.path().join("tower.job");
    let mut dice = Dice::new();
    for round in 1..=cuts() {
        let mut child = Child::start(&path);
        // The first time the power is cut, the job itself was begun a moment ago.
        assert!(child.ask(if round == 1 { "create" } else { "open" }).starts_with("ok "));
        child.tell("stream");
        let Some(said) = cut(&disk, child, &mut dice) else { return };
        let head = judge(&path, said.in_time, said.at_all).unwrap_or_else(|wrong| panic!("round {round}: {wrong}"));
        eprintln!(
            "round {round}: event {} was acknowledged ({} too late), event {head} is there",
            said.in_time,
            said.at_all - said.in_time
        );
    }
    assert_eq!(Job::open(&path).unwrap().close().unwrap(), Closing::OneFile);
}

/// Planted: with `synchronous=NORMAL` acknowledged events are lost.
#[test]
fn a_writer_that_does_not_sync_loses_what_it_acknowledged() {
    let Some(disk) = Disk::new(Kind::Ext4, 64) else { return };
    let path = disk.path().join("tower.job");
    let mut dice = Dice::new();
    Job::create(&path).unwrap().close().unwrap();
    let mut caught = 0;
    for _ in 0..CUTS {
        let mut command = Command::new(std::env::current_exe().unwrap());
        let mut child = Child::start_by(command.env(naive::BREAKS, "normal"), &path);
        child.tell("naive-stream");
        let Some(said) = cut(&disk, child, &mut dice) else { return };
        let head = Job::read(&path).unwrap().head().unwrap().seq;
        caught += u32::from(judge_head(head, said.in_time, said.at_all).is_err());
        eprintln!("planted: event {} was acknowledged, event {head} is there", said.in_time);
    }
    assert!(caught > 0, "{CUTS} cuts have shown nothing: the test cannot see what it is there for");
}

/// A stop in good order, and then the power goes: one complete file, and no log comes back and spoils it.
#[test]
fn a_closed_job_survives_a_power_cut() {
    let Some(disk) = Disk::new(Kind::Ext4, 64) else { return };
    let path = disk.path().join("tower.job");
    let mut job = Job::create(&path).unwrap();
    job.append(&samples::day(30)).unwrap();
    assert_eq!(job.close().unwrap(), Closing::OneFile);
    // Another goes on beside it, and is cut off.
    let mut child = Child::start(&disk.path().join("other.job"));
    child.ask("create");
    child.tell("stream");
    if cut(&disk, child, &mut Dice::new()).is_none() {
        return;
    }
    assert_eq!(judge(&path, 30, 30).unwrap(), 30);
    assert_eq!(Job::open(&path).unwrap().head().seq, 30);
}
