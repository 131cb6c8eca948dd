//! Readings in the bytes of binary frames.

mod numbers;
mod write;

use std::cmp::Reverse;
use std::ops::Range;

use super::plan::{FEW, Plan, Unknown, are_few, counts_up, ups};
use super::scale::{Display, Minus, Scale, agreeing, in_order, plausible_sight, plausible_staff};
use super::seen::Seen;
use crate::units::{Decimal, Measured, Unit};
use numbers::{Writing, writings};

/// The most bytes of a body that are searched.
const BODY_MAX: usize = 128;

/// The most staff readings that are followed in bodies of one length.
const STAFFS_MAX: usize = 8;

/// Where a number stands, how it is written, and what it means.
#[derive(Clone, Copy, Debug)]
struct Found {
    at: usize,
    writing: Writing,
    scale: Scale,
}

impl Found {
    fn bytes(&self) -> Range<usize> {
        self.at..self.at + self.writing.size()
    }

    /// Whether these are packed digits with which `long` begins: what stands behind them there is of another field, or the
    /// display would have been rounded by it now and then.
    fn is_begun_by(&self, long: &Found) -> bool {
        let packed = |found: &Found| matches!(found.writing, Writing::Bcd { nibble: false, .. });
        let decimals = |found: &Found| match found.scale.unit {
            Unit::Millimetre => (Unit::Metre, usize::from(found.scale.implied) + 3),
            unit => (unit, usize::from(found.scale.implied)),
        };
        let ((unit, few), (other, many)) = (decimals(self), decimals(long));
        let (end, further) = (self.bytes().end, long.bytes().end);
        let begins = long.at < end && end < further && unit == other;
        packed(self) && packed(long) && begins && many == few + 2 * (further - end)
    }

    fn overlaps(&self, other: &Range<usize>) -> bool {
        self.bytes().start < other.end && other.start < self.bytes().end
    }
}

/// The bodies of a cutting that have one length.
struct Page<'a> {
    bodies: &'a [&'a [u8]],
    len: usize,
    /// The length of the frame stands there, among the fields.
    length: Option<Range<usize>>,
}

/// All ways in which the bodies could hold what was seen.
pub(super) fn plans(bodies: &[&[u8]], length: Option<Range<usize>>, seen: &[Seen]) -> Vec<Plan> {
    let mut lengths: Vec<usize> = bodies.iter().map(|body| body.len()).filter(|len| *len <= BODY_MAX).collect();
    lengths.sort_unstable();
    let mut lengths: Vec<(usize, usize)> =
        lengths.chunk_by(|a, b| a == b).map(|alike| (alike.len(), alike[0])).collect();
    lengths.sort_by_key(|(count, _)| Reverse(*count));
    let enough = lengths.into_iter().filter(|(count, _)| *count >= seen.len().max(2)).take(LENGTHS_MAX);
    enough.flat_map(|(_, len)| Page { bodies, len, length: length.clone() }.plans(seen)).collect()
}

/// The most lengths of bodies that are searched.
const LENGTHS_MAX: usize = 4;

impl Page<'_> {
    fn plans(&self, seen: &[Seen]) -> Vec<Plan> {
        let staffs: Vec<Measured> = seen.iter().map(|seen| seen.staff).collect();
        let negative = staffs.iter().any(|staff| staff.digits().as_str().starts_with('-'));
        for minus in [Minus::Sent, Minus::Apart] {
            if minus == Minus::Apart && !negative {
                break;
            }
            let found = self.widest(self.numbers(&Display::new(staffs.clone(), minus)), &|number, scale| {
                plausible_staff(number, scale)
            });
            let plans: Vec<Plan> = found
                .into_iter()
                .take(STAFFS_MAX)
                .flat_map(|staff| self.of_staff(staff, minus, seen, &staffs))
                .collect();
            if !plans.is_empty() {
                return plans;
            }
        }
        Vec::new()
    }

    /// All numbers that what was seen stands in.
    fn numbers(&self, display: &Display) -> Vec<Found> {
        let mut found = Vec::new();
        for writing in writings() {
            for at in 0..(self.len + 1).saturating_sub(writing.size()) {
                let row = self.row(at, writing);
                found.extend(display.scales(&row).into_iter().map(|scale| Found { at, writing, scale }));
            }
        }
        found
    }

    fn row(&self, at: usize, writing: Writing) -> Vec<Option<Decimal>> {
        let number = |body: &&[u8]| if body.len() == self.len { writing.read(&body[at..]) } else { None };
        self.bodies.iter().map(number).collect()
    }

    /// Of numbers that share their last byte and their order, the widest that is never absurd: the bytes in front of it
    /// then hold its sign or zeros, and would do so by luck in no frame but a few.
    fn widest(&self, found: Vec<Found>, plausible: &dyn Fn(Decimal, Scale) -> bool) -> Vec<Found> {
        let share = |found: &Found| {
            let row = self.row(found.at, found.writing);
            let numbers: Vec<Decimal> = row.into_iter().flatten().collect();
            (numbers.iter().filter(|number| plausible(**number, found.scale)).count(), numbers.len())
        };
        let mut groups: Vec<(Found, usize)> = Vec::new();
        for candidate in found {
            let (good, _) = share(&candidate);
            let same = |other: &(Found, usize)| {
                let (a, b) = (other.0.writing.anchor(other.0.at), candidate.writing.anchor(candidate.at));
                a == b && other.0.scale == candidate.scale
            };
            match groups.iter_mut().find(|group| same(group)) {
                Some(group) => {
                    let better = (good, candidate.writing.rank()) > (group.1, group.0.writing.rank());
                    if better {
                        *group = (candidate, good);
                    }
                }
                None => groups.push((candidate, good)),
            }
        }
        let most = groups.iter().map(|group| group.1).max().unwrap_or(0);
        groups.retain(|group| group.1 * 2 >= most);
        let found: Vec<Found> = groups.into_iter().map(|group| group.0).collect();
        found.iter().filter(|long| !found.iter().any(|short| short.is_begun_by(long))).copied().collect()
    }

    fn of_staff(&self, staff: Found, minus: Minus, seen: &[Seen], staffs: &[Measured]) -> Vec<Plan> {
        let row = self.row(staff.at, staff.writing);
        let agrees = &mut agreeing(&row, staff.scale, staffs, minus);
        let Some(shown) = in_order(row.len(), staffs.len(), agrees) else { return Vec::new() };
        let sights = self.sights(&staff, &shown, seen);
        let one = |sight: Option<Found>| self.plan(staff, sight, minus, &row, &shown, seen);
        if sights.is_empty() {
            return one(None).into_iter().collect();
        }
        sights.into_iter().filter_map(|sight| one(Some(sight))).collect()
    }

    fn sights(&self, staff: &Found, shown: &[usize], seen: &[Seen]) -> Vec<Found> {
        let pairs: Vec<(usize, Measured)> =
            shown.iter().zip(seen).filter_map(|(frame, seen)| Some((*frame, seen.sight?))).collect();
        let display = Display::new(pairs.iter().map(|(_, sight)| *sight).collect(), Minus::Sent);
        let mut found = Vec::new();
        for writing in writings() {
            for at in 0..(self.len + 1).saturating_sub(writing.size()) {
                let row: Vec<_> = pairs.iter().map(|(frame, _)| writing.read(&self.bodies[*frame][at..])).collect();
                let all = display.scales(&row).into_iter().map(|scale| Found { at, writing, scale });
                found.extend(all.filter(|found| !found.overlaps(&staff.bytes())));
            }
        }
        // A value that stands for none is absurd as a sight, so the widest is only told by those that are not.
        let mut found = self.widest(found, &|number, scale| plausible_sight(number, scale));
        found.truncate(STAFFS_MAX);
        found
    }

    fn plan(
        &self,
        staff: Found,
        sight: Option<Found>,
        minus: Minus,
        row: &[Option<Decimal>],
        shown: &[usize],
        seen: &[Seen],
    ) -> Option<Plan> {
        let holds = |number: &Option<Decimal>| number.is_some_and(|number| plausible_staff(number, staff.scale));
        let mut members: Vec<bool> = row.iter().map(holds).collect();
        let mut taken: Vec<Range<usize>> = vec![staff.bytes()];
        taken.extend(sight.map(|sight| sight.bytes()));
        taken.extend(self.length.clone());
        let mut layout = Layout { staff, sight, absent: None, inverted: None, sequence: None, bytes: Vec::new() };
        if minus == Minus::Apart {
            layout.inverted = Some(self.inverted(&taken, shown, seen)?);
        }
        let inverted = layout.inverted;
        let mut unseen = Vec::new();
        layout.sequence = self.sequence(&taken, &members, inverted);
        taken.extend(layout.sequence.map(|(at, writing)| at..at + writing.size()));
        let free: Vec<usize> = (0..self.len).filter(|at| !taken.iter().any(|taken| taken.contains(at))).collect();
        let alike = members.clone();
        for &at in &free {
            let mask = inverted.filter(|flag| flag.at == at).map_or(0xFF, |flag| !(1 << flag.bit));
            let byte = self.judge(at, mask, &alike, &mut members, shown, &mut unseen);
            layout.bytes.push((at, byte));
        }
        if let Some(sight) = sight {
            layout.absent = self.absent(&sight, &mut members);
        }
        let mut plan = Plan::of(members, shown, unseen);
        write::record(self, &layout, &mut plan)?;
        Some(plan)
    }

    /// The one bit that is set where a negative reading was seen, and not where a positive was, or the other way round.
    fn inverted(&self, taken: &[Range<usize>], shown: &[usize], seen: &[Seen]) -> Option<Flag> {
        let negative = |seen: &Seen| seen.staff.digits().as_str().starts_with('-');
        if seen.iter().all(negative) {
            return None;
        }
        let bits = (0..self.len)
            .filter(|at| !taken.iter().any(|taken| taken.contains(at)))
            .flat_map(|at| (0..8).flat_map(move |bit| [true, false].map(|set| Flag { at, bit, set })));
        let agrees = |flag: &Flag| {
            let is_set = |row: usize| self.bodies[row][flag.at] >> flag.bit & 1 == 1;
            shown.iter().zip(seen).all(|(row, seen)| (is_set(*row) == flag.set) == negative(seen))
        };
        let mut found = bits.filter(agrees);
        found.next().filter(|_| found.next().is_none())
    }

    /// The number that is counted up from frame to frame, with the fewest leaps: a byte begins again behind 255. Of
    /// several the smallest, with a zero byte in front of it if there is one: more of them may be something else that
    /// was zero so far.
    fn sequence(&self, taken: &[Range<usize>], members: &[bool], inverted: Option<Flag>) -> Option<(usize, Writing)> {
        let rows: Vec<&[u8]> =
            self.bodies.iter().zip(members).filter(|(_, member)| **member).map(|(body, _)| *body).collect();
        let mut best: Option<(_, usize, Writing)> = None;
        for writing in writings().filter(Writing::counts) {
            for at in 0..(self.len + 1).saturating_sub(writing.size()) {
                let bytes = at..at + writing.size();
                let free = !taken.iter().any(|taken| taken.start < bytes.end && bytes.start < taken.end)
                    && inverted.is_none_or(|flag| !bytes.contains(&flag.at));
                let numbers: Vec<i64> =
                    rows.iter().filter_map(|body| writing.read(&body[at..])).map(|number| number.mantissa).collect();
                let Some(&most) = numbers.iter().max().filter(|_| free && numbers.len() * 10 >= rows.len() * 9) else {
                    continue;
                };
                let worth = (ups(&numbers), Reverse(most), writing.size());
                if best.is_none_or(|(known, ..)| worth > known) && counts_up(&numbers) {
                    best = Some((worth, at, writing));
                }
            }
        }
        best.map(|(_, at, writing)| (at, writing))
    }

    /// What a byte is that belongs to no number that was found.
    fn judge(
        &self,
        at: usize,
        mask: u8,
        alike: &[bool],
        members: &mut [bool],
        shown: &[usize],
        unseen: &mut Vec<Unknown>,
    ) -> Byte {
        let rows = || (0..self.bodies.len()).filter(|row| alike[*row]);
        let mut values: Vec<(u8, usize, usize)> = Vec::new();
        for row in rows() {
            let value = self.bodies[row][at] & mask;
            match values.iter_mut().find(|(known, ..)| *known == value) {
                Some((_, count, _)) => *count += 1,
                None => values.push((value, 1, row)),
            }
            if values.len() > FEW {
                return Byte::Free;
            }
        }
        if !are_few(values.len(), rows().count()) {
            return Byte::Free;
        }
        let was_seen = |value: u8| shown.iter().any(|row| self.bodies[*row][at] & mask == value);
        for &(value, frames, row) in values.iter().filter(|(value, ..)| !was_seen(*value)) {
            unseen.push(Unknown { field: format!("byte-{at}"), value: format!("{value:#04X}"), frames, row });
        }
        let mut seen: Vec<u8> = values.into_iter().map(|(value, ..)| value).filter(|value| was_seen(*value)).collect();
        seen.sort_unstable();
        for (row, member) in members.iter_mut().enumerate() {
            *member = *member && seen.contains(&(self.bodies[row][at] & mask));
        }
        match seen[..] {
            [value] if mask == 0xFF => Byte::Constant(value),
            _ => Byte::Choice(seen),
        }
    }

    /// The bytes that stand for no sight length: all ones or all zeros, where the number would be absurd.
    fn absent(&self, sight: &Found, members: &mut [bool]) -> Option<Vec<u8>> {
        let mut absent: Option<Vec<u8>> = None;
        for (row, member) in members.iter_mut().enumerate() {
            let Some(bytes) = self.bodies[row].get(sight.bytes()).filter(|_| *member) else { continue };
            if sight.writing.read(bytes).is_some_and(|number| plausible_sight(number, sight.scale)) {
                continue;
            }
            let ones = bytes.iter().all(|byte| *byte == 0xFF);
            match &absent {
                None if ones => absent = Some(bytes.to_vec()),
                Some(known) if known == bytes => {}
                _ => *member = false,
            }
        }
        absent
    }
}

/// A bit that says that the staff is inverted.
#[derive(Clone, Copy, Debug)]
struct Flag {
    at: usize,
    bit: u8,
    /// Its value where the staff is inverted.
    set: bool,
}

/// What a byte of no known number is.
#[derive(Clone, Debug)]
enum Byte {
    Constant(u8),
    Choice(Vec<u8>),
    Free,
}

/// What was found in bodies of one length.
struct Layout {
    staff: Found,
    sight: Option<Found>,
    /// Bytes that stand for no sight length.
    absent: Option<Vec<u8>>,
    inverted: Option<Flag>,
    sequence: Option<(usize, Writing)>,
    bytes: Vec<(usize, Byte)>,
}
