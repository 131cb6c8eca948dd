//! Lines, and blocks of lines.

use super::{Kinds, belongs_to_values, nearly_all, places};
use crate::protocol::framing::{Block, Kind, Line, LineEnd};

/// The most single characters that are tried as the end of a line.
const ENDS_MAX: usize = 4;

/// What could end a line.
pub(super) fn lines(bytes: &[u8], kinds: &mut Kinds) {
    for end in ends(bytes) {
        kinds.push((Kind::Line(Line { end }), Vec::new()));
    }
}

/// Line ends proper; other characters only where there are none.
pub(super) fn ends(bytes: &[u8]) -> Vec<LineEnd> {
    let count = |wanted: &[u8]| places(bytes, wanted).len();
    let (both, cr, lf) = (count(b"\r\n"), count(b"\r"), count(b"\n"));
    let end = |bytes: &[u8]| LineEnd::Bytes(bytes.into());
    match (both, cr, lf) {
        (0, 0, 0) => others(bytes).into_iter().map(|byte| end(&[byte])).collect(),
        (0, _, 0) => vec![end(b"\r")],
        (0, 0, _) => vec![end(b"\n")],
        _ if nearly_all(both, cr.max(lf)) => vec![end(b"\r\n")],
        _ => vec![LineEnd::Any],
    }
}

/// Characters that no value holds, the most frequent first.
fn others(bytes: &[u8]) -> Vec<u8> {
    let mut counts = [0usize; 256];
    bytes.iter().for_each(|&byte| counts[usize::from(byte)] += 1);
    let mut found: Vec<u8> = (0..=255u8).filter(|&byte| counts[usize::from(byte)] >= 2).collect();
    found.retain(|&byte| !belongs_to_values(byte));
    // The last byte of a capture ends a line more likely than any other.
    found.sort_by_key(|&byte| (bytes.last() != Some(&byte), std::cmp::Reverse(counts[usize::from(byte)])));
    found.truncate(ENDS_MAX);
    found
}

/// The most lines of a block.
const LINES_MAX: usize = 16;

/// Lines of a text.
struct Lines<'a> {
    end: Box<[u8]>,
    lines: Vec<&'a [u8]>,
}

/// Blocks that are closed by a line that is always the same.
pub(super) fn blocks(bytes: &[u8], kinds: &mut Kinds) {
    for end in ends(bytes) {
        let LineEnd::Bytes(end) = end else { continue };
        let mut lines = Vec::new();
        let mut begin = 0;
        for at in places(bytes, &end) {
            lines.push(&bytes[begin..at]);
            begin = at + end.len();
        }
        let text = Lines { end, lines };
        for close in closing(&text.lines) {
            if let Some(open) = opening(&text.lines, close) {
                let (open, close) = (open.into(), close.into());
                let end = text.end.clone();
                kinds.push((Kind::Block(Block { open, close, end, checks: 0, line_checks: 0 }), Vec::new()));
            }
        }
    }
}

/// Lines that come again and again without a change.
fn closing<'a>(lines: &[&'a [u8]]) -> Vec<&'a [u8]> {
    let mut counts: Vec<(&[u8], usize)> = Vec::new();
    for line in lines.iter().filter(|line| line.first().is_some_and(u8::is_ascii_alphabetic)) {
        match counts.iter().position(|(known, _)| known == line) {
            Some(at) => counts[at].1 += 1,
            None if counts.len() < KNOWN_MAX => counts.push((line, 1)),
            None => {}
        }
    }
    counts.retain(|(_, count)| *count >= 2);
    counts.sort_by_key(|(_, count)| std::cmp::Reverse(*count));
    counts.truncate(4);
    counts.into_iter().map(|(line, _)| line).collect()
}

/// The most different lines that are counted.
const KNOWN_MAX: usize = 256;

/// How the line begins that opens what `close` closes: always as many lines before it.
fn opening<'a>(lines: &[&'a [u8]], close: &[u8]) -> Option<&'a [u8]> {
    let closes: Vec<usize> = (0..lines.len()).filter(|&at| lines[at] == close).collect();
    let mut best = None;
    for before in 1..LINES_MAX {
        let opens: Vec<&[u8]> = closes.iter().filter_map(|&at| lines.get(at.checked_sub(before)?).copied()).collect();
        let Some(open) = opens.first().map(|first| word(first)).filter(|word| !word.is_empty() && *word != close)
        else {
            continue;
        };
        let alike = opens.iter().filter(|line| line.starts_with(open)).count();
        let elsewhere = lines.iter().filter(|line| line.starts_with(open)).count();
        if nearly_all(alike, closes.len()) && nearly_all(alike, elsewhere) {
            best = Some(open);
        }
    }
    best
}

/// The letters that a line begins with, and the mark behind them.
fn word(line: &[u8]) -> &[u8] {
    let letters = line.iter().take_while(|byte| byte.is_ascii_alphabetic()).count();
    let mark = line.get(letters).is_some_and(|byte| !byte.is_ascii_digit());
    &line[..if letters == 0 { 0 } else { letters + usize::from(mark) }]
}
