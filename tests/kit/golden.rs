//! Texts that people read, held against files that a person has looked at. `CLOSERUN_BLESS=1` writes them anew; a missing
//! one fails.

use std::path::Path;

/// Compares a text with its golden.
pub(crate) fn is_golden(path: &Path, text: &str) {
    if std::env::var("CLOSERUN_BLESS").is_ok_and(|value| value == "1") {
        return std::fs::write(path, text).expect("the golden can be written");
    }
    let golden = std::fs::read_to_string(path).unwrap_or_else(|error| panic!("golden {}: {error}", path.display()));
    assert!(text == golden, "{} is\n{golden}\nand came out as\n{text}", path.display());
}
