//! The unit: that systemd reads it, that it keeps no port out, and the command that it runs.

use std::path::Path;
use std::process::Command;

use crate::program::run;
use crate::{file, has, text_of};

const UNIT: &str = "src/service/closerun@.service";

/// The words of the command that the unit runs, for an instance of that name with these options.
pub(crate) fn command_words(instance: &str, options: &str) -> Vec<String> {
    let unit = text_of(UNIT);
    let command = unit.lines().find_map(|line| line.strip_prefix("ExecStart=")).expect("it runs something");
    command
        .replace("%i", instance)
        .replace("$CLOSERUN_OPTIONS", options)
        .split_whitespace()
        .map(str::to_owned)
        .collect()
}

#[test]
fn systemd_finds_nothing_wrong_with_it() {
    if !has("systemd-analyze") {
        return;
    }
    // The program is looked for where the package puts it; here it is where it was built.
    let folder = tempfile::tempdir().unwrap();
    let built = text_of(UNIT).replace("/usr/bin/closerun", env!("CARGO_BIN_EXE_closerun"));
    let verify = |text: &str| {
        let unit = folder.path().join("closerun@tower.service");
        std::fs::write(&unit, text).unwrap();
        let said = Command::new("systemd-analyze").args(["verify", "--man=no"]).arg(unit).output().unwrap();
        let about_it: Vec<String> = String::from_utf8_lossy(&said.stderr)
            .lines()
            .filter(|line| line.contains("closerun"))
            .map(str::to_owned)
            .collect();
        (said.status.success(), about_it)
    };
    assert_eq!(verify(&built), (true, vec![]));
    let (_, said) = verify(&built.replace("ProtectHome=yes", "ProtectHoome=yes"));
    assert!(said.iter().any(|line| line.contains("ProtectHoome")), "a slip is found: {said:?}");
}

/// A list of devices is drawn up when a service starts: an adapter that is plugged in later would stand on none.
#[test]
fn nothing_in_it_keeps_a_port_out_that_is_plugged_in_later() {
    for line in text_of(UNIT).lines().filter(|line| !line.starts_with('#')) {
        let key = line.split('=').next().unwrap();
        let closes = ["PrivateDevices", "DevicePolicy", "DeviceAllow", "ProtectClock"];
        assert!(!closes.contains(&key), "{line}");
    }
}

#[test]
fn the_program_prints_the_files_of_the_package() {
    let folder = tempfile::tempdir().unwrap();
    for (which, name) in [("unit", UNIT), ("rule", "src/service/closerun.rules")] {
        let printed = run(folder.path(), &format!("service {which}"));
        assert_eq!(printed.assert_good().out, text_of(name), "{which}");
    }
}

#[test]
fn the_readme_names_what_is_there() {
    let readme = text_of("README.md");
    let start = readme.find("\n## As a service\n").expect("the section is there") + 1;
    let section = &readme[start..start + 3 + readme[start + 3..].find("\n## ").expect("another follows")];
    for line in ["closerun service unit", "closerun service rule", "closerun completions", "closerun man"] {
        assert!(section.contains(line), "{line:?} in\n{section}");
    }
    let paths = section.split(['`', ' ', '\n', '(', ')']).filter(|word| word.starts_with("src/"));
    for path in paths {
        assert!(Path::new(&file(path)).exists(), "{path}");
    }
}
