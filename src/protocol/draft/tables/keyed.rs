//! Cells behind their keys.

use super::{CELLS_MAX, Name, Table, Way};

/// Tables by each separator and each mark between key and value.
pub(super) fn tables(bodies: &[&[u8]]) -> Vec<Table> {
    let mut tables = Vec::new();
    for joins in [b'=', b':'] {
        for separator in [&b";"[..], b", ", b",", b"&", b" "] {
            tables.extend(table(bodies, separator, joins));
        }
    }
    tables
}

fn table(bodies: &[&[u8]], separator: &[u8], joins: u8) -> Option<Table> {
    let mut keys: Vec<Vec<u8>> = Vec::new();
    let mut rows = Vec::new();
    for body in bodies {
        let Some(pairs) = pairs(body, separator, joins) else {
            rows.push(None);
            continue;
        };
        let mut row = vec![None; keys.len()];
        for (key, place) in pairs {
            match keys.iter().position(|known| known == key) {
                Some(at) => row[at] = Some(place),
                None => {
                    keys.push(key.to_vec());
                    row.push(Some(place));
                }
            }
        }
        rows.push(Some(row));
        if keys.len() > CELLS_MAX {
            return None;
        }
    }
    for row in rows.iter_mut().flatten() {
        row.resize(keys.len(), None);
    }
    let names = keys.into_iter().map(Name::Key).collect();
    Some(Table { way: Way::Keyed { separator: separator.to_vec(), joins }, names, rows })
}

type Pair<'a> = (&'a [u8], std::ops::Range<usize>);

/// The pairs of a body; `None` if something in it is no pair, or a key comes twice.
fn pairs<'a>(body: &'a [u8], separator: &[u8], joins: u8) -> Option<Vec<Pair<'a>>> {
    let mut pairs: Vec<Pair<'a>> = Vec::new();
    let mut begin = 0;
    for end in memchr::memmem::find_iter(body, separator).chain([body.len()]) {
        let pair = &body[begin..end];
        let at = memchr::memchr(joins, pair)?;
        let key = &pair[..at];
        let named = key.first().is_some_and(u8::is_ascii_alphabetic)
            && key.iter().all(|byte| byte.is_ascii_alphanumeric() || matches!(byte, b'_' | b'-' | b'.'));
        if !named || pairs.iter().any(|(known, _)| *known == key) {
            return None;
        }
        pairs.push((key, begin + at + 1..end));
        begin = end + separator.len();
    }
    Some(pairs)
}
