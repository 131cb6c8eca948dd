//! A number as a person or an instrument writes it: its digits, exactly.

use std::fmt;
use std::str::FromStr;

use serde::{Deserialize, Deserializer, Serialize, Serializer};

/// The most characters a written number may have: a sign, a point, and more digits than any level sends.
const DIGITS_MAX: usize = 23;

/// The most decimals that are read: beyond 0.1 nm nothing can be kept.
const DECIMALS_MAX: u8 = 18;

/// The text of a number as it was sent, kept beside its value so that a trailing zero is not lost.
///
/// Held inline, because one is made for every reading.
#[derive(Clone, Copy, PartialEq, Eq, Hash)]
pub struct Digits {
    text: [u8; DIGITS_MAX],
    len: u8,
}

impl Digits {
    /// The digits as text.
    pub fn as_str(&self) -> &str {
        std::str::from_utf8(&self.text[..usize::from(self.len)]).expect("digits are ASCII by construction")
    }

    /// How many digits stand behind the decimal point.
    pub fn decimals(&self) -> u8 {
        match self.as_str().split_once('.') {
            Some((_, behind)) => behind.len() as u8,
            None => 0,
        }
    }
}

impl FromStr for Digits {
    type Err = NumberError;

    fn from_str(text: &str) -> Result<Self, NumberError> {
        Numeral::read(text.as_bytes()).map(|numeral| numeral.digits)
    }
}

impl fmt::Display for Digits {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(self.as_str())
    }
}

impl fmt::Debug for Digits {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{:?}", self.as_str())
    }
}

impl Serialize for Digits {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.serialize_str(self.as_str())
    }
}

impl<'de> Deserialize<'de> for Digits {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        let text = std::borrow::Cow::<'de, str>::deserialize(deserializer)?;
        text.parse().map_err(serde::de::Error::custom)
    }
}

/// An exact decimal: `mantissa / 10^decimals`.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Decimal {
    /// All digits as one whole number, with the sign.
    pub mantissa: i64,
    /// How many of them stand behind the point.
    pub decimals: u8,
}

impl FromStr for Decimal {
    type Err = NumberError;

    /// Reads `[+-]digits[.digits]`; at least one digit on either side of the point; nothing else.
    fn from_str(text: &str) -> Result<Self, NumberError> {
        Decimal::read(text.as_bytes())
    }
}

impl Decimal {
    fn read(text: &[u8]) -> Result<Self, NumberError> {
        if text.len() > DIGITS_MAX {
            return Err(NumberError::TooLong { found: text.len() });
        }
        let (negative, body) = match text {
            [] => return Err(NumberError::Empty),
            [b'-', body @ ..] => (true, body),
            [b'+', body @ ..] => (false, body),
            body => (false, body),
        };
        let mut mantissa: i64 = 0;
        let mut decimals: u8 = 0;
        let (mut digits, mut behind) = (0, false);
        for (at, &byte) in body.iter().enumerate() {
            match byte {
                b'0'..=b'9' => {
                    mantissa = mantissa
                        .checked_mul(10)
                        .and_then(|m| m.checked_add(i64::from(byte - b'0')))
                        .ok_or(NumberError::TooLarge)?;
                    digits += 1;
                    decimals += u8::from(behind);
                }
                b'.' if !behind => behind = true,
                _ => {
                    let found = String::from_utf8_lossy(&body[at..]).chars().next().unwrap_or('?');
                    return Err(NumberError::NotADigit { found });
                }
            }
        }
        if digits == 0 {
            return Err(NumberError::Empty);
        }
        if decimals > DECIMALS_MAX {
            return Err(NumberError::TooLong { found: text.len() });
        }
        Ok(Decimal { mantissa: if negative { -mantissa } else { mantissa }, decimals })
    }
}

impl Decimal {
    /// The value as a float, for the few places where an exact length is not meant (a temperature).
    pub fn to_f64(self) -> f64 {
        self.mantissa as f64 / 10f64.powi(i32::from(self.decimals))
    }
}

/// A number as it was sent: its digits, and what they say, read once.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Numeral {
    digits: Digits,
    decimal: Decimal,
}

impl Numeral {
    /// Reads a number as [`Decimal::from_str`] does.
    ///
    /// # Errors
    /// As [`Decimal::from_str`].
    pub fn read(text: &[u8]) -> Result<Self, NumberError> {
        let decimal = Decimal::read(text)?;
        let mut held = [0; DIGITS_MAX];
        held[..text.len()].copy_from_slice(text);
        Ok(Numeral { digits: Digits { text: held, len: text.len() as u8 }, decimal })
    }

    /// From a sign and the digits on both sides of the point; without a point if nothing stands behind it.
    ///
    /// # Errors
    /// Anything but digits, none before the point, or more than can be kept.
    pub fn of_parts(negative: bool, whole: &[u8], behind: &[u8]) -> Result<Self, NumberError> {
        let point = usize::from(!behind.is_empty());
        let len = usize::from(negative) + whole.len() + point + behind.len();
        if whole.is_empty() {
            return Err(NumberError::Empty);
        }
        if len > DIGITS_MAX || behind.len() > usize::from(DECIMALS_MAX) {
            return Err(NumberError::TooLong { found: len });
        }
        let mut digits = Digits { text: [0; DIGITS_MAX], len: len as u8 };
        let text = &mut digits.text[..len];
        let from = usize::from(negative);
        if negative {
            text[0] = b'-';
        }
        text[from..from + whole.len()].copy_from_slice(whole);
        if point > 0 {
            text[from + whole.len()] = b'.';
            text[from + whole.len() + 1..].copy_from_slice(behind);
        }
        if whole.len() + behind.len() > DIGITS_SURE {
            let decimal = Decimal::read(&digits.text[..len])?;
            return Ok(Numeral { digits, decimal });
        }
        let mut mantissa: i64 = 0;
        for &byte in whole.iter().chain(behind) {
            let digit = byte.wrapping_sub(b'0');
            if digit > 9 {
                return Err(NumberError::NotADigit { found: char::from(byte) });
            }
            mantissa = mantissa * 10 + i64::from(digit);
        }
        let mantissa = if negative { -mantissa } else { mantissa };
        Ok(Numeral { digits, decimal: Decimal { mantissa, decimals: behind.len() as u8 } })
    }

    /// Writes a decimal out; zero has no sign.
    ///
    /// # Errors
    /// More characters than can be kept.
    pub fn of(decimal: Decimal) -> Result<Self, NumberError> {
        let mut text = [b'0'; 2 * DIGITS_MAX];
        let decimals = usize::from(decimal.decimals);
        if decimals > usize::from(DECIMALS_MAX) {
            return Err(NumberError::TooLong { found: decimals });
        }
        let (mut at, mut rest, mut written) = (text.len(), decimal.mantissa.unsigned_abs(), 0);
        while rest > 0 || written <= decimals {
            if written == decimals && written > 0 {
                at -= 1;
                text[at] = b'.';
            }
            at -= 1;
            text[at] = b'0' + (rest % 10) as u8;
            rest /= 10;
            written += 1;
        }
        if decimal.mantissa < 0 {
            at -= 1;
            text[at] = b'-';
        }
        let found = text.len() - at;
        if found > DIGITS_MAX {
            return Err(NumberError::TooLong { found });
        }
        let mut digits = Digits { text: [0; DIGITS_MAX], len: found as u8 };
        digits.text[..found].copy_from_slice(&text[at..]);
        Ok(Numeral { digits, decimal })
    }

    /// The digits as sent.
    pub fn digits(&self) -> &Digits {
        &self.digits
    }

    /// What they say.
    pub fn decimal(&self) -> Decimal {
        self.decimal
    }
}

/// So many digits always fit into 64 bits.
const DIGITS_SURE: usize = 18;

/// Why a text is not a number that can be booked.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum NumberError {
    /// Nothing there, or no digit in it.
    Empty,
    /// More characters than a reading can have.
    TooLong {
        /// How many were found.
        found: usize,
    },
    /// More than 64 bits can hold.
    TooLarge,
    /// A character that is no digit, sign or point in its place.
    NotADigit {
        /// The first such character.
        found: char,
    },
}

impl fmt::Display for NumberError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            NumberError::Empty => write!(f, "no digits found, a number such as 1.2834 was wanted"),
            NumberError::TooLong { found } => {
                write!(f, "{found} characters found, a number of at most {DIGITS_MAX} was wanted")
            }
            NumberError::TooLarge => write!(f, "the number is larger than any length that can be booked"),
            NumberError::NotADigit { found } => {
                write!(f, "{found:?} found inside a number, a digit or one decimal point was wanted")
            }
        }
    }
}

impl std::error::Error for NumberError {}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn reads_what_a_level_or_a_person_writes() {
        for (text, mantissa, decimals) in
            [("1.28340", 128340, 5), ("-0.0001", -1, 4), ("+3", 3, 0), (".5", 5, 1), ("5.", 5, 0), ("007.10", 710, 2)]
        {
            assert_eq!(text.parse(), Ok(Decimal { mantissa, decimals }), "{text}");
            assert_eq!(text.parse::<Digits>().unwrap().as_str(), text);
        }
    }

    #[test]
    fn refuses_what_is_no_number() {
        for text in
            ["", "-", ".", "inf", "nan", "1e5", "1,5", "--1", "1.2.3", " 1", "١", "0x10", "99999999999999999999"]
        {
            assert!(text.parse::<Decimal>().is_err(), "{text:?}");
        }
        assert_eq!("1é".parse::<Decimal>(), Err(NumberError::NotADigit { found: 'é' }));
        assert_eq!("1.0000000000000000000001".parse::<Decimal>(), Err(NumberError::TooLong { found: 24 }));
    }

    #[test]
    fn a_number_put_together_is_the_number_read() {
        for (negative, whole, behind, text) in [
            (false, "1", "28340", "1.28340"),
            (true, "0", "0001", "-0.0001"),
            (false, "7", "", "7"),
            (true, "123456789012345678", "1", "-123456789012345678.1"),
        ] {
            let numeral = Numeral::of_parts(negative, whole.as_bytes(), behind.as_bytes()).unwrap();
            assert_eq!(numeral, Numeral::read(text.as_bytes()).unwrap(), "{text}");
            assert_eq!(Numeral::of(numeral.decimal()), Ok(numeral), "{text}");
        }
        assert_eq!(Numeral::of_parts(false, b"", b"5"), Err(NumberError::Empty));
        assert_eq!(Numeral::of_parts(false, b"1x", b"5"), Err(NumberError::NotADigit { found: 'x' }));
        assert_eq!(Numeral::of_parts(false, b"99999999999999999999", b""), Err(NumberError::TooLarge));
        let zero = Decimal { mantissa: 0, decimals: 3 };
        assert_eq!(Numeral::of(zero).unwrap().digits().as_str(), "0.000");
        let least = Decimal { mantissa: i64::MIN, decimals: 0 };
        assert_eq!(Numeral::of(least).unwrap().digits().as_str(), "-9223372036854775808");
    }

    #[test]
    fn a_trailing_zero_survives_storage() {
        let digits: Digits = "1.2830".parse().unwrap();
        let json = serde_json::to_string(&digits).unwrap();
        assert_eq!(json, "\"1.2830\"");
        assert_eq!(serde_json::from_str::<Digits>(&json).unwrap(), digits);
        assert_eq!(digits.decimals(), 4);
    }
}
