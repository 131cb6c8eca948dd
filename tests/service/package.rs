//! The package's description in Cargo.toml: that everything it names is in the project or written by the program.

use std::path::Path;
use std::process::Command;

use crate::{file, text_of};

/// From, to and mode of each file of the package.
fn assets() -> Vec<(String, String, String)> {
    let manifest: toml::Table = text_of("Cargo.toml").parse().unwrap();
    let deb = &manifest["package"]["metadata"]["deb"];
    let text = |value: &toml::Value| value.as_str().unwrap().to_owned();
    let assets = deb["assets"].as_array().unwrap().iter().map(|asset| asset.as_array().unwrap());
    assets.map(|asset| (text(&asset[0]), text(&asset[1]), text(&asset[2]))).collect()
}

/// Names in a folder that a pattern with at most one star fits.
fn fitting(folder: &Path, pattern: &str) -> Vec<String> {
    let (front, behind) = pattern.split_once('*').unwrap_or((pattern, ""));
    let fits = |name: &String| match pattern.contains('*') {
        true => name.len() >= front.len() + behind.len() && name.starts_with(front) && name.ends_with(behind),
        false => name == pattern,
    };
    let names = std::fs::read_dir(folder).unwrap_or_else(|error| panic!("{}: {error}", folder.display()));
    names.map(|entry| entry.unwrap().file_name().into_string().unwrap()).filter(fits).collect()
}

#[test]
fn every_file_of_the_package_is_there_or_is_written_by_the_program() {
    let written = tempfile::tempdir().unwrap();
    let mut script = Command::new("sh");
    script.arg(file("src/service/files.sh")).arg(env!("CARGO_BIN_EXE_closerun")).arg(written.path());
    let said = script.output().unwrap();
    assert!(said.status.success(), "{}", String::from_utf8_lossy(&said.stderr));
    let mut packed = 0;
    for (from, to, mode) in assets() {
        let (folder, pattern) = from.rsplit_once('/').unwrap_or((".", &from));
        match folder {
            "target/release" => assert_eq!((pattern, &*to, &*mode), ("closerun", "usr/bin/", "755")),
            "target/package" => {
                let names = fitting(written.path(), pattern);
                assert!(!names.is_empty(), "{from}");
                packed += names.len();
            }
            folder => assert!(!fitting(&file(folder), pattern).is_empty(), "{from}"),
        }
        assert!(to.starts_with("usr/"), "{to}");
    }
    assert_eq!(packed, fitting(written.path(), "*").len(), "all that is written is packed, once");
}

/// The unit runs the program where the package puts it.
#[test]
fn the_unit_runs_the_program_of_the_package() {
    assert_eq!(crate::unit::command_words("x", "")[0], "/usr/bin/closerun");
    assert!(assets().iter().any(|(from, to, _)| from.ends_with("release/closerun") && to == "usr/bin/"));
}
