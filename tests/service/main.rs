//! What a system needs to run the program as a service: a supervisor that hears it, the unit and the rule, the package
//! with its manual and completions, and under which licences all of it stands.
#![cfg(target_os = "linux")]

#[path = "../harness/port.rs"]
mod port;
#[path = "../harness/program.rs"]
mod program;

mod licences;
mod manual;
mod package;
mod rule;
mod supervised;
mod unit;

use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

/// A file of the project.
fn file(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join(name)
}

fn text_of(name: &str) -> String {
    std::fs::read_to_string(file(name)).unwrap_or_else(|error| panic!("{name}: {error}"))
}

/// Whether a tool that a test asks for a second opinion is there; where all tests must run, it has to be.
fn has(tool: &str) -> bool {
    let there = Command::new(tool).arg("--version").stdout(Stdio::null()).stderr(Stdio::null()).status().is_ok();
    if !there {
        assert!(std::env::var_os("CI").is_none_or(|ci| ci != "true"), "CI needs {tool}");
        println!("skipped: no {tool}");
    }
    there
}
