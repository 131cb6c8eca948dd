//! Killed at random moments with readings flowing, and taken up again: every reading that was shown is in the job
//! exactly once, in order, the chain is whole, and recomputing the job gives the same book.

use std::collections::BTreeMap;

use serde_json::Value;

use crate::program::{Program, run};
use crate::readings;

/// How often it is killed; `CLOSERUN_KILLS` sets another number.
const KILLS: u64 = 12;

#[test]
fn every_reading_that_was_shown_is_kept_once_however_often_it_is_killed() {
    let kills = std::env::var("CLOSERUN_KILLS").map_or(KILLS, |text| text.parse().expect("a number of kills"));
    let folder = tempfile::tempdir().unwrap();
    let mut simulated = Program::start(folder.path(), "simulate packet --at port --speed 300 --seed 5");
    simulated.line_with("closerun listen");
    let listen = "listen --port port --wait --format packet --job c.job --json --quiet";
    let mut shown: BTreeMap<u64, String> = BTreeMap::new();
    let mut seed: u64 = std::process::id().into();
    println!("seed {seed}");
    for _ in 0..kills {
        let mut listening = Program::start(folder.path(), listen);
        // Killed after a few lines, at whatever it is doing then.
        seed = seed.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        for _ in 0..3 + (seed >> 33) % 9 {
            listening.line_with("\"type\":");
        }
        for (number, staff) in readings(&listening.kill()) {
            let before = shown.insert(number, staff.clone());
            assert!(before.is_none_or(|before| before == staff), "reading {number} was shown as two");
        }
    }
    let mut last = Program::start(folder.path(), listen);
    last.line_with("\"type\":\"reading\"");
    last.interrupt();
    assert_eq!(last.end().code, 0);
    assert!(shown.len() as u64 >= kills, "{} readings were shown", shown.len());

    assert_eq!(run(folder.path(), "verify c.job").code, 0);
    assert_eq!(run(folder.path(), "replay c.job").code, 0);
    let book: Value = serde_json::from_str(&run(folder.path(), "book c.job --json").out).unwrap();
    let kept: Vec<(u64, String)> = book["readings"]
        .as_array()
        .unwrap()
        .iter()
        .map(|reading| (reading["number"].as_u64().unwrap(), reading["staff"]["digits"].as_str().unwrap().to_owned()))
        .collect();
    let numbers: Vec<u64> = kept.iter().map(|(number, _)| *number).collect();
    assert_eq!(numbers, (1..=kept.len() as u64).collect::<Vec<_>>());
    for (number, staff) in &shown {
        assert_eq!(kept.get(*number as usize - 1).map(|(_, kept)| kept), Some(staff), "reading {number}");
    }
}
