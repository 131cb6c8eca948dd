//! The view in a real terminal: lines that scroll and stay, one block at the foot, keys that are commands, and the
//! terminal left as it was.

use closerun::book::event::{Body, Command, Origin};
use closerun::book::{Book, SpotState};

use crate::events;
use crate::port::Level;
use crate::terminal::{COLUMNS, Terminal};

#[test]
fn lines_stay_the_block_is_drawn_over_and_keys_are_commands() {
    let folder = tempfile::tempdir().unwrap();
    let folder = folder.path();
    let mut level = Level::on_terminal(folder, "comma");
    let mut terminal = Terminal::new();
    let before = terminal.settings();
    let program = terminal.start(folder, "listen --port port --format comma --job tower.job --known START=50.0000");
    terminal.until("listening:");
    assert_ne!(terminal.settings().local_modes, before.local_modes, "keys are read one by one");

    level.shoot("1.50000", "24.00");
    level.shoot("1.20000", "20.00");
    let screen = terminal.until("do not lift the legs");
    let screen = if screen.iter().any(|row| row.contains("SIMULATED  instrument heard")) {
        screen
    } else {
        terminal.until("SIMULATED  instrument heard")
    };
    assert!(screen.iter().all(|row| row.chars().count() <= usize::from(COLUMNS)), "{screen:#?}");
    let keys = screen.iter().filter(|row| row.starts_with("x strike  r repeat")).count();
    assert_eq!(keys, 1, "one block, at the foot: {screen:#?}");

    // The foresight was wrong: it is struck and shot anew, twice, and the second is a repeat.
    terminal.press("x");
    terminal.until("reading 2 struck out");
    level.shoot("1.20010", "24.00");
    terminal.until("clear to move: setup 1");
    level.shoot("1.20012", "24.00");
    terminal.until("   4     ");
    terminal.press("r");
    terminal.until("reading 4 is a repeat");
    terminal.press(":note windy by the door");
    terminal.until(": note windy by the door");
    terminal.press("\r");
    let screen = terminal.until("> note: windy by the door");
    assert!(!screen.iter().any(|row| row.starts_with(": note")), "the command line is gone: {screen:#?}");
    terminal.press(":strke\r");
    terminal.until("strike was probably meant");

    // Control-C is the same as a stop.
    terminal.press("\x03");
    assert_eq!(program.end().code, 0);
    terminal.settle();
    let screen = terminal.screen();
    assert!(!screen.iter().any(|row| row.starts_with("x strike")), "the block is gone: {screen:#?}");
    assert!(screen.iter().any(|row| row.contains("4 readings kept in tower.job")), "{screen:#?}");
    let after = terminal.settings();
    assert_eq!(
        (after.local_modes, after.input_modes, after.output_modes),
        (before.local_modes, before.input_modes, before.output_modes)
    );

    let events = events(folder, "tower.job");
    let said: Vec<&Command> = events
        .iter()
        .filter_map(|event| match &event.body {
            Body::Commanded { command, by: Origin::Terminal } => Some(command),
            _ => None,
        })
        .collect();
    assert!(
        matches!(said[..], [Command::Strike { reading: 2, .. }, Command::Repeat { reading: 4 }, Command::Note { .. }]),
        "{said:?}"
    );
    let book = Book::fold(&events);
    assert_eq!(book.spot(2).map(|spot| spot.state), Some(SpotState::Struck));
    assert!(book.amendments().of(4).unwrap().repeat);
}

#[test]
fn a_stop_by_signal_leaves_the_terminal_as_it_was() {
    let folder = tempfile::tempdir().unwrap();
    let folder = folder.path();
    let _level = Level::on_terminal(folder, "comma");
    let mut terminal = Terminal::new();
    let before = terminal.settings();
    let program = terminal.start(folder, "listen --port port --format comma --job tower.job");
    terminal.until("x strike");
    assert_eq!(program.stop().code, 0);
    let after = terminal.settings();
    assert_eq!((after.local_modes, after.input_modes), (before.local_modes, before.input_modes));
}
