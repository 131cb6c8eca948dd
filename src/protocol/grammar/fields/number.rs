//! Numbers, in characters and in binary.

use super::size;
use super::width::WIDE;
use crate::protocol::format::file::{FieldFile, Is, Mark, Order, Sign, SignAt};
use crate::protocol::format::written::PerUnit;
use crate::protocol::grammar::build::{Faults, span};
use crate::protocol::grammar::{Code, Decimals, Filling, Number, Point, Scale, Side, Signed, Span};
use crate::protocol::limits::NUMBER_MAX;

/// A number written in characters.
pub(super) fn written(file: &FieldFile, width: Span, filling: Option<Filling>, faults: &mut Faults) -> Number {
    let mark = match file.mark.as_ref().map(|mark| mark.value) {
        Some(Mark::Comma) => b',',
        Some(Mark::Point) | None => b'.',
    };
    if let (Some(at), Some(_)) = (span(&file.decimals), &file.implied) {
        faults.add(at, "`decimals` and `implied` found, one of them was wanted: the point is sent, or it is not");
    }
    let whole = file.is.value == Is::Integer;
    let point = if whole || file.implied.is_some() || file.times.is_some() {
        Point::Implied(scale(file, faults))
    } else {
        let decimals = match file.decimals.as_ref().map(|decimals| decimals.value) {
            None => Decimals::Any,
            Some(PerUnit::All(places)) => Decimals::All(places),
            Some(PerUnit::Each(each)) => Decimals::Each(each),
        };
        Point::Sent { mark, decimals }
    };
    let mut sign = file.sign.as_ref().map_or(if whole { Sign::None } else { Sign::Minus }, |sign| sign.value);
    if let (Some(at), Sign::Nibble) = (span(&file.sign), sign) {
        faults.add(at, "a half byte as sign of written digits found, it is for packed digits");
    }
    let sign_at = file.sign_at.as_ref().map_or(SignAt::Front, |at| at.value);
    // Spaces on the same side swallow a space that stands for plus.
    let side = if sign_at == SignAt::Front { Side::Front } else { Side::Behind };
    if sign == Sign::Space && filling == Some(Filling { byte: b' ', side }) {
        sign = Sign::Minus;
    }
    let width = if width == WIDE { Span { min: 1, max: NUMBER_MAX } } else { width };
    Number { point, sign, sign_at, filling, width }
}

/// A whole number in hexadecimal digits: 15 of them fit.
pub(super) fn hex(file: &FieldFile, width: Span, faults: &mut Faults) -> Code {
    Code::Hex { width: if width == WIDE { Span { min: 1, max: 15 } } else { width }, scale: scale(file, faults) }
}

/// A number in binary.
pub(super) fn binary(file: &FieldFile, order: Order, faults: &mut Faults) -> Option<Code> {
    match file.is.value {
        Is::Unsigned | Is::Signed => {
            let bytes = size(file, faults)?;
            if !matches!(bytes, 1 | 2 | 3 | 4 | 8) {
                faults
                    .add(span(&file.bytes)?, format!("an integer of {bytes} bytes found, 1, 2, 3, 4 or 8 were wanted"));
                return None;
            }
            let signed = if file.is.value == Is::Signed { Signed::Yes } else { Signed::No };
            Some(Code::Integer { bytes, order, signed, scale: scale(file, faults) })
        }
        Is::Float => {
            let bytes = size(file, faults)?;
            if !matches!(bytes, 4 | 8) {
                faults.add(span(&file.bytes)?, format!("a float of {bytes} bytes found, 4 or 8 were wanted"));
                return None;
            }
            match file.decimals.as_ref().map(|decimals| decimals.value) {
                Some(PerUnit::All(decimals)) => Some(Code::Float { bytes, order, decimals }),
                _ => {
                    faults.advise(
                        &file.is.span,
                        "a float without its decimals found",
                        "say with how many it is written out: `decimals = 5`",
                    );
                    None
                }
            }
        }
        Is::Bcd => {
            let bytes = size(file, faults)?;
            if !(1..=crate::protocol::record::BCD_MAX).contains(&bytes) {
                faults.add(span(&file.bytes)?, format!("packed digits of {bytes} bytes found, 1 to 9 were wanted"));
                return None;
            }
            let sign = file.sign.as_ref().map_or(Sign::None, |sign| sign.value);
            if !matches!(sign, Sign::None | Sign::Nibble) {
                faults.add(span(&file.sign)?, "a sign of packed digits found, \"none\" or \"nibble\" was wanted");
            }
            Some(Code::Bcd { bytes, sign, scale: scale(file, faults) })
        }
        _ => None,
    }
}

fn scale(file: &FieldFile, faults: &mut Faults) -> Scale {
    let decimals = match file.implied.as_ref().map(|implied| implied.value) {
        None => Decimals::All(0),
        Some(PerUnit::All(places)) => Decimals::All(places),
        Some(PerUnit::Each(each)) => Decimals::Each(each),
    };
    let times = file.times.as_ref().map_or(1, |times| times.value);
    if let (Some(at), 0) = (span(&file.times), times) {
        faults.add(at, "0 found, a step of at least 1 was wanted");
        return Scale { decimals, times: 1 };
    }
    Scale { decimals, times }
}
