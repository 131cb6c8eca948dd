//! The demonstration ends by itself, closed, with its job named; a seed makes it repeatable; the job can be recomputed.

use serde_json::Value;

use crate::program::run;
use crate::{events, readings};

#[test]
fn the_demonstration_shows_its_mistakes_closes_and_names_what_to_do_next() {
    let folder = tempfile::tempdir().unwrap();
    let ended = run(folder.path(), "demo --quiet --speed 1000 --job d.job");
    assert_eq!(ended.code, 0, "{}", ended.err);
    for said in [
        "SIMULATED",
        "fore sight of 43.40 m (limit 40.00 m",
        "sights out of balance by 4.2",
        "record refused",
        "looks like one more shot on the staff of reading",
        "falls on BM-1",
        "page check",
        "holds from BM-1 to BM-1",
        "run 1: at BM-1: closes",
        "next: closerun book d.job",
    ] {
        assert!(ended.out.contains(said), "{said:?} in\n{}", ended.out);
    }
    assert_eq!(run(folder.path(), "verify d.job").code, 0);
    let replayed = run(folder.path(), "replay d.job");
    assert_eq!(
        (replayed.code, replayed.out.lines().last()),
        (0, Some("the same to the last digit: book, findings and verdicts"))
    );
    assert_eq!(run(folder.path(), "backup d.job copy.job").code, 0);
    assert_eq!(run(folder.path(), "replay copy.job").code, 0);
    assert!(events(folder.path(), "d.job").iter().all(|event| event.simulated), "every event says so");
    for print in ["book d.job", "book d.job --form rise-and-fall", "book d.job --csv", "book d.job --json"] {
        let printed = run(folder.path(), print);
        assert!(printed.assert_good().out.to_uppercase().contains("SIMULATED"), "{print}: {}", printed.out);
    }
    let taken = run(folder.path(), "demo --quiet --speed 1000 --job d.job");
    assert_eq!(taken.code, 2, "a job that is there is not touched: {}", taken.out);
    let other = run(folder.path(), "replay d.job --format packet");
    assert_eq!(other.code, 1, "another format comes to another book: {}", other.out);
}

#[test]
fn the_same_seed_gives_the_same_readings_and_every_line_says_simulated() {
    let folder = tempfile::tempdir().unwrap();
    let lines = |job: &str, seed: u32| {
        let ended = run(folder.path(), &format!("demo --json --speed 1000 --seed {seed} --feet --job {job}"));
        assert_eq!(ended.code, 0, "{}", ended.err);
        ended.out.lines().map(str::to_owned).collect::<Vec<_>>()
    };
    let (once, again, other) = (lines("1.job", 7), lines("2.job", 7), lines("3.job", 8));
    assert_eq!(readings(&once).len(), 29);
    assert_eq!(readings(&once), readings(&again));
    assert_ne!(readings(&once), readings(&other));
    for line in &once {
        let value: Value = serde_json::from_str(line).unwrap();
        assert_eq!((&value["schema"], &value["simulated"]), (&Value::from(1), &Value::from(true)), "{line}");
    }
}
