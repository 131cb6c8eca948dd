//! Which checks stand over the frames of a cutting: found by trying the whole catalogue in every place.
//!
//! A check counts as found when it agrees so often that luck is ruled out; how often is said.

mod candidates;

use super::cutting::{Cutout, Cutting};
use super::words;
use crate::protocol::checksum::{Check, Sum, read_shown};
use crate::protocol::format::file::{Form, Order, Stands, To};
use crate::protocol::framing::Kind;
use crate::protocol::limits::CHECKS_MAX;
use candidates::Algorithm;
pub(super) use candidates::Catalogue;

/// A check that agrees with the frames.
pub(super) struct Found {
    pub(super) check: Check,
    /// As the format file says it.
    pub(super) words: String,
    /// In how many of the frames looked at it agrees, and how many these are.
    pub(super) agrees: (usize, usize),
    /// Luck would do that once in two to the power of this.
    pub(super) bits: u32,
}

/// The most frames that are looked at: enough to rule luck out for the weakest check.
const SAMPLE_MAX: usize = 24;

/// The most bytes of them.
const SAMPLE_BYTES_MAX: usize = 8 * 1024;

/// Luck is ruled out when it would happen less often than once in two to the power of this, over all that was tried.
const BITS_MIN: u32 = 10;

/// The most characters of a check that is written in digits.
const DIGITS_MAX: usize = 10;

/// The most bytes behind the first of a frame at which a check may begin to count.
const FROM_MAX: usize = 4;

/// The checks of a cutting, in the order in which they stand.
pub(super) fn checks(cutting: &Cutting, catalogue: &Catalogue) -> Vec<Found> {
    let mut found: Vec<Found> = Vec::new();
    if let Kind::Delimited(delimited) = &cutting.framer.kind
        && delimited.trail > 0
    {
        found.extend(last(cutting, catalogue, delimited.trail, Stands::BehindEnd));
    }
    while found.len() < CHECKS_MAX {
        let Some(next) = last(cutting, catalogue, taken(&found), Stands::BeforeEnd) else { break };
        found.push(next);
    }
    // The outermost was found first.
    found.reverse();
    found
}

/// How many bytes the checks take before the end of a frame.
pub(super) fn taken(found: &[Found]) -> usize {
    let before = found.iter().map(|found| &found.check).filter(|check| check.stands == Stands::BeforeEnd);
    before.map(|check| check.size + check.after.len()).sum()
}

/// One frame as far as a check looks at it.
struct Looked<'a> {
    bytes: &'a [u8],
    /// Where its body begins, and where what may be a check ends.
    body: usize,
    end: usize,
    /// Where the end bytes begin, for a check behind them.
    mark: usize,
}

/// The check that stands last before what is `taken`, or behind the end in the trail.
fn last(cutting: &Cutting, catalogue: &Catalogue, taken: usize, stands: Stands) -> Option<Found> {
    let sample = sample(&cutting.frames, taken, stands);
    if sample.len() < 2 {
        return None;
    }
    let mut best: Option<Found> = None;
    let mut tried = 0u64;
    for (form, wide, order) in writings() {
        if stands == Stands::BehindEnd && wide > taken {
            continue;
        }
        for after in afters(&sample, wide, stands, taken) {
            let values: Vec<Option<u64>> =
                sample.iter().map(|frame| value(frame, wide, after.len(), form, order)).collect();
            if values.iter().flatten().count() * 4 < sample.len() * 3 {
                continue;
            }
            for algorithm in catalogue.algorithms(form, wide) {
                for from in froms(&sample) {
                    for to in [To::Mark, To::Check] {
                        if to == To::Check && after.is_empty() && stands == Stands::BeforeEnd {
                            continue;
                        }
                        tried += 1;
                        let place = Place { form, wide, order, after: &after, from, to, stands };
                        let Some(one) = agreeing(&sample, &values, &algorithm, &place) else { continue };
                        if best.as_ref().is_none_or(|best| one.agrees.0 > best.agrees.0) {
                            best = Some(one);
                        }
                    }
                }
            }
        }
    }
    let mut best = best?;
    // All that was tried had a chance each.
    best.bits = best.bits.saturating_sub(tried.ilog2());
    (best.bits >= BITS_MIN).then_some(best)
}

/// Different frames from all over the capture.
fn sample(frames: &[Cutout], taken: usize, stands: Stands) -> Vec<Looked<'_>> {
    let step = frames.len().div_ceil(4 * SAMPLE_MAX).max(1);
    let mut sample: Vec<Looked<'_>> = Vec::new();
    let mut bytes = 0;
    for frame in frames.iter().step_by(step) {
        let place = frame.place;
        let end = match stands {
            Stands::BeforeEnd | Stands::EachLine => place.end.saturating_sub(taken),
            Stands::BehindEnd => frame.plain.len(),
        };
        let looked = Looked { bytes: &frame.plain, body: place.start, end, mark: place.end };
        let known = sample.iter().any(|other| other.bytes == looked.bytes);
        if end > place.start + 1 && !known {
            bytes += frame.plain.len();
            sample.push(looked);
        }
        if sample.len() >= SAMPLE_MAX || bytes > SAMPLE_BYTES_MAX {
            break;
        }
    }
    sample
}

/// Where and how a check is written.
struct Place<'a> {
    form: Form,
    wide: usize,
    order: Order,
    after: &'a [u8],
    /// `None`: behind the start bytes.
    from: Option<usize>,
    to: To,
    stands: Stands,
}

/// How a check may be written: form, bytes, byte order.
fn writings() -> Vec<(Form, usize, Order)> {
    let mut writings = Vec::new();
    for wide in [8, 4, 3, 2] {
        writings.extend([Order::Big, Order::Little].map(|order| (Form::Binary, wide, order)));
    }
    // Decimal digits are hexadecimal ones too, but not the other way round.
    writings.extend((1..=DIGITS_MAX).rev().map(|wide| (Form::Decimal, wide, Order::Big)));
    for wide in (1..=8).rev() {
        writings.extend([Form::Hex, Form::HexLower].map(|form| (form, wide, Order::Big)));
    }
    writings.push((Form::Binary, 1, Order::Big));
    writings
}

/// What stands before a check: a mark that is the same in all frames, or nothing.
fn afters(sample: &[Looked<'_>], wide: usize, stands: Stands, trail: usize) -> Vec<Vec<u8>> {
    if stands == Stands::BehindEnd {
        // The check fills what stands behind the end.
        return if wide == trail { vec![Vec::new()] } else { Vec::new() };
    }
    let mut afters = vec![Vec::new()];
    let marks: Vec<u8> = sample
        .iter()
        .filter_map(|frame| frame.end.checked_sub(wide + 1).filter(|at| *at >= frame.body).map(|at| frame.bytes[at]))
        .collect();
    if let Some(&mark) = marks.first()
        && !mark.is_ascii_alphanumeric()
        && marks.iter().filter(|byte| **byte == mark).count() * 4 >= sample.len() * 3
    {
        afters.insert(0, vec![mark]);
    }
    afters
}

fn value(frame: &Looked<'_>, wide: usize, after: usize, form: Form, order: Order) -> Option<u64> {
    let place = frame.end.checked_sub(wide)?;
    if place < frame.body + after {
        return None;
    }
    read_shown(&frame.bytes[place..frame.end], form, order)
}

/// Where the covered part may begin.
fn froms(sample: &[Looked<'_>]) -> Vec<Option<usize>> {
    let body = sample.iter().map(|frame| frame.body).max().unwrap_or(0);
    let others = (0..body.max(FROM_MAX)).filter(|from| *from != body).map(Some);
    std::iter::once(None).chain(others).collect()
}

/// Holds one way to compute a check against the sample.
fn agreeing(sample: &[Looked<'_>], values: &[Option<u64>], algorithm: &Algorithm, place: &Place<'_>) -> Option<Found> {
    // A quarter may be damaged; where there are few frames, none.
    let misses_max = sample.len() / 4;
    let (mut agrees, mut misses) = (0, 0);
    let mut different: Vec<&[u8]> = Vec::new();
    let mut solved: Option<Sum> = None;
    for (frame, value) in sample.iter().zip(values) {
        let covered = covered(frame, place);
        let right = match (value, algorithm) {
            (None, _) => false,
            (Some(value), Algorithm::Known(sum)) => sum.over(covered) == *value,
            (Some(value), Algorithm::Solved(solve)) => match &solved {
                Some(sum) => sum.over(covered) == *value,
                None => {
                    solved = solve(covered, *value);
                    solved.is_some()
                }
            },
        };
        if right {
            agrees += 1;
            if !different.contains(&covered) {
                different.push(covered);
            }
        } else {
            misses += 1;
        }
        if misses > misses_max {
            return None;
        }
    }
    let sum = match algorithm {
        Algorithm::Known(sum) => sum.clone(),
        Algorithm::Solved(_) => solved?,
    };
    // What was solved for cost one frame of evidence, and the same bytes again are none.
    let evidence = different.len().saturating_sub(usize::from(matches!(algorithm, Algorithm::Solved(_)))) as u32;
    let bits = evidence * sum.strength();
    let check = Check {
        form: place.form,
        size: place.wide,
        order: place.order,
        after: place.after.into(),
        from: place.from,
        to: place.to,
        stands: place.stands,
        label: Box::default(),
        sum,
    };
    let words = words::check(&check);
    Some(Found { check, words, agrees: (agrees, sample.len()), bits })
}

fn covered<'a>(frame: &Looked<'a>, place: &Place<'_>) -> &'a [u8] {
    let at = frame.end.saturating_sub(place.wide);
    let mark = match place.stands {
        Stands::BeforeEnd | Stands::EachLine => at.saturating_sub(place.after.len()),
        Stands::BehindEnd => frame.mark,
    };
    let to = match place.to {
        To::Mark => mark,
        To::Check => at,
    };
    let from = place.from.unwrap_or(frame.body);
    &frame.bytes[from.min(to)..to]
}
