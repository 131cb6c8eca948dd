//! Digits as a hurried hand exchanges them.

use crate::units::Measured;

/// What a value could be if two neighbouring digits of it were exchanged, across the decimal point too.
pub(super) fn neighbours_exchanged(value: &Measured) -> Vec<Measured> {
    let text = value.digits().to_string();
    let places: Vec<usize> =
        text.bytes().enumerate().filter(|(_, byte)| byte.is_ascii_digit()).map(|(at, _)| at).collect();
    let exchanged = |pair: &[usize]| {
        let mut bytes = text.clone().into_bytes();
        bytes.swap(pair[0], pair[1]);
        let differs = bytes != text.as_bytes();
        let text = String::from_utf8(bytes).ok().filter(|_| differs)?;
        Measured::parse(&text, value.unit()).ok()
    };
    places.windows(2).filter_map(exchanged).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::Unit;

    #[test]
    fn neighbours_are_exchanged_and_equal_ones_are_not() {
        let found = |text: &str| {
            let value = Measured::parse(text, Unit::Metre).unwrap();
            neighbours_exchanged(&value).iter().map(|value| value.digits().to_string()).collect::<Vec<_>>()
        };
        assert_eq!(found("52.348"), ["25.348", "53.248", "52.438", "52.384"]);
        assert_eq!(found("-1.1"), [""; 0]);
    }
}
