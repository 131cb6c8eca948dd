//! Programs of others that tests read our files with.

use std::process::{Command, Output};

/// Whether a program is installed. One that is not is said and its test passes by; with `CI=true` it fails instead.
pub fn has(program: &str) -> bool {
    let found = Command::new("sh").args(["-c", &format!("command -v {program}")]).output();
    let found = found.is_ok_and(|output| output.status.success());
    if !found {
        assert!(std::env::var("CI").as_deref() != Ok("true"), "{program} is not installed, and CI=true");
        println!("{program} is not installed: what it would show was not looked at");
    }
    found
}

/// Runs a command that must end well.
#[track_caller]
pub fn ran(command: &mut Command) -> Output {
    let output = command.output().unwrap_or_else(|error| panic!("{command:?}: {error}"));
    assert!(output.status.success(), "{command:?}: {}", String::from_utf8_lossy(&output.stderr));
    output
}
