//! A job asked: verified, replayed, backed up, and caught where it was altered.

use std::fs;
use std::path::Path;

use crate::port::Level;
use crate::program::run;
use crate::{events, kept, listen, shots};

/// Records a job of some setups and closes it in good order.
fn record(folder: &Path, count: usize) {
    let mut level = Level::on_terminal(folder, "comma");
    let mut program = listen(folder, &level, "--start BM-1 --known BM-1=50.0000");
    for (staff, sight) in &shots(count) {
        level.shoot(staff, sight);
    }
    program.readings(count);
    run(folder, "tell strike").assert_good();
    program.stop().assert_good();
}

#[test]
fn a_job_is_whole_comes_out_the_same_and_shows_where_it_was_altered() {
    let folder = tempfile::tempdir().unwrap();
    let folder = folder.path();
    record(folder, 12);
    let whole = run(folder, "verify tower.job");
    assert!(whole.assert_good().out.starts_with("whole: "), "{}", whole.out);
    let same = run(folder, "replay tower.job");
    assert!(same.assert_good().out.contains("the same to the last digit"), "{}", same.out);
    assert!(same.out.contains("12 readings"), "{}", same.out);
    // Another format file makes something else of the bytes, and that is said.
    let other = run(folder, "replay tower.job --format sentence");
    assert_eq!(other.code, 1, "{}", other.out);
    assert!(other.err.contains("differences from what was booked"), "{}", other.err);

    // One byte of one reading, by an editor that knows nothing of databases.
    let job = folder.join("tower.job");
    let digits = shots(12)[4].0.clone();
    let holds = |bytes: &[u8]| bytes.windows(digits.len()).any(|window| window == digits.as_bytes());
    let event = events(folder, "tower.job").iter().find(|event| holds(&event.raw)).unwrap().seq;
    let good = fs::read(&job).unwrap();
    let places = good.windows(digits.len()).enumerate().filter(|(_, window)| *window == digits.as_bytes());
    let places: Vec<usize> = places.map(|(place, _)| place).collect();
    assert!(places.len() >= 2, "as bytes that arrived and as a reading");
    for place in places {
        let mut bad = good.clone();
        bad[place + digits.len() - 1] ^= 1;
        fs::write(&job, &bad).unwrap();
        let broken = run(folder, "verify tower.job");
        assert_eq!(broken.code, 1, "{}", broken.out);
        assert!(broken.err.contains(&format!("broken at event {event}")), "{}", broken.err);
        // Nobody writes on in it, and it stays as it was found.
        let refused = run(folder, "listen --stdin --format comma --job tower.job");
        assert_eq!(refused.code, 2, "{}", refused.err);
        assert_eq!(fs::read(&job).unwrap(), bad);
    }
}

#[test]
fn a_backup_of_a_running_job_is_complete() {
    let folder = tempfile::tempdir().unwrap();
    let folder = folder.path();
    let mut level = Level::on_terminal(folder, "comma");
    let mut program = listen(folder, &level, "");
    for (turn, (staff, sight)) in shots(20).iter().enumerate() {
        level.shoot(staff, sight);
        program.readings(1);
        if turn == 9 {
            run(folder, "backup tower.job copy.job").assert_good();
        }
    }
    program.stop().assert_good();
    run(folder, "verify copy.job").assert_good();
    assert_eq!(kept(folder, "copy.job"), kept(folder, "tower.job")[..10]);
    let again = run(folder, "backup tower.job copy.job");
    assert_eq!(again.code, 2, "a copy that is there is not overwritten: {}", again.err);
    assert!(again.err.contains("copy.job"), "{}", again.err);
}
