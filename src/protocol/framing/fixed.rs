//! Frames of one length.

use super::{Cut, Frame, Scan, hunt};

/// Frames of one length, with or without bytes that begin them.
#[derive(Debug)]
pub(in crate::protocol) struct Fixed {
    pub(in crate::protocol) start: Box<[u8]>,
    /// Length of the whole frame.
    pub(in crate::protocol) size: usize,
}

impl Fixed {
    pub(super) fn next(&self, buffer: &[u8], scan: &mut Scan, max: usize) -> Cut {
        if let Some(cut) = hunt(&self.start, buffer, scan, max) {
            return cut;
        }
        if buffer.len() < self.size {
            return Cut::More;
        }
        Cut::Frame(Frame { len: self.size, start: self.start.len(), end: self.size, trail: self.size })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn cut_by_length_behind_the_start() {
        let fixed = Fixed { start: (*b"#").into(), size: 4 };
        let next = |bytes: &[u8]| fixed.next(bytes, &mut Scan::default(), 99);
        assert_eq!(next(b"x#abc"), Cut::Noise { len: 1 });
        assert_eq!(next(b"#ab"), Cut::More);
        assert_eq!(next(b"#abcd"), Cut::Frame(Frame { len: 4, start: 1, end: 4, trail: 4 }));
    }
}
