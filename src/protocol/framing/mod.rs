//! Where a frame begins and ends in the stream. What it says is none of this module's business.
//!
//! One file a kind of framing. Each looks at the bytes not yet taken and gives a [`Cut`]; none keeps bytes. The place
//! reached so far is kept by the caller in a [`Scan`], so that no byte is searched twice however small the chunks are.

mod block;
mod contents;
mod delimited;
mod escape;
mod fixed;
mod line;
mod pairs;
mod prefixed;
mod wrap;

pub(super) use block::Block;
pub(super) use contents::{contents, plain, sent_at};
pub(super) use delimited::Delimited;
pub(super) use escape::{Escape, Hidden};
pub(super) use fixed::Fixed;
pub(super) use line::{Line, LineEnd};
pub(super) use pairs::Pairs;
pub(super) use prefixed::{Length, Prefixed};
pub(super) use wrap::wrap;

use super::format::file::Noise;

/// How frames are found.
#[derive(Debug)]
pub(super) struct Framer {
    pub(super) kind: Kind,
    /// The longest frame in bytes, everything included.
    pub(super) max: usize,
    pub(super) noise: Noise,
    /// The bytes between start and end are sent as pairs of digits.
    pub(super) pairs: Option<Pairs>,
}

/// The kinds of framing.
#[derive(Debug)]
pub(super) enum Kind {
    Line(Line),
    Delimited(Delimited),
    Fixed(Fixed),
    Prefixed(Prefixed),
    Silence,
    Block(Block),
}

/// What the front of the buffer is.
#[derive(Debug, PartialEq, Eq)]
pub(super) enum Cut {
    /// Nothing can be said before more bytes come.
    More,
    /// So many bytes that belong to no frame.
    Noise { len: usize },
    /// A frame.
    Frame(Frame),
    /// Bytes that look like the beginning of a frame and cannot be one.
    Torn { len: usize, at: usize, reason: String },
}

/// Where the parts of a frame lie, from its first byte.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Frame {
    /// Length of the whole.
    pub(super) len: usize,
    /// Behind the start bytes.
    pub(super) start: usize,
    /// Before the end bytes; checks may still stand before it.
    pub(super) end: usize,
    /// Behind the end bytes, where checks may stand.
    pub(super) trail: usize,
}

/// What a frame that nothing came of is to the frames behind it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Orphan {
    /// It stands alone.
    No,
    /// A line outside a block: perhaps one of a block whose opening line was damaged, and then more will follow.
    Line,
    /// The closing line of such a block.
    Close,
}

/// How far the front of the buffer has been searched.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(super) struct Scan {
    /// Bytes that need not be searched again.
    pub(super) from: usize,
    /// Where the line that `from` lies in begins; for blocks.
    line: usize,
}

impl Framer {
    /// Looks at the bytes not yet taken.
    pub(super) fn next(&self, buffer: &[u8], scan: &mut Scan) -> Cut {
        match &self.kind {
            Kind::Line(line) => line.next(buffer, scan, self.max),
            Kind::Delimited(delimited) => delimited.next(buffer, scan, self.max),
            Kind::Fixed(fixed) => fixed.next(buffer, scan, self.max),
            Kind::Prefixed(prefixed) => prefixed.next(buffer, scan, self.max),
            Kind::Silence if buffer.len() >= self.max => too_long(self.max),
            Kind::Silence => Cut::More,
            Kind::Block(block) => block.next(buffer, scan, self.max),
        }
    }

    /// How many bytes of a frame that turned out to be none are given up before the search goes on: all of them where
    /// its end was evident, or up to the next place where a frame could begin.
    pub(super) fn resync(&self, frame: &[u8]) -> usize {
        match &self.kind {
            Kind::Line(_) | Kind::Delimited(_) | Kind::Block(_) | Kind::Silence => frame.len(),
            Kind::Fixed(fixed) => next_start(&fixed.start, frame),
            Kind::Prefixed(prefixed) => next_start(&prefixed.start, frame),
        }
    }

    /// What a frame that nothing came of is to the frames behind it.
    pub(super) fn orphan(&self, frame: &[u8], place: Frame) -> Orphan {
        match &self.kind {
            Kind::Block(block) => block.orphan(&frame[..place.end]),
            _ => Orphan::No,
        }
    }

    /// Whether frames begin with bytes that nothing else begins with.
    pub(super) fn shows_its_start(&self) -> bool {
        match &self.kind {
            Kind::Line(_) | Kind::Silence | Kind::Block(_) => false,
            Kind::Delimited(_) => true,
            Kind::Fixed(fixed) => !fixed.start.is_empty(),
            Kind::Prefixed(prefixed) => !prefixed.start.is_empty(),
        }
    }
}

/// The front of the buffer has grown to the longest frame, without an end.
fn too_long(max: usize) -> Cut {
    Cut::Torn {
        len: max,
        at: max,
        reason: format!("no end of a frame within {max} bytes, the longest that the format allows"),
    }
}

/// The next place behind the first byte where `start` stands, or where its beginning stands at the very end.
fn next_start(start: &[u8], frame: &[u8]) -> usize {
    if frame.is_empty() {
        return 0;
    }
    if start.is_empty() {
        return 1;
    }
    if let Some(at) = memchr::memmem::find(&frame[1..], start) {
        return at + 1;
    }
    frame.len() - overlap(start, &frame[1..])
}

/// How many bytes at the end of `bytes` are the beginning of `start`, short of the whole.
fn overlap(start: &[u8], bytes: &[u8]) -> usize {
    (1..start.len().min(bytes.len() + 1)).rev().find(|&n| bytes.ends_with(&start[..n])).unwrap_or(0)
}

/// What stands before the next `start`: nothing, or noise, or not enough to tell.
///
/// Noise is cut at exactly `max` bytes, so that its pieces do not depend on the chunks.
fn hunt(start: &[u8], buffer: &[u8], scan: &mut Scan, max: usize) -> Option<Cut> {
    if buffer.starts_with(start) {
        return None;
    }
    // What is beyond the longest noise is looked at in its turn.
    let near = &buffer[..buffer.len().min(max + start.len())];
    match near.get(scan.from..).and_then(|near| memchr::memmem::find(near, start)) {
        Some(at) => Some(Cut::Noise { len: (scan.from + at).min(max) }),
        None => {
            scan.from = (near.len() + 1).saturating_sub(start.len());
            Some(if scan.from >= max { Cut::Noise { len: max } } else { Cut::More })
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_next_start_may_be_cut_in_two() {
        assert_eq!(next_start(&[0xAA, 0x55], &[0xAA, 0x55, 1, 0xAA, 0x55]), 3);
        assert_eq!(next_start(&[0xAA, 0x55], &[0xAA, 0x55, 1, 0xAA]), 3);
        assert_eq!(next_start(&[0xAA, 0x55], &[0xAA, 0x55, 1, 2]), 4);
        assert_eq!(next_start(&[], &[1, 2, 3]), 1);
        assert_eq!(next_start(b"@", b"@"), 1);
        assert_eq!(next_start(b"@@@", b"@@@@"), 1);
    }

    #[test]
    fn noise_is_cut_at_the_bound_whatever_the_chunks() {
        let noise = [7u8; 25];
        for size in [1, 3, 25] {
            let (mut scan, mut buffer, mut cuts) = (Scan::default(), Vec::new(), Vec::new());
            for chunk in noise.chunks(size) {
                buffer.extend_from_slice(chunk);
                while let Some(Cut::Noise { len }) = hunt(b"@@", &buffer, &mut scan, 10) {
                    cuts.push(len);
                    buffer.drain(..len);
                    scan = Scan::default();
                }
            }
            assert_eq!((cuts, buffer.len()), (vec![10, 10], 5), "chunks of {size}");
        }
    }
}
