//! All ways in which a capture could be cut into frames, the likeliest first. Which of them is right shows only when
//! readings come out.

mod counted;
mod delimited;
mod lines;

use super::capture::Capture;
use super::cutting::{Cutting, FRAME_MAX};
use crate::protocol::framing::{Framer, Kind};

/// The most ways that are followed: each costs a search over its frames.
const FRAMINGS_MAX: usize = 40;

/// The fewest frames that show a rule.
const FRAMES_MIN: usize = 2;

/// Ways to cut a capture.
pub(super) fn framings(capture: &Capture) -> Vec<Cutting> {
    let mut found: Vec<Cutting> = Vec::new();
    let mut kinds = Vec::new();
    delimited::flagged(&capture.bytes, &mut kinds);
    delimited::between(&capture.bytes, &mut kinds);
    lines::blocks(&capture.bytes, &mut kinds);
    lines::lines(&capture.bytes, &mut kinds);
    counted::prefixed(capture, &mut kinds);
    counted::fixed(capture, &mut kinds);
    for (kind, questions) in kinds.into_iter().take(FRAMINGS_MAX) {
        let framer = Framer { kind, max: FRAME_MAX, noise: Default::default(), pairs: None };
        found.push(Cutting { questions, ..Cutting::by(framer, capture) });
    }
    found.extend(Cutting::by_silence(capture));
    found.retain(|cutting| cutting.frames.len() >= FRAMES_MIN);
    found
}

/// Ways found, each with what should be asked of it.
type Kinds = Vec<(Kind, Vec<String>)>;

/// Where `start` begins in `bytes`.
fn places(bytes: &[u8], start: &[u8]) -> Vec<usize> {
    memchr::memmem::find_iter(bytes, start).collect()
}

/// Whether `part` is nearly all of `whole`: some frames of every capture are damaged.
fn nearly_all(part: usize, whole: usize) -> bool {
    part * 5 >= whole * 4 && part > 0
}

/// Whether a byte can stand in a number or a name.
fn belongs_to_values(byte: u8) -> bool {
    byte.is_ascii_alphanumeric() || matches!(byte, b' ' | b'.' | b',' | b'+' | b'-' | b'_' | b'"') || byte >= 0x80
}
