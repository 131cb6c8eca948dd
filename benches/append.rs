//! What it costs to keep one event durably: an append to a job, against a bare append and fdatasync of the same bytes to
//! a plain file on the same disk, in the same run, turn by turn. The disk decides the microseconds, so the ratio counts.
//!
//! The folder is that of the target directory, or `CLOSERUN_BENCH_DIR`: a memory disk would measure nothing.

use std::fs::{File, OpenOptions};
use std::io::Write;
use std::path::PathBuf;
use std::time::{Duration, Instant};

use closerun::book::event::{Body, Event};
use closerun::book::moment::Moment;
use closerun::book::reading::{Heard, PointName, Reading};
use closerun::store::Job;
use closerun::units::{Measured, Unit};

/// Turns of one append each under `cargo bench`: enough for a steady median, and some seconds on a slow disk.
const TURNS: u64 = 2_000;

/// Turns when it is only to be shown that it runs.
const TRIAL_TURNS: u64 = 20;

/// Turns before the clock counts.
const WARM_UP: u64 = 100;

/// A checkpoint after so many appends, as after a setup; not counted, like the walk to the next one.
const SETUP: u64 = 4;

fn main() {
    let folder = std::env::var_os("CLOSERUN_BENCH_DIR")
        .map_or_else(|| PathBuf::from(env!("CARGO_TARGET_TMPDIR")), PathBuf::from);
    let folder = tempfile::tempdir_in(folder).expect("a folder to write in");
    let mut job = Job::create(&folder.path().join("bench.job")).expect("a job");
    let mut plain = OpenOptions::new().create(true).append(true).open(folder.path().join("plain")).expect("a file");

    let turns = if std::env::args().any(|argument| argument == "--bench") { TURNS } else { TRIAL_TURNS };
    let (mut ours, mut bare) = (Vec::new(), Vec::new());
    for seq in 1..=turns + WARM_UP {
        let event = event(seq);
        // The same bytes: the columns of the row and its hash.
        let body = serde_json::to_vec(&event.body).expect("an event is JSON");
        let bytes =
            [event.at.to_string().as_bytes(), event.body.kind().as_bytes(), &body, &event.raw, &[0; 32]].concat();

        // Turn about, so that neither is always the one behind the other.
        let (job_time, plain_time) = if seq % 2 == 0 {
            let job_time = time(|| job.append(std::slice::from_ref(&event)).expect("kept"));
            (job_time, time(|| append(&mut plain, &bytes)))
        } else {
            let plain_time = time(|| append(&mut plain, &bytes));
            (time(|| job.append(std::slice::from_ref(&event)).expect("kept")), plain_time)
        };
        if seq.is_multiple_of(SETUP) {
            job.checkpoint().expect("a checkpoint");
        }
        if seq > WARM_UP {
            ours.push(job_time);
            bare.push(plain_time);
        }
        if seq == 1 {
            println!("one event: {} bytes; {turns} turns in {}", bytes.len(), folder.path().display());
        }
    }
    job.close().expect("closed");

    println!("{:24}{:>10}{:>10}{:>10}", "microseconds", "p50", "p90", "p99");
    let ours = report("append to a job", ours);
    let bare = report("bare append, fdatasync", bare);
    println!("ratio of the medians: {:.2}", ours.as_secs_f64() / bare.as_secs_f64());
}

/// A reading with everything that a good instrument sends.
fn event(seq: u64) -> Event {
    let metres = |digits: &str| Measured::parse(digits, Unit::Metre).expect("digits");
    let digits = format!("1.{:05}", (seq * 7919) % 100_000);
    let mut reading = Reading::of(metres(&digits));
    reading.sight = Some(metres("31.42"));
    reading.spread = Some(metres("0.00003"));
    reading.count = Some(3);
    reading.point = PointName::from_wire("TP17");
    reading.sequence = Some(seq);
    let raw = format!("R,{seq},TP17,{digits},31.42,0.00003,3*5C\r\n").into_bytes();
    let at = Moment::from_us(1_773_475_200_000_000 + seq as i64);
    Event { seq, at, simulated: false, body: Body::Heard { heard: Heard::Reading(reading) }, raw }
}

fn append(file: &mut File, bytes: &[u8]) {
    file.write_all(bytes).and_then(|()| file.sync_data()).expect("written");
}

fn time(work: impl FnOnce()) -> Duration {
    let begun = Instant::now();
    work();
    begun.elapsed()
}

/// Prints the quantiles and gives the median.
fn report(name: &str, mut times: Vec<Duration>) -> Duration {
    times.sort();
    let at = |share: usize| times[times.len() * share / 100].as_micros();
    println!("{name:24}{:>10}{:>10}{:>10}", at(50), at(90), at(99));
    times[times.len() / 2]
}
