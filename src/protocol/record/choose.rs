//! Which kind of record a frame is: the first in the file whose fixed parts all stand where they should.
//!
//! Once chosen, a record is not given up for another: there is no way back.

use super::code::listed;
use super::read::until;
use super::{Slots, Stop, binary, json, quoted};
use crate::protocol::grammar::{Grammar, Test};

/// The place of the rule in the grammar.
pub(super) fn rule(grammar: &Grammar, bytes: &[u8], slots: &mut Slots) -> Result<usize, Stop> {
    if let [_] = &grammar.records[..] {
        return Ok(0);
    }
    for (place, rule) in grammar.records.iter().enumerate() {
        let mut fits = true;
        for test in &rule.tests {
            slots.step(0)?;
            if !holds(test, bytes, slots)? {
                fits = false;
                break;
            }
        }
        if fits {
            return Ok(place);
        }
    }
    let names = listed(grammar.records.iter().map(|rule| rule.name.to_string()));
    Err(Stop::new(0, format!("{} found, none of the records {names} begins or is marked so", quoted(bytes))))
}

fn holds(test: &Test, bytes: &[u8], slots: &mut Slots) -> Result<bool, Stop> {
    Ok(match test {
        Test::At { offset, any_of } => {
            bytes.get(*offset..).is_some_and(|rest| any_of.iter().any(|wanted| rest.starts_with(wanted)))
        }
        Test::Item { behind, separator, repeats, index, any_of } => {
            item(bytes.get(*behind..).unwrap_or_default(), separator, *repeats, *index)
                .is_some_and(|found| any_of.iter().any(|wanted| **wanted == *found))
        }
        Test::Key { behind, separator, joins, key, any_of } => {
            let mut rest = bytes.get(*behind..).unwrap_or_default();
            loop {
                slots.step(bytes.len() - rest.len())?;
                let pair = until(separator, rest);
                if let Some(value) = pair.strip_prefix(&**key).and_then(|behind| behind.strip_prefix(&**joins)) {
                    break any_of.iter().any(|wanted| **wanted == *value);
                }
                match rest.get(pair.len() + separator.len()..) {
                    Some(behind) => rest = behind,
                    None => break false,
                }
            }
        }
        Test::Pointer { path, any_of } => {
            json::find(bytes, path, slots)?.is_some_and(|found| any_of.iter().any(|wanted| **wanted == *found))
        }
        Test::Bits { offset, bytes: size, order, bit, bits, any_of } => {
            let word = bytes.get(*offset..).and_then(|rest| binary::unsigned(*size, *order, rest));
            word.is_some_and(|word| any_of.contains(&(word >> bit & (u64::MAX >> (64 - bits)))))
        }
    })
}

/// The item at `index`, counted from 0.
fn item<'a>(mut rest: &'a [u8], separator: &[u8], repeats: bool, index: usize) -> Option<&'a [u8]> {
    for _ in 0..index {
        rest = rest.get(until(separator, rest).len() + separator.len()..)?;
        while repeats && rest.starts_with(separator) {
            rest = &rest[separator.len()..];
        }
    }
    Some(until(separator, rest))
}
