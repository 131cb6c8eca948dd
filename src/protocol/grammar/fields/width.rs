//! How wide a field is and what fills it.

use super::Place;
use crate::protocol::format::file::{Align, FieldFile, Is, LayoutKind};
use crate::protocol::format::written::{At, Width};
use crate::protocol::grammar::build::{Faults, span};
use crate::protocol::grammar::{Filling, Side, Span};
use crate::protocol::limits::FRAME_MAX;

/// As wide as it likes.
pub(super) const WIDE: Span = Span { min: 0, max: usize::MAX };

pub(super) fn width(file: &FieldFile, place: Place, faults: &mut Faults) -> Span {
    let given = match (&file.width, &file.columns) {
        (Some(At { value: Width { min, max }, span }), _) => {
            if min > max || *max == 0 || *max > FRAME_MAX {
                faults.add(
                    span,
                    format!("a width from {min} to {max} found, at least 1 and at most {FRAME_MAX} were wanted"),
                );
            }
            Some(Span { min: *min, max: *max })
        }
        _ => None,
    };
    let columns = file.columns.as_ref().and_then(|columns| {
        let around = [&file.before, &file.behind].into_iter().flatten().map(|octets| octets.0.len()).sum::<usize>();
        let wide = (columns.value[1] + 1).checked_sub(columns.value[0] + around)?;
        Some(Span { min: wide, max: wide })
    });
    let bytes = file.bytes.as_ref().filter(|_| place.layout == LayoutKind::Binary);
    let bytes = bytes.map(|bytes| Span { min: bytes.value, max: bytes.value });
    match (given, columns.or(bytes)) {
        (Some(given), Some(other)) if given != other => {
            if let Some(at) = span(&file.width) {
                faults.add(at, format!("a width found that is not that of the {} characters it stands in", other.min));
            }
            other
        }
        (given, other) => other.or(given).unwrap_or(WIDE),
    }
}

pub(super) fn filling(file: &FieldFile, place: Place, width: Span, faults: &mut Faults) -> Option<Filling> {
    let text = matches!(file.is.value, Is::Text | Is::Choice);
    let filled = matches!(file.is.value, Is::Text | Is::Choice | Is::Decimal | Is::Integer);
    let byte = match &file.pad {
        Some(pad) => match pad.as_bytes() {
            [byte @ b' '..=b'~'] => *byte,
            // No text of bytes holds it.
            [0] if text && place.layout == LayoutKind::Binary => 0,
            _ => {
                let found = &pad.value;
                faults.advise(
                    &pad.span,
                    format!("{found:?} found, one printable character was wanted"),
                    "in a binary record a text may also be filled up with zero bytes: `pad = \"\\u0000\"`",
                );
                return None;
            }
        },
        None if place.layout == LayoutKind::Columns && filled => b' ',
        None => {
            if let Some(at) = span(&file.align) {
                faults.add(at, "`align` found without `pad`");
            }
            return None;
        }
    };
    if let (Some(at), usize::MAX) = (span(&file.pad), width.max) {
        faults.advise(at, "`pad` found without a width", "say how long the field is: `width = 8`, or `width = [1, 8]`");
    }
    let side = match file.align.as_ref().map(|align| align.value) {
        Some(Align::Left) => Side::Behind,
        Some(Align::Right) => Side::Front,
        None if text => Side::Behind,
        None => Side::Front,
    };
    let zero_behind = byte == b'0' && side == Side::Behind && !text;
    let digit = (b'1'..=b'9').contains(&byte) || matches!(byte, b'+' | b'-' | b'.' | b',');
    if let (Some(at), true) = (span(&file.pad), !text && (digit || zero_behind)) {
        faults.add(at, "a filling found that cannot be told from the number, a space, or zeros in front, were wanted");
    }
    Some(Filling { byte, side })
}
