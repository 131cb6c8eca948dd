//! The way out: fields are made a frame, with length, checks and end, and sent as the format says.

use std::ops::Range;

use super::{Delimited, Framer, Kind};
use crate::protocol::checksum::{Check, append_at_end, append_behind_end, read_shown, show};
use crate::protocol::format::file::Stands;

/// Puts start, length, checks and end around `fields`.
///
/// # Errors
/// A frame longer than the format allows, or one whose length cannot be written; with both lengths.
pub(in crate::protocol) fn wrap(framer: &Framer, checks: &[Check], fields: &[u8]) -> Result<Vec<u8>, TooLong> {
    let (start, end): (&[u8], &[u8]) = match &framer.kind {
        Kind::Line(line) => (&[], line.end.written()),
        Kind::Delimited(delimited) => (&delimited.start, &delimited.end),
        Kind::Fixed(fixed) => (&fixed.start, &[]),
        Kind::Prefixed(prefixed) => (&prefixed.start, &prefixed.end),
        Kind::Silence => (&[], &[]),
        Kind::Block(block) => (&[], &block.end),
    };
    let mut frame = start.to_vec();
    let mut body = start.len();
    if let Kind::Prefixed(prefixed) = &framer.kind {
        let length = prefixed.length;
        if !prefixed.in_record {
            frame.resize(prefixed.header(), 0);
            body = prefixed.header();
        }
        frame.extend_from_slice(fields);
        let len = frame.len() + prefixed.checks + end.len();
        let sent = u64::try_from(prefixed.sent(len)).map_err(|_| TooLong { found: len, most: framer.max })?;
        let shown = show(sent, length.form, length.bytes, length.order);
        if read_shown(shown.as_bytes(), length.form, length.order) != Some(sent) {
            return Err(TooLong { found: len, most: prefixed.sizes.1 });
        }
        frame[length.at..length.at + length.bytes].copy_from_slice(shown.as_bytes());
    } else if let Kind::Block(block) = &framer.kind {
        block.check_lines(checks, fields, &mut frame);
    } else {
        frame.extend_from_slice(fields);
    }
    append_at_end(checks, Stands::BeforeEnd, &mut frame, body);
    let end_at = frame.len();
    frame.extend_from_slice(end);
    append_behind_end(checks, &mut frame, body, end_at);
    let frame = cover(framer, frame, body..end_at);
    if frame.len() > framer.max {
        return Err(TooLong { found: frame.len(), most: framer.max });
    }
    Ok(frame)
}

/// Sends what stands inside a frame as the format says; the checks were computed before.
fn cover(framer: &Framer, plain: Vec<u8>, inside: Range<usize>) -> Vec<u8> {
    let mut sent = plain[..inside.start].to_vec();
    match (&framer.pairs, &framer.kind) {
        (Some(pairs), _) => pairs.written(&plain[inside.clone()], &mut sent),
        (None, Kind::Delimited(Delimited { start, end, escape: Some(escape), .. })) => {
            escape.cover(&plain[inside.clone()], start, end, &mut sent);
        }
        (None, _) => return plain,
    }
    sent.extend_from_slice(&plain[inside.end..]);
    sent
}

/// A frame longer than the format allows.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(in crate::protocol) struct TooLong {
    pub(in crate::protocol) found: usize,
    pub(in crate::protocol) most: usize,
}
