//! Several instruments under one process: a table each in one settings file, one output, a job each.

use std::fs;
use std::path::Path;

use closerun::simulate::{Act, Place};
use serde_json::Value;

use crate::port::Level;
use crate::program::{Program, is_reading, run, until};
use crate::terminal::Terminal;
use crate::{kept, names, shots};

/// Levels called north and south on pseudo-terminals, and a capture called east that ends by itself.
fn site(folder: &Path) -> (Level, Level) {
    let level = |name: &str| {
        Level::at(folder, "comma", Place::PseudoTerminal { link: Some(folder.join(format!("{name}-port"))) })
    };
    let levels = (level("north"), level("south"));
    fs::write(folder.join("east.raw"), "R,1,,1.50000,20.00,\r\nR,2,,1.20000,20.00,\r\n").unwrap();
    let settings = r#"
format = "comma"
known = ["BM-1=50.0000", "BM-2=49.7000"]

[[instrument]]
name = "north"
port = "north-port"
job = "north.job"
start = "BM-1"

[[instrument]]
name = "south"
port = "south-port"
job = "south.job"
start = "BM-2"
unit = "ft"
also-units = ["m"]
known = ["BM-3=163.000"]

[[instrument]]
name = "east"
capture = "east.raw"
pace = "full"
job = "east.job"
"#;
    fs::write(folder.join("site.toml"), settings).unwrap();
    levels
}

/// The next line of this instrument that is the one.
#[track_caller]
fn next_of(program: &mut Program, name: &str, is: impl Fn(&Value) -> bool) -> Value {
    program.json_line(&format!("line of {name}"), |line| line["instrument"] == name && is(line))
}

#[test]
fn three_instruments_one_ends_one_is_unplugged_and_the_third_goes_on() {
    let folder = tempfile::tempdir().unwrap();
    let folder = folder.path();
    let (mut north, mut south) = site(folder);
    let mut program = Program::start(folder, "listen --settings site.toml --json --quiet --no-page");
    // The capture has ended; its job is one complete file while the others are heard.
    next_of(&mut program, "east", |line| line["type"] == "ended");
    until("a complete job of the one that ended", || names(folder).iter().all(|name| !name.starts_with("east.job-")));
    run(folder, "verify east.job").assert_good();
    assert_eq!(kept(folder, "east.job"), ["1.50000", "1.20000"]);

    let shots = shots(20);
    for (turn, (staff, sight)) in shots.iter().enumerate() {
        north.shoot(staff, sight);
        if turn == 9 {
            south.shoot("1.40000", "20.00");
        }
        next_of(&mut program, "north", |line| is_reading(line) && line["staff"] == **staff);
    }
    if !program.heard().iter().any(|line| line.contains("\"south\"") && line.contains("1.40000")) {
        next_of(&mut program, "south", is_reading);
    }
    // Each is told by its job.
    let told = run(folder, "tell strike 1");
    assert_eq!(told.code, 2, "{}", told.out);
    assert!(told.err.contains("north.job") && told.err.contains("south.job"), "{}", told.err);
    run(folder, "tell --job south.job note rain").assert_good();
    next_of(&mut program, "south", |line| line["type"] == "command" && line["text"] == "note: rain");

    // One is unplugged for good.
    south.play(vec![Act::Pause(std::time::Duration::ZERO)]);
    south.finish();
    next_of(&mut program, "south", |line| line["type"] == "link" && line["state"] == "lost");
    north.shoot("1.99999", "20.00");
    next_of(&mut program, "north", |line| is_reading(line) && line["staff"] == "1.99999");

    let ended = program.stop();
    let err = &ended.assert_good().err;
    for said in ["north: 21 readings kept in north.job", "south: 1 readings kept in south.job", "east: 2 readings"] {
        assert!(err.contains(said), "{said:?} in {err}");
    }
    assert_eq!(kept(folder, "south.job"), ["1.40000"]);
    let sent: Vec<String> = shots.into_iter().map(|(staff, _)| staff).chain(["1.99999".to_owned()]).collect();
    assert_eq!(kept(folder, "north.job"), sent);
    for job in ["north.job", "south.job", "east.job"] {
        run(folder, &format!("verify {job}")).assert_good();
        run(folder, &format!("replay {job}")).assert_good();
    }
    assert_eq!(names(folder), ["east.job", "east.raw", "north-port", "north.job", "site.toml", "south.job"]);
}

#[test]
fn on_a_terminal_each_line_has_its_name_and_the_keys_go_to_one() {
    let folder = tempfile::tempdir().unwrap();
    let folder = folder.path();
    let (mut north, mut south) = site(folder);
    let mut terminal = Terminal::new();
    let program = terminal.start(folder, "listen --settings site.toml --no-page");
    terminal.until("east   listening ended");
    north.shoot("1.50000", "20.00");
    south.shoot("1.40000", "20.00");
    terminal.until("north     1     1 back  BM-1");
    let screen = terminal.until("south     1     1 back  BM-2");
    assert!(screen.iter().all(|row| row.chars().count() <= 80), "{screen:#?}");
    terminal.until("> north");
    terminal.until("north: x strike");
    terminal.press("\t");
    terminal.until("south: x strike");
    terminal.press("x");
    terminal.until("south         > reading 1 struck out");
    assert_eq!(program.stop().code, 0);
    let said = |job: &str| run(folder, &format!("book {job}")).assert_good().out.contains("struck");
    assert!(said("south.job") && !said("north.job"));
}

#[test]
fn what_is_wrong_with_one_of_them_is_said_of_that_one_and_nothing_is_left_behind() {
    let folder = tempfile::tempdir().unwrap();
    let folder = folder.path();
    let _levels = site(folder);
    fs::write(folder.join("south.job"), "tower: BM-1 is the bolt by the door\n").unwrap();
    let ended = run(folder, "listen --settings site.toml --no-page");
    assert_eq!(ended.code, 2, "{}", ended.out);
    assert!(ended.err.starts_with("closerun: south: ") && ended.err.contains("south.job"), "{}", ended.err);
    assert_eq!(names(folder), ["east.raw", "north-port", "site.toml", "south-port", "south.job"]);
}
