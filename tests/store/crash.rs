//! `kill -9` at any instant: what was acknowledged is there, once, unchanged, in order; what was not is absent or whole.

use std::path::Path;
use std::process::Command;
use std::thread;
use std::time::{Duration, Instant, SystemTime, UNIX_EPOCH};

use closerun::store::{Closing, Fault, Guards, Head, Job, Verification};

use crate::child::{Acknowledgement, Child};
use crate::record::names;
use crate::{naive, samples};

/// Rounds, unless `CLOSERUN_KILLS` says otherwise.
const KILLS: u32 = 60;

/// The largest batch that the child appends: so many events may be there that were not acknowledged.
const BATCH: u64 = 3;

fn kills() -> u32 {
    std::env::var("CLOSERUN_KILLS").map_or(KILLS, |text| text.parse().expect("CLOSERUN_KILLS is a number"))
}

/// A generator of delays, printed so that a failure can be repeated: `CLOSERUN_SEED`.
pub(crate) struct Dice(u64);

impl Dice {
    pub(crate) fn new() -> Dice {
        let now = || SystemTime::now().duration_since(UNIX_EPOCH).unwrap().as_nanos() as u64 | 1;
        let seed = std::env::var("CLOSERUN_SEED").map_or_else(|_| now(), |text| text.parse().unwrap());
        eprintln!("CLOSERUN_SEED={seed}");
        Dice(seed)
    }

    /// Xorshift, by G. Marsaglia, Journal of Statistical Software 8 (14), 2003.
    pub(crate) fn below(&mut self, end: u64) -> u64 {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        self.0 % end
    }
}

/// Lets the child work, kills it after a random time, and gives the last event that it acknowledged.
fn kill_at_random(child: &mut Child, dice: &mut Dice) -> u64 {
    let end = Instant::now() + Duration::from_micros(dice.below(30_000));
    let mut acknowledged = 0;
    let note = |answer: String, acknowledged: &mut u64| {
        *acknowledged = Acknowledgement::read(&answer).unwrap_or_else(|| panic!("{answer}")).seq;
    };
    // The first acknowledgement says that it is at work.
    note(child.answer().unwrap(), &mut acknowledged);
    if let Some(rest) = end.checked_duration_since(Instant::now()) {
        thread::sleep(rest);
    }
    child.kill();
    while let Some(answer) = child.answer() {
        note(answer, &mut acknowledged);
    }
    acknowledged
}

/// No acknowledged event is lost, and at most one batch is there that was never acknowledged.
pub(crate) fn judge_head(head: u64, acknowledged: u64, last: u64) -> Result<(), String> {
    if (acknowledged..=last + BATCH).contains(&head) {
        return Ok(());
    }
    Err(format!("event {acknowledged} was acknowledged in time, event {last} at all, the job ends with event {head}"))
}

/// What must hold after a crash in whose time `acknowledged` was the last event acknowledged, and `last` ever. Gives the
/// last event that is there.
pub(crate) fn judge(path: &Path, acknowledged: u64, last: u64) -> Result<u64, String> {
    let reader = Job::read(path).map_err(|error| error.to_string())?;
    let Verification::Whole { events: head, guards: Guards::Standing, .. } = reader.verify().unwrap() else {
        return Err(format!("{:?}", reader.verify()));
    };
    judge_head(head, acknowledged, last)?;
    let mut found = 0;
    for (event, wanted) in reader.events().zip((1..).map(samples::numbered)) {
        let event = event.map_err(|error| error.to_string())?;
        if event != wanted {
            return Err(format!("event {} is not as it was fed", event.seq));
        }
        found += 1;
    }
    if found == head { Ok(head) } else { Err(format!("{found} events found, {head} were wanted")) }
}

/// Lets a child take up the job, work and be killed, so many times; gives what is wrong, if anything is.
fn kill_and_judge(path: &Path, rounds: u32, dice: &mut Dice) -> Result<(), String> {
    let mut unacknowledged = 0;
    for round in 1..=rounds {
        let mut child = Child::start(path);
        let answer = child.ask("open");
        if !answer.starts_with("ok ") {
            return Err(format!("round {round}: {answer}"));
        }
        child.tell("stream");
        let acknowledged = kill_at_random(&mut child, dice);
        let head = judge(path, acknowledged, acknowledged).map_err(|wrong| format!("round {round}: {wrong}"))?;
        unacknowledged += u32::from(head > acknowledged);
    }
    eprintln!("{rounds} kills; after {unacknowledged} of them a batch was there that had not been acknowledged");
    Ok(())
}

#[test]
fn what_was_acknowledged_survives_a_kill_at_any_instant() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("tower.job");
    Job::create(&path).unwrap().close().unwrap();
    kill_and_judge(&path, kills(), &mut Dice::new()).unwrap();

    let head = Job::open(&path).unwrap().head();
    assert_eq!(Job::open(&path).unwrap().close().unwrap(), Closing::OneFile);
    assert_eq!(names(folder.path()), ["tower.job"], "the log is taken up by a clean stop");
    assert_eq!(Job::read(&path).unwrap().head().unwrap(), head);
}

/// Planted: a writer that acknowledges before the commit has returned is caught within as many kills.
#[test]
fn a_writer_that_acknowledges_too_early_is_caught() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("tower.job");
    Job::create(&path).unwrap().close().unwrap();
    let mut dice = Dice::new();
    let caught = (0..KILLS).any(|_| {
        let mut command = Command::new(std::env::current_exe().unwrap());
        let mut child = Child::start_by(command.env(naive::BREAKS, "early"), &path);
        child.tell("naive-stream");
        let acknowledged = kill_at_random(&mut child, &mut dice);
        judge_head(Job::read(&path).unwrap().head().unwrap().seq, acknowledged, acknowledged).is_err()
    });
    assert!(caught, "{KILLS} kills have shown nothing: the test cannot see what it is there for");
}

/// Killed while it is being made, a job is there or it is not; a half of one is named as such.
#[test]
fn a_kill_while_a_job_is_made_leaves_a_job_or_none() {
    let folder = tempfile::tempdir().unwrap();
    let mut dice = Dice::new();
    let mut outcomes = [0; 3];
    for round in 0..kills() {
        let path = folder.path().join(format!("{round}.job"));
        let mut child = Child::start(&path);
        // That it answers shows that it is awake; the file is not there yet.
        assert_eq!(child.ask("read"), "Missing");
        child.tell("create");
        thread::sleep(Duration::from_micros(dice.below(6_000)));
        child.kill();
        let made = Job::open(&path);
        outcomes[match made.as_ref().map_err(|error| &error.fault) {
            Ok(job) => {
                assert_eq!(job.head(), Head::start());
                0
            }
            Err(Fault::Missing) => 1,
            Err(Fault::Unmade) => {
                Job::create_in_empty(&path).unwrap();
                2
            }
            Err(other) => panic!("round {round}: {other}"),
        }] += 1;
    }
    eprintln!("made, absent, empty: {outcomes:?}");
}
