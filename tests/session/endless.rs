//! Bytes without end: cut at the format's bound, in memory that does not grow, and the next record is booked.

use std::fs;
use std::process::Command;
use std::time::Duration;

use closerun::book::event::Event;

use crate::rig::{Start, digits, invented, play};

/// An invented format of lines, as long as frames are unless a format says otherwise.
const LINES: &str = r#"
format = 1
name = "lines"
title = "a staff reading a line"
[frame]
kind = "line"
end = "\n"
[[record]]
name = "shot"
kind = "reading"
begins = "S"
layout = "separated"
separator = ","
fields = [{ is = "decimal", means = "staff", unit = "m", decimals = 4 }]
"#;

const WITHOUT_END: usize = 100 << 20;
const AT_ONCE: usize = 64 << 10;
/// What the program may take more after all of it than after the first part.
const GROWTH_MAX_KIB: u64 = 4 << 10;
/// Set for the process that does the work: memory is measured in one that does nothing else.
const ALONE: &str = "CLOSERUN_TEST_ALONE";

#[test]
fn a_hundred_megabytes_without_an_end_take_no_memory() {
    if std::env::var_os(ALONE).is_some() {
        return flood();
    }
    let this = std::env::current_exe().unwrap();
    let name = "endless::a_hundred_megabytes_without_an_end_take_no_memory";
    let ran = Command::new(this).args(["--exact", name, "--nocapture"]).env(ALONE, "1").output().unwrap();
    let said = String::from_utf8_lossy(&ran.stdout);
    assert!(ran.status.success(), "{said}{}", String::from_utf8_lossy(&ran.stderr));
    assert!(said.contains("1 passed"), "{said}");
}

fn flood() {
    let runtime = tokio::runtime::Builder::new_current_thread().enable_time().start_paused(true).build().unwrap();
    let done = runtime.block_on(play(Start::speaking(invented(LINES)), async |floor| {
        floor.open().await;
        // A disk takes the bytes; here only what is read back is held.
        floor.ledger.write_by(Box::new(|log, events| {
            log.retain(|event| event.raw.len() < 100);
            log.extend_from_slice(events);
            Ok(())
        }));
        let part = [b'x'; AT_ONCE];
        let mut settled = 0;
        for sent in 0..WITHOUT_END / AT_ONCE {
            floor.send(&part);
            floor.settle().await;
            floor.look_away();
            if sent == 64 {
                settled = peak_kib();
            }
        }
        floor.send(b"\nS1.2345\n");
        floor.pass(Duration::from_secs(1)).await;
        (settled, peak_kib())
    }));
    let (settled, peak) = done.gave;
    assert!(peak - settled <= GROWTH_MAX_KIB, "{settled} KiB after the first part, {peak} KiB after all");
    assert_eq!(digits(&done.events), ["1.2345"]);
    let bytes = done.book().records().bytes;
    assert_eq!((bytes.total(), bytes.understood), (done.bytes, 8));
    assert!(done.events.iter().all(|event: &Event| event.raw.len() <= 4_096));
}

/// The most memory that this process has had.
fn peak_kib() -> u64 {
    let status = fs::read_to_string("/proc/self/status").unwrap();
    let line = status.lines().find_map(|line| line.strip_prefix("VmHWM:")).unwrap();
    line.trim().trim_end_matches(" kB").parse().unwrap()
}
