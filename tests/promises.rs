//! `PROMISES.md` against the sources: every test that it names exists, and no row of faults is left out.

use std::collections::BTreeSet;
use std::fs;
use std::path::Path;

/// The rows of faults: numbered, and one between two.
const ROWS: u32 = 70;
const BETWEEN: &str = "42a";

fn read(file: &str) -> Option<String> {
    fs::read_to_string(Path::new(env!("CARGO_MANIFEST_DIR")).join(file)).ok()
}

/// `file::function` in code marks, as `(file, function)`.
fn named(text: &str) -> Vec<(&str, &str)> {
    let marked = text.split('`').skip(1).step_by(2);
    marked.filter_map(|name| name.split_once(".rs::").map(|(file, _)| name.split_at(file.len() + 3))).collect()
}

/// Whether a source has a test of this name.
fn has_test(source: &str, name: &str) -> bool {
    let function = format!("fn {name}(");
    source.match_indices(&function).any(|(at, _)| {
        // Its attributes stand in the lines right above it.
        let above = source[..at].trim_end_matches("async ").trim_end();
        let attributes = above.lines().rev().take_while(|line| !line.trim().is_empty() && line.trim() != "}");
        attributes.take(6).any(|line| line.trim().starts_with("#[test]") || line.trim().starts_with("#[tokio::test"))
    })
}

/// What is missing: tests that are named and are not there.
fn missing(text: &str) -> Vec<String> {
    let there = |file: &str, name: &str| read(file).is_some_and(|source| has_test(&source, name));
    let names = named(text).into_iter().map(|(file, rest)| (file, rest.trim_start_matches("::")));
    names.filter(|(file, name)| !there(file, name)).map(|(file, name)| format!("{file}::{name}")).collect()
}

#[test]
fn every_test_that_is_named_exists() {
    let text = read("tests/PROMISES.md").expect("the page of promises");
    assert!(named(&text).len() > 90, "{} are named", named(&text).len());
    assert_eq!(missing(&text), Vec::<String>::new());
}

#[test]
fn every_row_is_there() {
    let text = read("tests/PROMISES.md").expect("the page of promises");
    let first = |line: &str| Some(line.strip_prefix("| ")?.split(" |").next()?.to_owned());
    let numbers: Vec<String> = text.lines().filter_map(first).collect();
    let found: BTreeSet<&str> = numbers.iter().flat_map(|cell| cell.split(", ")).collect();
    let wanted: Vec<String> = (1..=ROWS).map(|row| row.to_string()).chain([BETWEEN.to_owned()]).collect();
    let without: Vec<&String> = wanted.iter().filter(|row| !found.contains(row.as_str())).collect();
    assert!(without.is_empty(), "no row for {without:?}");
}

/// Planted: a name that is no test, and a file that is not there.
#[test]
fn a_name_that_leads_nowhere_is_seen() {
    let text = "| 1 | `tests/promises.rs::missing`, `tests/nowhere.rs::x` and `tests/promises.rs::every_row_is_there`";
    assert_eq!(missing(text), ["tests/promises.rs::missing", "tests/nowhere.rs::x"]);
}
