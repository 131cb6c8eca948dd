//! Several lines from an opening to a closing line; other lines are frames of their own.

use super::line::find;
use super::{Cut, Frame, Orphan, Scan, too_long};

/// Several lines from an opening to a closing line.
#[derive(Debug)]
pub(in crate::protocol) struct Block {
    /// How the opening line begins.
    pub(in crate::protocol) open: Box<[u8]>,
    /// The closing line.
    pub(in crate::protocol) close: Box<[u8]>,
    /// What ends each line.
    pub(in crate::protocol) end: Box<[u8]>,
    /// Bytes of the checks, which stand behind the text of the closing line.
    pub(in crate::protocol) checks: usize,
}

impl Block {
    pub(super) fn next(&self, buffer: &[u8], scan: &mut Scan, max: usize) -> Cut {
        let mut line = scan.line;
        loop {
            let opens = buffer[line.min(buffer.len())..].starts_with(&self.open);
            // As soon as it is seen, and never behind the bound: so the rest of its line does not matter.
            if line > 0 && opens && line + self.open.len() <= max {
                let reason = "a new block is opened before this one is closed".to_owned();
                return Cut::Torn { len: line, at: line, reason };
            }
            let Some(at) = find(&self.end, buffer, scan) else { break };
            let len = at + self.end.len();
            if len > max {
                return too_long(max);
            }
            if (line == 0 && !opens) || (line > 0 && self.closes(&buffer[line..at])) {
                return Cut::Frame(Frame { len, start: 0, end: at, trail: len });
            }
            line = len;
            *scan = Scan { from: len, line };
        }
        if buffer.len() >= max { too_long(max) } else { Cut::More }
    }

    fn closes(&self, line: &[u8]) -> bool {
        line.len() == self.close.len() + self.checks && line.starts_with(&self.close)
    }

    pub(super) fn orphan(&self, text: &[u8]) -> Orphan {
        match text {
            text if text.starts_with(&self.open) => Orphan::No,
            text if self.closes(text) => Orphan::Close,
            _ => Orphan::Line,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn block() -> Block {
        Block { open: (*b"SHOT").into(), close: (*b"END").into(), end: (*b"\r\n").into(), checks: 0 }
    }

    #[test]
    fn a_block_is_one_frame_and_other_lines_are_their_own() {
        let bytes = b"SHOT 1\r\nA 2\r\nEND\r\nHELLO\r\n";
        for split in 0..bytes.len() {
            let mut scan = Scan::default();
            let early = block().next(&bytes[..split], &mut scan, 99);
            let frame = Cut::Frame(Frame { len: 18, start: 0, end: 16, trail: 18 });
            assert_eq!(early, if split < 18 { Cut::More } else { frame }, "{split}");
            let frame = Cut::Frame(Frame { len: 18, start: 0, end: 16, trail: 18 });
            assert_eq!(block().next(bytes, &mut scan, 99), frame, "{split}");
        }
        let hello = Frame { len: 7, start: 0, end: 5, trail: 7 };
        assert_eq!(block().next(&bytes[18..], &mut Scan::default(), 99), Cut::Frame(hello));
    }

    #[test]
    fn a_check_stands_behind_the_closing_line() {
        let checked = Block { checks: 3, ..block() };
        let bytes = b"SHOT 1\r\nEND\r\nEND*5C\r\n";
        let frame = Frame { len: 21, start: 0, end: 19, trail: 21 };
        assert_eq!(checked.next(bytes, &mut Scan::default(), 99), Cut::Frame(frame));
    }

    #[test]
    fn a_block_that_is_not_closed_ends_where_the_next_is_opened() {
        let cut = block().next(b"SHOT 1\r\nA 2\r\nSHOT 2\r\n", &mut Scan::default(), 99);
        assert!(matches!(cut, Cut::Torn { len: 13, .. }), "{cut:?}");
    }

    #[test]
    fn a_block_opened_near_the_bound_is_cut_the_same_whether_its_line_is_there_yet() {
        for bytes in
            [&b"SHOT 1\r\nAB\r\nSHOT 2\r\n"[..], b"SHOT 1\r\nABC\r\nSHOT 2\r\n", b"SHOT 1\r\nABCDEF\r\nSHOT 2\r\n"]
        {
            let cuts = [16, bytes.len()].map(|len| block().next(&bytes[..len], &mut Scan::default(), 16));
            assert_eq!(cuts[0], cuts[1], "{bytes:?}");
        }
    }
}
