//! What a person sees who looks for an instrument.

use crate::bluez::{Peer, SERVICE};
use crate::program::Program;
use crate::site::{ADDRESS, NAME, Site};

#[test]
fn what_is_heard_is_listed_with_the_format_that_fits() {
    let Some(site) = Site::new() else { return };
    let listed = Program::of(&mut site.command("ports --ble")).end();
    assert_eq!(listed.assert_good().out, "nothing is heard over Bluetooth Low Energy\n");
    site.bring_level();
    let of_objects = "7f8b0001-94c1-4a55-9a53-6f2d1e0c5a10";
    site.bring(Peer::new("00:00:5E:00:53:77", "X\u{1b}[2J").with_service(of_objects));
    let listed = Program::of(&mut site.command("ports --ble")).end();
    let out = &listed.assert_good().out;
    assert!(out.contains(&format!("{ADDRESS}    -47 dBm  {NAME}\n")), "{out}");
    assert!(out.contains(&format!("service {SERVICE}\n")), "{out}");
    assert!(out.contains(&format!("service {of_objects}, as in the format objects\n")), "{out}");
    assert!(!out.contains('\u{1b}'), "a name steers no terminal: {out:?}");
    assert_eq!(site.radio.count("Connect"), 0, "nobody was connected to");
}
