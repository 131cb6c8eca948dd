//! Lengths and elevations as a person writes them in settings: `4 m`, `0.3mm`, `BM-1=52.3480`, `BM-1=171.750ft`.

use crate::book::reading::PointName;
use crate::units::{Length, Measured, Unit};

/// A length with its unit. None is assumed, because 4 m and 4 ft are both staffs.
pub(super) fn length(text: &str) -> Result<Length, String> {
    let (digits, unit) = split(text);
    let Some(unit) = unit else {
        return Err(format!("{text:?} found without a unit, a length such as \"{text} m\" was wanted"));
    };
    let read = |unit: Unit| Length::parse(digits, unit);
    unit.parse().and_then(read).map_err(|error| error.to_string())
}

/// A length with its unit that is more than nothing.
pub(super) fn positive_length(text: &str) -> Result<Length, String> {
    match length(text)? {
        length if length > Length::ZERO => Ok(length),
        _ => Err(format!("{text:?} found, a length above nought was wanted")),
    }
}

/// A point and its elevation: in `job`'s unit unless the elevation names its own.
pub(super) fn point_with_elevation(text: &str, job: Unit) -> Result<(PointName, Measured), String> {
    let Some((name, elevation)) = text.rsplit_once('=') else {
        return Err(format!("{text:?} gives no elevation, a point such as BM-1=52.3480 was wanted"));
    };
    let name = point(name)?;
    Measured::said(elevation, job)
        .map(|measured| (name.clone(), measured))
        .map_err(|error| format!("elevation of {name}: {error}"))
}

/// The name of a point.
pub(super) fn point(text: &str) -> Result<PointName, String> {
    PointName::new(text).map_err(|error| error.to_string())
}

/// The digits, and the unit behind them if there is one.
fn split(text: &str) -> (&str, Option<&str>) {
    let text = text.trim();
    match text.find(|c: char| c.is_alphabetic()) {
        Some(at) => (text[..at].trim_end(), Some(&text[at..])),
        None => (text, None),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_length_is_read_in_the_unit_that_it_names() {
        assert_eq!(length("4 m"), Ok(Length::from_mm(4000)));
        assert_eq!(length("0.3mm"), Ok(Length::from_um(300)));
        assert_eq!(length(" 13 ft "), Ok(Length::parse("13", Unit::Foot).unwrap()));
        assert_eq!(length("-20 mm"), Ok(Length::from_mm(-20)));
    }

    #[test]
    fn a_length_that_is_none_is_told_what_was_wanted() {
        for (text, said) in [
            ("4", "\"4\" found without a unit, a length such as \"4 m\" was wanted"),
            ("4 yd", "unknown unit \"yd\", one of m, mm, ft, sft was wanted"),
            ("m", "no digits found, a number such as 1.2834 was wanted"),
            ("1,5 m", "',' found inside a number, a digit or one decimal point was wanted"),
            ("1e3 m", "unknown unit \"e3 m\", one of m, mm, ft, sft was wanted"),
            ("0.12345678901 m", "more decimals of m than can be kept exactly, at most 10 were wanted"),
        ] {
            assert_eq!(length(text).unwrap_err(), said, "{text}");
        }
        assert_eq!(positive_length("0 m").unwrap_err(), "\"0 m\" found, a length above nought was wanted");
        assert_eq!(positive_length("-1 m").unwrap_err(), "\"-1 m\" found, a length above nought was wanted");
    }

    #[test]
    fn an_elevation_keeps_its_digits_and_is_in_the_job_s_unit_unless_it_says_otherwise() {
        let (name, elevation) = point_with_elevation("BM-1=52.3480", Unit::Metre).unwrap();
        assert_eq!((name.as_str(), elevation.digits().as_str(), elevation.unit()), ("BM-1", "52.3480", Unit::Metre));
        let (_, elevation) = point_with_elevation("BM-1 = 171.750 ft", Unit::Metre).unwrap();
        assert_eq!((elevation.digits().as_str(), elevation.unit()), ("171.750", Unit::Foot));
        let (_, elevation) = point_with_elevation("BM-1=171.750sft", Unit::Foot).unwrap();
        assert_eq!(elevation.unit(), Unit::SurveyFoot);
        let (_, elevation) = point_with_elevation("pit=-3.250", Unit::Foot).unwrap();
        assert_eq!(elevation.value(), Length::parse("-3.25", Unit::Foot).unwrap());
        let (name, _) = point_with_elevation("a=b=1", Unit::Metre).unwrap();
        assert_eq!(name.as_str(), "a=b");
    }

    #[test]
    fn a_point_without_a_name_or_an_elevation_is_told_what_was_wanted() {
        for (text, said) in [
            ("BM-1", "\"BM-1\" gives no elevation, a point such as BM-1=52.3480 was wanted"),
            ("BM-1=", "elevation of BM-1: no digits found, a number such as 1.2834 was wanted"),
            ("BM-1=52,348", "elevation of BM-1: ',' found inside a number, a digit or one decimal point was wanted"),
            ("BM-1=52.3 yd", "elevation of BM-1: unknown unit \"yd\", one of m, mm, ft, sft was wanted"),
            ("=52.3", "an empty point name found, a name such as BM-1 was wanted"),
        ] {
            assert_eq!(point_with_elevation(text, Unit::Metre).unwrap_err(), said, "{text}");
        }
    }
}
