//! A frame that turned out to be none: how far it is given up, and where the search goes on.
//!
//! Where a length or a size said where the frame ended, damage to it may have swallowed good records. The bytes behind
//! its first one are searched again; what is given up meanwhile stays at the front of the buffer as one doubtful piece.

use super::{Decoder, Piece, refused};
use crate::book::reading::Heard;
use crate::protocol::framing::{Frame, Kind, Orphan};

/// Bytes at the front of the buffer that are given up.
#[derive(Debug)]
pub(super) struct Doubtful {
    /// How many.
    len: usize,
    /// How many the frames that were none would have had.
    until: usize,
    /// Why the first of them was none.
    at: usize,
    reason: String,
}

/// How often a byte may be searched again, on average, before whole frames are given up at once: a start byte in every
/// second place would else make the work grow with the square of the frame.
const AGAIN_MAX: u64 = 64;

impl Decoder {
    /// How many bytes at the front are doubtful.
    pub(super) fn doubtful_len(&self) -> usize {
        self.doubtful.as_ref().map_or(0, |doubtful| doubtful.len)
    }

    /// Takes so many bytes into the doubtful piece, if there is one. Otherwise gives them back to be dealt with.
    pub(super) fn doubt_more(&mut self, len: usize, out: &mut Vec<Piece>) -> Option<usize> {
        let Some(doubtful) = &mut self.doubtful else { return Some(len) };
        doubtful.len += len.min(doubtful.until.saturating_sub(doubtful.len)).max(1);
        self.flush_doubtful_if_done(out);
        None
    }

    /// A frame that is none.
    pub(super) fn bad(&mut self, frame: Frame, at: usize, reason: String, out: &mut Vec<Piece>) {
        let from = self.taken + self.doubtful_len();
        let framer = &self.format.grammar.framer;
        let mut len = framer.resync(&self.buffer[from..from + frame.len]);
        self.owed = (self.owed + (frame.len - len) as u64).saturating_sub(len as u64 * AGAIN_MAX);
        if self.owed > AGAIN_MAX * framer.max as u64 {
            (len, self.owed) = (frame.len, 0);
        }
        let orphan = framer.orphan(&self.buffer[from..from + frame.len], frame);
        if orphan == Orphan::No && matches!(framer.kind, Kind::Block(_)) {
            self.flush_doubtful(out);
        }
        let doubtful = self.doubtful.get_or_insert(Doubtful { len: 0, until: 0, at, reason });
        doubtful.until = match orphan {
            Orphan::No => doubtful.until.max(doubtful.len + frame.len),
            Orphan::Line => usize::MAX,
            Orphan::Close => doubtful.len + frame.len,
        };
        doubtful.len += len;
        self.flush_doubtful_if_done(out);
    }

    fn flush_doubtful_if_done(&mut self, out: &mut Vec<Piece>) {
        let max = self.format.grammar.framer.max;
        if self.doubtful.as_ref().is_some_and(|doubtful| doubtful.len >= doubtful.until.min(max)) {
            self.flush_doubtful(out);
        }
    }

    /// The doubtful piece comes out.
    pub(super) fn flush_doubtful(&mut self, out: &mut Vec<Piece>) {
        let Some(Doubtful { len, at, reason, .. }) = self.doubtful.take() else { return };
        let evident = self.format.grammar.framer.shows_its_start();
        let heard = if self.joining.may_be_tail() && !evident { Heard::Fragment } else { refused(at, reason) };
        let reply = self.answer_bad();
        self.emit(len, heard, reply, out);
    }
}
