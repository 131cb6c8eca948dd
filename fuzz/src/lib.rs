//! What the fuzz targets do with the bytes that they are given, apart from what makes them up.
//!
//! The modules that bytes from outside go through are pure: they are compiled here on their own, without the store, the
//! link and the screen, so that the instrumented build takes seconds and not minutes.

#![allow(dead_code, reason = "a target uses its part of a module")]

#[path = "../../src/book/mod.rs"]
pub mod book;
#[path = "../../src/excerpt.rs"]
mod excerpt;
#[path = "../../src/nearest.rs"]
pub mod nearest;
#[path = "../../src/protocol/mod.rs"]
pub mod protocol;
#[path = "../../src/units/mod.rs"]
pub mod units;

use std::sync::{Arc, LazyLock};

use book::moment::Moment;
use book::reading::Heard;
use protocol::draft::{Chunk, Drafted, Seen, draft};
use protocol::{Decoder, Format, Piece, find, shipped};

/// Between two chunks of a stream: some records end by such a silence, others go on over it.
const PAUSE_US: i64 = 50_000;

/// A format file of any content is read or refused; one that is read keeps its promises on its own examples and on the
/// bytes of its own file.
pub fn format_file(data: &[u8]) {
    let Ok(text) = std::str::from_utf8(data) else { return };
    match Format::parse(text) {
        Ok(format) => {
            let examination = format.examine();
            assert!(examination.bounds.frame <= protocol::limits::FRAME_MAX);
            stream(&Arc::new(format), data);
        }
        Err(errors) => {
            // Each is told at a place that is there.
            for error in errors.iter() {
                assert!(error.at.line >= 1 && error.at.line <= text.lines().count().max(1) + 1, "{error}");
                assert!(!error.to_string().is_empty());
            }
        }
    }
}

/// The first byte chooses a shipped format, the rest is what an instrument sends.
pub fn frames(data: &[u8]) {
    static SHIPPED: LazyLock<Vec<Arc<Format>>> =
        LazyLock::new(|| shipped().iter().map(|(name, _)| Arc::new(find(name).expect("it is shipped"))).collect());
    let Some((chosen, bytes)) = data.split_first() else { return };
    stream(&SHIPPED[usize::from(*chosen) % SHIPPED.len()], bytes);
}

/// Every byte comes out once, in order, the same whatever the chunks; a record that is read can be written, and reads
/// back as the same.
fn stream(format: &Arc<Format>, bytes: &[u8]) {
    let whole = pieces(format, bytes, bytes.len().max(1));
    let raw: Vec<u8> = whole.iter().flat_map(|piece| piece.raw.iter().copied()).collect();
    assert_eq!(raw, bytes);
    for size in [1, 7] {
        assert_eq!(pieces(format, bytes, size), whole, "in chunks of {size}");
    }
    for piece in &whole {
        let _ = format.anatomy(&piece.raw);
        if matches!(piece.heard, Heard::Reading(_) | Heard::Status(_) | Heard::Fault { .. })
            && let Ok(record) = format.read(&piece.raw)
            && let Ok(written) = format.write(&record)
        {
            assert_eq!(format.read(&written).as_ref(), Ok(&record));
        }
    }
}

/// All that comes out of a stream in chunks of `size`, with a pause in the middle and silence behind it.
fn pieces(format: &Arc<Format>, bytes: &[u8], size: usize) -> Vec<Piece> {
    let (mut decoder, mut pieces) = (Decoder::new(Arc::clone(format)), Vec::new());
    let mut at = Moment::from_us(0);
    decoder.opened(at);
    let (first, second) = bytes.split_at(bytes.len() / 2);
    for half in [first, second] {
        at = Moment::from_us(at.us() + PAUSE_US);
        for chunk in half.chunks(size) {
            decoder.push(chunk, at, &mut pieces);
        }
        at = Moment::from_us(at.us() + PAUSE_US);
        decoder.silence(at, &mut pieces);
    }
    decoder.closed(&mut pieces);
    pieces
}

/// What a display shows at four shots, one of them of an inverted staff and one in feet: the kept inputs hold them.
const SHOWN: [&str; 4] = ["1.2834/31.42", "0.9122/27.20", "-2.3050/8.15", "4.211ft"];

/// The first byte says how many readings of the display are given and how far apart in time the chunks came, the rest is
/// a capture. What is drafted is a good file that reads them.
pub fn drafted(data: &[u8]) {
    let Some((first, bytes)) = data.split_first() else { return };
    let seen: Vec<Seen> =
        SHOWN[..usize::from(first % 4) + 1].iter().map(|text| Seen::parse(text).expect("good")).collect();
    let apart_us = [0, 4_000, 2_000_000][usize::from(first / 4) % 3];
    let at = |place: usize| Moment::from_us(apart_us * place as i64);
    let chunks: Vec<Chunk<'_>> =
        bytes.chunks(16).enumerate().map(|(place, bytes)| Chunk { at: at(place), bytes }).collect();
    let drafts = match draft(&chunks, &seen) {
        Drafted::One(draft) => vec![*draft],
        Drafted::Several { drafts, apart } => {
            assert!(drafts.len() > 1 && apart.iter().all(|apart| apart.place.end <= bytes.len()));
            drafts
        }
        Drafted::Nothing { reasons } => return assert!(!reasons.is_empty()),
    };
    for draft in drafts {
        let format = Format::parse(&draft.text).expect("a draft is a good file");
        assert!(format.examine().failures.is_empty() && draft.readings >= seen.len(), "{}", draft.text);
        assert!(draft.unseen.iter().all(|unseen| unseen.place.end <= bytes.len()), "{}", draft.text);
        stream(&Arc::new(format), bytes);
    }
}
