//! What is heard: every record once, however its bytes were cut, and what is sent arrives.

use std::time::{Duration, Instant};

use closerun::book::event::Body;
use closerun::book::reading::Heard;
use closerun::store::Job;

use crate::bluez::Peer;
use crate::program::{Program, run};
use crate::site::{ADDRESS, GREETING, NAME, Site, record};

/// Staff readings in the job, in order.
pub(crate) fn kept(site: &Site) -> Vec<String> {
    let job = Job::read(&site.folder().join("tower.job")).unwrap();
    let digits = |body: &Body| match body {
        Body::Heard { heard: Heard::Reading(reading) } => Some(reading.staff.digits().to_string()),
        _ => None,
    };
    job.events().filter_map(|event| digits(&event.unwrap().body)).collect()
}

pub(crate) fn staffs(program: &mut Program, count: usize) -> Vec<String> {
    program.readings(count).iter().map(|line| line["staff"].as_str().unwrap().to_owned()).collect()
}

#[test]
fn records_are_heard_once_however_notifications_cut_or_join_them() {
    let Some(site) = Site::new() else { return };
    site.bring_level();
    let mut program = site.listen();
    let opened = program.heard().iter().find(|line| line.contains("\"listening\"")).unwrap().clone();
    assert!(opened.contains(&format!("ble {NAME} ({ADDRESS}), MTU 247")), "{opened}");
    let records: Vec<(String, String)> = (1..=60).map(record).collect();
    let stream: Vec<u8> = records.iter().flat_map(|(record, _)| record.bytes()).collect();
    // Every length from one byte to several records, in turn.
    let (mut rest, mut length) = (&stream[..], 1);
    while !rest.is_empty() {
        let (piece, behind) = rest.split_at(length.min(rest.len()));
        site.notify(piece);
        (rest, length) = (behind, length % 97 + 13);
    }
    let sent: Vec<String> = records.into_iter().map(|(_, staff)| staff).collect();
    assert_eq!(staffs(&mut program, sent.len()), sent);

    site.notify(b"R,61,,1.5");
    // The greeting came in pieces that fit, before anything was heard.
    let begun = Instant::now();
    let ended = Program::stop(program);
    let took = begun.elapsed();
    ended.assert_good();
    assert!(took < Duration::from_secs(1), "a stop took {took:?}");
    assert_eq!(kept(&site), sent);
    assert_eq!(site.radio.count("Disconnect"), 1, "the instrument is free for others: {:?}", site.radio.calls());
    run(site.folder(), "verify tower.job").assert_good();
    run(site.folder(), "replay tower.job").assert_good();
}

#[test]
fn what_is_sent_comes_in_pieces_that_fit() {
    let Some(site) = Site::new() else { return };
    site.bring(Peer::new(ADDRESS, NAME).with_mtu(23));
    let program = site.listen();
    crate::program::until("greeting", || site.radio.written().concat().len() >= GREETING.len());
    let written = site.radio.written();
    assert_eq!(written.concat(), GREETING.as_bytes());
    assert!(written.iter().all(|piece| piece.len() <= 20), "MTU 23 carries 20 bytes: {written:?}");
    program.stop().assert_good();
}

#[test]
fn a_burst_is_kept_whole() {
    let Some(site) = Site::new() else { return };
    site.bring_level();
    let mut program = site.listen();
    let records: Vec<(String, String)> = (1..=200).map(record).collect();
    for (record, _) in &records {
        site.notify(record.as_bytes());
    }
    let sent: Vec<String> = records.into_iter().map(|(_, staff)| staff).collect();
    assert_eq!(staffs(&mut program, sent.len()), sent);
    program.stop().assert_good();
    assert_eq!(kept(&site), sent);
}

#[test]
fn an_instrument_that_cuts_its_records_at_the_mtu_is_found_out() {
    let Some(site) = Site::new() else { return };
    site.bring(Peer::new(ADDRESS, NAME).with_mtu(23));
    let mut program = site.listen();
    let begun = Instant::now();
    for number in 1..=2 {
        let (record, _) = record(number);
        site.notify(&record.as_bytes()[..20]);
        // An instrument takes seconds between two shots; the second is what shows that nothing followed the first.
        crate::program::until("next shot", || begun.elapsed() > Duration::from_millis(1500 * number as u64));
    }
    let warned = program.json_line("warning", |line| line["text"].as_str().is_some_and(|text| text.contains("MTU 23")));
    assert_eq!(warned["type"], "notice", "{warned}");
    // The next whole one is booked, and nothing of the cut ones is.
    site.notify(b"\r\n");
    let (whole, staff) = record(3);
    let (first, second) = whole.split_at(20);
    site.notify(first.as_bytes());
    site.notify(second.as_bytes());
    assert_eq!(staffs(&mut program, 1), std::slice::from_ref(&staff));
    program.stop().assert_good();
    assert_eq!(kept(&site), [staff]);
}
