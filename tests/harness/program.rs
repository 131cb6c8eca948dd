//! The built program in a process of its own: its lines as they come, and how it ended.

use std::io::{BufRead, BufReader, Read};
use std::path::Path;
use std::process::{Child, ChildStdout, Command, Stdio};
use std::sync::mpsc::{Receiver, channel};
use std::thread::JoinHandle;
use std::time::Duration;

/// Longer than anything here takes; a test that waits so long has failed.
const PATIENCE: Duration = Duration::from_secs(60);

/// The program with `arguments`, words separated by spaces, run in `folder`. What it registers while it runs lies there
/// too.
pub(crate) fn command(folder: &Path, arguments: &str) -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_closerun"));
    command.args(arguments.split_whitespace()).current_dir(folder);
    command.env("XDG_RUNTIME_DIR", folder).env_remove("NO_COLOR").env("TERM", "dumb");
    command.stdin(Stdio::null()).stdout(Stdio::piped()).stderr(Stdio::piped());
    command
}

/// How a program ended.
#[derive(Debug)]
pub(crate) struct Ended {
    pub(crate) code: i32,
    pub(crate) out: String,
    pub(crate) err: String,
}

/// Runs it to its end.
pub(crate) fn run(folder: &Path, arguments: &str) -> Ended {
    let output = command(folder, arguments).output().expect("the program starts");
    Ended {
        code: output.status.code().expect("it ends by itself"),
        out: String::from_utf8(output.stdout).expect("text"),
        err: String::from_utf8(output.stderr).expect("text"),
    }
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
        let mut child = command(folder, arguments).spawn().expect("the program starts");
        let lines = lines_of(child.stdout.take().expect("piped"));
        let mut stderr = child.stderr.take().expect("piped");
        let err = std::thread::spawn(move || {
            let mut text = String::new();
            let _ = stderr.read_to_string(&mut text);
            text
        });
        Program { child, lines, heard: Vec::new(), err: Some(err) }
    }

    /// Waits for a line that holds `part`.
    pub(crate) fn line_with(&mut self, part: &str) -> String {
        loop {
            match self.lines.recv_timeout(PATIENCE) {
                Ok(line) => {
                    self.heard.push(line.clone());
                    if line.contains(part) {
                        return line;
                    }
                }
                Err(why) => panic!("no line with {part:?} ({why}) behind {:#?}", self.heard),
            }
        }
    }

    /// As Ctrl-C does.
    pub(crate) fn interrupt(&self) {
        let process = rustix::process::Pid::from_child(&self.child);
        rustix::process::kill_process(process, rustix::process::Signal::INT).expect("it runs");
    }

    /// Every line so far.
    #[allow(dead_code, reason = "each test crate uses its part of the harness")]
    pub(crate) fn heard(&self) -> &[String] {
        &self.heard
    }

    /// Kills it at once, as a power cut or the system's memory guard would; what it had printed by then is heard.
    #[allow(dead_code, reason = "each test crate uses its part of the harness")]
    pub(crate) fn kill(mut self) -> Vec<String> {
        self.child.kill().expect("it runs");
        self.child.wait().expect("it ends");
        while let Ok(line) = self.lines.recv_timeout(PATIENCE) {
            self.heard.push(line);
        }
        std::mem::take(&mut self.heard)
    }

    /// Waits for its end: its standard output is closed by then.
    pub(crate) fn end(mut self) -> Ended {
        while let Ok(line) = self.lines.recv_timeout(PATIENCE) {
            self.heard.push(line);
        }
        let code = self.child.wait().expect("it ends").code().expect("it ends by itself");
        let err = self.err.take().expect("taken once").join().expect("text");
        Ended { code, out: self.heard.join("\n"), err }
    }
}

impl Drop for Program {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
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
