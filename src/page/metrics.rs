//! Numbers for machines that watch, in the Prometheus text format, version 0.0.4.

use std::fmt::Write;

use super::hub::Health;
use super::site::Site;
use crate::book::Book;
use crate::book::event::LinkState;
use crate::book::finding::Priority;

/// The content type of the format.
pub(super) const TYPE: &str = "text/plain; version=0.0.4; charset=utf-8";

/// One family of numbers of an instrument: name, kind, what it is, and its values with what tells them apart.
type Family = (&'static str, &'static str, &'static str, fn(&Numbers) -> Vec<(&'static str, f64)>);

const OF_ONE: &[Family] = &[
    ("events_total", "counter", "Events kept in the job.", |of| alone(of.events as f64)),
    ("readings_total", "counter", "Readings in the book, struck ones included.", |of| alone(of.readings as f64)),
    ("records_refused_total", "counter", "Damaged or unknown records.", |of| alone(of.refused as f64)),
    ("records_repeated_total", "counter", "Records that were sent twice.", |of| alone(of.repeated as f64)),
    ("bytes_total", "counter", "Bytes from the instrument.", |of| of.bytes.to_vec()),
    ("findings_standing", "gauge", "Findings that nobody has seen and whose cause is not gone.", |of| {
        of.standing.to_vec()
    }),
    ("recording", "gauge", "1 while what comes is kept and the loop turns.", |of| truth(of.health.recording)),
    ("link_open", "gauge", "1 while the instrument's link is open and talks.", |of| truth(of.link_open)),
    ("heard_seconds", "gauge", "Seconds since the instrument was last heard.", |of| {
        of.health.heard_s.map(|seconds| ("", seconds)).into_iter().collect()
    }),
    ("simulated", "gauge", "1 if anything came from a simulated instrument.", |of| truth(of.simulated)),
    ("page_streams_cut_total", "counter", "Streams that fell behind and were cut.", |of| alone(of.health.cut as f64)),
];

fn alone(value: f64) -> Vec<(&'static str, f64)> {
    vec![("", value)]
}

fn truth(is: bool) -> Vec<(&'static str, f64)> {
    alone(f64::from(u8::from(is)))
}

/// What is counted of one instrument.
struct Numbers {
    events: u64,
    readings: usize,
    refused: u64,
    repeated: u64,
    bytes: [(&'static str, f64); 4],
    standing: [(&'static str, f64); 3],
    link_open: bool,
    simulated: bool,
    health: Health,
}

impl Numbers {
    fn of(book: &Book, health: Health) -> Self {
        let records = book.records();
        let standing = |priority: Priority| {
            let standing = book.standing().values();
            standing.filter(|standing| standing.priority == priority && !standing.acknowledged).count() as f64
        };
        let bytes = records.bytes;
        Numbers {
            events: book.last_event(),
            readings: book.entries().len(),
            refused: records.refused,
            repeated: records.repeated,
            bytes: [
                (",taken_as=\"understood\"", bytes.understood as f64),
                (",taken_as=\"ignored\"", bytes.ignored as f64),
                (",taken_as=\"refused\"", bytes.refused as f64),
                (",taken_as=\"unfinished\"", bytes.unfinished as f64),
            ],
            standing: [
                (",priority=\"hold\"", standing(Priority::Hold)),
                (",priority=\"warn\"", standing(Priority::Warn)),
                (",priority=\"note\"", standing(Priority::Note)),
            ],
            link_open: matches!(records.link, None | Some(LinkState::Open)) && records.heard_at.is_some(),
            simulated: book.simulated(),
            health,
        }
    }
}

/// The numbers.
pub(super) fn text(site: &Site) -> String {
    let instruments: Vec<(&str, Numbers)> = site
        .all()
        .iter()
        .map(|shown| {
            let health = shown.hub.health();
            (&*shown.slug, shown.hub.look(|book| Numbers::of(book, health)))
        })
        .collect();
    let mut out = String::new();
    for (name, kind, help, values) in OF_ONE {
        head(&mut out, name, kind, help);
        for (slug, numbers) in &instruments {
            for (label, value) in values(numbers) {
                let _ = writeln!(out, "closerun_{name}{{instrument=\"{slug}\"{label}}} {value}");
            }
        }
    }
    let counts = site.counts();
    for (name, kind, help, value) in [
        ("page_connections", "gauge", "Open connections of the page.", counts.connections as f64),
        ("page_streams", "gauge", "Open streams of the page.", site.seats.taken() as f64),
        ("page_refused_total", "counter", "Requests that were not heard.", counts.refused as f64),
        ("page_turned_away_total", "counter", "Connections beyond the limit.", counts.turned_away as f64),
    ] {
        head(&mut out, name, kind, help);
        let _ = writeln!(out, "closerun_{name} {value}");
    }
    out
}

fn head(out: &mut String, name: &str, kind: &str, help: &str) {
    let _ = writeln!(out, "# HELP closerun_{name} {help}\n# TYPE closerun_{name} {kind}");
}
