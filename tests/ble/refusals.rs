//! No connection at all: each reason in words that say what to do, with no job left behind, or waited out.

use std::io::{Read, Write};
use std::net::{TcpListener, TcpStream};

use crate::bluez::{Adapters, NOTIFY, Peer, SERVICE};
use crate::hearing::staffs;
use crate::program::{Program, command, until};
use crate::site::{ADDRESS, NAME, Site, record};

/// `listen` that gives up, as somebody types it.
#[track_caller]
fn refused(site: &Site, device: &str, format: &str) -> String {
    let listen = format!("listen --ble {device} --job tower.job --no-page {format}");
    let ended = Program::of(&mut site.command(&listen)).end();
    assert_eq!(ended.code, 2, "{}\n{}", ended.out, ended.err);
    assert!(!site.folder().join("tower.job").exists(), "no job is left behind");
    ended.err
}

const FORMAT: &str = "--format level.toml";

#[test]
fn no_bluetooth_at_all_is_said() {
    let Some(site) = Site::with(None) else { return };
    let said = refused(&site, NAME, FORMAT);
    assert!(said.contains("this machine has no Bluetooth that answers") && said.contains("install bluez"), "{said}");

    let nothing = site.folder().join("no.sock").display().to_string();
    let listen = format!("listen --ble {NAME} --job tower.job --no-page {FORMAT}");
    let mut without_bus = command(site.folder(), &listen);
    without_bus.env("DBUS_SYSTEM_BUS_ADDRESS", format!("unix:path={nothing}"));
    let said = Program::of(&mut without_bus).end().err;
    assert!(said.contains("this machine has no Bluetooth that answers"), "{said}");

    let Some(site) = Site::with(Some(Adapters::None)) else { return };
    let said = refused(&site, NAME, FORMAT);
    assert!(said.contains("this machine has no Bluetooth adapter: plug one in"), "{said}");
}

#[test]
fn switched_off_is_said_and_left_off() {
    let Some(site) = Site::new() else { return };
    site.radio.begin_switched_off();
    site.bring_level();
    let said = refused(&site, NAME, FORMAT);
    assert!(said.contains("Bluetooth is switched off on this machine: switch it on"), "{said}");
    let listed = Program::of(&mut site.command("ports --ble")).end();
    assert_eq!(listed.code, 1);
    assert!(listed.err.contains("switched off"), "{}", listed.err);
    assert_eq!(site.radio.count("Powered"), 0, "{:?}", site.radio.calls());
}

#[test]
fn a_device_that_is_not_heard_is_said_and_waited_for_if_wanted() {
    let Some(site) = Site::new() else { return };
    let said = refused(&site, NAME, FORMAT);
    assert!(said.contains("LEVEL-7 was not heard over Bluetooth within 10 s: switch it on"), "{said}");
    let mut program = site.wait_for_it();
    site.until_state(&mut program, "waiting");
    site.bring_level();
    site.until_heard(&mut program);
    program.stop().assert_good();
}

#[test]
fn two_of_one_name_are_told_apart_by_address() {
    let Some(site) = Site::new() else { return };
    site.bring_level();
    site.bring(Peer::new("00:00:5E:00:53:77", NAME));
    let said = refused(&site, NAME, FORMAT);
    assert!(said.contains(&format!("2 devices are called LEVEL-7: ask for one by its address: {ADDRESS}")), "{said}");
    let listen = format!("listen --ble {ADDRESS} --job tower.job --json --no-page {FORMAT}");
    let mut program = Program::of(&mut site.command(&listen));
    site.until_heard(&mut program);
    assert_eq!(site.radio.count("Connect 00:00:5E:00:53:77"), 0);
    program.stop().assert_good();
}

#[test]
fn a_device_without_the_service_is_said_with_what_it_has() {
    let Some(site) = Site::new() else { return };
    let other = "0000feed-0000-1000-8000-00805f9b34fb";
    site.bring(Peer::new(ADDRESS, NAME).with_service(other));
    let said = refused(&site, NAME, FORMAT);
    assert!(said.contains(&format!("LEVEL-7 has no service {SERVICE}")), "{said}");
    assert!(said.contains(&format!("found service {other} notifies {NOTIFY}")), "{said}");
    assert!(said.contains("[link.ble]"), "{said}");
    assert_eq!(site.radio.count("Disconnect"), 1, "it is let go: {:?}", site.radio.calls());
}

#[test]
fn a_format_that_names_no_service_is_said() {
    let Some(site) = Site::new() else { return };
    let said = refused(&site, NAME, "--format comma");
    assert!(said.contains("the format comma names no Bluetooth service: in its file, [link.ble]"), "{said}");
    let said = refused(&site, NAME, "");
    assert!(said.contains("over Bluetooth a format was wanted with --format"), "{said}");
}

#[test]
fn a_connection_that_fails_at_first_is_tried_again() {
    let Some(site) = Site::new() else { return };
    site.bring_level();
    site.radio.fail_connections(2, "le-connection-abort-by-local");
    let listen = format!("listen --ble {NAME} --job tower.job --json --no-page {FORMAT}");
    let mut program = Program::of(&mut site.command(&listen));
    site.until_heard(&mut program);
    assert_eq!(site.radio.count("Connect"), 3);
    program.stop().assert_good();

    site.radio.fail_connections(99, "le-connection-abort-by-local");
    std::fs::remove_file(site.folder().join("tower.job")).unwrap();
    let said = refused(&site, NAME, FORMAT);
    assert!(said.contains("LEVEL-7 is there and does not connect (le-connection-abort-by-local)"), "{said}");
}

#[test]
fn a_refused_pairing_is_said_on_terminal_and_page_and_left_to_a_person() {
    let Some(site) = Site::new() else { return };
    site.bring_level();
    site.radio.refuse_pairings(2);
    let port = TcpListener::bind("127.0.0.1:0").unwrap().local_addr().unwrap().port();
    let listen = format!("listen --ble {NAME} --job tower.job --json --wait --page {port} {FORMAT}");
    let mut program = Program::of(&mut site.command(&listen));
    let said = site.until_state(&mut program, "waiting");
    assert!(said.contains("LEVEL-7 refuses to pair (Authentication Failed): confirm the pairing on it"), "{said}");
    until("page that says so", || page(port).contains("refuses to pair"));
    // Confirmed at the third time.
    site.until_heard(&mut program);
    until("page that says so no more", || !page(port).contains("refuses to pair"));
    let (whole, staff) = record(1);
    site.notify(whole.as_bytes());
    assert_eq!(staffs(&mut program, 1), [staff]);
    program.stop().assert_good();
    for ours_to_leave in ["Pair", "RemoveDevice"] {
        assert_eq!(site.radio.count(ours_to_leave), 0, "{:?}", site.radio.calls());
    }
}

#[test]
fn a_pairing_that_stays_refused_is_not_tried_all_the_time() {
    let Some(site) = Site::new() else { return };
    site.bring_level();
    site.radio.refuse_pairings(u32::MAX);
    let mut program = site.wait_for_it();
    site.until_state(&mut program, "waiting");
    until("three tries", || site.radio.count("StartNotify") == 3);
    // Ten times as long as the three took at most, and no fourth.
    let begun = std::time::Instant::now();
    until("rest", || begun.elapsed().as_secs() >= 8);
    assert_eq!(site.radio.count("StartNotify"), 3, "{:?}", site.radio.calls());
    program.stop().assert_good();
}

/// The state of things as the page has it.
fn page(port: u16) -> String {
    let mut stream = TcpStream::connect(("127.0.0.1", port)).unwrap();
    write!(stream, "GET /v1/state HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\nConnection: close\r\n\r\n").unwrap();
    let mut answer = String::new();
    stream.read_to_string(&mut answer).unwrap();
    assert!(answer.starts_with("HTTP/1.1 200"), "{answer}");
    answer
}
