//! From a start byte to an end byte; and flags with byte stuffing between.

use super::{Kinds, belongs_to_values, nearly_all, places};
use crate::protocol::framing::{Delimited, Escape, Hidden, Kind};

/// Control characters of ISO/IEC 646 that begin and end texts: SOH, STX; EOT, ETX, ETB.
const STARTS: [u8; 2] = [0x01, 0x02];
const ENDS: [u8; 3] = [0x04, 0x03, 0x17];

/// The most bytes behind the end that may be a check.
const TRAIL_MAX: usize = 8;

fn kind(start: &[u8], end: &[u8], escape: Option<Escape>, trail: usize) -> Kind {
    Kind::Delimited(Delimited { start: start.into(), end: end.into(), escape, trail })
}

/// A byte that begins frames and one that ends them.
pub(super) fn between(bytes: &[u8], kinds: &mut Kinds) {
    for start in STARTS {
        for end in ENDS {
            let (starts, ends) = (places(bytes, &[start]), places(bytes, &[end]));
            if starts.len() >= 2 && nearly_all(starts.len(), ends.len()) && nearly_all(ends.len(), starts.len()) {
                for trail in trails(&starts, &ends) {
                    kinds.push((kind(&[start], &[end], None, trail), Vec::new()));
                }
            }
        }
    }
    for end in [&b"\r\n"[..], b"\r", b"\n"] {
        let ends = places(bytes, end);
        if ends.len() >= 2 {
            if let Some(start) = start_behind(bytes, &ends, end.len()) {
                kinds.push((kind(&[start], end, None, 0), Vec::new()));
            }
            break;
        }
    }
    let mut marks: Vec<u8> = bytes.iter().rev().take(1).copied().filter(|byte| !belongs_to_values(*byte)).collect();
    marks.retain(|byte| !matches!(byte, b'\r' | b'\n'));
    for end in marks {
        if let Some(start) = start_behind(bytes, &places(bytes, &[end]), 1) {
            kinds.push((kind(&[start], &[end], None, 0), Vec::new()));
        }
    }
}

/// How many bytes stand between an end and the next start, if that is always as many; and none.
fn trails(starts: &[usize], ends: &[usize]) -> Vec<usize> {
    let mut counts = [0usize; TRAIL_MAX + 1];
    let mut next = starts.iter().peekable();
    for end in ends {
        while next.next_if(|start| *start < end).is_some() {}
        if let Some(trail) = next.peek().map(|start| **start - end - 1).filter(|trail| *trail <= TRAIL_MAX) {
            counts[trail] += 1;
        }
    }
    let most = (1..=TRAIL_MAX).max_by_key(|&trail| counts[trail]).filter(|&trail| counts[trail] > 0);
    // Line ends between frames belong to nobody.
    let checks = most.into_iter().flat_map(|most| [most, most.saturating_sub(2), most.saturating_sub(1)]);
    let mut trails: Vec<usize> = checks.filter(|trail| *trail > 0).collect();
    trails.push(0);
    trails
}

/// The mark that stands behind nearly every end, and nowhere else.
fn start_behind(bytes: &[u8], ends: &[usize], len: usize) -> Option<u8> {
    let behind: Vec<u8> = ends.iter().filter_map(|at| bytes.get(at + len).copied()).collect();
    let mark = *behind.first()?;
    let alike = behind.iter().filter(|byte| **byte == mark).count();
    let fits = !belongs_to_values(mark) && !matches!(mark, b'\r' | b'\n' | b'{' | b'[');
    (fits && nearly_all(alike, behind.len()) && nearly_all(alike, places(bytes, &[mark]).len())).then_some(mark)
}

/// Data link escape: it begins start and end where it is doubled inside.
const DLE: u8 = 0x10;

/// A flag before and behind every frame, and how it is hidden inside.
pub(super) fn flagged(bytes: &[u8], kinds: &mut Kinds) {
    let (starts, ends) = (places(bytes, &[DLE, 0x02]), places(bytes, &[DLE, 0x03]));
    if starts.len() >= 2 && nearly_all(starts.len(), ends.len()) {
        let escape = Escape { byte: DLE, hidden: Hidden::Flip(0) };
        kinds.push((kind(&[DLE, 0x02], &[DLE, 0x03], Some(escape), 0), Vec::new()));
    }
    let Some(&flag) = bytes.last() else { return };
    let flags = places(bytes, &[flag]);
    if belongs_to_values(flag) && flag < 0x80 || matches!(flag, b'\r' | b'\n') || flags.len() < 4 {
        return;
    }
    // Flags stand in pairs: one ends, one begins.
    let pairs = flags.windows(2).filter(|pair| pair[1] == pair[0] + 1).count();
    if !nearly_all(2 * pairs + 2, flags.len()) {
        return;
    }
    let escapes = escapes(bytes, flag);
    let unseen = escapes.is_empty();
    for escape in escapes {
        kinds.push((kind(&[flag], &[flag], Some(escape), 0), Vec::new()));
    }
    if unseen {
        let question = format!(
            "how is a byte {flag:#04X} hidden inside a frame? None was seen: without `escape` it would cut the frame"
        );
        kinds.push((kind(&[flag], &[flag], None, 0), vec![question]));
    }
}

/// The most different bytes that may stand behind an escape: the flag, the escape, and a few that a line would act on.
const HIDDEN_MAX: usize = 4;

/// How bytes could be hidden: by a byte that is only ever followed by a few others.
fn escapes(bytes: &[u8], flag: u8) -> Vec<Escape> {
    let mut found: Vec<(usize, usize, Escape)> = Vec::new();
    for byte in (0..=255u8).filter(|byte| *byte != flag) {
        let mut behind: Vec<u8> = Vec::new();
        let places = places(bytes, &[byte]);
        for &at in &places {
            match bytes.get(at + 1) {
                Some(next) if !behind.contains(next) => behind.push(*next),
                _ => {}
            }
            if behind.len() > HIDDEN_MAX {
                break;
            }
        }
        if behind.is_empty() || behind.len() > HIDDEN_MAX || behind.contains(&flag) || behind.contains(&byte) {
            continue;
        }
        for flip in behind.iter().flat_map(|sent| [sent ^ flag, sent ^ byte]) {
            let hides = |sent: &u8| sent ^ flip == flag || sent ^ flip == byte;
            let known = found.iter().any(|(.., escape)| {
                escape.byte == byte && matches!(escape.hidden, Hidden::Flip(other) if other == flip)
            });
            if flip != 0 && flip.is_power_of_two() && !known && behind.iter().all(hides) {
                found.push((behind.len(), places.len(), Escape { byte, hidden: Hidden::Flip(flip) }));
            }
        }
        if let [a, b] = behind[..] {
            for (for_flag, for_escape) in [(a, b), (b, a)] {
                let pairs = vec![[flag, for_flag], [byte, for_escape]];
                found.push((1, places.len(), Escape { byte, hidden: Hidden::Replaced(pairs) }));
            }
        }
    }
    // One that hides both by one rule, again and again, is hardly chance.
    found.sort_by_key(|(hidden, often, _)| std::cmp::Reverse((*hidden, *often)));
    found.truncate(ESCAPES_MAX);
    found.into_iter().map(|(.., escape)| escape).collect()
}

/// The most kinds of hiding that are followed.
const ESCAPES_MAX: usize = 12;
