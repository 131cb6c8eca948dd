//! Outages: each said as what it is, ended without a person, nothing glued over it and nothing doubled.

use std::time::{Duration, Instant};

use closerun::book::event::{Body, LinkState};
use closerun::book::reading::Heard;
use closerun::store::Job;

use crate::bluez::{Peer, Word};
use crate::hearing::{kept, staffs};
use crate::site::{ADDRESS, NAME, Site, record};

#[test]
fn out_of_reach_and_back_three_times_each_record_is_there_once() {
    let Some(three) = Outages::three(1) else { return };
    three.each_once().unwrap();
    let site = &three.site;
    assert_eq!(site.radio.count("StartNotify"), 4, "one subscription a connection: {:?}", site.radio.calls());
}

/// Planted: a subscription of before the outage that is still alive brings each value a second time. Even then each is
/// used once, and named.
#[test]
fn a_subscription_too_many_is_seen() {
    let Some(three) = Outages::three(2) else { return };
    let why = three.each_once().unwrap_err();
    assert!(why.contains("came again"), "red for another reason: {why}");
    assert_eq!(kept(&three.site), three.sent, "each is used once all the same");
}

/// Three outages, each in the middle of a record.
struct Outages {
    site: Site,
    sent: Vec<String>,
}

impl Outages {
    /// With each value signalled so often.
    fn three(signals: u32) -> Option<Self> {
        let site = Site::new()?;
        site.bring_level();
        let mut program = site.listen();
        site.radio.signal_each(signals);
        let mut sent = Vec::new();
        for round in 0..3 {
            let (whole, staff) = record(2 * round + 1);
            site.notify(whole.as_bytes());
            assert_eq!(staffs(&mut program, 1), std::slice::from_ref(&staff));
            sent.push(staff);
            let (half, _) = record(2 * round + 2);
            site.notify(&half.as_bytes()[..9]);
            site.take_away(ADDRESS);
            let said = site.until_state(&mut program, "lost");
            assert!(said.contains("gone from Bluetooth"), "{said}");
            let finding = program.json_line("finding", |line| line["type"] == "finding");
            let fact = finding["text"].as_str().or(finding["fact"].as_str()).unwrap();
            assert!(fact.contains("link lost") && !fact.contains("port"), "{fact}");
            let begun = Instant::now();
            site.bring_level();
            site.until_heard(&mut program);
            assert!(begun.elapsed() < Duration::from_secs(10), "back after {:?}", begun.elapsed());
        }
        let (last, staff) = record(7);
        site.notify(last.as_bytes());
        assert_eq!(staffs(&mut program, 1), std::slice::from_ref(&staff));
        sent.push(staff);
        program.stop().assert_good();
        Some(Outages { site, sent })
    }

    /// The promise: each record once, each half as what it is.
    fn each_once(&self) -> Result<(), String> {
        let job = Job::read(&self.site.folder().join("tower.job")).unwrap();
        let bodies: Vec<Body> = job.events().map(|event| event.unwrap().body).collect();
        let count = |is: fn(&Body) -> bool| bodies.iter().filter(|body| is(body)).count();
        let again = count(|body| matches!(body, Body::Heard { heard: Heard::Repeated { .. } }));
        let halves = count(|body| matches!(body, Body::Heard { heard: Heard::Unfinished }));
        match (again, halves) {
            (0, 3) if kept(&self.site) == self.sent => Ok(()),
            (0, 3) => Err(format!("{:?} is in the job, {:?} was sent", kept(&self.site), self.sent)),
            (0, _) => Err(format!("{halves} halves are kept as such")),
            _ => Err(format!("{again} records came again")),
        }
    }
}

#[test]
fn a_stream_that_ends_without_a_word_is_found_to_have_ended() {
    let Some(site) = Site::new() else { return };
    site.bring_level();
    let mut program = site.listen();
    let begun = Instant::now();
    site.drop_connection(Word::Kept);
    let said = site.until_state(&mut program, "lost");
    assert!(said.contains("gone from Bluetooth"), "{said}");
    assert!(begun.elapsed() < Duration::from_secs(10), "found after {:?}", begun.elapsed());
    site.until_heard(&mut program);
    let (whole, staff) = record(1);
    site.notify(whole.as_bytes());
    assert_eq!(staffs(&mut program, 1), [staff]);
    program.stop().assert_good();
}

#[test]
fn bluetooth_switched_off_is_said_and_taken_up_when_it_is_on_and_never_switched_by_us() {
    let Some(site) = Site::new() else { return };
    site.bring_level();
    let mut program = site.listen();
    site.switch(false);
    let said = site.until_state(&mut program, "lost");
    assert!(said.contains("switched off on this machine") || said.contains("gone from Bluetooth"), "{said}");
    let said = site.until_state(&mut program, "waiting");
    assert!(said.contains("Bluetooth is switched off on this machine: switch it on"), "{said}");
    site.switch(true);
    site.until_heard(&mut program);
    program.stop().assert_good();
    assert_eq!(site.radio.count("Powered"), 0, "{:?}", site.radio.calls());
}

#[test]
fn the_bluetooth_service_restarts_and_it_goes_on() {
    let Some(mut site) = Site::new() else { return };
    site.bring_level();
    let mut program = site.listen();
    site.stop_service();
    let said = site.until_state(&mut program, "lost");
    assert!(said.contains("Bluetooth service lost it"), "{said}");
    let said = site.until_state(&mut program, "waiting");
    assert!(said.contains("no Bluetooth that answers"), "{said}");
    let begun = Instant::now();
    site.start_service();
    site.until_heard(&mut program);
    assert!(begun.elapsed() < Duration::from_secs(10), "back after {:?}", begun.elapsed());
    let (whole, staff) = record(1);
    site.notify(whole.as_bytes());
    assert_eq!(staffs(&mut program, 1), [staff]);
    program.stop().assert_good();
}

#[test]
fn another_level_of_the_same_name_is_not_listened_to() {
    let Some(site) = Site::new() else { return };
    site.bring_level();
    let mut program = site.listen();
    site.take_away(ADDRESS);
    site.bring(Peer::new("00:00:5E:00:53:77", NAME));
    site.until_state(&mut program, "lost");
    let said = site.until_state(&mut program, "waiting");
    assert!(said.contains(&format!("another device now (00:00:5E:00:53:77): bring {ADDRESS} back")), "{said}");
    site.bring_level();
    site.until_heard(&mut program);
    program.stop().assert_good();
    assert_eq!(site.radio.count("Connect 00:00:5E:00:53:77"), 0, "{:?}", site.radio.calls());
    let job = Job::read(&site.folder().join("tower.job")).unwrap();
    let lost = |body: &Body| matches!(body, Body::LinkChanged { state: LinkState::Lost { .. } });
    assert_eq!(job.events().filter(|event| lost(&event.as_ref().unwrap().body)).count(), 1);
}
