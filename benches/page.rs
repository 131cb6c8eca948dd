//! The live page: from the last byte on a pseudo-terminal to the event at an HTTP client, durably kept, beside a bare
//! append and sync in the same folder and the same minutes; then 200 clients of one page at ten readings a second.
//!
//! The page of the second part runs in a process of its own, so that its memory and time are not those of its clients.

use std::fs::File;
use std::io::{BufRead, BufReader, Read, Write};
use std::net::{TcpListener, TcpStream};
use std::os::fd::OwnedFd;
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

use closerun::book::event::{Body, Event};
use closerun::book::moment::Moment;
use closerun::book::reading::{Heard, Reading};
use closerun::book::settings::Settings;
use closerun::book::{Book, Input, decide};
use closerun::config::{Config, Given};
use closerun::page::{Instrument, Limits, Said, Upstream, Wanted};
use closerun::units::{Measured, Unit};

/// Shots of the first part; the first few warm everything up.
const SHOTS: usize = 1000;
const WARM_UP: usize = 50;
/// Of the second part.
const CLIENTS: usize = 200;
const READINGS: u64 = 200;
const EVERY: Duration = Duration::from_millis(100);
/// Tells this binary that it is to be the page.
const SERVE: &str = "CLOSERUN_BENCH_SERVE";

fn main() {
    if std::env::var_os(SERVE).is_some() {
        return serve();
    }
    latency();
    crowd();
}

fn latency() {
    let folder = tempfile::tempdir().unwrap();
    let (master, slave) = pseudo_terminal();
    let mut child = Command::new(env!("CARGO_BIN_EXE_closerun"))
        .args(["listen", "--port", &slave, "--format", "comma", "--json", "--page", "0"])
        .args(["--job".as_ref(), folder.path().join("a.job").as_os_str()])
        .stdin(Stdio::null())
        .stdout(Stdio::null())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    let port = port_of(&mut child);
    let mut stream = BufReader::new(open_stream(port));
    let mut bare = File::create(folder.path().join("bare")).unwrap();
    let mut master = File::from(master);
    wait_for(&mut stream, "\"type\":\"listening\"");
    let (mut ours, mut theirs) = (Vec::new(), Vec::new());
    for shot in 0..SHOTS {
        let role = if shot % 2 == 0 { 'B' } else { 'F' };
        let record = format!("R,{shot},,1.{:05},30.00,{role}\r\n", shot % 50_000);
        let began = Instant::now();
        master.write_all(record.as_bytes()).unwrap();
        wait_for(&mut stream, "\"type\":\"reading\"");
        ours.push(began.elapsed());
        // As many bytes as such an event takes in the job.
        let began = Instant::now();
        bare.write_all(&[b'x'; 400]).unwrap();
        bare.sync_data().unwrap();
        theirs.push(began.elapsed());
    }
    child.kill().unwrap();
    child.wait().unwrap();
    let (ours, theirs) = (quantiles(ours), quantiles(theirs));
    println!("pseudo-terminal to HTTP client   median {:>9.3?}  p99 {:>9.3?}", ours.0, ours.1);
    println!("bare append and sync             median {:>9.3?}  p99 {:>9.3?}", theirs.0, theirs.1);
    let above = (ours.0.saturating_sub(theirs.0), ours.1.saturating_sub(theirs.1));
    println!(
        "above it                         median {:>9.3?}  p99 {:>9.3?}  (2 ms and 10 ms wanted)",
        above.0, above.1
    );
}

fn crowd() {
    let mut child = Command::new(std::env::current_exe().unwrap())
        .env(SERVE, "1")
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .spawn()
        .unwrap();
    let mut said = BufReader::new(child.stdout.take().unwrap());
    let mut line = String::new();
    said.read_line(&mut line).unwrap();
    let port = line.trim().parse().unwrap();
    let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build().unwrap();
    let missed = runtime.block_on(async {
        let mut clients = tokio::task::JoinSet::new();
        for _ in 0..CLIENTS {
            let stream = open_stream(port);
            stream.set_nonblocking(true).unwrap();
            clients.spawn(follow(tokio::net::TcpStream::from_std(stream).unwrap()));
        }
        child.stdin.take().unwrap().write_all(b"go\n").unwrap();
        let mut missed = 0;
        while let Some(client) = clients.join_next().await {
            missed += client.unwrap();
        }
        missed
    });
    let mut figures = String::new();
    said.read_to_string(&mut figures).unwrap();
    child.wait().unwrap();
    println!("{CLIENTS} clients, {READINGS} readings, 10 a second: {missed} missed (0 wanted); {}", figures.trim());
}

/// Follows a stream to its end; gives how many events it missed.
async fn follow(stream: tokio::net::TcpStream) -> u64 {
    use tokio::io::AsyncBufReadExt;
    let mut lines = tokio::io::BufReader::new(stream).lines();
    let (mut last, mut missed) = (0, 0);
    while let Ok(Some(line)) = lines.next_line().await {
        if let Some(id) = line.strip_prefix("id: ").and_then(|id| id.parse::<u64>().ok()) {
            missed += id - last - 1;
            last = id;
        }
    }
    // The job's opening is the first event, each reading one.
    missed + (READINGS + 1).saturating_sub(last)
}

/// The page in a process of its own: fed from a book without a store, as fast as a crew of machines would.
fn serve() {
    let listener = TcpListener::bind("127.0.0.1:0").unwrap();
    let limits = Limits { connections: CLIENTS + 8, streams: CLIENTS + 8, ..Limits::usual() };
    let (opened, mut feeds) = closerun::page::open(listener, limits, vec![Instrument::new("bench", Nobody)]).unwrap();
    let mut feed = feeds.remove(0);
    let mut book = Book::new();
    let mut keep = |body: Body, book: &mut Book| {
        let event =
            Event { seq: book.last_event() + 1, at: Moment::from_us(0), simulated: true, body, raw: vec![b'x'; 40] };
        book.apply(&event);
        feed.kept(&event, book);
        feed.turned(None);
    };
    let settings: Box<Settings> = Box::new(Config::of(Given::default()).unwrap().settings);
    keep(Body::JobOpened { program: "bench".to_owned(), settings }, &mut book);
    println!("{}", opened.address.port());
    std::io::stdout().flush().unwrap();
    std::io::stdin().lines().next();
    let began = Instant::now();
    let used_before = used();
    for number in 0..READINGS {
        let mut reading = Reading::of(Measured::parse(&format!("1.{:05}", number * 7), Unit::Metre).unwrap());
        reading.sight = Some(Measured::parse("30.00", Unit::Metre).unwrap());
        reading.sequence = Some(number);
        let input = Input::Heard { at: Moment::from_us(0), raw: Vec::new(), heard: Heard::Reading(reading) };
        let body = decide(&book, &input).unwrap().expect("a reading is kept");
        keep(body, &mut book);
        let due = EVERY * u32::try_from(number + 1).unwrap();
        std::thread::sleep(due.saturating_sub(began.elapsed()));
    }
    let cores = (used() - used_before).as_secs_f64() / began.elapsed().as_secs_f64();
    feed.end();
    println!("{:.1} MB at most (100 wanted), {cores:.3} of a core (0.5 wanted)", most_memory_mb());
}

/// Nobody asks for anything in this bench.
struct Nobody;

impl Upstream for Nobody {
    fn say(&self, _words: Vec<String>) -> Option<tokio::sync::oneshot::Receiver<Said>> {
        None
    }

    fn kept(&self, _each: &mut dyn FnMut(&Event) -> Wanted) -> Result<(), String> {
        Err("nothing is kept here".to_owned())
    }
}

fn open_stream(port: u16) -> TcpStream {
    let mut stream = TcpStream::connect(("127.0.0.1", port)).unwrap();
    stream.set_nodelay(true).unwrap();
    stream.write_all(format!("GET /v1/events?since=0 HTTP/1.0\r\nHost: 127.0.0.1:{port}\r\n\r\n").as_bytes()).unwrap();
    stream
}

fn wait_for(stream: &mut impl BufRead, text: &str) {
    let mut line = String::new();
    while !line.contains(text) {
        line.clear();
        assert!(stream.read_line(&mut line).unwrap() > 0, "the stream ended before {text}");
    }
}

fn port_of(child: &mut Child) -> u16 {
    let mut lines = BufReader::new(child.stderr.take().unwrap());
    let mut line = String::new();
    lines.read_line(&mut line).unwrap();
    let rest = line.strip_prefix("page: http://127.0.0.1:").unwrap_or_else(|| panic!("{line}"));
    let port = rest.split('/').next().unwrap().parse().unwrap();
    std::thread::spawn(move || std::io::copy(&mut lines, &mut std::io::sink()));
    port
}

fn quantiles(mut times: Vec<Duration>) -> (Duration, Duration) {
    times.drain(..WARM_UP);
    times.sort();
    (times[times.len() / 2], times[times.len() * 99 / 100])
}

fn pseudo_terminal() -> (OwnedFd, String) {
    use rustix::pty::{OpenptFlags, grantpt, openpt, ptsname, unlockpt};
    let master = openpt(OpenptFlags::RDWR | OpenptFlags::NOCTTY).unwrap();
    grantpt(&master).unwrap();
    unlockpt(&master).unwrap();
    let slave = ptsname(&master, Vec::new()).unwrap().into_string().unwrap();
    (master, slave)
}

/// Processor time of this process.
fn used() -> Duration {
    let time = rustix::time::clock_gettime(rustix::time::ClockId::ProcessCPUTime);
    Duration::new(time.tv_sec as u64, time.tv_nsec as u32)
}

/// The most memory that this process has held.
fn most_memory_mb() -> f64 {
    let status = std::fs::read_to_string("/proc/self/status").unwrap();
    let line = status.lines().find(|line| line.starts_with("VmHWM:")).unwrap();
    line.split_whitespace().nth(1).unwrap().parse::<f64>().unwrap() / 1024.0
}
