//! A supervisor over `listen`, started by the unit's own command: it hears when recording has begun, that the loop turns
//! and that it does no more, and a stop is over within a second with everything kept.

use std::os::unix::net::UnixDatagram;
use std::path::Path;
use std::process::Command;
use std::time::{Duration, Instant};

use closerun::book::event::Body;
use closerun::book::reading::Heard;
use closerun::simulate::Sort;
use closerun::store::Job;
use rustix::process::Signal;

use crate::port::Level;
use crate::program::{PATIENCE, Program, settle};
use crate::unit;

/// The end of a supervisor where notes arrive.
struct Ear(UnixDatagram);

impl Ear {
    fn new(folder: &Path) -> Self {
        let ear = UnixDatagram::bind(folder.join("notify")).unwrap();
        ear.set_read_timeout(Some(PATIENCE)).unwrap();
        Ear(ear)
    }

    /// The next note; none if none came in time.
    fn note(&self) -> Option<String> {
        let mut buffer = [0; 4096];
        let length = self.0.recv(&mut buffer).ok()?;
        Some(String::from_utf8_lossy(&buffer[..length]).into_owned())
    }

    #[track_caller]
    fn until(&self, part: &str) -> String {
        let (begun, mut heard) = (Instant::now(), Vec::new());
        while begun.elapsed() < PATIENCE {
            let Some(note) = self.note() else { break };
            if note.contains(part) {
                return note;
            }
            heard.push(note);
        }
        panic!("no note with {part:?} within {PATIENCE:?} behind {heard:#?}")
    }

    /// Forgets what has come, and then waits so long for more.
    fn hears_within(&self, wait: Duration) -> Option<String> {
        self.0.set_nonblocking(true).unwrap();
        while self.note().is_some() {}
        self.0.set_nonblocking(false).unwrap();
        self.0.set_read_timeout(Some(wait)).unwrap();
        let heard = self.note();
        self.0.set_read_timeout(Some(PATIENCE)).unwrap();
        heard
    }
}

/// How long this supervisor waits for a sign of life.
const WATCHDOG: Duration = Duration::from_secs(2);

/// An instrument on the port `port`.
fn start(folder: &Path) -> Program {
    start_with(folder, "port = \"port\"\nformat = \"comma\"\njob = \"tower.job\"\n")
}

/// Runs the command of the unit for the instance `tower`, its settings file being in `folder`.
fn start_with(folder: &Path, settings: &str) -> Program {
    std::fs::write(folder.join("tower.toml"), settings).unwrap();
    let words = unit::command_words("tower", "--page 0");
    let words = words.iter().map(|word| word.replace("/etc/closerun", &folder.display().to_string()));
    let mut words = words.skip(1);
    let mut command = Command::new(env!("CARGO_BIN_EXE_closerun"));
    command.args(&mut words).env("NOTIFY_SOCKET", folder.join("notify"));
    command.env("WATCHDOG_USEC", WATCHDOG.as_micros().to_string());
    settle(&mut command, folder);
    Program::of(&mut command)
}

#[test]
fn it_is_ready_when_recording_has_begun_says_how_it_stands_and_stops_within_a_second_with_all_kept() {
    let folder = tempfile::tempdir().unwrap();
    let folder = folder.path();
    let ear = Ear::new(folder);
    let program = start(folder);
    // The instrument is not even plugged in: the service is up all the same, and says what it waits for.
    ear.until("READY=1\nSTATUS=0 readings; waiting: serial port port is not there");
    ear.until("WATCHDOG=1");
    let mut level = Level::on_terminal(folder, "comma");
    level.shoot("1.50000", "20.00");
    ear.until("STATUS=1 readings; the link is open");

    level.begin("1.23456", "20.00");
    level.until_sent(Sort::Truncated);
    let told = Instant::now();
    let ended = program.stop();
    let took = told.elapsed();
    ended.assert_good();
    ear.until("STOPPING=1");
    assert!(took < Duration::from_secs(1), "a stop took {took:?}");
    let job = Job::read(&folder.join("tower.job")).unwrap();
    let events: Vec<_> = job.events().collect::<Result<_, _>>().unwrap();
    let count = |is: fn(&Heard) -> bool| {
        events.iter().filter(|event| matches!(&event.body, Body::Heard { heard } if is(heard))).count()
    };
    assert_eq!(count(|heard| matches!(heard, Heard::Reading(_))), 1);
    assert_eq!(count(|heard| matches!(heard, Heard::Unfinished)), 1, "the half record is kept");
}

#[test]
fn a_loop_that_turns_no_more_is_silent() {
    let folder = tempfile::tempdir().unwrap();
    let folder = folder.path();
    let ear = Ear::new(folder);
    let program = start(folder);
    ear.until("READY=1");
    assert!(ear.hears_within(WATCHDOG).is_some(), "nothing happens, and it is alive");
    program.signal(Signal::STOP);
    // What was on its way when it was frozen has come by then.
    let frozen = [ear.hears_within(WATCHDOG / 10), ear.hears_within(WATCHDOG)];
    program.signal(Signal::CONT);
    assert_eq!(frozen[1], None, "a frozen program has said {frozen:?}");
    assert!(ear.hears_within(PATIENCE).is_some());
    program.stop().assert_good();
}

#[test]
fn without_a_supervisor_nothing_is_said() {
    let folder = tempfile::tempdir().unwrap();
    let folder = folder.path();
    let ear = Ear::new(folder);
    let level = Level::on_terminal(folder, "comma");
    let arguments = format!("listen --port {} --format comma --job tower.job --json", level.port());
    let mut program = Program::start(folder, &arguments);
    program.line_of_type("listening");
    program.stop().assert_good();
    assert_eq!(ear.hears_within(Duration::from_millis(1)), None);
}

#[test]
fn several_instruments_speak_with_one_voice() {
    let folder = tempfile::tempdir().unwrap();
    let folder = folder.path();
    let ear = Ear::new(folder);
    let settings = "[[instrument]]\nname = \"north\"\nport = \"port\"\nformat = \"comma\"\njob = \"north.job\"\n\
                    [[instrument]]\nname = \"south\"\nport = \"absent\"\nformat = \"comma\"\njob = \"south.job\"\n";
    let mut level = Level::on_terminal(folder, "comma");
    let program = start_with(folder, settings);
    ear.until("READY=1\nSTATUS=north: 0 readings");
    level.shoot("1.50000", "20.00");
    let note = ear.until("north: 1 readings");
    assert!(note.contains(" | south: 0 readings; waiting: serial port absent is not there"), "{note}");
    assert!(ear.hears_within(WATCHDOG).is_some());
    program.stop().assert_good();
    ear.until("STOPPING=1");
}
