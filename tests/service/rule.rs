//! The example of a udev rule: that it is one, by the syntax of udev(7), and names the unit that is there.

use crate::text_of;

/// Keys that rules of serial ports use, and with which signs: those that compare, and those that set.
const KEYS: &[(&str, &[&str])] = &[
    ("ACTION", &["==", "!="]),
    ("SUBSYSTEM", &["==", "!="]),
    ("ATTRS", &["==", "!="]),
    ("SYMLINK", &["+="]),
    ("GROUP", &["="]),
    ("MODE", &["="]),
    ("ENV", &["=", "+="]),
    ("TAG", &["+="]),
];

#[test]
fn the_rule_is_one_and_wants_a_unit_that_is_there() {
    let text = text_of("src/service/closerun.rules");
    let joined = text.replace("\\\n", " ");
    let rules: Vec<&str> = joined.lines().filter(|line| !line.starts_with('#') && !line.trim().is_empty()).collect();
    let [rule] = &rules[..] else { panic!("one rule: {rules:?}") };
    let parts = parts(rule);
    for (key, sign, _) in &parts {
        let known = KEYS.iter().find(|(known, _)| *known == key.split('{').next().unwrap());
        assert!(known.is_some_and(|(_, signs)| signs.contains(sign)), "{key}{sign}");
    }
    let value = |wanted: &str| parts.iter().find(|(key, _, _)| *key == wanted).map(|(_, _, value)| *value);
    assert_eq!(value("SUBSYSTEM"), Some("tty"));
    assert_eq!(value("ATTRS{idVendor}"), Some("0000"), "no maker's number");
    let unit = value("ENV{SYSTEMD_WANTS}").unwrap();
    assert!(unit.starts_with("closerun@") && unit.ends_with(".service"), "{unit}");
    assert_eq!(value("TAG"), Some("systemd"), "without it nothing is started");
}

#[test]
fn udev_finds_nothing_wrong_with_it() {
    if !has_udev_verify() {
        println!("skipped: no udevadm that verifies rules (systemd 254 or later)");
        return;
    }
    let rule = crate::file("src/service/closerun.rules");
    let said = std::process::Command::new("udevadm").arg("verify").arg(rule).output().unwrap();
    assert!(said.status.success(), "{}", String::from_utf8_lossy(&said.stderr));
}

fn has_udev_verify() -> bool {
    let help = std::process::Command::new("udevadm").args(["verify", "--help"]).output();
    help.is_ok_and(|said| said.status.success())
}

/// Key, sign and value of each part.
fn parts(rule: &str) -> Vec<(&str, &str, &str)> {
    let mut parts = Vec::new();
    let mut rest = rule.trim();
    while !rest.is_empty() {
        let quote = rest.find('"').unwrap_or_else(|| panic!("a value in quotes in {rest:?}"));
        let end = quote + 1 + rest[quote + 1..].find('"').unwrap_or_else(|| panic!("an end of {rest:?}"));
        let key = rest[..quote].trim_end_matches(['=', '!', '+', '-', ':']);
        parts.push((key, &rest[key.len()..quote], &rest[quote + 1..end]));
        rest = rest[end + 1..].trim_start().trim_start_matches(',').trim_start();
    }
    parts
}
