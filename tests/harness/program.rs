//! The built program in a process of its own: its lines as they come, and how it ended.
//!
//! Every wait is for the thing itself, and ends with what was waited for and what came instead.
#![allow(dead_code, reason = "each test crate uses its part of the harness")]

use std::io::{BufRead, BufReader, Read, Write};
use std::os::unix::process::ExitStatusExt;
use std::path::Path;
use std::process::{Child, ChildStdout, Command, ExitStatus, Stdio};
use std::sync::mpsc::{Receiver, RecvTimeoutError, channel};
use std::thread::JoinHandle;
use std::time::{Duration, Instant};

use rustix::process::{Pid, Signal, kill_process};
use serde_json::Value;

/// Longer than anything here takes; a test that waits so long has failed.
pub(crate) const PATIENCE: Duration = Duration::from_secs(60);
/// How often that is looked at which nothing announces.
const LOOK_EVERY: Duration = Duration::from_millis(10);

/// The program with `arguments`, words separated by spaces, run in `folder`. What it registers while it runs lies there
/// too.
pub(crate) fn command(folder: &Path, arguments: &str) -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_closerun"));
    command.args(arguments.split_whitespace());
    settle(&mut command, folder);
    command
}

/// Lets any command run in `folder` as the program does, heard by us.
pub(crate) fn settle(command: &mut Command, folder: &Path) {
    command.current_dir(folder).env("XDG_RUNTIME_DIR", folder).env_remove("NO_COLOR").env("TERM", "dumb");
    command.stdin(Stdio::null()).stdout(Stdio::piped()).stderr(Stdio::piped());
}

/// How a program ended.
#[derive(Debug)]
pub(crate) struct Ended {
    pub(crate) code: i32,
    pub(crate) out: String,
    pub(crate) err: String,
}

impl Ended {
    #[track_caller]
    pub(crate) fn assert_good(&self) -> &Self {
        assert_eq!(self.code, 0, "{}\n{}", self.out, self.err);
        self
    }
}

/// Runs it to its end.
#[track_caller]
pub(crate) fn run(folder: &Path, arguments: &str) -> Ended {
    Program::start(folder, arguments).end()
}

/// A running program. Dropped, it is killed.
pub(crate) struct Program {
    child: Child,
    lines: Receiver<String>,
    heard: Vec<String>,
    err: Option<JoinHandle<String>>,
}

impl Program {
    pub(crate) fn start(folder: &Path, arguments: &str) -> Self {
        Program::of(&mut command(folder, arguments))
    }

    /// Starts a command with the outputs that it was given.
    pub(crate) fn of(command: &mut Command) -> Self {
        let mut child = command.spawn().expect("the program starts");
        let lines = child.stdout.take().map_or_else(|| channel().1, lines_of);
        let err = child.stderr.take().map(|mut stderr| {
            std::thread::spawn(move || {
                let mut text = String::new();
                let _ = stderr.read_to_string(&mut text);
                text
            })
        });
        Program { child, lines, heard: Vec::new(), err }
    }

    pub(crate) fn id(&self) -> u32 {
        self.child.id()
    }

    /// The next line; none when it has closed its output.
    #[track_caller]
    pub(crate) fn line(&mut self, wanted: &str) -> Option<String> {
        match self.lines.recv_timeout(PATIENCE) {
            Ok(line) => {
                self.heard.push(line.clone());
                Some(line)
            }
            Err(RecvTimeoutError::Disconnected) => None,
            Err(RecvTimeoutError::Timeout) => panic!("no {wanted} within {PATIENCE:?} behind {:#?}", self.heard),
        }
    }

    /// Waits for a line that is the one.
    #[track_caller]
    pub(crate) fn until(&mut self, wanted: &str, is: impl Fn(&str) -> bool) -> String {
        loop {
            match self.line(wanted) {
                Some(line) if is(&line) => return line,
                Some(_) => {}
                None => {
                    let (status, errors) = (self.wait(), self.errors());
                    panic!("no {wanted}, it ended ({status}) behind {:#?}\n{errors}", self.heard)
                }
            }
        }
    }

    /// Waits for a line that holds `part`.
    #[track_caller]
    pub(crate) fn line_with(&mut self, part: &str) -> String {
        self.until(&format!("line with {part:?}"), |line| line.contains(part))
    }

    /// Waits for a JSON line that is the one.
    #[track_caller]
    pub(crate) fn json_line(&mut self, wanted: &str, is: impl Fn(&Value) -> bool) -> Value {
        json(&self.until(wanted, |line| is(&json(line))))
    }

    /// Waits for a JSON line of this type.
    #[track_caller]
    pub(crate) fn line_of_type(&mut self, wanted: &str) -> Value {
        self.json_line(wanted, |line| line["type"] == wanted)
    }

    /// Waits for this many more readings.
    #[track_caller]
    pub(crate) fn readings(&mut self, count: usize) -> Vec<Value> {
        (1..=count).map(|n| self.json_line(&format!("reading {n} of {count}"), is_reading)).collect()
    }

    /// Every line so far.
    pub(crate) fn heard(&self) -> &[String] {
        &self.heard
    }

    /// Closes our end of its standard output: what it writes there goes nowhere.
    pub(crate) fn stop_reading(&mut self) {
        // The thread that reads ends with the next line, and the pipe with it.
        self.lines = channel().1;
    }

    /// Writes all of it into its standard input, and closes that.
    pub(crate) fn feed(&mut self, bytes: &[u8]) {
        self.child.stdin.take().expect("piped").write_all(bytes).expect("it reads");
    }

    pub(crate) fn signal(&self, signal: Signal) {
        kill_process(Pid::from_child(&self.child), signal).expect("it runs");
    }

    /// As Ctrl-C does.
    pub(crate) fn interrupt(&self) {
        self.signal(Signal::INT);
    }

    /// Told to stop as by the system, to its end.
    #[track_caller]
    pub(crate) fn stop(self) -> Ended {
        self.signal(Signal::TERM);
        self.end()
    }

    /// Kills it at once, as a power cut or the system's memory guard would; what it had printed by then is heard.
    #[track_caller]
    pub(crate) fn kill(mut self) -> Vec<String> {
        self.signal(Signal::KILL);
        let status = self.wait();
        assert_eq!(status.signal(), Some(9), "it had ended before it was killed ({status}): {}", self.errors());
        while self.line("end of its output").is_some() {}
        std::mem::take(&mut self.heard)
    }

    /// Waits for its end.
    #[track_caller]
    pub(crate) fn end(mut self) -> Ended {
        while self.line("end of its output").is_some() {}
        let status = self.wait();
        let code = status.code().unwrap_or_else(|| panic!("it was ended: {status}"));
        let mut out = self.heard.join("\n");
        if !out.is_empty() {
            out.push('\n');
        }
        Ended { code, out, err: self.errors() }
    }

    #[track_caller]
    fn wait(&mut self) -> ExitStatus {
        let begun = Instant::now();
        loop {
            if let Some(status) = self.child.try_wait().expect("our own child") {
                return status;
            }
            assert!(begun.elapsed() < PATIENCE, "no end within {PATIENCE:?} behind {:#?}", self.heard);
            std::thread::sleep(LOOK_EVERY);
        }
    }

    fn errors(&mut self) -> String {
        self.err.take().map_or_else(String::new, |err| err.join().expect("text"))
    }
}

impl Drop for Program {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

/// What a process has taken so far.
pub(crate) struct Taken {
    /// User and system time.
    pub(crate) processor_s: f64,
    pub(crate) resident_mb: f64,
}

impl Taken {
    pub(crate) fn by(process: u32) -> Self {
        /// In which Linux counts processor time for those who ask: `USER_HZ`, the same on all its machines of today.
        const TICKS_A_SECOND: f64 = 100.0;
        let of = |file: &str| std::fs::read_to_string(format!("/proc/{process}/{file}")).expect("it runs");
        let (stat, status) = (of("stat"), of("status"));
        let fields: Vec<&str> = stat.rsplit(") ").next().expect("fields behind its name").split(' ').collect();
        let ticks: u64 = fields[11..13].iter().map(|ticks| ticks.parse::<u64>().expect("a number")).sum();
        let resident = status.lines().find_map(|line| line.strip_prefix("VmRSS:")).expect("its memory");
        let kib: f64 = resident.trim().trim_end_matches(" kB").parse().expect("a number");
        Taken { processor_s: ticks as f64 / TICKS_A_SECOND, resident_mb: kib * 1024.0 / 1e6 }
    }
}

fn lines_of(out: ChildStdout) -> Receiver<String> {
    let (sender, lines) = channel();
    std::thread::spawn(move || {
        for line in BufReader::new(out).lines().map_while(Result::ok) {
            if sender.send(line).is_err() {
                return;
            }
        }
    });
    lines
}

/// A line of `--json`.
#[track_caller]
pub(crate) fn json(line: &str) -> Value {
    serde_json::from_str(line).unwrap_or_else(|error| panic!("{line:?} is no JSON: {error}"))
}

pub(crate) fn is_reading(line: &Value) -> bool {
    line["type"] == "reading"
}

/// Looks at what nothing announces until it is so.
#[track_caller]
pub(crate) fn until(wanted: &str, mut is: impl FnMut() -> bool) {
    let begun = Instant::now();
    while !is() {
        assert!(begun.elapsed() < PATIENCE, "no {wanted} within {PATIENCE:?}");
        std::thread::sleep(LOOK_EVERY);
    }
}
