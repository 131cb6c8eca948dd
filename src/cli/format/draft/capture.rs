//! As much of a capture, or of a file of bare bytes, as a draft looks at.

use std::fs::File;
use std::io::BufReader;
use std::path::Path;

use crate::book::moment::Moment;
use crate::cli::Failure;
use crate::link::{CaptureError, CaptureReader, Captured};
use crate::protocol::draft::CAPTURE_MAX;

/// What was read of a capture.
pub(super) struct Whole {
    pub(super) chunks: Vec<(Moment, Vec<u8>)>,
    /// What a person should know of it.
    pub(super) notes: Vec<String>,
}

impl Whole {
    /// All bytes in order.
    pub(super) fn bytes(&self) -> Vec<u8> {
        self.chunks.iter().flat_map(|(_, bytes)| bytes.iter().copied()).collect()
    }
}

/// Reads it, up to what a draft looks at.
pub(super) fn read(path: &Path) -> Result<Whole, Failure> {
    let refused = |why: String| Failure::input(format!("capture {}: {why}", path.display()));
    let file = File::open(path).map_err(|error| refused(error.to_string()))?;
    let mut reader = CaptureReader::new(BufReader::new(file)).map_err(|error| refused(error.to_string()))?;
    let mut whole = Whole { chunks: Vec::new(), notes: Vec::new() };
    match reader.header() {
        Some(header) if header.simulated => whole.notes.push(format!("{}  SIMULATED", header.link)),
        Some(header) => whole.notes.push(header.link.clone()),
        None => whole.notes.push("bare bytes: no time is known, so no silence between records either".to_owned()),
    }
    let mut total = 0;
    while total < CAPTURE_MAX {
        match reader.next(|| 0) {
            Ok(None) => return Ok(whole),
            Ok(Some(Captured::Bytes { at_us, bytes })) => {
                total += bytes.len();
                whole.chunks.push((Moment::from_us(at_us), bytes));
            }
            Ok(Some(Captured::Gap { why, .. })) => whole.notes.push(format!("gap: {why}")),
            Err(error @ CaptureError::Line { .. }) => whole.notes.push(error.to_string()),
            Err(error) => return Err(refused(error.to_string())),
        }
    }
    whole.notes.push(format!("only the first {CAPTURE_MAX} bytes are looked at"));
    Ok(whole)
}
