//! From a frame as it was sent to the bytes that its records lie in: escapes and pairs of digits undone, checks held
//! against it and taken off. And back, from one of these bytes to where it stands in what was sent.

use std::ops::Range;

use super::{Delimited, Frame, Framer, Kind};
use crate::protocol::checksum::{self, Check, Mismatch};

/// The bytes that a record lies in, and where it lies in them.
///
/// # Errors
/// Where in the frame as sent something does not hold together, and what.
pub(in crate::protocol) fn contents<'a>(
    framer: &Framer,
    checks: &[Check],
    sent: &'a [u8],
    frame: Frame,
    held: &'a mut Vec<u8>,
) -> Result<(&'a [u8], Range<usize>), Mismatch> {
    if let Kind::Block(block) = &framer.kind
        && block.line_checks > 0
    {
        block.verify_lines(checks, &sent[..frame.end])?;
    }
    let (bytes, place) = plain(framer, sent, frame, held)?;
    let end = checksum::verify(checks, bytes, &place)
        .map_err(|mismatch| Mismatch { at: sent_at(framer, sent, frame, mismatch.at), ..mismatch })?;
    Ok((bytes, place.start..end))
}

/// The frame with its escapes, pairs and checks of lines undone, whatever its checks say: itself where the format has
/// none of them, or put into `held`.
///
/// # Errors
/// Where in the frame as sent something stands for no byte.
pub(in crate::protocol) fn plain<'a>(
    framer: &Framer,
    sent: &'a [u8],
    frame: Frame,
    held: &'a mut Vec<u8>,
) -> Result<(&'a [u8], Frame), Mismatch> {
    let (before, inside) = (&sent[..frame.start], &sent[frame.start..frame.end]);
    let undone = match (&framer.pairs, &framer.kind) {
        (Some(pairs), _) => pairs.undo(inside, begun(held, before)),
        (None, Kind::Delimited(Delimited { escape: Some(escape), .. })) => {
            let nothing = |at| Mismatch { at, reason: "an escape found that hides nothing known".to_owned() };
            escape.uncover(inside, begun(held, before)).map_err(nothing)
        }
        (None, Kind::Block(block)) if block.line_checks > 0 => {
            block.strip_lines(inside, begun(held, before));
            Ok(())
        }
        (None, _) => return Ok((sent, frame)),
    };
    undone.map_err(|mismatch| Mismatch { at: frame.start + mismatch.at, ..mismatch })?;
    let end = held.len();
    held.extend_from_slice(&sent[frame.end..frame.len]);
    let less = frame.end - end;
    Ok((held, Frame { len: frame.len - less, start: frame.start, end, trail: frame.trail - less }))
}

/// The place for a plain frame, which begins as it was sent.
fn begun<'a>(held: &'a mut Vec<u8>, before: &[u8]) -> &'a mut Vec<u8> {
    held.clear();
    held.extend_from_slice(before);
    held
}

/// Where the byte `at` of the plain frame stands in the frame as sent.
pub(in crate::protocol) fn sent_at(framer: &Framer, sent: &[u8], frame: Frame, at: usize) -> usize {
    let Some(behind) = at.checked_sub(frame.start) else { return at };
    let inside = &sent[frame.start..frame.end];
    let behind = match (&framer.pairs, &framer.kind) {
        (Some(pairs), _) => pairs.sent_for(inside, behind),
        (None, Kind::Delimited(Delimited { escape: Some(escape), .. })) => escape.sent_for(inside, behind),
        (None, Kind::Block(block)) if block.line_checks > 0 => block.sent_for(inside, behind),
        (None, _) => behind,
    };
    (frame.start + behind).min(frame.len)
}
