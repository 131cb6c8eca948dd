//! Bytes to records, with the format that was named, or with the one that turns out to fit.
//!
//! When no format was named, every candidate hears the same bytes. The first that understands a record while no other
//! has is taken, and everything heard so far is read again through it, so that no byte is lost or booked twice.

use std::sync::Arc;

use crate::book::moment::Moment;
use crate::book::reading::Heard;
use crate::protocol::{Decoder, Format, Piece};

/// How many bytes are heard before a format must have shown itself: a few records of any format.
const UNDECIDED_MAX: usize = 16 * 1024;

/// Reads records from chunks.
pub enum Listener {
    /// With this format.
    Named(Recognised),
    /// With the one that will fit.
    Open(Undecided),
}

/// A format and its decoder.
pub struct Recognised {
    /// The format.
    pub format: Arc<Format>,
    decoder: Decoder,
}

/// Formats that may fit, and what was heard so far.
pub struct Undecided {
    candidates: Vec<Candidate>,
    heard: Vec<Incident>,
    bytes: usize,
}

struct Candidate {
    format: Arc<Format>,
    decoder: Decoder,
    understood: bool,
}

/// Something that happens to a decoder.
#[derive(Clone, Debug)]
enum Incident {
    Opened(Moment),
    Bytes(Moment, Vec<u8>),
    Silence(Moment),
    Closed,
}

impl Recognised {
    /// Reads with `format`.
    pub fn new(format: Arc<Format>) -> Self {
        Recognised { decoder: Decoder::new(Arc::clone(&format)), format }
    }

    fn meet(&mut self, incident: &Incident, out: &mut Vec<Piece>) {
        meet(&mut self.decoder, incident, out);
    }
}

fn meet(decoder: &mut Decoder, incident: &Incident, out: &mut Vec<Piece>) {
    match incident {
        Incident::Opened(at) => decoder.opened(*at),
        Incident::Bytes(at, bytes) => decoder.push(bytes, *at, out),
        Incident::Silence(at) => decoder.silence(*at, out),
        Incident::Closed => decoder.closed(out),
    }
}

impl Listener {
    /// Reads with the format that was named.
    pub fn named(format: Arc<Format>) -> Self {
        Listener::Named(Recognised::new(format))
    }

    /// Reads with whichever of these turns out to fit.
    pub fn open(candidates: impl IntoIterator<Item = Arc<Format>>) -> Self {
        let candidate =
            |format: Arc<Format>| Candidate { decoder: Decoder::new(Arc::clone(&format)), format, understood: false };
        Listener::Open(Undecided {
            candidates: candidates.into_iter().map(candidate).collect(),
            heard: Vec::new(),
            bytes: 0,
        })
    }

    /// The format in use, once it is known.
    pub fn format(&self) -> Option<&Arc<Format>> {
        match self {
            Listener::Named(recognised) => Some(&recognised.format),
            Listener::Open(_) => None,
        }
    }

    /// Whether bytes wait for the rest of their record, as far as that is known before the format is.
    pub fn waits(&self) -> bool {
        match self {
            Listener::Named(recognised) => recognised.decoder.pending() > 0,
            Listener::Open(_) => false,
        }
    }

    /// The link was opened.
    pub fn opened(&mut self, at: Moment, out: &mut Vec<Piece>) {
        self.meet(Incident::Opened(at), out);
    }

    /// Bytes arrived.
    pub fn push(&mut self, bytes: &[u8], at: Moment, out: &mut Vec<Piece>) {
        match self {
            Listener::Named(recognised) => recognised.decoder.push(bytes, at, out),
            Listener::Open(_) => self.meet(Incident::Bytes(at, bytes.to_vec()), out),
        }
    }

    /// Nothing has come since the last bytes.
    pub fn silence(&mut self, at: Moment, out: &mut Vec<Piece>) {
        self.meet(Incident::Silence(at), out);
    }

    /// The link went.
    pub fn closed(&mut self, out: &mut Vec<Piece>) {
        self.meet(Incident::Closed, out);
        // Nothing will be recognised any more in what was heard: it goes through the first candidate, to be kept.
        if let Listener::Open(open) = self
            && open.bytes > 0
        {
            self.settle(0, out);
        }
    }

    fn meet(&mut self, incident: Incident, out: &mut Vec<Piece>) {
        let open = match self {
            Listener::Named(recognised) => return recognised.meet(&incident, out),
            Listener::Open(open) => open,
        };
        let mut pieces = Vec::new();
        for candidate in &mut open.candidates {
            pieces.clear();
            meet(&mut candidate.decoder, &incident, &mut pieces);
            candidate.understood |= pieces
                .iter()
                .any(|piece| matches!(piece.heard, Heard::Reading(_) | Heard::Status(_) | Heard::Fault { .. }));
        }
        if let Incident::Bytes(_, bytes) = &incident {
            open.bytes += bytes.len();
        }
        // Of silence only how long it lasts counts; so waiting takes no memory.
        if let (Some(last @ Incident::Silence(_)), Incident::Silence(_)) = (open.heard.last_mut(), &incident) {
            *last = incident;
        } else {
            open.heard.push(incident);
        }
        let fits: Vec<usize> = (0..open.candidates.len()).filter(|&index| open.candidates[index].understood).collect();
        match fits[..] {
            [one] => self.settle(one, out),
            _ if open.bytes > UNDECIDED_MAX => self.settle(fits.first().copied().unwrap_or(0), out),
            _ => {}
        }
    }

    fn settle(&mut self, index: usize, out: &mut Vec<Piece>) {
        let Listener::Open(open) = self else { return };
        let Some(candidate) = open.candidates.get(index) else { return };
        let mut recognised = Recognised::new(Arc::clone(&candidate.format));
        for incident in &open.heard {
            recognised.meet(incident, out);
        }
        *self = Listener::Named(recognised);
    }
}
