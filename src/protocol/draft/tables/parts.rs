//! Cells between literals: words in a line, perhaps in one of several.

use std::ops::Range;

use super::{CELLS_MAX, Name, Table, Way, by_shape};

/// Tables by what stands between the words.
pub(super) fn tables(bodies: &[&[u8]], line_end: Option<&[u8]>) -> Vec<Table> {
    let words: Vec<Vec<Range<usize>>> = bodies.iter().map(|body| words(body)).collect();
    let shape = |at: usize| {
        let (body, words) = (bodies[at], &words[at]);
        let gaps: Vec<&[u8]> = words.windows(2).map(|pair| &body[pair[0].end..pair[1].start]).collect();
        let first = words.first()?;
        // A word of letters tells one kind of line from another.
        let letters = body[first.clone()].iter().all(u8::is_ascii_alphabetic).then(|| &body[first.clone()]);
        ((2..=CELLS_MAX).contains(&words.len())).then_some((gaps, first.start, letters))
    };
    let mut tables = Vec::new();
    for ((gaps, ..), alike) in by_shape((0..bodies.len()).map(shape), 3) {
        let mut rows = vec![None; bodies.len()];
        for body in alike {
            rows[body] = Some(words[body].iter().cloned().map(Some).collect());
        }
        let names = (0..=gaps.len()).map(Name::Place).collect();
        tables.push(Table { way: Way::Parts { line_end: line_end.map(<[u8]>::to_vec) }, names, rows });
    }
    tables
}

/// Words: what stands between spaces, marks and line ends.
fn words(body: &[u8]) -> Vec<Range<usize>> {
    let is_gap = |byte: u8| matches!(byte, b' ' | b'\t' | b'\r' | b'\n' | b'=' | b':' | b';' | b',' | b'|' | b'/');
    let mut words: Vec<Range<usize>> = Vec::new();
    for (at, &byte) in body.iter().enumerate() {
        // A comma between digits is a decimal one.
        let inside =
            byte == b',' && at > 0 && body[at - 1].is_ascii_digit() && body.get(at + 1).is_some_and(u8::is_ascii_digit);
        if is_gap(byte) && !inside {
            continue;
        }
        match words.last_mut() {
            Some(word) if word.end == at => word.end = at + 1,
            _ => words.push(at..at + 1),
        }
    }
    words
}
