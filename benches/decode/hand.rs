//! The records of the shipped formats in hand-written nom: what somebody would write who knows one instrument only.

pub(super) mod binary;
pub(super) mod text;

use closerun::book::reading::Role;
use closerun::units::{Measured, Unit};
use nom::IResult;

/// A record that is none.
fn failed<T>(input: &[u8]) -> IResult<&[u8], T> {
    Err(nom::Err::Error(nom::error::Error::new(input, nom::error::ErrorKind::Verify)))
}

pub(super) fn text(bytes: &[u8]) -> &str {
    std::str::from_utf8(bytes).unwrap()
}

pub(super) fn metres(bytes: &[u8]) -> Measured {
    Measured::parse(text(bytes), Unit::Metre).unwrap()
}

pub(super) fn role(byte: char) -> Option<Role> {
    match byte {
        'B' | '1' => Some(Role::Back),
        'F' | '6' => Some(Role::Fore),
        'I' => Some(Role::Intermediate),
        _ => None,
    }
}

/// Digits with the point put before the last `places`.
pub(super) fn implied(negative: bool, digits: &[u8], places: usize) -> Measured {
    let digits = text(digits);
    let (whole, behind) = digits.split_at(digits.len() - places);
    let whole = whole.trim_start_matches('0');
    let whole = if whole.is_empty() { "0" } else { whole };
    Measured::parse(&format!("{}{whole}.{behind}", if negative { "-" } else { "" }), Unit::Metre).unwrap()
}

/// The control number over the digits among `bytes`.
pub(super) fn control(bytes: &[u8]) -> u32 {
    let digits = bytes.iter().filter(|byte| byte.is_ascii_digit());
    98 - digits.fold(0, |left, byte| (left * 10 + u32::from(byte - b'0')) % 97) * 100 % 97
}
