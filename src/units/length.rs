//! Lengths in whole 0.1 nm, their units, and a measured value with the digits it came in.

use std::fmt;
use std::iter::Sum;
use std::ops::{Add, AddAssign, Mul, Neg, Sub, SubAssign};
use std::str::FromStr;

use schemars::JsonSchema;
use serde::{Deserialize, Deserializer, Serialize, Serializer};

use super::{Decimal, Digits, NumberError, Numeral};

/// A length or an elevation: a whole number of 1e-10 m.
///
/// The largest is 922,337 km, far beyond any sum of readings, so sums may use plain addition.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Length(i64);

/// Units of 1e-10 m in one metre.
const PER_METRE: i64 = 10_000_000_000;
/// Units of 1e-10 m in one international foot.
const PER_FOOT: i64 = 3_048_000_000;

impl Length {
    /// No length.
    pub const ZERO: Length = Length(0);

    /// From whole units of 1e-10 m.
    pub const fn from_tenth_nm(units: i64) -> Self {
        Length(units)
    }

    /// Whole units of 1e-10 m.
    pub const fn tenth_nm(self) -> i64 {
        self.0
    }

    /// From whole micrometres; for limits and tests.
    pub const fn from_um(micrometres: i64) -> Self {
        Length(micrometres * 10_000)
    }

    /// From whole millimetres; for limits and tests.
    pub const fn from_mm(millimetres: i64) -> Self {
        Length(millimetres * 10_000_000)
    }

    /// From metres as a float, to the nearest 1e-10 m: for computed corrections and simulated instruments, never for
    /// what was read. `None` beyond the range.
    pub fn from_f64_m(metres: f64) -> Option<Self> {
        let units = (metres * PER_METRE as f64).round_ties_even();
        (units.abs() < 9e18).then_some(Length(units as i64))
    }

    /// Metres as a float, for statistics.
    pub fn to_f64_m(self) -> f64 {
        self.0 as f64 / PER_METRE as f64
    }

    /// Millimetres as a float, for statistics.
    pub fn to_f64_mm(self) -> f64 {
        self.0 as f64 / (PER_METRE / 1000) as f64
    }

    /// Size without sign.
    pub const fn abs(self) -> Self {
        Length(self.0.abs())
    }

    /// This length divided among `parts`, to the nearest 1e-10 m, ties to even.
    ///
    /// # Panics
    /// If `parts` is zero.
    pub fn divide(self, parts: i64) -> Self {
        Length(divide_small(self.0, parts))
    }

    /// This length times `part / whole`, to the nearest 1e-10 m, ties to even.
    ///
    /// # Panics
    /// If `whole` is zero.
    pub fn share(self, part: i64, whole: i64) -> Self {
        Length(divide_ties_even(i128::from(self.0) * i128::from(part), i128::from(whole)) as i64)
    }

    /// The mean of several lengths, to the nearest 1e-10 m, ties to even; `None` of none.
    pub fn mean(lengths: impl IntoIterator<Item = Length>) -> Option<Length> {
        let (mut sum, mut count) = (Length::ZERO, 0);
        for length in lengths {
            sum += length;
            count += 1;
        }
        match count {
            0 => None,
            1 => Some(sum),
            _ => Some(sum.divide(count)),
        }
    }

    /// An exact decimal in `unit` as a length.
    ///
    /// # Errors
    /// A decimal finer than 1e-10 m (except in survey feet, which are taken to the nearest), or too large.
    pub fn from_decimal(decimal: Decimal, unit: Unit) -> Result<Self, LengthError> {
        if let Some(step) = unit.step(decimal.decimals) {
            return decimal.mantissa.checked_mul(step).map(Length).ok_or(LengthError::TooLarge);
        }
        let scale = 10i128.pow(u32::from(decimal.decimals));
        let (numerator, denominator) = unit.in_tenth_nm();
        let numerator = i128::from(decimal.mantissa) * numerator;
        let denominator = denominator * scale;
        if unit != Unit::SurveyFoot && numerator % denominator != 0 {
            return Err(LengthError::TooFine { unit });
        }
        i64::try_from(divide_ties_even(numerator, denominator)).map(Length).map_err(|_| LengthError::TooLarge)
    }

    /// Reads digits in `unit`.
    ///
    /// # Errors
    /// As [`Length::from_decimal`], or when the text is no number.
    pub fn parse(text: &str, unit: Unit) -> Result<Self, LengthError> {
        Length::from_decimal(text.parse().map_err(LengthError::Number)?, unit)
    }

    /// Writes the length in `unit` with so many decimals, ties to even. Minus is `-`; zero has no sign.
    pub fn show(self, unit: Unit, decimals: u8) -> String {
        let mut out = String::with_capacity(SHOWN);
        self.push(&mut out, unit, decimals);
        out
    }

    /// As [`Length::show`] with a sign always, for differences. Zero has none.
    pub fn show_signed(self, unit: Unit, decimals: u8) -> String {
        let mut out = String::with_capacity(SHOWN);
        self.push_signed(&mut out, unit, decimals);
        out
    }

    /// As [`Length::show`], at the end of a text.
    pub fn push(self, out: &mut String, unit: Unit, decimals: u8) {
        push_scaled(out, self.scaled(unit, decimals), decimals);
    }

    /// As [`Length::show_signed`], at the end of a text.
    pub fn push_signed(self, out: &mut String, unit: Unit, decimals: u8) {
        let scaled = self.scaled(unit, decimals);
        if scaled > 0 {
            out.push('+');
        }
        push_scaled(out, scaled, decimals);
    }

    /// This length in units of the last decimal shown, ties to even.
    fn scaled(self, unit: Unit, decimals: u8) -> i128 {
        // Most of what is shown is whole in 1e-10 m, and 64 bits are several times faster to divide.
        if let Some(step) = unit.step(decimals) {
            return i128::from(divide_small(self.0, step));
        }
        let (numerator, denominator) = unit.in_tenth_nm();
        let scaled = i128::from(self.0) * denominator * 10i128.pow(u32::from(decimals));
        divide_ties_even(scaled, numerator)
    }
}

/// Room for most lengths as text.
const SHOWN: usize = 16;

/// Writes a whole number at the end of a text.
pub fn push_whole(out: &mut String, whole: u64) {
    push_scaled(out, i128::from(whole), 0);
}

/// Writes `whole / 10^decimals`.
fn push_scaled(out: &mut String, whole: i128, decimals: u8) {
    let mut text = [0; TEXT_MAX];
    let (size, decimals) = (whole.unsigned_abs(), usize::from(decimals));
    let first = match u64::try_from(size) {
        Ok(size) => put_digits(&mut text, TEXT_MAX, size, decimals + 1),
        // Survey feet far beyond any site.
        Err(_) => {
            let (high, low) = ((size / LOW) as u64, (size % LOW) as u64);
            let middle = put_digits(&mut text, TEXT_MAX, low, LOW_DIGITS);
            put_digits(&mut text, middle, high, (decimals + 1).saturating_sub(LOW_DIGITS))
        }
    };
    let (before, behind) = text[first..].split_at(TEXT_MAX - first - decimals);
    if whole < 0 {
        out.push('-');
    }
    out.extend(before.iter().copied().map(char::from));
    if decimals > 0 {
        out.push('.');
        out.extend(behind.iter().copied().map(char::from));
    }
}

/// Room for the digits of any 128 bits.
const TEXT_MAX: usize = 40;
/// What 64 bits hold of a longer number, in one go.
const LOW: u128 = 10u128.pow(LOW_DIGITS as u32);
const LOW_DIGITS: usize = 18;

/// Writes a number that ends before `end`, with at least so many digits; gives the place of its first.
fn put_digits(text: &mut [u8; TEXT_MAX], end: usize, mut number: u64, least: usize) -> usize {
    let mut first = end;
    while number > 0 || end - first < least {
        first -= 1;
        text[first] = b'0' + (number % 10) as u8;
        number /= 10;
    }
    first
}

/// As [`divide_ties_even`], in 64 bits.
fn divide_small(numerator: i64, denominator: i64) -> i64 {
    let (quotient, remainder) = (numerator.div_euclid(denominator), numerator.rem_euclid(denominator));
    // The remainder is below the denominator, so this comparison with half of it cannot overflow.
    match remainder.cmp(&(denominator.abs() - remainder)) {
        std::cmp::Ordering::Less => quotient,
        std::cmp::Ordering::Greater => quotient + denominator.signum(),
        std::cmp::Ordering::Equal => quotient + (quotient & 1) * denominator.signum(),
    }
}

/// `numerator / denominator` to the nearest whole number, ties to the even one.
fn divide_ties_even(numerator: i128, denominator: i128) -> i128 {
    let (quotient, remainder) = (numerator.div_euclid(denominator), numerator.rem_euclid(denominator));
    match (remainder * 2).cmp(&denominator.abs()) {
        std::cmp::Ordering::Less => quotient,
        std::cmp::Ordering::Greater => quotient + 1,
        std::cmp::Ordering::Equal => quotient + (quotient & 1),
    }
}

impl Add for Length {
    type Output = Length;
    fn add(self, other: Length) -> Length {
        Length(self.0 + other.0)
    }
}
impl Sub for Length {
    type Output = Length;
    fn sub(self, other: Length) -> Length {
        Length(self.0 - other.0)
    }
}
impl Neg for Length {
    type Output = Length;
    fn neg(self) -> Length {
        Length(-self.0)
    }
}
impl Mul<i64> for Length {
    type Output = Length;
    fn mul(self, times: i64) -> Length {
        Length(self.0 * times)
    }
}
impl AddAssign for Length {
    fn add_assign(&mut self, other: Length) {
        self.0 += other.0;
    }
}
impl SubAssign for Length {
    fn sub_assign(&mut self, other: Length) {
        self.0 -= other.0;
    }
}
impl Sum for Length {
    fn sum<I: Iterator<Item = Length>>(lengths: I) -> Length {
        lengths.fold(Length::ZERO, Add::add)
    }
}

/// As decimal metres, so that a stored length can be read without this program.
impl Serialize for Length {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        let text = self.show(Unit::Metre, 10);
        serializer.serialize_str(text.trim_end_matches('0').trim_end_matches('.'))
    }
}

impl<'de> Deserialize<'de> for Length {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        let text = std::borrow::Cow::<'de, str>::deserialize(deserializer)?;
        Length::parse(&text, Unit::Metre).map_err(serde::de::Error::custom)
    }
}

/// A unit in which lengths are read, set and shown.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize, JsonSchema)]
pub enum Unit {
    /// Metre.
    #[serde(rename = "m")]
    Metre,
    /// Millimetre.
    #[serde(rename = "mm")]
    Millimetre,
    /// International foot, 0.3048 m.
    #[serde(rename = "ft")]
    Foot,
    /// US survey foot, 1200/3937 m.
    #[serde(rename = "sft")]
    SurveyFoot,
}

impl Unit {
    /// All of them, for listings and near misses.
    pub const ALL: [Unit; 4] = [Unit::Metre, Unit::Millimetre, Unit::Foot, Unit::SurveyFoot];

    /// Short name, as typed and printed.
    pub fn symbol(self) -> &'static str {
        match self {
            Unit::Metre => "m",
            Unit::Millimetre => "mm",
            Unit::Foot => "ft",
            Unit::SurveyFoot => "sft",
        }
    }

    /// Whether this is a foot of either kind.
    pub fn is_foot(self) -> bool {
        matches!(self, Unit::Foot | Unit::SurveyFoot)
    }

    /// One in the last of so many decimals of this unit in 1e-10 m, where that is whole: nearly every reading, so
    /// that none of them needs a division of 128 bits.
    fn step(self, decimals: u8) -> Option<i64> {
        let one = match self {
            Unit::Metre => PER_METRE,
            Unit::Millimetre => PER_METRE / 1000,
            Unit::Foot => PER_FOOT,
            Unit::SurveyFoot => return None,
        };
        let scale = 10i64.checked_pow(u32::from(decimals))?;
        (one % scale == 0).then(|| one / scale)
    }

    /// One of this unit in 1e-10 m, as a fraction.
    fn in_tenth_nm(self) -> (i128, i128) {
        match self {
            Unit::Metre => (i128::from(PER_METRE), 1),
            Unit::Millimetre => (i128::from(PER_METRE / 1000), 1),
            Unit::Foot => (i128::from(PER_FOOT), 1),
            Unit::SurveyFoot => (i128::from(PER_METRE) * 1200, 3937),
        }
    }
}

impl fmt::Display for Unit {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.symbol())
    }
}

impl FromStr for Unit {
    type Err = LengthError;
    fn from_str(text: &str) -> Result<Self, LengthError> {
        match text {
            "m" | "metre" | "metres" | "meter" | "meters" => Ok(Unit::Metre),
            "mm" | "millimetre" | "millimetres" | "millimeter" | "millimeters" => Ok(Unit::Millimetre),
            "ft" | "foot" | "feet" => Ok(Unit::Foot),
            "sft" | "survey-foot" | "survey-feet" => Ok(Unit::SurveyFoot),
            _ => Err(LengthError::UnknownUnit { found: text.to_owned() }),
        }
    }
}

/// A value as it was read: its digits, its unit, and the exact length they mean.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Measured {
    digits: Digits,
    unit: Unit,
    value: Length,
}

impl Measured {
    /// From digits and their unit.
    ///
    /// # Errors
    /// As [`Length::parse`].
    pub fn parse(text: &str, unit: Unit) -> Result<Self, LengthError> {
        Measured::of(&Numeral::read(text.as_bytes()).map_err(LengthError::Number)?, unit)
    }

    /// As a person says it: digits with their unit behind them, `171.75ft`, or without one, in `unit`.
    ///
    /// # Errors
    /// As [`Length::parse`], or a unit that is none.
    pub fn said(text: &str, unit: Unit) -> Result<Self, LengthError> {
        let text = text.trim();
        match text.find(char::is_alphabetic) {
            Some(at) => Measured::parse(text[..at].trim_end(), text[at..].parse()?),
            None => Measured::parse(text, unit),
        }
    }

    /// From a number that was read before, and its unit.
    ///
    /// # Errors
    /// As [`Length::from_decimal`].
    pub fn of(numeral: &Numeral, unit: Unit) -> Result<Self, LengthError> {
        Ok(Measured { digits: *numeral.digits(), unit, value: Length::from_decimal(numeral.decimal(), unit)? })
    }

    /// A length written in `unit` with so many decimals; what is shown is what is kept.
    ///
    /// # Errors
    /// As [`Length::parse`].
    pub fn from_length(length: Length, unit: Unit, decimals: u8) -> Result<Self, LengthError> {
        Measured::parse(&length.show(unit, decimals), unit)
    }

    /// The digits as sent.
    pub fn digits(&self) -> &Digits {
        &self.digits
    }

    /// The unit they are in.
    pub fn unit(&self) -> Unit {
        self.unit
    }

    /// The exact length.
    pub fn value(&self) -> Length {
        self.value
    }
}

#[derive(Serialize, Deserialize)]
struct StoredMeasured {
    digits: Digits,
    unit: Unit,
}

impl Serialize for Measured {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        StoredMeasured { digits: self.digits, unit: self.unit }.serialize(serializer)
    }
}

impl<'de> Deserialize<'de> for Measured {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        let stored = StoredMeasured::deserialize(deserializer)?;
        Measured::parse(stored.digits.as_str(), stored.unit).map_err(serde::de::Error::custom)
    }
}

/// Why a text is not a length.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum LengthError {
    /// It is no number.
    Number(NumberError),
    /// It has digits below 0.1 nm, which cannot be kept exactly.
    TooFine {
        /// The unit it was read in.
        unit: Unit,
    },
    /// It is beyond 922,337 km.
    TooLarge,
    /// It is not a length in feet, inches and sixteenths.
    NotFeetInches {
        /// What was found.
        found: String,
    },
    /// The unit is not one of ours.
    UnknownUnit {
        /// What was found.
        found: String,
    },
}

impl fmt::Display for LengthError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            LengthError::Number(error) => error.fmt(f),
            LengthError::TooFine { unit } => {
                let most = if unit.is_foot() { 6 } else { 10 };
                write!(f, "more decimals of {unit} than can be kept exactly, at most {most} were wanted")
            }
            LengthError::TooLarge => write!(f, "the length is larger than any that can be booked"),
            LengthError::NotFeetInches { found } => {
                write!(f, "{found:?} is no length in feet, inches and sixteenths, one such as 5'-0 3/8\" was wanted")
            }
            LengthError::UnknownUnit { found } => {
                write!(f, "unknown unit {found:?}, one of m, mm, ft, sft was wanted")
            }
        }
    }
}

impl std::error::Error for LengthError {}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn metres_and_feet_are_whole() {
        assert_eq!(Length::parse("1.2834", Unit::Metre).unwrap().tenth_nm(), 12_834_000_000);
        assert_eq!(Length::parse("1.000001", Unit::Foot).unwrap().tenth_nm(), 3_048_003_048);
        assert_eq!(Length::parse("1.0000001", Unit::Foot), Err(LengthError::TooFine { unit: Unit::Foot }));
        assert_eq!(Length::parse("1283.4", Unit::Millimetre), Length::parse("1.2834", Unit::Metre));
    }

    #[test]
    fn a_million_tenths_are_a_hundred_thousand_metres() {
        let tenth = Length::parse("0.1", Unit::Metre).unwrap();
        let sum: Length = std::iter::repeat_n(tenth, 1_000_000).sum();
        assert_eq!(sum.show(Unit::Metre, 10), "100000.0000000000");
    }

    #[test]
    fn survey_feet_keep_the_ratio() {
        // 1200/3937 m, so 3937 survey feet are 1200 m exactly.
        assert_eq!(Length::parse("3937", Unit::SurveyFoot), Length::parse("1200", Unit::Metre));
        let elevation = Measured::parse("5000.00", Unit::SurveyFoot).unwrap();
        assert_eq!(elevation.value().show(Unit::SurveyFoot, 4), "5000.0000");
        // 2 parts in a million: 0.010 ft in 5,000 ft (85 FR 62698 as quoted in the NGS notice).
        assert_eq!(elevation.value().show(Unit::Foot, 2), "5000.01");
    }

    #[test]
    fn ties_go_to_the_even_digit() {
        for (text, shown) in
            [("0.00005", "0.0000"), ("0.00015", "0.0002"), ("-0.00015", "-0.0002"), ("-0.00005", "0.0000")]
        {
            assert_eq!(Length::parse(text, Unit::Metre).unwrap().show(Unit::Metre, 4), shown, "{text}");
        }
    }

    #[test]
    fn a_sign_is_shown_unless_nothing_is_left_of_it() {
        let mm = |um| Length::from_um(um).show_signed(Unit::Millimetre, 1);
        assert_eq!(
            (mm(800).as_str(), mm(-800).as_str(), mm(20).as_str(), mm(-20).as_str()),
            ("+0.8", "-0.8", "0.0", "0.0")
        );
    }

    #[test]
    fn stored_as_decimal_metres() {
        let length = Length::parse("-12.5", Unit::Metre).unwrap();
        assert_eq!(serde_json::to_string(&length).unwrap(), "\"-12.5\"");
        assert_eq!(serde_json::from_str::<Length>("\"-12.5\"").unwrap(), length);
        assert_eq!(serde_json::to_string(&Length::from_mm(100_000)).unwrap(), "\"100\"");
    }

    #[test]
    fn division_takes_ties_to_the_even_number_whatever_the_signs() {
        for (numerator, denominator, quotient) in
            [(5, 2, 2), (7, 2, 4), (-5, 2, -2), (-7, 2, -4), (7, -2, -4), (5, -2, -2), (8, 3, 3)]
        {
            assert_eq!(divide_small(numerator, denominator), quotient, "{numerator} / {denominator}");
            if denominator > 0 {
                let wide = divide_ties_even(i128::from(numerator), i128::from(denominator));
                assert_eq!(wide, i128::from(quotient), "{numerator} / {denominator}");
            }
        }
        assert_eq!(divide_small(i64::MAX, 2), (i64::MAX / 2) + 1);
    }

    #[test]
    fn unknown_units_are_named() {
        assert_eq!(
            "yd".parse::<Unit>().unwrap_err().to_string(),
            "unknown unit \"yd\", one of m, mm, ft, sft was wanted"
        );
    }
}
