//! Several lines from an opening to a closing line; other lines are frames of their own.
//!
//! Each line may carry checks of its own, which are taken off before anybody looks at what the lines say.

use std::ops::Range;

use super::line::find;
use super::{Cut, Frame, Orphan, Scan, too_long};
use crate::protocol::checksum::{Check, Mismatch, append_at_end, verify_at_end};
use crate::protocol::format::file::Stands;

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
    /// Bytes of the checks at the end of each line.
    pub(in crate::protocol) line_checks: usize,
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
        line.len() == self.close.len() + self.checks + self.line_checks && line.starts_with(&self.close)
    }

    /// Where the lines of `text` lie, without their ends.
    pub(in crate::protocol) fn lines(&self, text: &[u8]) -> impl Iterator<Item = Range<usize>> {
        let mut from = 0;
        let ends = memchr::memmem::find_iter(text, &*self.end).map(Some).chain([None]);
        ends.map(move |end| {
            let line = from..end.unwrap_or(text.len());
            from = line.end + self.end.len();
            line
        })
    }

    /// Holds the checks of each line against it.
    pub(super) fn verify_lines(&self, checks: &[Check], text: &[u8]) -> Result<(), Mismatch> {
        for line in self.lines(text) {
            verify_at_end(checks, Stands::EachLine, &text[line.clone()], 0..line.len())
                .map_err(|mismatch| Mismatch { at: line.start + mismatch.at, ..mismatch })?;
        }
        Ok(())
    }

    /// The lines without their checks, whatever these say.
    pub(super) fn strip_lines(&self, text: &[u8], out: &mut Vec<u8>) {
        for line in self.lines(text) {
            if line.start > 0 {
                out.extend_from_slice(&self.end);
            }
            out.extend_from_slice(self.bare(&text[line]));
        }
    }

    /// Puts its checks behind each line.
    pub(super) fn check_lines(&self, checks: &[Check], bare: &[u8], out: &mut Vec<u8>) {
        for line in self.lines(bare) {
            if line.start > 0 {
                out.extend_from_slice(&self.end);
            }
            let mut sent = bare[line].to_vec();
            append_at_end(checks, Stands::EachLine, &mut sent, 0);
            out.extend_from_slice(&sent);
        }
    }

    /// Where the byte `at` of the lines without checks stands in `text`, the lines as sent.
    pub(super) fn sent_for(&self, text: &[u8], at: usize) -> usize {
        let mut begins = 0;
        for line in self.lines(text) {
            let ends = begins + self.bare(&text[line.clone()]).len();
            if at <= ends {
                return line.start + at - begins;
            }
            begins = ends + self.end.len();
            if at < begins {
                return line.end + at - ends;
            }
        }
        text.len()
    }

    /// A line without its checks.
    pub(in crate::protocol) fn bare<'a>(&self, line: &'a [u8]) -> &'a [u8] {
        &line[..line.len().saturating_sub(self.line_checks)]
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
        Block { open: (*b"SHOT").into(), close: (*b"END").into(), end: (*b"\r\n").into(), checks: 0, line_checks: 0 }
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
    fn each_line_is_bared_and_every_byte_of_it_found_again() {
        let block = Block { line_checks: 3, ..block() };
        let (sent, wanted) = (b"SHOT 1*41\r\nA 2*42\r\n\r\nx\r\nEND*43", b"SHOT 1\r\nA 2\r\n\r\n\r\nEND");
        let mut bare = Vec::new();
        block.strip_lines(sent, &mut bare);
        assert_eq!(bare, wanted);
        for (at, byte) in bare.iter().enumerate().filter(|(_, byte)| !byte.is_ascii_whitespace() || **byte == b' ') {
            assert_eq!(sent[block.sent_for(sent, at)], *byte, "{at}");
        }
        // Behind the text of a line its check begins; then come the two bytes of its end.
        assert_eq!([6, 7, 8].map(|at| block.sent_for(sent, at)), [6, 10, 11]);
        assert_eq!(block.sent_for(sent, bare.len()), sent.len() - 3);
        let frame = Frame { len: 32, start: 0, end: 30, trail: 32 };
        let whole = [&sent[..], b"\r\n"].concat();
        assert_eq!(block.next(&whole, &mut Scan::default(), 99), Cut::Frame(frame));
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
