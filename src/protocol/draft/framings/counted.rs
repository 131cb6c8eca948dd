//! Frames of one length, and frames that say how long they are.

use super::{Kinds, nearly_all, places};
use crate::protocol::checksum::read_shown;
use crate::protocol::draft::capture::Capture;
use crate::protocol::draft::cutting::FRAME_MAX;
use crate::protocol::format::file::{Counts, Form, Order};
use crate::protocol::framing::{Fixed, Kind, Length, Prefixed};

/// The most beginnings that are tried.
const STARTS_MAX: usize = 8;

/// The most bytes between the start and a length.
const BEFORE_LENGTH_MAX: usize = 4;

/// The longest frame of one length, in bytes: binary records of levels have tens of them.
const SIZE_MAX: usize = 512;

/// Frames with a length behind their start.
pub(super) fn prefixed(capture: &Capture, kinds: &mut Kinds) {
    let bytes = &capture.bytes;
    let before = kinds.len();
    for start in starts(capture) {
        let places = places(bytes, &start);
        for at in start.len()..=start.len() + BEFORE_LENGTH_MAX {
            for (size, form, order) in writings() {
                if let Some(uncounted) = uncounted(bytes, &places, at, (size, form, order)) {
                    let (counts, plus) = (Counts::Frame, -uncounted);
                    let length = Length { at, bytes: size, order, form, counts, plus };
                    let end = end(bytes, &places);
                    let header = at + size;
                    let (start, sizes) = (start.clone(), (header + end.len(), FRAME_MAX));
                    let in_record = at > start.len();
                    let kind = Prefixed { start, end, length, sizes, checks: 0, in_record };
                    kinds.push((Kind::Prefixed(kind), Vec::new()));
                }
            }
            // A length nearer to the start is the length; what seems one behind it is luck.
            if kinds.len() > before + 6 {
                return;
            }
        }
    }
}

/// How a length may be written.
fn writings() -> impl Iterator<Item = (usize, Form, Order)> {
    let binary = [(1, Order::Big), (2, Order::Big), (2, Order::Little), (4, Order::Big), (4, Order::Little)];
    let binary = binary.into_iter().map(|(size, order)| (size, Form::Binary, order));
    let text = (2..=5).flat_map(|size| [Form::Decimal, Form::Hex, Form::HexLower].map(|form| (size, form, Order::Big)));
    // Digits first: they are rarely digits by chance.
    text.chain(binary)
}

/// What must be added to the length sent to come from one start to the next, if that is nearly always the same and the
/// length is not.
fn uncounted(bytes: &[u8], places: &[usize], at: usize, (size, form, order): (usize, Form, Order)) -> Option<i32> {
    let mut differences: Vec<(i64, u64)> = Vec::new();
    for pair in places.windows(2) {
        let sent = read_shown(bytes.get(pair[0] + at..pair[0] + at + size)?, form, order);
        let Some(sent) = sent.filter(|sent| *sent <= FRAME_MAX as u64) else { continue };
        differences.push(((pair[1] - pair[0]) as i64 - sent as i64, sent));
    }
    let mut sorted: Vec<i64> = differences.iter().map(|(difference, _)| *difference).collect();
    sorted.sort_unstable();
    let most = sorted.chunk_by(|a, b| a == b).max_by_key(|alike| alike.len())?;
    let (uncounted, alike) = (most[0], most.len());
    let mut lengths: Vec<u64> =
        differences.iter().filter(|(difference, _)| *difference == uncounted).map(|(_, sent)| *sent).collect();
    lengths.sort_unstable();
    lengths.dedup();
    let fits = (-(BEFORE_LENGTH_MAX as i64)..=32).contains(&uncounted);
    // A start that also stands inside frames cuts some of them in two.
    (fits && lengths.len() >= 2 && alike * 2 >= places.len() - 1).then_some(uncounted as i32)
}

/// A line end that stands before nearly every start.
fn end(bytes: &[u8], places: &[usize]) -> Box<[u8]> {
    let before = places.get(1..).unwrap_or_default();
    for end in [&b"\r\n"[..], b"\n", b"\r"] {
        let alike = before.iter().filter(|&&at| bytes[..at].ends_with(end)).count();
        if nearly_all(alike, before.len()) && bytes.ends_with(end) {
            return end.into();
        }
    }
    Box::default()
}

/// Frames of one length.
pub(super) fn fixed(capture: &Capture, kinds: &mut Kinds) {
    let bytes = &capture.bytes;
    let mut found: Vec<(Box<[u8]>, usize)> = Vec::new();
    for start in starts(capture) {
        let places = places(bytes, &start);
        let mut apart: Vec<usize> = places.windows(2).map(|pair| pair[1] - pair[0]).collect();
        apart.sort_unstable();
        let most = apart.chunk_by(|a, b| a == b).max_by_key(|alike| alike.len());
        if let Some(alike) = most.filter(|alike| alike.len() * 2 >= apart.len())
            && (start.len() + 1..=SIZE_MAX).contains(&alike[0])
        {
            found.push((start, alike[0]));
        }
    }
    if let Some(period) = period(bytes) {
        found.extend(period);
    }
    let mut known = Vec::new();
    for (start, size) in found {
        if !known.contains(&(start.clone(), size)) {
            known.push((start.clone(), size));
            kinds.push((Kind::Fixed(Fixed { start, sizes: vec![(Box::default(), size)] }), Vec::new()));
        }
    }
}

/// Bytes that frames could begin with: what bursts begin with, what the capture begins with, and what comes often.
fn starts(capture: &Capture) -> Vec<Box<[u8]>> {
    let bytes = &capture.bytes;
    let mut starts: Vec<Box<[u8]>> = Vec::new();
    let mut add = |start: &[u8]| {
        if !start.is_empty() && starts.len() < STARTS_MAX && !starts.iter().any(|known| **known == *start) {
            starts.push(start.into());
        }
    };
    if let Some(bursts) = capture.bursts() {
        for len in [3, 2, 1] {
            let mut firsts: Vec<&[u8]> =
                bursts.places.iter().filter_map(|place| bytes.get(place.start..place.start + len)).collect();
            firsts.sort_unstable();
            let most = firsts.chunk_by(|a, b| a == b).max_by_key(|alike| alike.len());
            if let Some(alike) = most.filter(|alike| nearly_all(alike.len(), firsts.len())) {
                add(alike[0]);
            }
        }
    }
    for len in [2, 1] {
        let mut counts = std::collections::HashMap::new();
        bytes.windows(len).for_each(|window| *counts.entry(window).or_insert(0usize) += 1);
        let mut often: Vec<(&[u8], usize)> =
            counts.into_iter().filter(|(start, count)| tells(start) && *count > 1).collect();
        often.sort_by_key(|(start, count)| (std::cmp::Reverse(*count), *start));
        if let Some(first) = bytes.get(..len).filter(|first| tells(first)) {
            add(first);
        }
        often.iter().take(2).for_each(|(start, _)| add(start));
    }
    starts
}

/// Whether bytes can tell where a frame begins: zeros, ones, spaces and digits stand everywhere.
fn tells(start: &[u8]) -> bool {
    start.iter().all(|byte| !matches!(byte, 0 | 0xFF | b' ' | b'0'..=b'9'))
}

/// The shortest length after which a byte comes again and again, with the bytes that do.
fn period(bytes: &[u8]) -> Option<Vec<(Box<[u8]>, usize)>> {
    for size in 3..=SIZE_MAX.min(bytes.len() / 3) {
        let frames = bytes.len() / size;
        let constant: Vec<usize> = (0..size)
            .filter(|&phase| {
                let byte = bytes[phase];
                tells(&[byte]) && (0..frames).all(|frame| bytes[frame * size + phase] == byte)
            })
            .collect();
        if !constant.is_empty() {
            let starts = constant.into_iter().take(3).map(|phase| (bytes[phase..=phase].into(), size));
            return Some(starts.collect());
        }
    }
    None
}
