//! What flags say of marks: known elevations, those that are not held, and two names of one mark.

use crate::adjust::given::{Given, Hold, KnownMark};
use crate::book::reading::PointName;
use crate::cli::Failure;
use crate::cli::arguments::Adjust;
use crate::nearest::nearest;
use crate::units::{Length, Unit};

/// Puts into a network what the flags say of its marks.
pub(super) fn apply(given: &mut Given, arguments: &Adjust, unit: Unit) -> Result<(), Failure> {
    for text in &arguments.known {
        let known = known(text, unit)?;
        given.known.retain(|held| held.mark != known.mark);
        given.known.push(known);
    }
    for text in &arguments.release {
        let mark = name("--release", text)?;
        let before = given.known.len();
        given.known.retain(|held| held.mark != mark);
        if given.known.len() == before {
            let meant = nearest(text, given.known.iter().map(|known| known.mark.as_str()));
            let meant = meant.map(|meant| format!(", {meant} was probably meant")).unwrap_or_default();
            return Err(Failure::input(format!("--release: {mark} is no known mark{meant}")));
        }
    }
    for text in &arguments.same {
        let wanted = || Failure::input(format!("--same: {text:?} found, two names as MARK=MARK were wanted"));
        let (one, other) = text.split_once('=').ok_or_else(wanted)?;
        given.same.push([name("--same", one)?, name("--same", other)?]);
    }
    Ok(())
}

/// `MARK=ELEVATION`, perhaps with `+-SD` behind it.
fn known(text: &str, unit: Unit) -> Result<KnownMark, Failure> {
    let wanted = || Failure::input(format!("--known: {text:?} found, MARK=ELEVATION or MARK=ELEVATION+-SD was wanted"));
    let (mark, rest) = text.rsplit_once('=').ok_or_else(wanted)?;
    let (elevation, deviation) = match rest.split_once("+-").or_else(|| rest.split_once('\u{b1}')) {
        Some((elevation, deviation)) => (elevation, Some(deviation)),
        None => (rest, None),
    };
    let length = |text: &str| {
        Length::parse(text.trim(), unit).map_err(|error| Failure::input(format!("--known: {mark}: {error}")))
    };
    let hold = deviation.map(length).transpose()?.map_or(Hold::Fixed, Hold::Weighted);
    Ok(KnownMark { mark: name("--known", mark)?, elevation: length(elevation)?, hold })
}

fn name(flag: &str, text: &str) -> Result<PointName, Failure> {
    PointName::new(text).map_err(|error| Failure::input(format!("{flag}: {error}")))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_known_mark_is_fixed_or_has_a_deviation() {
        let read = |text: &str| known(text, Unit::Metre).map(|known| (known.mark.to_string(), known.hold));
        let half = Hold::Weighted(Length::from_um(500));
        assert_eq!(read("BM-2=52.348"), Ok(("BM-2".to_owned(), Hold::Fixed)));
        assert_eq!(read("BM-2=52.348+-0.0005"), Ok(("BM-2".to_owned(), half)));
        assert_eq!(read("A=B=52.348 \u{b1} 0.0005"), Ok(("A=B".to_owned(), half)));
        let refusal = |text: &str| read(text).unwrap_err().to_string();
        assert_eq!(refusal("BM-2"), "--known: \"BM-2\" found, MARK=ELEVATION or MARK=ELEVATION+-SD was wanted");
        assert!(refusal("BM-2=x").starts_with("--known: BM-2: "));
    }
}
