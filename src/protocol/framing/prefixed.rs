//! Frames that say near their start how long they are.

use super::{Cut, Frame, Scan, hunt, next_start};
use crate::protocol::checksum::read_shown;
use crate::protocol::format::file::{Counts, Form, Order};

/// Frames with a length near their start.
#[derive(Debug)]
pub(in crate::protocol) struct Prefixed {
    pub(in crate::protocol) start: Box<[u8]>,
    pub(in crate::protocol) end: Box<[u8]>,
    pub(in crate::protocol) length: Length,
    /// The shortest and the longest frame that the records allow: a length outside is damage, seen at once.
    pub(in crate::protocol) sizes: (usize, usize),
    /// Bytes of the checks before the end.
    pub(in crate::protocol) checks: usize,
    /// The records hold the length: bytes stand between it and the start.
    pub(in crate::protocol) in_record: bool,
}

/// Where the length stands and what it counts.
#[derive(Debug, Clone, Copy)]
pub(in crate::protocol) struct Length {
    pub(in crate::protocol) at: usize,
    pub(in crate::protocol) bytes: usize,
    pub(in crate::protocol) order: Order,
    pub(in crate::protocol) form: Form,
    pub(in crate::protocol) counts: Counts,
    pub(in crate::protocol) plus: i32,
}

impl Prefixed {
    pub(super) fn next(&self, buffer: &[u8], scan: &mut Scan, max: usize) -> Cut {
        if let Some(cut) = hunt(&self.start, buffer, scan, max) {
            return cut;
        }
        let header = self.header();
        if buffer.len() < header {
            return Cut::More;
        }
        let torn = |at, reason| Cut::Torn { len: next_start(&self.start, &buffer[..header]), at, reason };
        let Length { at, form, order, .. } = self.length;
        let Some(sent) = read_shown(&buffer[at..header], form, order) else {
            return torn(at, format!("\"{}\" found where a length was wanted", buffer[at..header].escape_ascii()));
        };
        let (least, most) = (self.sizes.0, self.sizes.1.min(max));
        let len = match self.whole(sent) {
            Some(len) if (least..=most).contains(&len) => len,
            _ => {
                let (least, most) = (self.sent(least), self.sent(most));
                return torn(at, format!("a length of {sent} found, {least} to {most} was wanted"));
            }
        };
        if buffer.len() < len {
            return Cut::More;
        }
        let end = len - self.end.len();
        if buffer[end..len] != *self.end {
            let (found, wanted) = (buffer[end..len].escape_ascii(), self.end.escape_ascii());
            let reason = format!("\"{found}\" found at the end of the frame, \"{wanted}\" was wanted");
            return Cut::Torn { len: next_start(&self.start, &buffer[..len]), at: end, reason };
        }
        let start = if self.in_record { self.start.len() } else { header };
        Cut::Frame(Frame { len, start, end, trail: len })
    }

    /// Bytes up to and with the length.
    pub(in crate::protocol) fn header(&self) -> usize {
        self.length.at + self.length.bytes
    }

    /// Bytes that are in every frame and not counted.
    fn uncounted(&self) -> i64 {
        let uncounted = match self.length.counts {
            Counts::Frame => 0,
            Counts::Rest => self.header(),
            Counts::Body => self.header() + self.checks + self.end.len(),
        };
        uncounted as i64 - i64::from(self.length.plus)
    }

    /// Length of the frame for the length sent.
    fn whole(&self, sent: u64) -> Option<usize> {
        usize::try_from(i64::try_from(sent).ok()?.checked_add(self.uncounted())?).ok()
    }

    /// The length sent for a frame of `len` bytes.
    pub(in crate::protocol) fn sent(&self, len: usize) -> i64 {
        len as i64 - self.uncounted()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn prefixed(counts: Counts) -> Prefixed {
        let length = Length { at: 2, bytes: 1, order: Order::Big, form: Form::Binary, counts, plus: 0 };
        Prefixed { start: [0xAA, 0x55].into(), end: Box::new([]), length, sizes: (6, 20), checks: 2, in_record: false }
    }

    #[test]
    fn what_the_length_counts() {
        for (counts, sent) in [(Counts::Frame, 8), (Counts::Rest, 5), (Counts::Body, 3)] {
            let bytes = [0xAA, 0x55, sent, 1, 2, 3, 9, 9];
            let frame = Frame { len: 8, start: 3, end: 8, trail: 8 };
            assert_eq!(prefixed(counts).next(&bytes, &mut Scan::default(), 99), Cut::Frame(frame), "{counts:?}");
            assert_eq!(prefixed(counts).sent(8), i64::from(sent));
        }
    }

    #[test]
    fn an_impossible_length_is_given_up_at_once() {
        let cut = prefixed(Counts::Frame).next(&[0xAA, 0x55, 200], &mut Scan::default(), 99);
        let reason = "a length of 200 found, 6 to 20 was wanted".to_owned();
        assert_eq!(cut, Cut::Torn { len: 3, at: 2, reason });
    }
}
