//! A long day: eight instruments, faults at random, outages, commands and readers, hour after hour of a clock that is
//! moved by hand. No reading is lost or doubled; memory, open files, the log and the work for each hour stay flat.
//!
//! `CLOSERUN_SOAK_HOURS` says how many hours, `CLOSERUN_SEED` which chance. With 24 hours it takes some minutes:
//! `CLOSERUN_SOAK_HOURS=24 cargo test --test session soak -- --nocapture`.

use std::cell::RefCell;
use std::collections::VecDeque;
use std::convert::Infallible;
use std::path::{Path, PathBuf};
use std::process::Command;
use std::rc::Rc;
use std::time::Duration;

use closerun::book::Book;
use closerun::book::event::{Body, Origin};
use closerun::book::reading::{Heard, Reading, Role};
use closerun::daemon::outlet::{Outlet, Shown};
use closerun::daemon::{ASKS_MAX, Ask, Clock, Ending, Listener, Outcome, Post, Session, Setting, attend};
use closerun::link::{EventSender, Gone, LinkEvent, LinkHandle, Simulated, Stop, queue};
use closerun::report::live::What;
use closerun::simulate::{Chance, Voice};
use closerun::store::{Job, Verification};
use closerun::units::{Measured, Unit};
use futures_util::future::join_all;
use rustix::time::{ClockId, clock_gettime};
use tokio::sync::{mpsc, oneshot};

use crate::harness::crew::settings;
use crate::rig::shipped;
use crate::stand_ins::Hands;

/// The formats of the instruments, in turn: with and without a check, as text and binary.
const FORMATS: [&str; 4] = ["sentence", "packet", "comma", "columns"];
const INSTRUMENTS: usize = 8;
/// Simulated hours, unless `CLOSERUN_SOAK_HOURS` says otherwise.
const HOURS: f64 = 0.5;
/// The time is cut in so many parts, which are compared.
const PARTS: u32 = 8;
/// What memory may grow by from the second part to the last: a book holds its readings, and something beside.
const GROWTH_AN_EVENT: u64 = 1 << 10;
const GROWTH_MAX: u64 = 5 << 20;
/// The most that lies in a log: it is written into the job file after each setup.
const LOG_MAX: u64 = 8 << 20;
/// Set for the process that does the work: memory is measured in one that does nothing else.
const ALONE: &str = "CLOSERUN_TEST_SOAK_ALONE";

#[test]
fn a_long_day_loses_and_doubles_nothing_and_stays_flat() {
    if std::env::var_os(ALONE).is_some() {
        let runtime = tokio::runtime::Builder::new_current_thread().enable_time().start_paused(true).build().unwrap();
        return runtime.block_on(soak());
    }
    let name = "soak::a_long_day_loses_and_doubles_nothing_and_stays_flat";
    let mut alone = Command::new(std::env::current_exe().unwrap());
    let ran = alone.args(["--exact", name, "--nocapture"]).env(ALONE, "1").output().unwrap();
    let said = String::from_utf8_lossy(&ran.stdout);
    println!("{said}");
    assert!(ran.status.success(), "{said}{}", String::from_utf8_lossy(&ran.stderr));
    assert!(said.contains("1 passed"), "{said}");
}

fn from_environment<T: std::str::FromStr>(name: &str, otherwise: T) -> T {
    let parse = |text: String| text.parse().unwrap_or_else(|_| panic!("{name} is a number, {text:?} found"));
    std::env::var(name).map_or(otherwise, parse)
}

async fn soak() {
    let hours: f64 = from_environment("CLOSERUN_SOAK_HOURS", HOURS);
    let seed: u64 = from_environment("CLOSERUN_SEED", 7);
    let length = Duration::from_secs_f64(hours * 3600.0);
    println!("CLOSERUN_SOAK_HOURS={hours} CLOSERUN_SEED={seed}");
    let folder = tempfile::tempdir_in(env!("CARGO_TARGET_TMPDIR")).unwrap();
    let stop = Stop::new();
    let (posts, sites): (Vec<_>, Vec<_>) =
        (0..INSTRUMENTS).map(|n| Site::begin(n, seed, &folder.path().join(format!("i{n}.job")))).unzip();
    let paths: Vec<PathBuf> = sites.iter().map(|site| site.path.clone()).collect();
    let looks = RefCell::new(Vec::new());
    let playing = async {
        let sites = tokio::select! {
            sites = join_all(sites.into_iter().map(|site| site.work(length))) => sites,
            never = look_on(&paths, length / PARTS, &looks) => match never {},
        };
        stop.ask();
        sites
    };
    let (outcomes, sites) = tokio::join!(attend(posts, &stop), playing);
    let sent: usize = sites.iter().map(|site| site.sent).sum();
    for (site, outcome) in sites.iter().zip(&outcomes) {
        site.judge(outcome);
    }
    println!("{sent} readings of {INSTRUMENTS} instruments in {hours} h, none lost, none doubled");
    flat(&looks.borrow(), &sites);
}

/// One instrument, its crew, and whoever looks over their shoulders.
struct Site {
    name: String,
    path: PathBuf,
    line: Option<EventSender>,
    asks: mpsc::Sender<Ask>,
    clock: Hands,
    chance: Chance,
    voice: Voice,
    /// Digits that were sent whole, and that nobody has been shown yet.
    due: Rc<RefCell<VecDeque<String>>>,
    /// Readings sent whole so far, and records of any kind.
    sent: usize,
    number: u64,
    bytes: u64,
    seed: u64,
    commands: usize,
    /// What each shot cost in processor time until it was shown, part by part.
    costs: Vec<Vec<Duration>>,
}

/// Shows to nobody, and strikes what it shows off the list of what is due.
struct Eye {
    name: String,
    due: Rc<RefCell<VecDeque<String>>>,
}

impl Outlet for Eye {
    fn show(&mut self, shown: &Shown<'_>) {
        for line in shown.lines {
            if let What::Reading(reading) = &line.what {
                let due = self.due.borrow_mut().pop_front();
                assert_eq!(due.as_ref(), Some(&reading.staff), "{}: shown, and not due", self.name);
            }
        }
    }
}

/// The digits of the nth record: no two alike, and no run that drifts away.
fn digits(n: u64, decimals: usize) -> String {
    format!("1.{:0decimals$}", 3 * 10u64.pow(decimals as u32 - 1) + n * 37 % 5_000)
}

impl Site {
    fn begin(n: usize, seed: u64, path: &Path) -> (Post<Job>, Self) {
        let format = shipped(FORMATS[n % FORMATS.len()]);
        let (sender, link) = queue();
        let (asks, taken) = mpsc::channel(ASKS_MAX);
        let (handle, instrument) = LinkHandle::detached(Stop::new());
        // What is said to the instrument is heard by nobody.
        drop(instrument);
        let (clock, due, name) = (Hands::new(), Rc::default(), format!("i{n}"));
        let session = Session::new(Setting {
            name: Some(name.clone()),
            store: Job::create(path).unwrap(),
            book: Book::new(),
            settings: settings(),
            listener: Listener::named(format.clone()),
            link: handle,
            clock: Box::new(clock.clone()),
            outlets: vec![Box::new(Eye { name: name.clone(), due: Rc::clone(&due) })],
            simulated: Simulated::No,
            quiet_after: Some(Duration::from_secs(600)),
        });
        let seed = seed * 1_000 + n as u64;
        let site = Site {
            name,
            path: path.to_owned(),
            line: Some(sender),
            asks,
            clock,
            chance: Chance::seeded(seed),
            voice: Voice::of(format),
            due,
            sent: 0,
            number: 0,
            bytes: 0,
            seed,
            commands: 0,
            costs: vec![Vec::new(); PARTS as usize],
        };
        (Post { session, link, asks: taken }, site)
    }

    /// A crew at work until the day is over.
    async fn work(mut self, length: Duration) -> Self {
        self.open().await;
        let begun = self.clock.steady();
        loop {
            let part = ((self.clock.steady() - begun).as_secs_f64() / length.as_secs_f64() * f64::from(PARTS)) as usize;
            if part >= PARTS as usize {
                break;
            }
            let cost = self.turn().await;
            self.costs[part].extend(cost);
        }
        // What was heard last is shown before the end.
        pass(Duration::from_secs(5)).await;
        assert!(self.due.borrow().is_empty(), "{}: never shown: {:?}", self.name, self.due.borrow());
        self.line.take().unwrap().end(Gone::Ended);
        self
    }

    /// A shot, or whatever else happens. Gives what a shot took until it was shown.
    async fn turn(&mut self) -> Option<Duration> {
        let mut cost = None;
        let pause = Duration::from_secs(6 + self.chance.below(12) as u64);
        match self.chance.below(60) {
            // Damage in the middle of a record.
            0 | 1 => {
                let mut record = self.record().1;
                let middle = record.len() / 2;
                record[middle..middle + 3].fill(7);
                self.bring(record);
            }
            // A record without its end, and then a new line.
            2 => {
                let record = self.record().1;
                self.bring(record[..record.len() / 2].to_vec());
                self.part().await;
            }
            // The cable is pulled inside a record, or between two.
            3 | 4 => {
                let record = self.record().1;
                let cut = self.chance.below(record.len());
                self.bring(record[..cut].to_vec());
                self.part().await;
            }
            // Several in one go, cut anywhere.
            5 => {
                let count = 2 + self.chance.below(12);
                let burst: Vec<u8> = (0..count).flat_map(|_| self.good()).collect();
                let (left, right) = burst.split_at(self.chance.below(burst.len()));
                self.bring(left.to_vec());
                pass(Duration::from_millis(20)).await;
                self.bring(right.to_vec());
            }
            // Sent twice.
            6 => {
                let record = self.good();
                self.bring([record.clone(), record].concat());
            }
            // Silence.
            7 => pass(Duration::from_secs(60 * self.chance.below(12) as u64)).await,
            8 => self.clock.step_s(self.chance.below(7_200) as i64 - 3_600),
            9 | 10 => self.say().await,
            11 => self.read(),
            _ => {
                let record = self.good();
                let before = processor_time();
                self.bring(record);
                // The clock goes on when nobody has anything left to do.
                pass(Duration::from_nanos(1)).await;
                cost = Some(processor_time() - before);
            }
        }
        pass(pause).await;
        cost
    }

    async fn open(&self) {
        self.event(LinkEvent::Opened { what: "test line".to_owned(), simulated: Simulated::No });
        pass(Duration::from_secs(1)).await;
    }

    /// The link goes, and comes back after a while.
    async fn part(&mut self) {
        self.event(LinkEvent::Lost { why: "the cable was pulled".to_owned() });
        pass(Duration::from_secs(self.chance.below(120) as u64)).await;
        self.open().await;
    }

    fn event(&self, event: LinkEvent) {
        self.line.as_ref().expect("the day is not over").push(event);
    }

    fn bring(&mut self, bytes: Vec<u8>) {
        if !bytes.is_empty() {
            self.bytes += bytes.len() as u64;
            self.event(LinkEvent::Chunk { at_us: self.clock.wall().us(), bytes });
        }
    }

    /// The next record, and the digits of its staff reading.
    fn record(&mut self) -> (String, Vec<u8>) {
        self.number += 1;
        let metres = |text: &str| Measured::parse(text, Unit::Metre).unwrap();
        for (staff, sight) in [(5, "20.00"), (5, "20.000"), (4, "20.00"), (4, "20.0")] {
            for role in [None, Some([Role::Fore, Role::Back][self.number as usize % 2])] {
                let digits = digits(self.number, staff);
                let mut reading = Reading::of(metres(&digits));
                reading.sight = Some(metres(sight));
                reading.sequence = Some(self.number % 10_000);
                reading.role = role;
                if let Ok(frame) = self.voice.reading(&reading) {
                    return (digits, frame.bytes);
                }
            }
        }
        panic!("{} writes no reading", self.name);
    }

    /// The same, to be heard and shown.
    fn good(&mut self) -> Vec<u8> {
        let (digits, record) = self.record();
        self.due.borrow_mut().push_back(digits);
        self.sent += 1;
        record
    }

    /// A person says something; what cannot be done now is refused in words.
    async fn say(&mut self) {
        let words = ["note the wind is up", "strike", "undo", "status", "end", "repeat", "break"];
        let words = words[self.chance.below(words.len())];
        let (to, answer) = oneshot::channel();
        let ask = Ask { words: words.split(' ').map(str::to_owned).collect(), by: Origin::Tell, answer: Some(to) };
        self.asks.send(ask).await.expect("the loop lives");
        answer.await.expect("every command is answered");
        self.commands += 1;
    }

    /// Somebody else looks into the job while it is recorded.
    fn read(&self) {
        let reader = Job::read(&self.path).unwrap();
        assert!(reader.head().unwrap().seq > 0);
    }

    /// What was sent is there once, in order; every byte is in one event; the record is whole.
    fn judge(&self, outcome: &Outcome) {
        let name = &self.name;
        assert_eq!(outcome.ending, Ending::Good, "{name}");
        let book = outcome.book.as_ref().unwrap();
        let reader = Job::read(&self.path).unwrap();
        assert!(matches!(reader.verify().unwrap(), Verification::Whole { .. }), "{name}");
        let events: Vec<_> = reader.events().map(Result::unwrap).collect();
        let raw: u64 = events.iter().map(|event| event.raw.len() as u64).sum();
        assert_eq!((raw, book.records().bytes.total()), (self.bytes, self.bytes), "{name}");
        let kept = events.iter().filter(|event| matches!(event.body, Body::Heard { heard: Heard::Reading(_) })).count();
        assert_eq!(kept, self.sent, "{name}");
        let mut folded = Book::fold(&events);
        folded.settled();
        assert!(folded == *book, "{name}: the folded book is not the live one (seed {})", self.seed);
        println!(
            "{name}: {kept} readings, {} commands, {} records refused, {} repeated, {} events",
            self.commands,
            book.records().refused,
            book.records().repeated,
            events.len()
        );
    }
}

async fn pass(time: Duration) {
    tokio::time::sleep(time).await;
}

/// What this thread has taken of the processor. What the disk takes is the disk's.
fn processor_time() -> Duration {
    Duration::try_from(clock_gettime(ClockId::ThreadCPUTime)).unwrap()
}

/// How it was at the end of a part.
struct Look {
    resident: u64,
    descriptors: usize,
    log: u64,
    events: u64,
}

/// Looks at this process at the end of each part.
async fn look_on(jobs: &[PathBuf], part: Duration, looks: &RefCell<Vec<Look>>) -> Infallible {
    for _ in 0..PARTS {
        pass(part).await;
        let status = std::fs::read_to_string("/proc/self/status").unwrap();
        let resident = status.lines().find_map(|line| line.strip_prefix("VmRSS:")).unwrap();
        let log = |job: &PathBuf| std::fs::metadata(format!("{}-wal", job.display())).map_or(0, |log| log.len());
        let events = |job: &PathBuf| Job::read(job).unwrap().head().unwrap().seq;
        looks.borrow_mut().push(Look {
            resident: resident.trim().trim_end_matches(" kB").parse::<u64>().unwrap() << 10,
            descriptors: std::fs::read_dir("/proc/self/fd").unwrap().count(),
            log: jobs.iter().map(log).max().unwrap(),
            events: jobs.iter().map(events).sum(),
        });
    }
    std::future::pending().await
}

/// Nothing grows with the day but the books.
fn flat(looks: &[Look], sites: &[Site]) {
    let cost = |part: usize| {
        let mut costs: Vec<Duration> = sites.iter().flat_map(|site| site.costs[part].iter().copied()).collect();
        costs.sort();
        let at = |share: usize| costs.get(costs.len() * share / 100).copied().unwrap_or_default();
        (costs.len(), at(50), at(99))
    };
    for (part, look) in looks.iter().enumerate() {
        let (shots, median, p99) = cost(part);
        println!(
            "part {}: {} events so far, resident {:.1} MiB, {} files, log {} KiB; {shots} shots, each took {median:?} of \
             processor time, p99 {p99:?}",
            part + 1,
            look.events,
            look.resident as f64 / f64::from(1 << 20),
            look.descriptors,
            look.log >> 10,
        );
    }
    assert_eq!(looks.len(), PARTS as usize);
    let (settled, last) = (&looks[1], &looks[looks.len() - 1]);
    let grown = last.resident.saturating_sub(settled.resident);
    let allowed = GROWTH_MAX + GROWTH_AN_EVENT * (last.events - settled.events);
    assert!(grown <= allowed, "{grown} bytes more, {allowed} at most were wanted");
    assert!(looks.iter().all(|look| look.log <= LOG_MAX), "the log grew beyond {LOG_MAX} bytes");
    assert_eq!(last.descriptors, settled.descriptors, "open files");
    let (early, late) = (cost(1).1, cost(PARTS as usize - 1).1);
    assert!(late <= 3 * early, "a shot took {early:?} of processor time early, {late:?} late");
}
