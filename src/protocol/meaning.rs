//! From the fields of a record to what the book takes, and back.

mod back;
mod delivers;

pub(super) use back::record_of;
pub use delivers::Delivers;

use super::format::file::{Means, RecordKind};
use super::grammar::{Code, FieldUnit, Rule};
use super::record::{Slots, Value, unit};
use crate::book::reading::{Heard, PointName, Reading, Refusal, Role, Status};
use crate::units::{Measured, Numeral};

/// What a record says to the book.
#[inline]
pub(super) fn heard(rule: &Rule, bytes: &[u8], slots: &Slots, protection: Protection) -> Heard {
    let fields = Fields { rule, bytes, slots };
    match rule.kind {
        RecordKind::Reading => fields.reading(protection).unwrap_or_else(Heard::Refused),
        RecordKind::Status => Heard::Status(fields.status()),
        RecordKind::Fault => fields.fault(),
        RecordKind::Echo => Heard::Echo,
        RecordKind::Ignored => Heard::Ignored { rule: format!("record {}", rule.name) },
    }
}

/// Whether a changed digit would have been noticed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Protection {
    /// A check stood over the record.
    Checked,
    /// None did.
    None,
}

struct Fields<'a> {
    rule: &'a Rule,
    bytes: &'a [u8],
    slots: &'a Slots,
}

impl Fields<'_> {
    #[inline]
    fn reading(&self, protection: Protection) -> Result<Heard, Refusal> {
        let Some(staff) = self.length(Means::Staff)? else {
            let reason = format!("a {}: no staff reading found", self.rule.name);
            return Err(Refusal { reason, at_byte: 0 });
        };
        // Put together where it is returned: a reading is large, and one is made for every record.
        Ok(Heard::Reading(Reading {
            staff: if self.is_inverted() { turned(staff) } else { staff },
            sight: self.length(Means::Sight)?,
            spread: self.length(Means::Spread)?,
            count: self.whole(Means::Count)?,
            role: self.meaning(Means::Role).and_then(role),
            point: self.text(Means::Point).and_then(|text| PointName::from_wire(&text)),
            sequence: self.whole(Means::Sequence)?,
            time: self.text(Means::Time).map(std::borrow::Cow::into_owned),
            temperature_c: self.plain(Means::Temperature),
            unprotected: protection == Protection::None,
        }))
    }

    fn status(&self) -> Status {
        let other = self.rule.fields.iter().enumerate().filter_map(|(slot, field)| {
            let shown = matches!(field.means, Some(Means::Battery | Means::Temperature | Means::Tilt));
            let text = self.slots.text(slot, field, self.bytes).filter(|_| !shown)?;
            Some((field.name.to_string(), text.into_owned()))
        });
        Status {
            battery_percent: self.plain(Means::Battery),
            temperature_c: self.plain(Means::Temperature),
            tilt_arcmin: self.plain(Means::Tilt),
            other: other.collect(),
        }
    }

    fn fault(&self) -> Heard {
        let code = self.text(Means::Code).map_or_else(|| self.rule.name.to_string(), std::borrow::Cow::into_owned);
        Heard::Fault { code, meaning: self.meaning(Means::Code).map(str::to_owned) }
    }

    fn number(&self, means: Means) -> Option<(&Numeral, usize)> {
        let slot = self.rule.slot(means)?;
        match self.slots.value(slot) {
            Value::Number(numeral) => Some((numeral, slot)),
            _ => None,
        }
    }

    fn length(&self, means: Means) -> Result<Option<Measured>, Refusal> {
        let Some((numeral, slot)) = self.number(means) else { return Ok(None) };
        let field = &self.rule.fields[slot];
        let refuse = |reason: String| Refusal {
            reason: format!("{} of a {}: {reason}", field.name, self.rule.name),
            at_byte: self.slots.place(slot).start,
        };
        let unit = unit(self.rule, field, self.slots).ok_or_else(|| refuse("no unit found".to_owned()))?;
        Measured::of(numeral, unit).map(Some).map_err(|error| refuse(error.to_string()))
    }

    fn whole<T: TryFrom<i64>>(&self, means: Means) -> Result<Option<T>, Refusal> {
        let Some((numeral, slot)) = self.number(means) else { return Ok(None) };
        let whole = Some(numeral.decimal()).filter(|decimal| decimal.decimals == 0);
        match whole.and_then(|decimal| T::try_from(decimal.mantissa).ok()) {
            Some(whole) => Ok(Some(whole)),
            None => {
                let (digits, word, name) = (numeral.digits(), means.word(), &self.rule.name);
                let reason = format!("{word} of a {name}: {digits} found, which no instrument counts");
                Err(Refusal { reason, at_byte: self.slots.place(slot).start })
            }
        }
    }

    fn plain(&self, means: Means) -> Option<f64> {
        let (numeral, slot) = self.number(means)?;
        let value = numeral.decimal().to_f64();
        Some(match self.rule.fields[slot].unit {
            FieldUnit::Other { factor, offset } => value * factor + offset,
            FieldUnit::None | FieldUnit::Length(_) | FieldUnit::From(_) => value,
        })
    }

    fn text(&self, means: Means) -> Option<std::borrow::Cow<'_, str>> {
        let slot = self.rule.slot(means)?;
        self.slots.text(slot, &self.rule.fields[slot], self.bytes)
    }

    /// What the choice with that meaning means.
    fn meaning(&self, means: Means) -> Option<&str> {
        let slot = self.rule.slot(means)?;
        match (self.slots.value(slot), &self.rule.fields[slot].code) {
            (Value::Item(item), Code::Choice(choice)) => Some(&choice.items[usize::from(*item)].meaning),
            _ => None,
        }
    }

    fn is_inverted(&self) -> bool {
        self.meaning(Means::Inverted) == Some("inverted")
    }
}

/// A reading on a staff that stands upside down counts the other way.
fn turned(staff: Measured) -> Measured {
    let digits = staff.digits().as_str();
    let turned = match digits.strip_prefix('-') {
        Some(positive) => positive.to_owned(),
        None => format!("-{digits}"),
    };
    // One character more may be one too many: then the digits stay, and only the sign of the value is lost to nobody,
    // because a number that long is refused where it is read.
    Measured::parse(&turned, staff.unit()).unwrap_or(staff)
}

fn role(word: &str) -> Option<Role> {
    match word {
        "back" => Some(Role::Back),
        "fore" => Some(Role::Fore),
        "intermediate" => Some(Role::Intermediate),
        _ => None,
    }
}

/// What was heard under one meaning, as an example writes it.
pub(super) fn show(means: Means, heard: &Heard) -> Option<String> {
    let measured = |measured: &Measured| format!("{} {}", measured.digits(), measured.unit());
    match (heard, means) {
        (Heard::Reading(reading), Means::Staff) => Some(measured(&reading.staff)),
        (Heard::Reading(reading), Means::Sight) => reading.sight.as_ref().map(measured),
        (Heard::Reading(reading), Means::Spread) => reading.spread.as_ref().map(measured),
        (Heard::Reading(reading), Means::Role) => reading.role.map(|role| {
            match role {
                Role::Back => "back",
                Role::Fore => "fore",
                Role::Intermediate => "intermediate",
            }
            .to_owned()
        }),
        (Heard::Reading(reading), Means::Point) => reading.point.as_ref().map(ToString::to_string),
        (Heard::Reading(reading), Means::Inverted) => {
            Some(if reading.staff.digits().as_str().starts_with('-') { "inverted" } else { "upright" }.to_owned())
        }
        _ => None,
    }
}
