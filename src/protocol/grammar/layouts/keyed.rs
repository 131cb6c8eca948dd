//! Pairs of key and value in any order.

use super::{Builder, chosen, natural, octets};
use crate::protocol::format::file::{LayoutKind, Others, RecordFile};
use crate::protocol::format::written::At;
use crate::protocol::grammar::build::Faults;
use crate::protocol::grammar::fields::Part;
use crate::protocol::grammar::{Entry, Excess, Extent, Keyed, Layout, Presence, Step, Test};
use crate::protocol::limits::{BYTES_MAX, FIELDS_MAX};

pub(super) fn build(file: &At<RecordFile>, builder: &mut Builder, faults: &mut Faults) -> Option<Layout> {
    let (separator, joins) = (octets(&file.separator), octets(&file.joins));
    if separator.is_empty() || joins.is_empty() {
        faults.add(&file.span, "pairs without `separator` or `joins` found, both were wanted");
        return None;
    }
    let begins = octets(&file.begins);
    if !begins.is_empty() {
        builder.tests.push(Test::At { offset: 0, any_of: vec![begins.clone()] });
    }
    let mut entries: Vec<Entry> = Vec::new();
    for (place, field) in file.fields.iter().enumerate() {
        let part = builder.part(field, LayoutKind::Keyed, faults)?;
        let last = file.fields.get(place + 1).is_none_or(|next| !next.joined);
        if !field.joined {
            let key: Box<[u8]> = match &field.key {
                Some(key) if (1..=BYTES_MAX).contains(&key.len()) && key.is_ascii() => key.as_bytes().into(),
                Some(key) => {
                    faults.add(
                        &key.span,
                        format!("the key {:?} found, 1 to {BYTES_MAX} ASCII characters were wanted", key.value),
                    );
                    return None;
                }
                None => {
                    faults.add(&field.span, "a field without `key` found, it was wanted");
                    return None;
                }
            };
            let holds = |bytes: &[u8]| memchr::memmem::find(&key, bytes).is_some();
            if holds(&separator) || holds(&joins) {
                faults.add(&field.span, "a key that holds the separator found");
                return None;
            }
            if entries.iter().any(|entry| entry.key == key) {
                faults.add(&field.span, format!("the key \"{}\" found twice", key.escape_ascii()));
            }
            if let (Some(any_of), true) = (chosen(&part, field), last) {
                let (behind, separator, joins, key) = (begins.len(), separator.clone(), joins.clone(), key.clone());
                builder.tests.push(Test::Key { behind, separator, joins, key, any_of });
            }
            let presence =
                if field.optional || !field.absent.is_empty() { Presence::Optional } else { Presence::Required };
            entries.push(Entry { key, steps: Vec::new(), presence, slots: Vec::new() });
        }
        let Some(entry) = entries.last_mut() else {
            faults.add(&field.span, "a joined field with nothing before it found");
            return None;
        };
        match part {
            Part::Literal(literal) => entry.steps.push(Step::Literal(literal)),
            Part::Skip { size, fill } => {
                entry.steps.push(Step::Skip { extent: size.map_or(Extent::Rest, Extent::Fixed), fill });
            }
            Part::Field(value, size) => {
                let extent = if last { Some(Extent::Rest) } else { natural(&value, size) };
                let Some(extent) = extent else {
                    faults.add(
                        &field.span,
                        format!("the field {:?} without an end found, a width was wanted", value.name),
                    );
                    return None;
                };
                let slot = builder.push(*value, field, faults);
                entry.slots.push(slot);
                entry.steps.push(Step::Field { slot, extent });
            }
            Part::Flags { .. } | Part::Length { .. } => {
                faults.add(&field.is.span, "a binary field found, which pairs cannot hold");
                return None;
            }
        }
    }
    if entries.is_empty() || entries.len() > FIELDS_MAX {
        faults.add(&file.span, format!("{} pairs found, 1 to {FIELDS_MAX} were wanted", entries.len()));
        return None;
    }
    let mut by_key: Vec<u16> = (0..entries.len() as u16).collect();
    by_key.sort_by(|&a, &b| entries[usize::from(a)].key.cmp(&entries[usize::from(b)].key));
    let others = if file.others == Others::Ignore { Excess::Ignored } else { Excess::Refused };
    Some(Layout::Keyed(Keyed { begins, ends: octets(&file.ends), separator, joins, entries, by_key, others }))
}
