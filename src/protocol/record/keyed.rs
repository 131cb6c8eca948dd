//! Pairs of key and value in any order.

use super::read::{Walk, until};
use super::{Slots, Stop, quoted};
use crate::protocol::grammar::{Excess, Keyed, Presence, Rule};

/// Reads the pairs; each key may come once.
pub(super) fn read(rule: &Rule, keyed: &Keyed, bytes: &[u8], slots: &mut Slots) -> Result<(), Stop> {
    if !bytes.starts_with(&keyed.begins) {
        let (found, wanted) = (quoted(bytes), quoted(&keyed.begins));
        return Err(Stop::new(0, format!("a {}: {found} found, {wanted} was wanted", rule.name)));
    }
    let begins = keyed.begins.len();
    if !bytes[begins..].ends_with(&keyed.ends) {
        let wanted = quoted(&keyed.ends);
        return Err(Stop::new(bytes.len(), format!("a {}: {wanted} was wanted at its end", rule.name)));
    }
    let end = bytes.len() - keyed.ends.len();
    let mut seen = [0u64; SEEN_WORDS];
    let mut at = begins;
    while at < end {
        slots.step(at)?;
        let pair = until(&keyed.separator, &bytes[at..end]);
        take_pair(rule, keyed, bytes, at..at + pair.len(), &mut seen, slots)?;
        at += pair.len();
        if at < end {
            at += keyed.separator.len();
            if at == end {
                return Err(Stop::new(
                    at,
                    format!("a {}: nothing found behind a separator, a key was wanted", rule.name),
                ));
            }
        }
    }
    for (place, entry) in keyed.entries.iter().enumerate() {
        if entry.presence == Presence::Required && seen[place / 64] >> (place % 64) & 1 == 0 {
            let key = quoted(&entry.key);
            return Err(Stop::new(end, format!("a {}: the key {key} was wanted and not found", rule.name)));
        }
    }
    Ok(())
}

/// One bit for each entry.
const SEEN_WORDS: usize = crate::protocol::limits::FIELDS_MAX.div_ceil(64);

fn take_pair(
    rule: &Rule,
    keyed: &Keyed,
    bytes: &[u8],
    pair: std::ops::Range<usize>,
    seen: &mut [u64; SEEN_WORDS],
    slots: &mut Slots,
) -> Result<(), Stop> {
    let found = &bytes[pair.clone()];
    let Some(key_len) = memchr::memmem::find(found, &keyed.joins) else {
        let (found, joins) = (quoted(found), quoted(&keyed.joins));
        return Err(Stop::new(pair.start, format!("a {}: {found} found, a key with {joins} was wanted", rule.name)));
    };
    let key = &found[..key_len];
    let place = keyed.by_key.binary_search_by(|&place| (*keyed.entries[usize::from(place)].key).cmp(key));
    let Ok(place) = place.map(|sorted| usize::from(keyed.by_key[sorted])) else {
        return match keyed.others {
            Excess::Ignored => Ok(()),
            Excess::Refused => Err(Stop::new(
                pair.start,
                format!("a {}: the key {} is not one of the format's", rule.name, quoted(key)),
            )),
        };
    };
    if seen[place / 64] >> (place % 64) & 1 == 1 {
        return Err(Stop::new(pair.start, format!("a {}: the key {} was found twice", rule.name, quoted(key))));
    }
    seen[place / 64] |= 1 << (place % 64);
    let value = pair.start + key_len + keyed.joins.len();
    let walk = Walk { rule, bytes, end: pair.end };
    let rest = walk.steps(&keyed.entries[place].steps, value, slots)?;
    if rest < pair.end {
        let reason =
            format!("a {}: {} found behind the value of {}", rule.name, quoted(&bytes[rest..pair.end]), quoted(key));
        return Err(Stop::new(rest, reason));
    }
    Ok(())
}
