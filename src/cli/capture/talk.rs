//! The other side of a recording: an instrument that is polled, or waits for an answer, sends nothing more without it.

use std::sync::Arc;

use crate::book::moment::Moment;
use crate::cli::polls::Polls;
use crate::protocol::{Decoder, Format, Piece};

/// What a format says is sent, and what it takes to know when.
pub(super) struct Talk {
    polls: Polls,
    decoder: Decoder,
    pieces: Vec<Piece>,
}

impl Talk {
    pub(super) fn new(format: Arc<Format>) -> Self {
        Talk { polls: Polls::new(Arc::clone(&format)), decoder: Decoder::new(format), pieces: Vec::new() }
    }

    /// The link was opened. As all of these, it gives what is to be sent.
    pub(super) fn opened(&mut self, at: Moment) -> Vec<Vec<u8>> {
        self.decoder.opened(at);
        self.polls.opened()
    }

    /// Bytes arrived, and are in the file.
    pub(super) fn heard(&mut self, bytes: &[u8], at: Moment) -> Vec<Vec<u8>> {
        self.decoder.push(bytes, at, &mut self.pieces);
        self.replies()
    }

    /// Nothing came until now.
    pub(super) fn silence(&mut self, at: Moment) -> Vec<Vec<u8>> {
        self.decoder.silence(at, &mut self.pieces);
        let mut sent = self.replies();
        sent.extend(self.polls.due());
        sent
    }

    /// The link went: there is nobody to answer.
    pub(super) fn closed(&mut self) {
        self.decoder.closed(&mut self.pieces);
        self.pieces.clear();
        self.polls.closed();
    }

    fn replies(&mut self) -> Vec<Vec<u8>> {
        self.pieces.drain(..).filter_map(|piece| piece.reply).collect()
    }
}
