//! The ways in which a number can be written in bytes.

use crate::protocol::format::file::Order;
use crate::units::Decimal;

/// How a number is written.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Writing {
    Integer {
        bytes: usize,
        order: Order,
        signed: bool,
    },
    Float {
        bytes: usize,
        order: Order,
    },
    /// Two digits a byte; the last half byte may be the sign.
    Bcd {
        bytes: usize,
        nibble: bool,
    },
}

/// The decimals that a float is looked at with: more than any level resolves in metres or millimetres.
pub(super) const FLOAT_DECIMALS: u8 = 7;

/// All of them, the commonest first.
pub(super) fn writings() -> impl Iterator<Item = Writing> {
    let orders = [Order::Big, Order::Little];
    let integers = [4, 2, 3, 8].into_iter().flat_map(move |bytes| {
        orders.into_iter().flat_map(move |order| [true, false].map(|signed| Writing::Integer { bytes, order, signed }))
    });
    let floats = [4, 8].into_iter().flat_map(move |bytes| orders.map(|order| Writing::Float { bytes, order }));
    let packed =
        [4, 3, 2, 5, 6].into_iter().flat_map(|bytes| [true, false].map(|nibble| Writing::Bcd { bytes, nibble }));
    let single = [true, false].map(|signed| Writing::Integer { bytes: 1, order: Order::Big, signed });
    integers.chain(floats).chain(packed).chain(single)
}

/// The most bytes in which records are counted.
const COUNTED_MAX: usize = 2;

impl Writing {
    pub(super) fn size(&self) -> usize {
        match self {
            Writing::Integer { bytes, .. } | Writing::Float { bytes, .. } | Writing::Bcd { bytes, .. } => *bytes,
        }
    }

    /// Which of two that say the same is likelier: the wider, but for 64 bits, and the signed.
    pub(super) fn rank(&self) -> (usize, bool) {
        let signed = !matches!(self, Writing::Integer { signed: false, .. } | Writing::Bcd { nibble: false, .. });
        (if self.size() > 6 { 1 } else { self.size() }, signed)
    }

    /// Whether records are counted in such numbers.
    pub(super) fn counts(&self) -> bool {
        match self {
            Writing::Integer { signed, bytes, .. } => !signed && *bytes <= COUNTED_MAX,
            Writing::Bcd { nibble, bytes } => !nibble && *bytes <= COUNTED_MAX,
            Writing::Float { .. } => false,
        }
    }

    /// What numbers at one place have in common that differ only in how far they reach to the more significant bytes.
    pub(super) fn anchor(&self, at: usize) -> (u8, usize) {
        match self {
            Writing::Integer { bytes, order: Order::Big, .. } => (0, at + bytes),
            Writing::Integer { order: Order::Little, .. } => (1, at),
            Writing::Bcd { bytes, nibble: false } => (2, at + bytes),
            Writing::Bcd { bytes, nibble: true } => (3, at + bytes),
            Writing::Float { bytes, order } => (4 + *bytes as u8 * 2 + u8::from(*order == Order::Big), at),
        }
    }

    /// The number that `bytes` begin with.
    pub(super) fn read(&self, bytes: &[u8]) -> Option<Decimal> {
        let bytes = bytes.get(..self.size())?;
        let whole = |mantissa| Some(Decimal { mantissa, decimals: 0 });
        match self {
            Writing::Integer { order, signed, .. } => whole(integer(bytes, *order, *signed)?),
            Writing::Float { order, .. } => {
                let bits = integer(bytes, *order, false).map(|bits| bits as u64);
                let value = match bytes.len() {
                    4 => f64::from(f32::from_bits(bits? as u32)),
                    _ => f64::from_bits(unsigned(bytes, *order)),
                };
                let scaled = (value * 10f64.powi(i32::from(FLOAT_DECIMALS))).round();
                // Numbers near zero, and huge ones, are other bytes taken for a float.
                let sound = value == 0.0 || (1e-5..1e7).contains(&value.abs());
                sound.then_some(Decimal { mantissa: scaled as i64, decimals: FLOAT_DECIMALS })
            }
            Writing::Bcd { nibble, .. } => {
                let mut halves: Vec<u8> = bytes.iter().flat_map(|byte| [byte >> 4, byte & 15]).collect();
                let sign = if *nibble {
                    match halves.pop()? {
                        12 => 1,
                        13 => -1,
                        _ => return None,
                    }
                } else {
                    1
                };
                let digit = |number: i64, half: &u8| (*half <= 9).then(|| number * 10 + i64::from(*half));
                whole(sign * halves.iter().try_fold(0, digit)?)
            }
        }
    }
}

fn unsigned(bytes: &[u8], order: Order) -> u64 {
    let step = |number: u64, byte: &u8| number << 8 | u64::from(*byte);
    match order {
        Order::Big => bytes.iter().fold(0, step),
        Order::Little => bytes.iter().rev().fold(0, step),
    }
}

fn integer(bytes: &[u8], order: Order, signed: bool) -> Option<i64> {
    let number = unsigned(bytes, order);
    if signed {
        let shift = 64 - 8 * bytes.len() as u32;
        return Some((number << shift) as i64 >> shift);
    }
    i64::try_from(number).ok()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_of_every_kind() {
        let read =
            |writing: Writing, bytes: &[u8]| writing.read(bytes).map(|number| (number.mantissa, number.decimals));
        let integer = |bytes, order, signed| Writing::Integer { bytes, order, signed };
        assert_eq!(read(integer(4, Order::Little, false), &[0x54, 0xF5, 1, 0, 9]), Some((128_340, 0)));
        assert_eq!(read(integer(2, Order::Big, true), &[0xFF, 0xF6]), Some((-10, 0)));
        assert_eq!(read(integer(2, Order::Big, false), &[0xFF, 0xF6]), Some((65_526, 0)));
        assert_eq!(read(integer(3, Order::Big, true), &[0xFF, 0xFF, 0xF6]), Some((-10, 0)));
        assert_eq!(read(integer(4, Order::Big, true), &[0, 0]), None);
        let float = Writing::Float { bytes: 4, order: Order::Little };
        // The nearest float of 32 bits is 1.28340005..
        assert_eq!(read(float, &1.2834f32.to_le_bytes()), Some((12_834_001, 7)));
        assert_eq!(read(float, &f32::NAN.to_le_bytes()), None);
        assert_eq!(read(float, &1e30f32.to_le_bytes()), None);
        assert_eq!(read(Writing::Bcd { bytes: 3, nibble: true }, &[0x03, 0x14, 0x2D]), Some((-3142, 0)));
        assert_eq!(read(Writing::Bcd { bytes: 2, nibble: false }, &[0x00, 0x1A]), None);
    }
}
