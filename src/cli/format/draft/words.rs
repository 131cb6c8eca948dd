//! What is said of drafts: how sure they are, what is open, and where several part.

use std::fmt::Write as _;
use std::path::Path;

use crate::protocol::draft::{Apart, Draft, Unseen};

/// The longest piece of a frame that is shown, in bytes.
const SHOWN_MAX: usize = 32;

/// What several drafts are called.
pub(super) fn letters() -> impl Iterator<Item = char> {
    'A'..='Z'
}

/// Of the one draft that fits.
pub(super) fn one(draft: &Draft, seen: usize, capture: &[u8]) -> String {
    let Draft { readings, refused, explained_percent, .. } = draft;
    let (sure, given, read) = (draft.confidence.words(), count(seen, "reading"), count(*readings, "reading"));
    let mut text = format!("one draft fits, {sure}: {given} of the display in {read}\n");
    let _ = writeln!(text, "  understands {explained_percent} % of the bytes; {} refused", count(*refused, "frame"));
    for found in &draft.found {
        let _ = writeln!(text, "  found: {found}");
    }
    for question in &draft.questions {
        let _ = writeln!(text, "  open:  {question}");
    }
    for Unseen { field, value, frames, place } in &draft.unseen {
        let shown = frame(&capture[place.clone()]);
        let _ = writeln!(
            text,
            "  open:  {field} is {value:?} in {}, and in no reading that was given",
            count(*frames, "frame")
        );
        let _ = writeln!(text, "         what did the display show at byte {}? {shown}", place.start);
    }
    text
}

/// What to do with the file.
pub(super) fn next(file: &Path, capture: &Path) -> String {
    let (file, capture) = (file.display(), capture.display());
    format!("written to {file}\nnext: closerun format check {file}\n      closerun format try {file} {capture}\n")
}

/// Of several drafts that fit: what each says that not all say, and where they part.
pub(super) fn several(drafts: &[Draft], apart: &[Apart], capture: &[u8]) -> String {
    let mut text = format!("{} drafts fit, and read the capture differently\n", drafts.len());
    let said: Vec<Vec<&str>> = drafts.iter().map(|draft| statements(&draft.text)).collect();
    for ((draft, own), letter) in drafts.iter().zip(&said).zip(letters()) {
        let (readings, percent) = (count(draft.readings, "reading"), draft.explained_percent);
        let _ = writeln!(text, "  {letter}  {readings}, understands {percent} % of the bytes");
        for line in own.iter().filter(|line| !said.iter().all(|other| other.contains(line))) {
            let _ = writeln!(text, "     {line}");
        }
    }
    for Apart { place, readings } in apart {
        let _ = writeln!(text, "  at byte {}: {}", place.start, frame(&capture[place.clone()]));
        for (reading, letter) in readings.iter().zip(letters()) {
            let _ = writeln!(text, "     {letter} reads {}", reading.as_deref().unwrap_or("nothing"));
        }
    }
    text.push_str("what the display showed there decides: give it with --seen, in its order among the others\n");
    text
}

/// The lines of a file that say something about records; not what stands around them.
fn statements(file: &str) -> Vec<&str> {
    let body = file.split("[[example]]").next().unwrap_or(file);
    body.lines().map(str::trim).filter(|line| !line.is_empty() && !line.starts_with('#')).collect()
}

/// Bytes as characters where they are some, else in hexadecimal.
fn frame(bytes: &[u8]) -> String {
    let shown = &bytes[..bytes.len().min(SHOWN_MAX)];
    let rest = if shown.len() < bytes.len() { " ..." } else { "" };
    let is_text = |byte: &u8| matches!(byte, b' '..=b'~' | b'\r' | b'\n' | b'\t');
    match shown.iter().filter(|byte| is_text(byte)).count() * 4 >= shown.len() * 3 {
        true => format!("{}{rest}", shown.escape_ascii()),
        false => {
            let hex: Vec<String> = shown.iter().map(|byte| format!("{byte:02X}")).collect();
            format!("{}{rest}", hex.join(" "))
        }
    }
}

fn count(number: usize, what: &str) -> String {
    format!("{number} {what}{}", if number == 1 { "" } else { "s" })
}
