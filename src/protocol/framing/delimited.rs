//! From start bytes to end bytes, perhaps with escapes between, perhaps with a check behind.

use super::{Cut, Escape, Frame, Scan, hunt, too_long};

/// From start bytes to end bytes.
#[derive(Debug)]
pub(in crate::protocol) struct Delimited {
    pub(in crate::protocol) start: Box<[u8]>,
    pub(in crate::protocol) end: Box<[u8]>,
    pub(in crate::protocol) escape: Option<Escape>,
    /// Bytes behind the end that belong to the frame.
    pub(in crate::protocol) trail: usize,
}

impl Delimited {
    pub(super) fn next(&self, buffer: &[u8], scan: &mut Scan, max: usize) -> Cut {
        if let Some(cut) = hunt(&self.start, buffer, scan, max) {
            return cut;
        }
        let mut at = scan.from.max(self.start.len());
        loop {
            match self.candidate(&buffer[at.min(buffer.len())..]) {
                None => at = buffer.len().max(at),
                Some(behind) => at += behind,
            }
            scan.from = at;
            if at >= buffer.len() {
                break;
            }
            let rest = &buffer[at..];
            if rest.starts_with(&self.end) {
                if at == self.start.len() && self.start == self.end {
                    // Two flags in a row: the first ended something, or idled; the second begins.
                    return Cut::Noise { len: at };
                }
                let trail = at + self.end.len();
                let frame = Frame { len: trail + self.trail, start: self.start.len(), end: at, trail };
                return match frame.len {
                    len if len > max && buffer.len() >= max => too_long(max),
                    len if len > buffer.len() => Cut::More,
                    _ => Cut::Frame(frame),
                };
            }
            // Behind the bound it is too long either way, and a start there may not be in the buffer yet.
            if rest.starts_with(&self.start) && at + self.start.len() <= max {
                let reason = "a new frame begins before the end of this one".to_owned();
                return Cut::Torn { len: at, at, reason };
            }
            if self.end.starts_with(rest) || self.start.starts_with(rest) {
                break;
            }
            at += match &self.escape {
                Some(escape) if rest[0] == escape.byte => 2,
                _ => 1,
            };
        }
        if buffer.len() >= max { too_long(max) } else { Cut::More }
    }

    /// The next byte that could be an end, a start or an escape.
    fn candidate(&self, bytes: &[u8]) -> Option<usize> {
        let (end, start) = (self.end[0], self.start[0]);
        match &self.escape {
            Some(escape) => memchr::memchr3(end, start, escape.byte, bytes),
            None => memchr::memchr2(end, start, bytes),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn sentence() -> Delimited {
        Delimited { start: (*b"@").into(), end: (*b"\r\n").into(), escape: None, trail: 0 }
    }

    #[test]
    fn a_start_inside_a_frame_begins_the_next_one() {
        let cut = sentence().next(b"@abc@de\r\n", &mut Scan::default(), 99);
        assert!(matches!(cut, Cut::Torn { len: 4, .. }), "{cut:?}");
    }

    #[test]
    fn a_start_at_the_bound_is_cut_the_same_whether_it_is_there_yet() {
        let doubled = Delimited { start: (*b"@@").into(), end: (*b"\r\n").into(), escape: None, trail: 0 };
        for bytes in [&b"@@abcdef@@"[..], b"@@abcdefg@@", b"@@abcdefgh@@"] {
            let cuts = [10, bytes.len()].map(|len| doubled.next(&bytes[..len], &mut Scan::default(), 10));
            assert_eq!(cuts[0], cuts[1], "{bytes:?}");
        }
    }

    #[test]
    fn noise_before_the_start_and_an_end_cut_in_two() {
        assert_eq!(sentence().next(b"xy@a", &mut Scan::default(), 99), Cut::Noise { len: 2 });
        let mut scan = Scan::default();
        assert_eq!(sentence().next(b"@abc\r", &mut scan, 99), Cut::More);
        let frame = Frame { len: 6, start: 1, end: 4, trail: 6 };
        assert_eq!(sentence().next(b"@abc\r\n", &mut scan, 99), Cut::Frame(frame));
    }

    #[test]
    fn flags_in_a_row_begin_one_frame() {
        let flagged = Delimited { start: [0x7E].into(), end: [0x7E].into(), escape: None, trail: 0 };
        assert_eq!(flagged.next(&[0x7E, 0x7E, 1, 0x7E], &mut Scan::default(), 99), Cut::Noise { len: 1 });
        let frame = Frame { len: 3, start: 1, end: 2, trail: 3 };
        assert_eq!(flagged.next(&[0x7E, 1, 0x7E], &mut Scan::default(), 99), Cut::Frame(frame));
    }

    #[test]
    fn doubled_escapes_do_not_end_a_frame() {
        let doubled = Delimited {
            start: [0x10, 2].into(),
            end: [0x10, 3].into(),
            escape: Some(Escape { byte: 0x10, hidden: super::super::Hidden::Flip(0) }),
            trail: 1,
        };
        let bytes = [0x10, 2, 0x10, 0x10, 3, 0x10, 3, 99];
        assert_eq!(doubled.next(&bytes[..7], &mut Scan::default(), 99), Cut::More);
        let frame = Frame { len: 8, start: 2, end: 5, trail: 7 };
        assert_eq!(doubled.next(&bytes, &mut Scan::default(), 99), Cut::Frame(frame));
    }
}
