//! The built program as its users run it, in processes of its own: the demonstration, a run that is heard, told and
//! seen on a terminal, jobs asked afterwards, bad input, what goes wrong around it, and a recording that is killed
//! again and again.
#![cfg(target_os = "linux")]

#[path = "../harness/port.rs"]
mod port;
#[path = "../harness/program.rs"]
mod program;

mod afterwards;
mod crash;
mod demo;
mod listening;
mod refuse;
mod report;
mod screen;
mod several;
mod terminal;
mod trouble;

use std::path::Path;

use closerun::book::event::{Body, Event};
use closerun::book::reading::Heard;
use closerun::store::Job;
use serde_json::Value;

use port::Level;
use program::Program;

/// The readings among JSON lines: number in the book, digits of the staff.
fn readings<'l>(lines: impl IntoIterator<Item = &'l String>) -> Vec<(u64, String)> {
    let values = lines.into_iter().filter_map(|line| serde_json::from_str::<Value>(line).ok());
    values
        .filter(|value| value["type"] == "reading")
        .map(|value| (value["number"].as_u64().unwrap(), value["staff"].as_str().unwrap().to_owned()))
        .collect()
}

/// What a job holds, whether it is being recorded or not.
fn events(folder: &Path, job: &str) -> Vec<Event> {
    let reader = Job::read(&folder.join(job)).unwrap();
    reader.events().collect::<Result<_, _>>().unwrap()
}

/// Digits of the readings in a job.
fn kept(folder: &Path, job: &str) -> Vec<String> {
    let digits = |event: &Event| match &event.body {
        Body::Heard { heard: Heard::Reading(reading) } => Some(reading.staff.digits().to_string()),
        _ => None,
    };
    events(folder, job).iter().filter_map(digits).collect()
}

/// Names of the files in a folder, what the program registers while it runs left out.
fn names(folder: &Path) -> Vec<String> {
    let names = std::fs::read_dir(folder).unwrap();
    let mut names: Vec<String> = names.map(|entry| entry.unwrap().file_name().into_string().unwrap()).collect();
    names.retain(|name| name != "closerun");
    names.sort();
    names
}

/// Staff readings and sight lengths, no two alike and balanced.
fn shots(count: usize) -> Vec<(String, String)> {
    let shot = |n: usize| (format!("{}.{:05}", 1 + n % 2, 20_000 + n * 37), format!("20.{:02}", n % 90));
    (1..=count).map(shot).collect()
}

/// `listen` with JSON lines on a level of the comma-separated format, ready.
fn listen(folder: &Path, level: &Level, more: &str) -> Program {
    let port = level.port();
    let arguments = format!("listen --port {port} --format comma --job tower.job --json --quiet {more}");
    let mut program = Program::start(folder, &arguments);
    program.line_of_type("listening");
    program
}
