//! Another process that works on a job and does as it is told, a line at a time: the test program itself, run again.

use std::convert::Infallible;
use std::env;
use std::io::{BufRead, BufReader, Write};
use std::path::Path;
use std::process::{Child as Process, ChildStdin, ChildStdout, Command, Stdio};
use std::time::{SystemTime, UNIX_EPOCH};

use closerun::store::{GoesOn, Job, StoreError, backup};

use crate::{naive, samples};

/// Set for the child: the job file that it works on.
const JOB: &str = "CLOSERUN_CHILD_JOB";

/// What an answer begins with, so that it is not mistaken for the test harness's own lines.
const MARK: &str = "> ";

/// What a child that records for ever says after each append: how far it has come, and when (by the system's clock, in
/// nanoseconds) the append had returned.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Acknowledgement {
    pub(crate) seq: u64,
    pub(crate) at_ns: u128,
}

impl Acknowledgement {
    /// This moment's.
    pub(crate) fn now(seq: u64) -> Acknowledgement {
        Acknowledgement { seq, at_ns: SystemTime::now().duration_since(UNIX_EPOCH).unwrap().as_nanos() }
    }

    pub(crate) fn say(self) -> String {
        format!("ok {} at {}", self.seq, self.at_ns)
    }

    /// From an answer, if it is one.
    pub(crate) fn read(answer: &str) -> Option<Acknowledgement> {
        let (seq, at) = answer.strip_prefix("ok ")?.split_once(" at ")?;
        Some(Acknowledgement { seq: seq.parse().ok()?, at_ns: at.parse().ok()? })
    }
}

/// A child that waits for its next line.
pub(crate) struct Child {
    process: Process,
    orders: ChildStdin,
    answers: BufReader<ChildStdout>,
}

impl Child {
    /// A child that works on `job`.
    pub(crate) fn start(job: &Path) -> Child {
        Child::start_by(&mut Command::new(env::current_exe().unwrap()), job)
    }

    /// As [`Child::start`], with a command that was prepared for it.
    pub(crate) fn start_by(command: &mut Command, job: &Path) -> Child {
        command.args(["child::does_as_it_is_told", "--exact", "--nocapture"]).env(JOB, job);
        command.stdin(Stdio::piped()).stdout(Stdio::piped());
        let mut process = command.spawn().unwrap();
        let (orders, answers) = (process.stdin.take().unwrap(), process.stdout.take().unwrap());
        Child { process, orders, answers: BufReader::new(answers) }
    }

    /// Gives an order without waiting for the answer.
    pub(crate) fn tell(&mut self, order: &str) {
        // A child that is gone is noticed by its answer.
        let _ = writeln!(self.orders, "{order}");
    }

    /// The next answer; `None` when the child is gone.
    pub(crate) fn answer(&mut self) -> Option<String> {
        let mut line = String::new();
        loop {
            line.clear();
            if self.answers.read_line(&mut line).ok()? == 0 {
                return None;
            }
            // A line without its end is no answer: the child was killed in the middle of it.
            if let Some(answer) = line.strip_prefix(MARK).and_then(|line| line.strip_suffix('\n')) {
                return Some(answer.to_owned());
            }
        }
    }

    /// Gives an order and waits for its answer.
    pub(crate) fn ask(&mut self, order: &str) -> String {
        self.tell(order);
        self.answer().unwrap_or_else(|| panic!("the child ended at {order:?}"))
    }

    /// kill -9.
    pub(crate) fn kill(&mut self) {
        self.process.kill().unwrap();
        self.process.wait().unwrap();
    }
}

impl Drop for Child {
    fn drop(&mut self) {
        // Gone already, or going now.
        let _ = self.process.kill();
        let _ = self.process.wait();
    }
}

/// The child's side. In a test run of its own there is nobody to tell it anything, and nothing to test.
#[test]
fn does_as_it_is_told() {
    let Some(path) = env::var_os(JOB) else { return };
    let path = Path::new(&path);
    let say = |answer: String| {
        let mut out = std::io::stdout().lock();
        writeln!(out, "\n{MARK}{answer}").and_then(|()| out.flush()).unwrap();
    };
    let (mut job, mut reader, mut other) = (None, None, None);
    let orders = || std::io::stdin().lines().next().transpose().unwrap();
    while let Some(order) = orders() {
        let (verb, rest) = order.split_once(' ').unwrap_or((order.as_str(), ""));
        match verb {
            "stream" => stream(job.take().unwrap(), &say),
            "naive-stream" => naive::stream(path, &say),
            "naive" => naive::obey(path, orders, &say),
            "start-reading" => {
                let reader = reader.insert(Job::read(path).unwrap());
                say(format!("ok {}", reader.head().unwrap().seq));
            }
            "stop-reading" => {
                reader = None;
                say("ok".into());
            }
            // As any other program with SQLite in it would.
            "sql" => {
                let other = other.get_or_insert_with(|| rusqlite::Connection::open(path).unwrap());
                say(other.execute_batch(rest).map_or_else(|error| error.to_string(), |()| "ok".into()));
            }
            "sql-close" => {
                other = None;
                say("ok".into());
            }
            _ => say(obey(&mut job, path, verb, rest).unwrap_or_else(|error| format!("{:?}", error.fault))),
        }
    }
}

fn obey(job: &mut Option<Job>, path: &Path, verb: &str, rest: &str) -> Result<String, StoreError> {
    match verb {
        "create" => *job = Some(Job::create(path)?),
        "open" => *job = Some(Job::open(path)?),
        "drop" => *job = None,
        "append" => {
            let job = job.as_mut().unwrap();
            for _ in 0..rest.parse::<u64>().unwrap() {
                job.append(&[samples::numbered(job.head().seq + 1)])?;
            }
        }
        "checkpoint" => job.as_mut().unwrap().checkpoint()?,
        "recover" => {
            let recovery = job.as_mut().unwrap().recover()?;
            return Ok(match recovery.place {
                GoesOn::InSameFile => format!("same {}", recovery.head.seq),
                GoesOn::InFreshCopy(path) => format!("fresh {} {}", recovery.head.seq, path.display()),
            });
        }
        "room" => return Ok(format!("{:?}", job.as_ref().unwrap().room())),
        "close" => return Ok(format!("{:?}", job.take().unwrap().close()?)),
        "read" => return Ok(format!("ok {}", Job::read(path)?.head()?.seq)),
        "backup" => return Ok(format!("ok {}", backup(path, Path::new(rest))?.head.seq)),
        other => panic!("an order nobody taught it: {other}"),
    }
    Ok(format!("ok {}", job.as_ref().map_or(0, |job| job.head().seq)))
}

/// Records for ever, in batches of one to three, moves the log now and then, stops and starts, and says each time how
/// far it has come. What goes wrong is the last thing that it says.
fn stream(job: Job, say: &impl Fn(String)) {
    let Err(error) = record_for_ever(job, say);
    say(format!("{:?}", error.fault));
}

fn record_for_ever(mut job: Job, say: &impl Fn(String)) -> Result<Infallible, StoreError> {
    let mut turn = 0_u64;
    loop {
        let next = job.head().seq + 1;
        let batch: Vec<_> = (next..=next + turn % 3).map(samples::numbered).collect();
        job.append(&batch)?;
        say(Acknowledgement::now(job.head().seq).say());
        if turn % 7 == 6 {
            job.checkpoint()?;
        }
        if turn % 29 == 28 {
            let path = job.path().to_owned();
            job.close()?;
            job = Job::open(&path)?;
        }
        turn += 1;
    }
}
