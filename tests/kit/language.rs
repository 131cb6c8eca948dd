//! The language described: the committed reference page is what the types that read a file say, and the schema for
//! editors names the same things.

use std::path::Path;

use serde_json::Value;

use super::golden::is_golden;
use super::program::run;

fn protocols() -> std::path::PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("protocols")
}

#[test]
fn the_reference_page_is_what_the_types_say() {
    let ended = run(&protocols(), "format reference");
    assert_eq!((ended.code, &*ended.err), (0, ""));
    is_golden(&protocols().join("REFERENCE.md"), &ended.out);
}

#[test]
fn the_schema_names_every_heading_of_the_page() {
    let ended = run(&protocols(), "format schema");
    assert_eq!((ended.code, &*ended.err), (0, ""));
    let schema: Value = serde_json::from_str(&ended.out).expect("JSON");
    assert_eq!(schema["$schema"], "https://json-schema.org/draft/2020-12/schema");
    let defined = schema["$defs"].as_object().expect("definitions");
    let page = std::fs::read_to_string(protocols().join("REFERENCE.md")).unwrap();
    let headings: Vec<&str> = page.lines().filter_map(|line| line.strip_prefix("## ")).collect();
    assert_eq!((headings[0], headings[headings.len() - 1]), ("The file", "Names of CRCs"));
    assert_eq!(headings.len(), defined.len() + 2);
    assert!(headings[1..headings.len() - 1].iter().all(|name| defined.contains_key(*name)), "{headings:?}");
}
