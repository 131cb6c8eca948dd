//! Feet, inches and sixteenths, as drawings and carpenters write them: `5'-0 3/8"`.

use super::{Length, LengthError};

/// One sixteenth of an inch: 25.4 mm / 16 = 1.5875 mm, exact in 1e-10 m.
const SIXTEENTH: i64 = 15_875_000;
const SIXTEENTHS_PER_FOOT: i64 = 12 * 16;

/// Writes a length to the nearest sixteenth of an inch, ties to even, the fraction in lowest terms.
pub fn show_feet_inches(length: Length) -> String {
    let total = length.divide(SIXTEENTH).tenth_nm();
    let (sign, total) = if total < 0 { ("-", -total) } else { ("", total) };
    let (feet, rest) = (total / SIXTEENTHS_PER_FOOT, total % SIXTEENTHS_PER_FOOT);
    let (inches, mut top) = (rest / 16, rest % 16);
    let mut bottom = 16;
    while top != 0 && top % 2 == 0 {
        (top, bottom) = (top / 2, bottom / 2);
    }
    if top == 0 { format!("{sign}{feet}'-{inches}\"") } else { format!("{sign}{feet}'-{inches} {top}/{bottom}\"") }
}

/// Reads `5'`, `5'-0"`, `5'-0 3/8"`, `0 3/8"`, `-2'-6"`; halves, quarters, eighths and sixteenths.
///
/// # Errors
/// [`LengthError::NotFeetInches`] with what was found.
pub fn parse_feet_inches(text: &str) -> Result<Length, LengthError> {
    parse(text.trim()).ok_or_else(|| LengthError::NotFeetInches { found: text.to_owned() })
}

fn parse(text: &str) -> Option<Length> {
    let (sign, body) = match text.strip_prefix('-') {
        Some(body) => (-1, body),
        None => (1, text),
    };
    let (feet, inches) = match body.split_once('\'') {
        Some((feet, rest)) => (whole(feet, 1_000_000)?, rest.strip_prefix('-').unwrap_or(rest)),
        None => (0, body),
    };
    let sixteenths = if inches.is_empty() { 0 } else { parse_inches(inches.strip_suffix('"')?)? };
    (body.contains('\'') || !inches.is_empty())
        .then(|| Length::from_tenth_nm(sign * (feet * SIXTEENTHS_PER_FOOT + sixteenths) * SIXTEENTH))
}

fn parse_inches(text: &str) -> Option<i64> {
    let (inches, fraction) = match text.split_once(' ') {
        Some((inches, fraction)) => (inches, Some(fraction)),
        None if text.contains('/') => ("0", Some(text)),
        None => (text, None),
    };
    let fraction = match fraction.map(|f| f.split_once('/')) {
        None => 0,
        Some(None) => return None,
        Some(Some((top, bottom))) => {
            let bottom = whole(bottom, 16).filter(|b| matches!(b, 2 | 4 | 8 | 16))?;
            whole(top, bottom - 1)? * (16 / bottom)
        }
    };
    Some(whole(inches, 11)? * 16 + fraction)
}

fn whole(text: &str, most: i64) -> Option<i64> {
    let digits = !text.is_empty() && text.bytes().all(|b| b.is_ascii_digit());
    digits.then(|| text.parse().ok()).flatten().filter(|&n| n <= most)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::Unit;

    #[test]
    fn written_and_read_back() {
        for text in ["5'-0\"", "5'-0 3/8\"", "0'-0 1/16\"", "-2'-6 1/2\"", "12'-11 15/16\""] {
            assert_eq!(show_feet_inches(parse_feet_inches(text).unwrap()), text);
        }
        assert_eq!(parse_feet_inches("5'"), Ok(Length::parse("5", Unit::Foot).unwrap()));
        assert_eq!(parse_feet_inches("3/8\""), parse_feet_inches("0'-0 6/16\""));
    }

    #[test]
    fn refuses_what_is_not_feet_and_inches() {
        for text in ["", "-", "5", "5'-12\"", "5'-0 3/7\"", "5'-0 9/8\"", "5'-0 3/8", "a'", "5'-\"", "5'-0 3/0\""] {
            assert!(parse_feet_inches(text).is_err(), "{text:?}");
        }
    }
}
