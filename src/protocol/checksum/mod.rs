//! Checks over a frame: how they are computed, where they stand, what they cover.

pub(crate) mod catalogue;

use std::ops::Range;

use super::format::file::{Finish, Form, Of, Order, Stands, To};
use super::framing::Frame;
use catalogue::Cyclic;

/// A check over a frame.
#[derive(Debug)]
pub(super) struct Check {
    pub(super) sum: Sum,
    pub(super) form: Form,
    /// How many bytes it takes in the frame.
    pub(super) size: usize,
    pub(super) order: Order,
    /// Literal bytes before it.
    pub(super) after: Box<[u8]>,
    /// First byte covered; `None`: behind the start bytes.
    pub(super) from: Option<usize>,
    pub(super) to: To,
    pub(super) stands: Stands,
    /// As the format file calls it, for messages.
    pub(super) label: Box<str>,
}

/// How a check is computed.
#[derive(Clone, Debug)]
pub(super) enum Sum {
    Cyclic(Cyclic),
    Xor { first: u8 },
    Plain { bytes: usize, first: u32, finish: Finish },
    Modulo { modulus: u16, weights: Box<[u8]>, of: Of },
    Mod97,
}

/// Where and why a frame does not hold together.
#[derive(Debug, PartialEq, Eq)]
pub(super) struct Mismatch {
    pub(super) at: usize,
    pub(super) reason: String,
}

impl Sum {
    /// The check over `bytes`.
    pub(super) fn over(&self, bytes: &[u8]) -> u64 {
        match self {
            Sum::Cyclic(cyclic) => cyclic.over(bytes),
            Sum::Xor { first } => u64::from(bytes.iter().fold(*first, |sum, byte| sum ^ byte)),
            Sum::Plain { bytes: wide, first, finish } => {
                let sum = bytes.iter().fold(u64::from(*first), |sum, &byte| sum.wrapping_add(u64::from(byte)));
                let sum = match finish {
                    Finish::AsIs => sum,
                    Finish::OnesComplement => !sum,
                    Finish::TwosComplement => sum.wrapping_neg(),
                };
                sum & (u64::MAX >> (64 - 8 * wide))
            }
            Sum::Modulo { modulus, weights, of } => {
                let values = bytes.iter().filter_map(|&byte| match of {
                    Of::Codes => Some(u64::from(byte)),
                    Of::Digits => byte.is_ascii_digit().then(|| u64::from(byte - b'0')),
                });
                let sum: u64 =
                    values.zip(weights.iter().cycle()).map(|(value, &weight)| value * u64::from(weight)).sum();
                sum % u64::from(*modulus)
            }
            Sum::Mod97 => {
                let digits = bytes.iter().filter(|byte| byte.is_ascii_digit());
                let rest = digits.fold(0u64, |rest, &byte| (rest * 10 + u64::from(byte - b'0')) % 97);
                98 - rest * 100 % 97
            }
        }
    }

    /// The largest value it can have.
    pub(super) fn most(&self, bits: u32) -> u64 {
        match self {
            Sum::Modulo { modulus, .. } => u64::from(*modulus) - 1,
            Sum::Mod97 => 98,
            Sum::Cyclic(_) | Sum::Xor { .. } | Sum::Plain { .. } => u64::MAX >> (64 - bits),
        }
    }
}

impl Check {
    /// Writes the check over `covered` as it stands in a frame.
    fn shown(&self, covered: &[u8]) -> Shown {
        show(self.sum.over(covered), self.form, self.size, self.order)
    }

    fn matches(&self, covered: &[u8], found: &[u8], at: usize) -> Result<(), Mismatch> {
        let computed = self.shown(covered);
        if computed.as_bytes() == found {
            return Ok(());
        }
        let words = |bytes: &[u8]| match self.form {
            Form::Binary => bytes.iter().map(|byte| format!("{byte:02X}")).collect(),
            _ => bytes.escape_ascii().to_string(),
        };
        let (found, computed) = (words(found), words(computed.as_bytes()));
        Err(Mismatch { at, reason: format!("{} {found} found, {computed} computed", self.label) })
    }

    fn after_matches(&self, found: &[u8], at: usize) -> Result<(), Mismatch> {
        if *found == *self.after {
            return Ok(());
        }
        let (found, wanted) = (found.escape_ascii(), self.after.escape_ascii());
        Err(Mismatch { at, reason: format!("\"{found}\" found before the {}, \"{wanted}\" was wanted", self.label) })
    }

    fn covered(&self, start: usize, mark: usize, place: usize) -> Range<usize> {
        let from = self.from.unwrap_or(start);
        let to = match self.to {
            To::Mark => mark,
            To::Check => place,
        };
        from.min(to)..to
    }
}

/// Holds every check against the frame, and gives the end of what is left for the fields.
pub(super) fn verify(checks: &[Check], bytes: &[u8], frame: &Frame) -> Result<usize, Mismatch> {
    let end = verify_at_end(checks, Stands::BeforeEnd, bytes, frame.start..frame.end)?;
    let mut mark = frame.trail;
    for check in checks.iter().filter(|check| check.stands == Stands::BehindEnd) {
        let place = mark + check.after.len();
        check.after_matches(&bytes[mark..place], mark)?;
        let covered = check.covered(frame.start, frame.end, place);
        check.matches(&bytes[covered], &bytes[place..place + check.size], place)?;
        mark = place + check.size;
    }
    Ok(end)
}

/// Holds the checks that stand at the end of `part` against it, and gives the end of what is left of it.
pub(super) fn verify_at_end(
    checks: &[Check],
    stands: Stands,
    bytes: &[u8],
    part: Range<usize>,
) -> Result<usize, Mismatch> {
    let mut end = part.end;
    for check in checks.iter().rev().filter(|check| check.stands == stands) {
        let wanted = check.size + check.after.len();
        if end < part.start + wanted {
            let found = end - part.start;
            let reason = format!("{found} bytes left for the {}, {wanted} were wanted", check.label);
            return Err(Mismatch { at: end, reason });
        }
        let (mark, place) = (end - wanted, end - check.size);
        check.after_matches(&bytes[mark..place], mark)?;
        check.matches(&bytes[check.covered(part.start, mark, place)], &bytes[place..end], place)?;
        end = mark;
    }
    Ok(end)
}

/// Appends the checks that stand at the end of what is so far in `bytes`, and that begins at `start`.
pub(super) fn append_at_end(checks: &[Check], stands: Stands, bytes: &mut Vec<u8>, start: usize) {
    for check in checks.iter().filter(|check| check.stands == stands) {
        append(check, bytes, start, bytes.len());
    }
}

/// Appends the checks that stand behind the end; the end bytes began at `end`.
pub(super) fn append_behind_end(checks: &[Check], bytes: &mut Vec<u8>, start: usize, end: usize) {
    for check in checks.iter().filter(|check| check.stands == Stands::BehindEnd) {
        append(check, bytes, start, end);
    }
}

fn append(check: &Check, bytes: &mut Vec<u8>, start: usize, mark: usize) {
    bytes.extend_from_slice(&check.after);
    let shown = check.shown(&bytes[check.covered(start, mark, bytes.len())]);
    bytes.extend_from_slice(shown.as_bytes());
}

/// How many bytes all checks of one place take.
pub(super) fn size(checks: &[Check], stands: Stands) -> usize {
    checks.iter().filter(|check| check.stands == stands).map(|check| check.size + check.after.len()).sum()
}

/// The most characters of a check: 64 bits in decimal.
pub(super) const SHOWN_MAX: usize = 20;

/// A number as it stands in a frame; held inline because one is made for every frame.
pub(super) struct Shown {
    bytes: [u8; SHOWN_MAX],
    size: usize,
}

impl Shown {
    pub(super) fn as_bytes(&self) -> &[u8] {
        &self.bytes[..self.size]
    }
}

/// Writes `value` in `size` bytes; what is beyond them is cut off in front.
pub(super) fn show(mut value: u64, form: Form, size: usize, order: Order) -> Shown {
    let mut bytes = [0; SHOWN_MAX];
    for place in bytes[..size].iter_mut().rev() {
        // One arm a base, so that each divides by a constant.
        (*place, value) = match form {
            Form::Binary => (value as u8, value >> 8),
            Form::Decimal => (b'0' + (value % 10) as u8, value / 10),
            Form::Hex => (b"0123456789ABCDEF"[(value & 15) as usize], value >> 4),
            Form::HexLower => (b"0123456789abcdef"[(value & 15) as usize], value >> 4),
        };
    }
    if form == Form::Binary && order == Order::Little {
        bytes[..size].reverse();
    }
    Shown { bytes, size }
}

/// Reads a number as [`show`] writes it.
pub(super) fn read_shown(bytes: &[u8], form: Form, order: Order) -> Option<u64> {
    let digit = |byte: u8| match form {
        Form::Binary => Some(u64::from(byte)),
        Form::Decimal => byte.is_ascii_digit().then(|| u64::from(byte - b'0')),
        Form::Hex => (!byte.is_ascii_lowercase()).then(|| char::from(byte).to_digit(16).map(u64::from)).flatten(),
        Form::HexLower => (!byte.is_ascii_uppercase()).then(|| char::from(byte).to_digit(16).map(u64::from)).flatten(),
    };
    let base = match form {
        Form::Binary => 256,
        Form::Decimal => 10,
        Form::Hex | Form::HexLower => 16,
    };
    let step = |value: Option<u64>, &byte: &u8| value?.checked_mul(base)?.checked_add(digit(byte)?);
    match order {
        Order::Little if form == Form::Binary => bytes.iter().rev().fold(Some(0), step),
        _ => bytes.iter().fold(Some(0), step),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_simple_sums() {
        let sum = |bytes, finish| Sum::Plain { bytes, first: 0, finish };
        // By hand: 0x31 ^ 0x32 ^ 0x33 = 0x30; 0x31 + 0x32 + 0x33 = 0x96; 0x100 - 0x96 = 0x6A.
        assert_eq!(Sum::Xor { first: 0 }.over(b"123"), 0x30);
        assert_eq!(sum(1, Finish::AsIs).over(b"123"), 0x96);
        assert_eq!(sum(1, Finish::TwosComplement).over(b"123"), 0x6A);
        assert_eq!(sum(1, Finish::OnesComplement).over(b"123"), 0x69);
        assert_eq!(sum(2, Finish::AsIs).over(&[0xFF; 300]), 300 * 255 % 65_536);
        // 49 + 50 + 51 = 150.
        let codes = Sum::Modulo { modulus: 10, weights: Box::new([1]), of: Of::Codes };
        assert_eq!(codes.over(b"123"), 0);
        // 1*3 + 2*1 + 3*3 = 14.
        let weighted = Sum::Modulo { modulus: 10, weights: Box::new([3, 1]), of: Of::Digits };
        assert_eq!(weighted.over(b"1,2,3"), 4);
    }

    #[test]
    fn two_control_digits_make_the_number_one_beyond_a_multiple_of_97() {
        // The rule of ISO/IEC 7064, MOD 97-10: the digits with their control digits leave 1.
        for digits in ["0", "794", "0012834003142", "99999999999999999999"] {
            let control = Sum::Mod97.over(digits.as_bytes());
            let whole = format!("{digits}{control:02}");
            let rest = whole.bytes().fold(0u32, |rest, byte| (rest * 10 + u32::from(byte - b'0')) % 97);
            assert_eq!(rest, 1, "{whole}");
        }
    }

    #[test]
    fn shown_and_read_back() {
        for form in [Form::Binary, Form::Decimal, Form::Hex, Form::HexLower] {
            for order in [Order::Big, Order::Little] {
                for value in [0, 7, 0x5C, 0xAB] {
                    let shown = show(value, form, 3, order);
                    assert_eq!(read_shown(shown.as_bytes(), form, order), Some(value), "{form:?} {order:?} {value}");
                }
            }
        }
        assert_eq!(show(0xBB3D, Form::Binary, 2, Order::Little).as_bytes(), [0x3D, 0xBB]);
        assert_eq!(show(0x5C, Form::Hex, 2, Order::Big).as_bytes(), b"5C");
        assert_eq!(read_shown(b"5c", Form::Hex, Order::Big), None);
        assert_eq!(read_shown(b"1x", Form::Decimal, Order::Big), None);
    }
}
