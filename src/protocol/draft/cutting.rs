//! A capture cut into frames in one way: the framer of the language does it, so that a draft finds the same frames.

use super::capture::Capture;
use crate::protocol::framing::{self, Cut, Frame, Framer, Kind, Scan};

/// A capture cut into frames in one way.
pub(super) struct Cutting {
    pub(super) framer: Framer,
    /// Silence in milliseconds that ends a frame, where it does.
    pub(super) silence_ms: Option<u64>,
    pub(super) frames: Vec<Cutout>,
    /// What a draft with these frames should ask.
    pub(super) questions: Vec<String>,
}

/// One frame of a capture.
pub(super) struct Cutout {
    /// Where it begins in the capture.
    pub(super) at: usize,
    /// Its length there.
    pub(super) len: usize,
    /// Its bytes without escapes.
    pub(super) plain: Vec<u8>,
    /// Its parts in these.
    pub(super) place: Frame,
}

impl Cutout {
    /// What stands between start and end.
    pub(super) fn body(&self) -> &[u8] {
        &self.plain[self.place.start..self.place.end]
    }
}

impl Cutting {
    /// Cuts a capture by a framer.
    pub(super) fn by(framer: Framer, capture: &Capture) -> Self {
        let mut cutting = Cutting { framer, silence_ms: None, frames: Vec::new(), questions: Vec::new() };
        let mut at = 0;
        while at < capture.bytes.len() {
            let rest = &capture.bytes[at..];
            match cutting.framer.next(rest, &mut Scan::default()) {
                Cut::Frame(frame) => {
                    cutting.take(at, &rest[..frame.len], frame);
                    at += frame.len;
                }
                Cut::Noise { len } | Cut::Torn { len, .. } => at += len.max(1),
                Cut::More => break,
            }
        }
        cutting
    }

    /// Cuts a capture where it was silent.
    pub(super) fn by_silence(capture: &Capture) -> Option<Self> {
        let bursts = capture.bursts()?;
        let framer = Framer { kind: Kind::Silence, max: FRAME_MAX, noise: Default::default(), pairs: None };
        let silence_ms = Some(bursts.silence_ms);
        let mut cutting = Cutting { framer, silence_ms, frames: Vec::new(), questions: Vec::new() };
        for place in bursts.places {
            let len = place.len();
            cutting.take(place.start, &capture.bytes[place], Frame { len, start: 0, end: len, trail: len });
        }
        Some(cutting)
    }

    fn take(&mut self, at: usize, sent: &[u8], frame: Frame) {
        let mut held = Vec::new();
        if let Ok((plain, place)) = framing::plain(&self.framer, sent, frame, &mut held)
            && place.start < place.end
        {
            let plain = plain.to_vec();
            self.frames.push(Cutout { at, len: frame.len, plain, place });
        }
    }

    /// The length of the longest frame.
    pub(super) fn longest(&self) -> usize {
        self.frames.iter().map(|frame| frame.len).max().unwrap_or(0)
    }
}

/// The longest frame that is looked for, in bytes: that of the language unless a file says otherwise.
pub(super) const FRAME_MAX: usize = crate::protocol::limits::FRAME_DEFAULT;
