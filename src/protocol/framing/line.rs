//! One frame a line.

use super::{Cut, Frame, Scan, too_long};

/// One frame a line.
#[derive(Debug)]
pub(in crate::protocol) struct Line {
    pub(in crate::protocol) end: LineEnd,
}

/// What ends a line.
#[derive(Debug)]
pub(in crate::protocol) enum LineEnd {
    /// LF, CR or both. What is left of the line end before belongs to the line behind it.
    Any,
    /// These bytes.
    Bytes(Box<[u8]>),
}

impl LineEnd {
    /// What is written at the end of a line.
    pub(in crate::protocol) fn written(&self) -> &[u8] {
        match self {
            LineEnd::Any => b"\n",
            LineEnd::Bytes(bytes) => bytes,
        }
    }
}

impl Line {
    pub(super) fn next(&self, buffer: &[u8], scan: &mut Scan, max: usize) -> Cut {
        let cut = match &self.end {
            LineEnd::Any => any(buffer, scan),
            LineEnd::Bytes(end) => find(end, buffer, scan).map(|at| Frame {
                len: at + end.len(),
                start: 0,
                end: at,
                trail: at + end.len(),
            }),
        };
        match cut {
            Some(frame) if frame.len <= max => Cut::Frame(frame),
            None if buffer.len() < max => Cut::More,
            _ => too_long(max),
        }
    }
}

/// The next place of `end`, searched from where the last search stopped.
pub(super) fn find(end: &[u8], buffer: &[u8], scan: &mut Scan) -> Option<usize> {
    // The last byte of a line end is nearly never seen elsewhere, so looking for it alone is the shortest way.
    let (last, before) = end.split_last()?;
    let mut from = scan.from.min(buffer.len());
    while let Some(at) = memchr::memchr(*last, &buffer[from..]) {
        let at = from + at;
        if buffer[..at].ends_with(before) {
            return Some(at - before.len());
        }
        from = at + 1;
    }
    scan.from = buffer.len();
    None
}

fn any(buffer: &[u8], scan: &mut Scan) -> Option<Frame> {
    let start = buffer.iter().position(|byte| !matches!(byte, b'\r' | b'\n'))?;
    let from = scan.from.max(start);
    match memchr::memchr2(b'\r', b'\n', &buffer[from..]) {
        Some(at) => Some(Frame { len: from + at + 1, start, end: from + at, trail: from + at + 1 }),
        None => {
            scan.from = buffer.len();
            None
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn cut(end: LineEnd, bytes: &[u8], max: usize) -> Cut {
        Line { end }.next(bytes, &mut Scan::default(), max)
    }

    #[test]
    fn ends_of_any_kind() {
        let frame = |len, start, end| Cut::Frame(Frame { len, start, end, trail: len });
        assert_eq!(cut(LineEnd::Any, b"ab\r\ncd", 99), frame(3, 0, 2));
        assert_eq!(cut(LineEnd::Any, b"\ncd\n", 99), frame(4, 1, 3));
        assert_eq!(cut(LineEnd::Any, b"\r\n", 99), Cut::More);
        assert_eq!(cut(LineEnd::Bytes((*b"\r\n").into()), b"ab\r\n", 99), frame(4, 0, 2));
        assert_eq!(cut(LineEnd::Bytes((*b"\r\n").into()), b"ab\r", 99), Cut::More);
    }

    #[test]
    fn a_line_beyond_the_bound_is_cut_there() {
        for bytes in [&b"abcdef"[..], b"abcdefg\n", b"abcdefghijk"] {
            let cut = cut(LineEnd::Bytes((*b"\n").into()), bytes, 5);
            assert!(matches!(cut, Cut::Torn { len: 5, .. }), "{cut:?}");
        }
        assert!(matches!(cut(LineEnd::Any, b"\r\n\r\n\r\n", 5), Cut::Torn { len: 5, .. }));
    }
}
