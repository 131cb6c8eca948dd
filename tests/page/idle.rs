//! Clients that open a stream and never read: they are cut, and nobody else notices.

use std::io::Write;
use std::time::{Duration, Instant};

use closerun::book::event::{Body, Command, Event, Origin};
use closerun::book::moment::Moment;
use closerun::page::Limits;

use super::fed::Fed;
use super::harness::crew::{Crew, settings};
use super::run::{Stream, connect};

const IDLE: usize = 200;
/// Notes of two kilobytes: together more than the system and the page hold for a client.
const NOTES: u64 = 900;
/// How many are given at once: fewer than may wait.
const AT_ONCE: u64 = 100;
/// The most that the clients may cost, both ends being in this process.
const COST_MAX_KB: u64 = 100 * 1024;

/// Lets so many messages wait for a stream, and has 200 clients that never read.
///
/// # Errors
/// They are still there in the end.
pub(crate) fn idle_clients_are_cut(waiting: usize, patience: Duration) -> Result<(), String> {
    let limits = Limits { connections: IDLE + 8, streams: IDLE + 8, waiting };
    let mut fed = Fed::start(limits, &["level"]);
    let crew = Crew::new(settings());
    fed.show(0, &crew);
    let idle: Vec<_> = (0..IDLE)
        .map(|_| {
            let mut stream = connect(fed.port);
            let head = format!("GET /v1/events?since=0 HTTP/1.1\r\nHost: {}\r\n\r\n", fed.host());
            stream.write_all(head.as_bytes()).unwrap();
            stream
        })
        .collect();
    let mut reader = Stream::at(fed.port, "/v1/events?since=0", None);
    let before = memory_kb();
    let mut book = crew.book;
    let last = book.last_event() + NOTES;
    let mut got = Vec::new();
    while book.last_event() < last {
        for _ in 0..AT_ONCE {
            let body = Body::Commanded {
                command: Command::Note { reading: None, text: "x".repeat(2000) },
                by: Origin::Terminal,
            };
            let event =
                Event { seq: book.last_event() + 1, at: Moment::from_us(0), simulated: false, body, raw: Vec::new() };
            book.apply(&event);
            fed.give(0, &event, &book);
        }
        got.extend(reader.up_to(book.last_event()).into_iter().filter_map(|message| message.id));
    }
    assert_eq!(got, (1..=last).collect::<Vec<_>>(), "the one who reads misses nothing");
    let cost = memory_kb().saturating_sub(before);
    assert!(cost < COST_MAX_KB, "{cost} kB");
    let wanted = format!("closerun_page_streams_cut_total{{instrument=\"level\"}} {IDLE}");
    let until = Instant::now() + patience;
    let metrics = loop {
        let metrics = fed.get("/metrics").body;
        if metrics.contains(&wanted) || Instant::now() > until {
            break metrics;
        }
        std::thread::sleep(Duration::from_millis(50));
    };
    drop(idle);
    if metrics.contains(&wanted) { Ok(()) } else { Err(format!("{IDLE} cut were wanted:\n{metrics}")) }
}

fn memory_kb() -> u64 {
    let status = std::fs::read_to_string("/proc/self/status").unwrap();
    let line = status.lines().find(|line| line.starts_with("VmRSS:")).unwrap();
    line.split_whitespace().nth(1).unwrap().parse().unwrap()
}

#[test]
fn two_hundred_who_never_read_are_cut_and_one_who_reads_misses_nothing() {
    idle_clients_are_cut(Limits::usual().waiting, Duration::from_secs(30)).unwrap();
}
