//! One of several values.

use super::Place;
use crate::protocol::format::file::{Encoding, FieldFile, LayoutKind, Order};
use crate::protocol::format::written::{At, Pairs};
use crate::protocol::grammar::build::Faults;
use crate::protocol::grammar::{Choice, Filling, Item, Span};
use crate::protocol::limits::VALUES_MAX;

pub(super) fn choice(
    file: &FieldFile,
    place: Place,
    width: Span,
    filling: Option<Filling>,
    order: Order,
    faults: &mut Faults,
) -> Option<Choice> {
    let Some(values) = &file.values else {
        faults.add(
            &file.is.span,
            "a choice without `values` found, a table such as { B = \"back\", F = \"fore\" } was wanted",
        );
        return None;
    };
    let binary = match (&file.bytes, place.layout) {
        (Some(bytes), LayoutKind::Binary) if matches!(bytes.value, 1..=4) => Some((bytes.value, order)),
        (Some(bytes), LayoutKind::Binary) => {
            faults.add(&bytes.span, format!("a choice of {} bytes found, 1 to 4 were wanted", bytes.value));
            return None;
        }
        _ => None,
    };
    let encoding = if place.layout == LayoutKind::Json { Encoding::Utf8 } else { place.encoding };
    let items = items(values, faults, |key, faults| match binary {
        Some((bytes, order)) => {
            let number = number_key(key, faults)?;
            let mut sent = Vec::new();
            crate::protocol::record::put(number, bytes, order, &mut sent);
            if number > u64::MAX >> (64 - 8 * bytes) {
                faults.add(&key.span, format!("{number} found, which {bytes} bytes cannot hold"));
                return None;
            }
            Some((sent.into(), number))
        }
        None => match crate::protocol::record::encoded(key, encoding) {
            Ok(sent) => {
                let filled = filling.is_some_and(|f| sent.first() == Some(&f.byte) || sent.last() == Some(&f.byte));
                if sent.is_empty() || sent.len() > width.max || (filled && sent.len() < width.max) {
                    faults.add(&key.span, format!("the value {:?} found, which cannot stand in this field", key.value));
                    return None;
                }
                Some((sent.into(), 0))
            }
            Err(reason) => {
                faults.add(&key.span, reason);
                None
            }
        },
    })?;
    Some(Choice { items, open: file.open, filling, width, binary, encoding })
}

pub(super) fn items(
    values: &At<Pairs<String>>,
    faults: &mut Faults,
    mut sent: impl FnMut(&At<String>, &mut Faults) -> Option<(Box<[u8]>, u64)>,
) -> Option<Vec<Item>> {
    if values.0.is_empty() {
        faults.add(&values.span, "no values found, at least one was wanted");
        return None;
    }
    if values.0.len() > VALUES_MAX {
        faults.add(&values.span, format!("{} values found, at most {VALUES_MAX} were wanted", values.0.len()));
        return None;
    }
    let mut items: Vec<Item> = Vec::new();
    for (key, meaning) in &values.0 {
        let (sent, number) = sent(key, faults)?;
        if items.iter().any(|item| item.sent == sent && item.number == number) {
            faults.add(&key.span, format!("the value {:?} found twice", key.value));
        }
        items.push(Item { sent, key: key.value.as_str().into(), number, meaning: meaning.value.as_str().into() });
    }
    Some(items)
}

pub(super) fn number_key(key: &At<String>, faults: &mut Faults) -> Option<u64> {
    let number = match key.strip_prefix("0x") {
        Some(hex) => u64::from_str_radix(hex, 16).ok(),
        None => key.parse().ok(),
    };
    if number.is_none() {
        faults.add(&key.span, format!("{:?} found, a number such as \"1\" or \"0x0F\" was wanted", key.value));
    }
    number
}
