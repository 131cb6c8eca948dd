//! Numbers for machines that watch, in the Prometheus text format, version 0.0.4.

use std::fmt::Write;

use super::hub::Health;
use crate::book::Book;
use crate::book::event::LinkState;
use crate::book::finding::Priority;

/// The content type of the format.
pub(super) const TYPE: &str = "text/plain; version=0.0.4; charset=utf-8";

/// The numbers.
pub(super) fn text(book: &Book, health: &Health) -> String {
    let mut out = String::new();
    let mut one = |name: &str, kind: &str, help: &str, values: &[(&str, f64)]| {
        let _ = writeln!(out, "# HELP closerun_{name} {help}\n# TYPE closerun_{name} {kind}");
        for (label, value) in values {
            let _ = writeln!(out, "closerun_{name}{label} {value}");
        }
    };
    let records = book.records();
    let standing = |priority: Priority| {
        let standing = book.standing().values();
        standing.filter(|standing| standing.priority == priority && !standing.acknowledged).count() as f64
    };
    let open = matches!(records.link, None | Some(LinkState::Open)) && records.heard_at.is_some();
    one("events_total", "counter", "Events kept in the job.", &[("", book.last_event() as f64)]);
    one(
        "readings_total",
        "counter",
        "Readings in the book, struck ones included.",
        &[("", book.entries().len() as f64)],
    );
    one("records_refused_total", "counter", "Damaged or unknown records.", &[("", records.refused as f64)]);
    one("records_repeated_total", "counter", "Records that were sent twice.", &[("", records.repeated as f64)]);
    let bytes = records.bytes;
    let bytes = [
        ("{taken_as=\"understood\"}", bytes.understood as f64),
        ("{taken_as=\"ignored\"}", bytes.ignored as f64),
        ("{taken_as=\"refused\"}", bytes.refused as f64),
        ("{taken_as=\"unfinished\"}", bytes.unfinished as f64),
    ];
    one("bytes_total", "counter", "Bytes from the instrument.", &bytes);
    let standing = [
        ("{priority=\"hold\"}", standing(Priority::Hold)),
        ("{priority=\"warn\"}", standing(Priority::Warn)),
        ("{priority=\"note\"}", standing(Priority::Note)),
    ];
    one("findings_standing", "gauge", "Findings that nobody has seen and whose cause is not gone.", &standing);
    one(
        "recording",
        "gauge",
        "1 while what comes is kept and the loop turns.",
        &[("", f64::from(u8::from(health.recording)))],
    );
    one("link_open", "gauge", "1 while the instrument's link is open and talks.", &[("", f64::from(u8::from(open)))]);
    if let Some(heard_s) = health.heard_s {
        one("heard_seconds", "gauge", "Seconds since the instrument was last heard.", &[("", heard_s)]);
    }
    one(
        "simulated",
        "gauge",
        "1 if anything came from a simulated instrument.",
        &[("", f64::from(u8::from(book.simulated())))],
    );
    let counts = health.counts;
    one("page_connections", "gauge", "Open connections of the page.", &[("", counts.connections as f64)]);
    one("page_streams", "gauge", "Open streams of the page.", &[("", health.streams as f64)]);
    one("page_streams_cut_total", "counter", "Streams that fell behind and were cut.", &[("", counts.cut as f64)]);
    one("page_refused_total", "counter", "Requests that were not heard.", &[("", counts.refused as f64)]);
    one("page_turned_away_total", "counter", "Connections beyond the limit.", &[("", counts.turned_away as f64)]);
    out
}
