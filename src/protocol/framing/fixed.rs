//! Frames of one length, or of one length for each kind.

use super::{Cut, Frame, Scan, hunt, next_start};

/// Frames of fixed lengths, with or without bytes that begin them.
#[derive(Debug)]
pub(in crate::protocol) struct Fixed {
    pub(in crate::protocol) start: Box<[u8]>,
    /// What stands behind the start, and the length of the whole frame then; the first that fits is taken.
    pub(in crate::protocol) sizes: Vec<(Box<[u8]>, usize)>,
}

impl Fixed {
    pub(super) fn next(&self, buffer: &[u8], scan: &mut Scan, max: usize) -> Cut {
        if let Some(cut) = hunt(&self.start, buffer, scan, max) {
            return cut;
        }
        let (start, behind) = (self.start.len(), &buffer[self.start.len()..]);
        let size = match self.sizes.iter().find(|(begins, _)| alike(begins, behind)) {
            Some((begins, size)) if behind.len() >= begins.len() => *size,
            Some(_) => return Cut::More,
            None => {
                // As many bytes as it takes to see it, however many there are.
                let seen = (1..=behind.len()).find(|&seen| !self.sizes.iter().any(|(b, _)| alike(b, &behind[..seen])));
                let seen = start + seen.unwrap_or(behind.len());
                let found = buffer[start..seen].escape_ascii();
                let reason = format!("\"{found}\" found behind the start of a frame, which no kind of them has there");
                return Cut::Torn { len: next_start(&self.start, &buffer[..seen]), at: start, reason };
            }
        };
        if buffer.len() < size {
            return Cut::More;
        }
        Cut::Frame(Frame { len: size, start, end: size, trail: size })
    }
}

/// Whether bytes begin so, or could when there are more of them.
fn alike(begins: &[u8], bytes: &[u8]) -> bool {
    begins.iter().zip(bytes).all(|(a, b)| a == b)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn cut(sizes: &[(&[u8], usize)], bytes: &[u8]) -> Cut {
        let sizes = sizes.iter().map(|(begins, size)| ((*begins).into(), *size)).collect();
        Fixed { start: (*b"#").into(), sizes }.next(bytes, &mut Scan::default(), 99)
    }

    #[test]
    fn cut_by_length_behind_the_start() {
        let next = |bytes: &[u8]| cut(&[(b"", 4)], bytes);
        assert_eq!(next(b"x#abc"), Cut::Noise { len: 1 });
        assert_eq!(next(b"#ab"), Cut::More);
        assert_eq!(next(b"#abcd"), Cut::Frame(Frame { len: 4, start: 1, end: 4, trail: 4 }));
    }

    #[test]
    fn cut_by_the_length_of_its_kind() {
        let next = |bytes: &[u8]| cut(&[(b"RR", 5), (b"S", 3)], bytes);
        assert_eq!(next(b"#S1#"), Cut::Frame(Frame { len: 3, start: 1, end: 3, trail: 3 }));
        assert_eq!(next(b"#RR12"), Cut::Frame(Frame { len: 5, start: 1, end: 5, trail: 5 }));
        assert_eq!(next(b"#R"), Cut::More);
        // However many bytes there are: the same is given up.
        for bytes in [&b"#RX"[..], b"#RXabc#S1"] {
            assert!(matches!(next(bytes), Cut::Torn { len: 3, at: 1, .. }), "{:?}", next(bytes));
        }
    }
}
