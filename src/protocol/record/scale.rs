//! From the whole number sent to the value it stands for, and back; and what can be said only when all fields are read.

use super::number::parts;
use super::{Slots, Stop, Value, counted};
use crate::protocol::grammar::{Code, Decimals, Field, FieldUnit, Point, Rule, Scale};
use crate::units::{Decimal, Numeral, Unit};

/// `sent * times / 10^decimals`.
pub(super) fn scaled(sent: i64, times: u32, decimals: u8) -> Result<Numeral, String> {
    let mantissa = sent.checked_mul(i64::from(times)).ok_or("the number is larger than any that can be booked")?;
    Numeral::of(Decimal { mantissa, decimals }).map_err(|error| error.to_string())
}

/// The whole number to send for a value.
pub(super) fn unscaled(text: &str, scale: Scale) -> Result<i64, String> {
    let value: Decimal = text.parse().map_err(|error: crate::units::NumberError| format!("{text:?}: {error}"))?;
    if parts(text).negative && value.mantissa == 0 {
        return Err(format!("{text:?} found, a zero without sign was wanted"));
    }
    if let Decimals::All(wanted) = scale.decimals
        && wanted != value.decimals
    {
        return Err(format!("{text:?} with {} decimals found, {wanted} were wanted", value.decimals));
    }
    let times = i64::from(scale.times);
    if value.mantissa % times != 0 {
        return Err(format!("{text:?} found, a multiple of {times} in its last digit was wanted"));
    }
    Ok(value.mantissa / times)
}

/// The unit of a field, once all fields are read.
pub(in crate::protocol) fn unit(rule: &Rule, field: &Field, slots: &Slots) -> Option<Unit> {
    match field.unit {
        FieldUnit::Length(unit) => Some(unit),
        FieldUnit::From(slot) => match (slots.value(slot), &rule.fields[slot].code) {
            (Value::Item(item), Code::Choice(choice)) => choice.items[usize::from(*item)].meaning.parse().ok(),
            _ => None,
        },
        FieldUnit::None | FieldUnit::Other { .. } => None,
    }
}

/// Applies what depends on another field, and holds each number against its range.
pub(super) fn settle(rule: &Rule, slots: &mut Slots) -> Result<(), Stop> {
    for &slot in &rule.settled {
        let slot = usize::from(slot);
        let field = &rule.fields[slot];
        if !matches!(slots.values[slot], Value::Number(_)) {
            continue;
        }
        let stop = |slots: &Slots, reason: String| {
            Stop::new(slots.places[slot].start, format!("{} of a {}: {reason}", field.name, rule.name))
        };
        if let Some(late) = late(field) {
            let unit = unit(rule, field, slots);
            let Value::Number(sent) = slots.values[slot] else { continue };
            let settled = settled(sent, late, unit).map_err(|reason| stop(slots, reason))?;
            slots.values[slot] = Value::Number(settled);
        }
        if let (Some([least, most]), Value::Number(numeral)) = (field.range, slots.values[slot]) {
            let value = numeral.decimal();
            if below(value, least) || below(most, value) {
                let (least, most) = (shown(least), shown(most));
                return Err(stop(slots, format!("{} found, {least} to {most} was wanted", numeral.digits())));
            }
        }
    }
    Ok(())
}

/// Whether a field needs settling.
pub(in crate::protocol) fn is_settled_late(field: &Field) -> bool {
    field.range.is_some() || late(field).is_some()
}

/// How a number is settled when all fields are read.
#[derive(Clone, Copy)]
enum Late {
    /// The point was sent: its place must be that of the unit.
    Check([Option<u8>; Unit::ALL.len()]),
    /// The point is put where the unit, or the scale, says.
    Scale(Scale),
}

fn late(field: &Field) -> Option<Late> {
    match &field.code {
        Code::Number(number) => match &number.point {
            Point::Sent { decimals: Decimals::Each(each), .. } => Some(Late::Check(*each)),
            Point::Sent { .. } => None,
            Point::Implied(scale) => put_later(*scale),
        },
        Code::Bcd { scale, .. } => put_later(*scale),
        Code::Integer { scale: scale @ Scale { decimals: Decimals::Each(_), .. }, .. }
        | Code::Hex { scale: scale @ Scale { decimals: Decimals::Each(_), .. }, .. } => Some(Late::Scale(*scale)),
        _ => None,
    }
}

fn put_later(scale: Scale) -> Option<Late> {
    match scale {
        Scale { decimals: Decimals::All(_), times: 1 } => None,
        scale => Some(Late::Scale(scale)),
    }
}

fn settled(sent: Numeral, late: Late, unit: Option<Unit>) -> Result<Numeral, String> {
    let each = match late {
        Late::Check(each) => each,
        Late::Scale(Scale { decimals: Decimals::Each(each), .. }) => each,
        Late::Scale(Scale { decimals: Decimals::All(places), .. }) => [Some(places); Unit::ALL.len()],
        Late::Scale(Scale { decimals: Decimals::Any, .. }) => [Some(0); Unit::ALL.len()],
    };
    let places = match unit {
        Some(unit) => each[crate::protocol::format::written::unit_place(unit)]
            .ok_or_else(|| format!("the format does not say how many decimals a reading in {unit} has"))?,
        None => each.into_iter().flatten().next().unwrap_or(0),
    };
    match late {
        Late::Check(_) if sent.decimal().decimals == places => Ok(sent),
        Late::Check(_) => {
            let (found, digits) = (sent.decimal().decimals, sent.digits());
            Err(format!("{digits} with {} found, {places} were wanted", counted(usize::from(found), "decimal")))
        }
        Late::Scale(scale) => scaled(sent.decimal().mantissa, scale.times, places),
    }
}

/// Compares two decimals exactly.
pub(in crate::protocol) fn below(a: Decimal, b: Decimal) -> bool {
    let scale = |d: Decimal, other: Decimal| {
        let power = u32::from(other.decimals.saturating_sub(d.decimals));
        i128::from(d.mantissa) * i128::from(10i64.pow(power))
    };
    scale(a, b) < scale(b, a)
}

fn shown(decimal: Decimal) -> String {
    Numeral::of(decimal).map_or_else(|_| format!("{decimal:?}"), |numeral| numeral.digits().as_str().to_owned())
}
