//! The built program as its users run it, in processes of its own: the demonstration, a run that is told things from
//! another terminal, bad input, and a recording that is killed again and again.

#[path = "../harness/program.rs"]
mod program;

mod crash;
mod demo;
mod refuse;
mod tell;

use serde_json::Value;

/// The readings among JSON lines: number in the book, digits of the staff.
fn readings(lines: &[String]) -> Vec<(u64, String)> {
    let values = lines.iter().filter_map(|line| serde_json::from_str::<Value>(line).ok());
    values
        .filter(|value| value["type"] == "reading")
        .map(|value| (value["number"].as_u64().unwrap(), value["staff"].as_str().unwrap().to_owned()))
        .collect()
}
