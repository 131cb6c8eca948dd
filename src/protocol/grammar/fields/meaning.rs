//! What a field means to the book: its unit, its range, and whether it is written so that it can mean it.

use crate::protocol::format::file::{FieldFile, Means};
use crate::protocol::format::written::{At, Pairs};
use crate::protocol::grammar::build::{Faults, span};
use crate::protocol::grammar::{Choice, Code, Decimals, Field, FieldUnit, Number, Point};
use crate::units::Unit;

pub(super) fn unit(file: &FieldFile, faults: &mut Faults) -> FieldUnit {
    if let (Some(_), Some(at)) = (&file.unit, span(&file.unit_from)) {
        faults.add(at, "`unit` and `unit_from` found, one of them was wanted");
    }
    let means = file.means.as_ref().map(|means| means.value);
    let Some(unit) = &file.unit else {
        return FieldUnit::None;
    };
    match means {
        Some(Means::Temperature) => match unit.as_str() {
            "C" => FieldUnit::None,
            "F" => FieldUnit::Other { factor: 5.0 / 9.0, offset: -160.0 / 9.0 },
            found => {
                faults.unknown(&unit.span, "unit of temperature", found, &["C", "F"]);
                FieldUnit::None
            }
        },
        Some(Means::Tilt) => match unit.as_str() {
            "arcmin" => FieldUnit::None,
            "arcsec" => FieldUnit::Other { factor: 1.0 / 60.0, offset: 0.0 },
            "deg" => FieldUnit::Other { factor: 60.0, offset: 0.0 },
            found => {
                faults.unknown(&unit.span, "unit of tilt", found, &["arcmin", "arcsec", "deg"]);
                FieldUnit::None
            }
        },
        Some(Means::Staff | Means::Sight | Means::Spread) | None => {
            match Unit::ALL.into_iter().find(|known| known.symbol() == unit.value) {
                Some(unit) => FieldUnit::Length(unit),
                None => {
                    unknown_length(unit, faults);
                    FieldUnit::None
                }
            }
        }
        Some(means) => {
            faults.add(&unit.span, format!("a unit found for what means {}, which has none", means.word()));
            FieldUnit::None
        }
    }
}

/// A unit that differs by a letter is another unit, so none is proposed by its letters.
fn unknown_length(unit: &At<String>, faults: &mut Faults) {
    let message =
        format!("unknown unit {:?} found, one of {} was wanted", unit.value, Unit::ALL.map(Unit::symbol).join(", "));
    let lower = unit.to_lowercase();
    let advice = match &*lower {
        "millimetre" | "millimetres" | "millimeter" | "millimeters" => "millimetres are \"mm\"",
        "cm" | "dm" => "whole centimetres are `unit = \"m\"` with `implied = 2`, decimetres with `implied = 1`",
        _ if lower == "m" || lower.starts_with("met") => "metres are \"m\"",
        _ if ["f", "us", "sf", "sv", "su"].iter().any(|begin| lower.starts_with(begin)) => {
            "international feet are \"ft\", US survey feet \"sft\": the manual says which, the number does not"
        }
        _ => return faults.add(&unit.span, message),
    };
    faults.advise(&unit.span, message, advice);
}

pub(super) fn range(file: &FieldFile, faults: &mut Faults) -> Option<[crate::units::Decimal; 2]> {
    let range = file.range.as_ref()?;
    match (range.value[0].number(), range.value[1].number()) {
        (Some(least), Some(most)) if !crate::protocol::record::below(most, least) => Some([least, most]),
        _ => {
            faults.add(&range.span, "a range found that is no least and greatest number");
            None
        }
    }
}

/// Whether a field is written so that it can mean what it is said to.
pub(super) fn fits(means: &At<Means>, field: &Field, values: Option<&At<Pairs<String>>>, faults: &mut Faults) {
    let word = means.word();
    let (numeric, whole) = match &field.code {
        Code::Number(Number { point: Point::Sent { .. }, .. }) | Code::Float { .. } => (true, false),
        Code::Number(Number { point: Point::Implied(scale), .. })
        | Code::Hex { scale, .. }
        | Code::Bcd { scale, .. }
        | Code::Integer { scale, .. } => (true, scale.decimals == Decimals::All(0)),
        Code::Bits => (true, true),
        Code::Text(_) | Code::Choice(_) | Code::Time(_) => (false, false),
    };
    let wanted: &[&str] = match means.value {
        Means::Staff | Means::Sight | Means::Spread | Means::Temperature | Means::Battery | Means::Tilt => {
            if !numeric {
                faults.add(&means.span, format!("what means {word} is no number, and a number was wanted"));
            }
            return;
        }
        Means::Count | Means::Sequence => {
            if !whole {
                faults.add(&means.span, format!("what means {word} is no whole number, and a whole number was wanted"));
            }
            return;
        }
        Means::Point | Means::Time | Means::Code => return,
        Means::Role => &["back", "fore", "intermediate"],
        Means::Inverted => &["upright", "inverted"],
        Means::Unit => &["m", "mm", "ft", "sft"],
    };
    let Some(values) = values else {
        faults.add(&means.span, format!("what means {word} is no choice, and a choice with `values` was wanted"));
        return;
    };
    for (_, meaning) in &values.0 {
        if !wanted.contains(&&*meaning.value) {
            faults.unknown(&meaning.span, word, meaning, wanted);
        }
    }
    if let Code::Choice(Choice { open: true, .. }) = &field.code {
        faults.add(&means.span, format!("an open choice found, what means {word} must be one of its values"));
    }
}
