//! Single bits with meanings.

use super::choice::{items, number_key};
use super::meaning::fits;
use super::{Part, named, size};
use crate::protocol::format::file::{BitFile, Encoding, FieldFile, Order};
use crate::protocol::grammar::build::{Faults, span};
use crate::protocol::grammar::{Choice, Code, Field, FieldUnit, Presence, Span};

pub(super) fn flags(file: &FieldFile, faults: &mut Faults) -> Option<Part> {
    let bytes = size(file, faults)?;
    if !matches!(bytes, 1..=4) {
        faults.add(span(&file.bytes)?, format!("flags of {bytes} bytes found, 1 to 4 were wanted"));
        return None;
    }
    let all = u64::MAX >> (64 - 8 * bytes);
    let mut used = 0u64;
    let mut parts = Vec::new();
    for bit in &file.bits {
        let (low, count) = (bit.bit.value, bit.bits.as_ref().map_or(1, |bits| bits.value));
        if count == 0 || usize::from(low) + usize::from(count) > 8 * bytes {
            faults.add(&bit.span, format!("bits beyond the {} of the field found", 8 * bytes));
            return None;
        }
        let mask = (u64::MAX >> (64 - count)) << low;
        if used & mask != 0 {
            faults.add(&bit.span, "bits that another part holds already found");
        }
        used |= mask;
        parts.push((bits(bit, count, faults)?, low, count));
    }
    let order = file.order.as_ref().map_or(Order::Big, |order| order.value);
    Some(Part::Flags { bytes, order, parts, unused: all & !used })
}

fn bits(file: &BitFile, count: u8, faults: &mut Faults) -> Option<Field> {
    let means = file.means.as_ref().map(|means| means.value);
    let field_name = named(file.name.as_ref(), file.means.as_ref(), &file.bit.span, faults)?;
    let code = match &file.values {
        Some(values) => {
            let items = items(values, faults, |key, faults| {
                let number = number_key(key, faults)?;
                if number > u64::MAX >> (64 - count) {
                    faults.add(
                        &key.span,
                        format!("{number} found, {count} bits hold at most {}", u64::MAX >> (64 - count)),
                    );
                    return None;
                }
                Some((Box::default(), number))
            })?;
            let width = Span { min: 0, max: usize::MAX };
            Code::Choice(Choice { items, open: false, filling: None, width, binary: None, encoding: Encoding::Ascii })
        }
        None => Code::Bits,
    };
    let field = Field {
        name: field_name,
        means,
        code,
        presence: Presence::Required,
        before: Box::default(),
        behind: Box::default(),
        absent: Vec::new(),
        unit: FieldUnit::None,
        range: None,
    };
    if let Some(means) = &file.means {
        fits(means, &field, file.values.as_ref(), faults);
    }
    Some(field)
}
