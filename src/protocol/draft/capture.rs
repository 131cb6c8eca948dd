//! A capture: bytes in the order in which they came, and where there was silence between them.

use std::ops::Range;

use crate::book::moment::Moment;

/// Some bytes and when they came.
#[derive(Clone, Copy, Debug)]
pub struct Chunk<'a> {
    /// When.
    pub at: Moment,
    /// What.
    pub bytes: &'a [u8],
}

/// The most bytes of a capture that are looked at: a day's work of the most talkative instrument.
pub const CAPTURE_MAX: usize = 256 * 1024;

/// The shortest silence in milliseconds that is taken for one: the pauses inside a record come from buffers, and are
/// shorter. Common practice, no source.
const PAUSE_MS: u64 = 20;

/// A capture in one piece.
pub(super) struct Capture {
    pub(super) bytes: Vec<u8>,
    /// Where each chunk ends, and when it came.
    chunks: Vec<(usize, Moment)>,
    /// Bytes beyond the bound.
    pub(super) left_out: usize,
}

/// Bytes that came without a silence between them.
pub(super) struct Bursts {
    pub(super) places: Vec<Range<usize>>,
    /// A silence in milliseconds that is longer than every pause inside them, and shorter than those between them.
    pub(super) silence_ms: u64,
}

impl Capture {
    pub(super) fn of(chunks: &[Chunk<'_>]) -> Self {
        let mut capture = Capture { bytes: Vec::new(), chunks: Vec::new(), left_out: 0 };
        for chunk in chunks {
            let room = CAPTURE_MAX - capture.bytes.len();
            let taken = &chunk.bytes[..chunk.bytes.len().min(room)];
            capture.left_out += chunk.bytes.len() - taken.len();
            if !taken.is_empty() {
                capture.bytes.extend_from_slice(taken);
                capture.chunks.push((capture.bytes.len(), chunk.at));
            }
        }
        capture
    }

    /// The chunks again.
    pub(super) fn chunks(&self) -> impl Iterator<Item = Chunk<'_>> {
        let begins = std::iter::once(0).chain(self.chunks.iter().map(|(end, _)| *end));
        begins.zip(&self.chunks).map(|(begin, (end, at))| Chunk { at: *at, bytes: &self.bytes[begin..*end] })
    }

    /// The bursts, if there were silences that stand out.
    pub(super) fn bursts(&self) -> Option<Bursts> {
        let gaps: Vec<u64> = self.chunks.windows(2).map(|pair| pair[1].1.since(pair[0].1).as_millis() as u64).collect();
        let mut sorted = gaps.clone();
        sorted.sort_unstable();
        // The widest step between two gaps, as a ratio, is where pauses end and silences begin.
        let below = |gap: u64| gap.max(PAUSE_MS / 2);
        let step = (0..sorted.len().saturating_sub(1))
            .filter(|&at| sorted[at + 1] >= PAUSE_MS && sorted[at + 1] >= 3 * below(sorted[at]))
            .max_by_key(|&at| sorted[at + 1] * 1000 / below(sorted[at]));
        let (pause, silence) = match (step, sorted.first()) {
            (Some(at), _) => (below(sorted[at]), sorted[at + 1]),
            (None, Some(&first)) if first >= PAUSE_MS => (PAUSE_MS / 2, first),
            _ => return None,
        };
        let silence_ms = (pause * silence).isqrt().clamp(pause + 1, silence);
        let mut places = Vec::new();
        let mut begin = 0;
        for ((end, _), gap) in self.chunks.iter().zip(gaps.iter().copied().chain([u64::MAX])) {
            if gap >= silence_ms {
                places.push(begin..*end);
                begin = *end;
            }
        }
        Some(Bursts { places, silence_ms })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn capture(times_ms: &[i64]) -> Capture {
        let chunks: Vec<_> = times_ms.iter().map(|ms| Chunk { at: Moment::from_us(ms * 1000), bytes: b"ab" }).collect();
        Capture::of(&chunks)
    }

    #[test]
    fn silences_stand_out_from_pauses() {
        let bursts = capture(&[0, 4, 9, 2000, 2006, 5000]).bursts().unwrap();
        assert_eq!(bursts.places, [0..6, 6..10, 10..12]);
        assert!((10..1991).contains(&bursts.silence_ms), "{}", bursts.silence_ms);
    }

    #[test]
    fn every_chunk_alone_is_a_burst_each() {
        assert_eq!(capture(&[0, 2000, 4000, 9000]).bursts().unwrap().places.len(), 4);
    }

    #[test]
    fn without_silences_there_are_no_bursts() {
        assert!(capture(&[0, 0, 0]).bursts().is_none());
        assert!(capture(&[0, 5, 9, 14]).bursts().is_none());
        assert!(capture(&[0]).bursts().is_none());
    }

    #[test]
    fn what_is_beyond_the_bound_is_counted() {
        let bytes = vec![7; CAPTURE_MAX + 9];
        let at = Moment::from_us(0);
        let capture = Capture::of(&[Chunk { at, bytes: &bytes }, Chunk { at, bytes: b"x" }]);
        assert_eq!((capture.bytes.len(), capture.left_out, capture.chunks().count()), (CAPTURE_MAX, 10, 1));
    }
}
