//! From what the book takes to the record that says it: for simulated instruments and round trips.

use super::super::format::file::{Means, RecordKind};
use super::super::grammar::{
    Choice, Code, Decimals, Field, FieldUnit, Grammar, Point, Presence, Rule, Scale, TimePart,
};
use super::super::record::{Content, Record, WriteError};
use crate::book::reading::{Heard, Reading, Role, Status};
use crate::units::{Digits, Measured, Unit};

/// The record of the format that says what was heard.
pub(in crate::protocol) fn record_of(grammar: &Grammar, heard: &Heard) -> Result<Record, WriteError> {
    let (kind, what) = match heard {
        Heard::Reading(_) => (RecordKind::Reading, "reading"),
        Heard::Status(_) => (RecordKind::Status, "status"),
        Heard::Fault { .. } => (RecordKind::Fault, "fault"),
        Heard::Echo => (RecordKind::Echo, "echo"),
        _ => return Err(WriteError::whole("only a reading, a status, a fault or an echo can be written")),
    };
    let mut refusal = WriteError::whole(format!("the format has no record of the kind {what:?}"));
    for rule in grammar.records.iter().filter(|rule| rule.kind == kind) {
        match one(rule, heard).and_then(|record| super::super::record::write(grammar, &record).map(|_| record)) {
            Ok(record) => return Ok(record),
            Err(error) => refusal = error,
        }
    }
    Err(refusal)
}

fn one(rule: &Rule, heard: &Heard) -> Result<Record, WriteError> {
    let mut record = Record::new(&*rule.name);
    let unit = heard_unit(rule, heard);
    for field in &rule.fields {
        let content = match heard {
            Heard::Reading(reading) => of_reading(rule, field, reading, unit)?,
            Heard::Status(status) => of_status(field, status)?,
            Heard::Fault { code, .. } => (field.means == Some(Means::Code)).then(|| text_or_number(field, code)),
            _ => None,
        };
        let content = match content {
            Some(content) => Some(content),
            None if field.presence == Presence::Optional => None,
            None => Some(least(field, unit)?),
        };
        record.fields.extend(content.map(|content| (field.name.to_string(), content)));
    }
    Ok(record)
}

/// The unit to write in: the reading's own where the format can, or the first that it can.
fn heard_unit(rule: &Rule, heard: &Heard) -> Option<Unit> {
    let Heard::Reading(reading) = heard else { return None };
    let units = units(rule);
    units.iter().find(|unit| **unit == reading.staff.unit()).or(units.first()).copied()
}

fn units(rule: &Rule) -> Vec<Unit> {
    let choice = rule.slot(Means::Unit).map(|slot| &rule.fields[slot].code);
    match choice {
        Some(Code::Choice(choice)) => choice.items.iter().filter_map(|item| item.meaning.parse().ok()).collect(),
        _ => Vec::new(),
    }
}

fn of_reading(
    rule: &Rule,
    field: &Field,
    reading: &Reading,
    unit: Option<Unit>,
) -> Result<Option<Content>, WriteError> {
    let inverted = rule.slot(Means::Inverted).is_some() && reading.staff.digits().as_str().starts_with('-');
    Ok(match field.means {
        Some(Means::Staff) => {
            let mut content = length(field, &reading.staff, unit)?;
            if let (Content::Number(digits), true) = (&content, inverted) {
                let positive = digits.as_str().trim_start_matches('-');
                content = Content::Number(parse(field, positive)?);
            }
            Some(content)
        }
        Some(Means::Sight) => reading.sight.as_ref().map(|sight| length(field, sight, unit)).transpose()?,
        Some(Means::Spread) => reading.spread.as_ref().map(|spread| length(field, spread, unit)).transpose()?,
        Some(Means::Count) => {
            reading.count.map(|count| parse(field, &count.to_string())).transpose()?.map(Content::Number)
        }
        Some(Means::Sequence) => reading.sequence.map(|sequence| text_or_number(field, &sequence.to_string())),
        Some(Means::Point) => reading.point.as_ref().map(|point| text_or_number(field, point.as_str())),
        Some(Means::Time) => reading.time.as_deref().map(|time| text_or_number(field, time)),
        Some(Means::Role) => reading.role.and_then(|role| {
            meaning(
                field,
                match role {
                    Role::Back => "back",
                    Role::Fore => "fore",
                    Role::Intermediate => "intermediate",
                },
            )
        }),
        Some(Means::Inverted) => meaning(field, if inverted { "inverted" } else { "upright" }),
        Some(Means::Unit) => unit.and_then(|unit| meaning(field, unit.symbol())),
        Some(Means::Temperature) => reading.temperature_c.map(|value| plain(field, value)).transpose()?,
        Some(Means::Battery | Means::Tilt | Means::Code) | None => None,
    })
}

fn of_status(field: &Field, status: &Status) -> Result<Option<Content>, WriteError> {
    let value = match field.means {
        Some(Means::Battery) => status.battery_percent,
        Some(Means::Temperature) => status.temperature_c,
        Some(Means::Tilt) => status.tilt_arcmin,
        _ => {
            let other = status.other.iter().find(|(name, _)| *name == *field.name);
            return Ok(other.map(|(_, text)| text_or_number(field, text)));
        }
    };
    value.map(|value| plain(field, value)).transpose()
}

/// The choice that has a meaning.
fn meaning(field: &Field, meaning: &str) -> Option<Content> {
    let Code::Choice(Choice { items, .. }) = &field.code else { return None };
    items.iter().find(|item| *item.meaning == *meaning).map(|item| Content::Text(item.key.to_string()))
}

/// How many decimals a field has in a unit; `None`: any number.
fn decimals(field: &Field, unit: Option<Unit>) -> Option<u8> {
    let decimals = match &field.code {
        Code::Number(number) => match number.point {
            Point::Sent { decimals, .. } => decimals,
            Point::Implied(Scale { decimals, .. }) => decimals,
        },
        Code::Integer { scale, .. } | Code::Hex { scale, .. } | Code::Bcd { scale, .. } => scale.decimals,
        Code::Float { decimals, .. } => Decimals::All(*decimals),
        _ => Decimals::All(0),
    };
    match decimals {
        Decimals::Any => None,
        Decimals::All(places) => Some(places),
        Decimals::Each(each) => {
            let place = unit.and_then(|unit| Unit::ALL.iter().position(|known| *known == unit));
            Some(place.and_then(|place| each[place]).or(each.into_iter().flatten().next()).unwrap_or(0))
        }
    }
}

fn length(field: &Field, measured: &Measured, unit: Option<Unit>) -> Result<Content, WriteError> {
    let unit = match field.unit {
        FieldUnit::Length(unit) => unit,
        _ => unit.unwrap_or(measured.unit()),
    };
    let places = decimals(field, Some(unit));
    if unit == measured.unit() && places.is_none_or(|places| places == measured.digits().decimals()) {
        return Ok(Content::Number(*measured.digits()));
    }
    let shown = measured.value().show(unit, places.unwrap_or(measured.digits().decimals()));
    Ok(Content::Number(parse(field, &shown)?))
}

fn plain(field: &Field, value: f64) -> Result<Content, WriteError> {
    let value = match field.unit {
        FieldUnit::Other { factor, offset } => (value - offset) / factor,
        _ => value,
    };
    let places = usize::from(decimals(field, None).unwrap_or(1));
    let text = format!("{value:.places$}");
    let text = if text.bytes().any(|byte| matches!(byte, b'1'..=b'9')) { &*text } else { text.trim_start_matches('-') };
    Ok(Content::Number(parse(field, text)?))
}

fn text_or_number(field: &Field, text: &str) -> Content {
    let number = matches!(
        field.code,
        Code::Number(_) | Code::Hex { .. } | Code::Integer { .. } | Code::Float { .. } | Code::Bcd { .. } | Code::Bits
    );
    match text.parse() {
        Ok(digits) if number => Content::Number(digits),
        _ => Content::Text(text.to_owned()),
    }
}

/// The least that can stand in a field of which nothing is known.
fn least(field: &Field, unit: Option<Unit>) -> Result<Content, WriteError> {
    Ok(match &field.code {
        Code::Choice(choice) => Content::Text(choice.items[0].key.to_string()),
        Code::Text(text) => Content::Text("0".repeat(text.width.min.clamp(1, text.width.max))),
        Code::Time(time) => {
            let mut shown = String::new();
            for part in &time.parts {
                match part {
                    TimePart::Literal(byte) => shown.push(char::from(*byte)),
                    TimePart::Digits { count, least, .. } => {
                        shown.push_str(&format!("{least:0width$}", width = usize::from(*count)));
                    }
                }
            }
            Content::Text(shown)
        }
        _ => {
            let places = decimals(field, unit).unwrap_or(0);
            let zero = crate::units::Length::ZERO.show(Unit::Metre, places);
            let number = match field.range {
                Some([least, _]) if least.mantissa > 0 => {
                    crate::units::Length::from_decimal(least, Unit::Metre).map_or(zero, |l| l.show(Unit::Metre, places))
                }
                _ => zero,
            };
            Content::Number(parse(field, &number)?)
        }
    })
}

fn parse(field: &Field, text: &str) -> Result<Digits, WriteError> {
    text.parse().map_err(|error: crate::units::NumberError| WriteError {
        field: Some(field.name.to_string()),
        reason: error.to_string(),
    })
}
