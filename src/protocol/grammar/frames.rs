//! Framing, from the file to the tree.

use std::ops::Range;

use super::build::{Faults, span};
use super::{Extent, Layout, Rule, Step};
use crate::protocol::checksum::{self, Check};
use crate::protocol::format::file::{EscapeFile, Form, FrameFile, FrameKind, LengthFile, RecordFile, SentAs, Stands};
use crate::protocol::format::written::{At, Octets};
use crate::protocol::framing::{
    Block, Delimited, Escape, Fixed, Framer, Hidden, Kind, Length, Line, LineEnd, Pairs, Prefixed,
};
use crate::protocol::limits::{BYTES_MAX, FRAME_DEFAULT, FRAME_LEAST, FRAME_MAX, RECORDS_MAX};
use crate::protocol::link::LinkDefaults;

pub(super) fn build(
    frame: &At<FrameFile>,
    checks: &[Check],
    link: &LinkDefaults,
    faults: &mut Faults,
) -> Option<Framer> {
    use FrameKind::{Block as Lines, Delimited as Between, Fixed as Same, Line as Each, Prefixed as Counted, Silence};
    let kind = frame.kind.value;
    faults.misplaced(
        &[
            ("start", span(&frame.start), matches!(kind, Between | Same | Counted)),
            ("end", span(&frame.end), matches!(kind, Each | Between | Counted | Lines)),
            ("sizes", frame.sizes.first().map(|size| &size.span), kind == Same),
            ("size", span(&frame.size), kind == Same),
            ("length", span(&frame.length), kind == Counted),
            ("escape", span(&frame.escape), kind == Between),
            ("sent_as", span(&frame.sent_as), matches!(kind, Each | Between)),
            ("open", span(&frame.open), kind == Lines),
            ("close", span(&frame.close), kind == Lines),
            ("max", span(&frame.max), true),
        ],
        "a frame of this kind",
    );
    let max = frame.max.as_ref().map_or(FRAME_DEFAULT, |max| max.value);
    if let Some(given) = &frame.max
        && !(FRAME_LEAST..=FRAME_MAX).contains(&max)
    {
        faults.add(
            &given.span,
            format!("a longest frame of {max} bytes found, {FRAME_LEAST} to {FRAME_MAX} were wanted"),
        );
    }
    let trail = checksum::size(checks, Stands::BehindEnd);
    let pairs = pairs(frame, faults);
    let start = frame.start.as_ref().map_or(Box::default(), |start| start.0.clone().into_boxed_slice());
    let kind = match kind {
        Each => Kind::Line(Line { end: line_end(needed(&frame.end, "end", frame, faults)?) }),
        Between => {
            let start = bytes(needed(&frame.start, "start", frame, faults)?, faults)?;
            let end = bytes(needed(&frame.end, "end", frame, faults)?, faults)?;
            let escape = match &frame.escape {
                Some(file) => Some(escape(file, &start, &end, faults)?),
                None => None,
            };
            if escape.is_none() && start == end {
                faults.add(
                    &frame.span,
                    "the same bytes for start and end found, different ones or an `escape` were wanted",
                );
            }
            Kind::Delimited(Delimited { start, end, escape, trail })
        }
        Same => {
            let sizes = sizes(frame, start.len()..max + 1, faults)?;
            Kind::Fixed(Fixed { start, sizes })
        }
        Counted => {
            let file = needed(&frame.length, "length", frame, faults)?;
            let length = length(file, &start, faults)?;
            let end = frame.end.as_ref().map_or(Box::default(), |end| end.0.clone().into_boxed_slice());
            let in_record = length.at > start.len();
            let checks = checksum::size(checks, Stands::BeforeEnd);
            Kind::Prefixed(Prefixed { start, end, length, sizes: (0, max), checks, in_record })
        }
        Silence => {
            if link.silence_ms.is_none() {
                faults.advise(
                    &frame.kind.span,
                    "frames that end with silence found, and no silence given",
                    "say how long under [link]: `silence_ms = 50`",
                );
            }
            Kind::Silence
        }
        Lines => Kind::Block(Block {
            open: bytes(needed(&frame.open, "open", frame, faults)?, faults)?,
            close: bytes(needed(&frame.close, "close", frame, faults)?, faults)?,
            end: bytes(needed(&frame.end, "end", frame, faults)?, faults)?,
            checks: checksum::size(checks, Stands::BeforeEnd),
            line_checks: checksum::size(checks, Stands::EachLine),
        }),
    };
    Some(Framer { kind, max: max.clamp(FRAME_LEAST, FRAME_MAX), noise: frame.noise, pairs })
}

/// Digits in pairs hide start and end only where these are no digits.
fn pairs(frame: &FrameFile, faults: &mut Faults) -> Option<Pairs> {
    let sent_as = frame.sent_as.as_ref()?;
    let form = match sent_as.value {
        SentAs::Bytes => return None,
        SentAs::Hex => Form::Hex,
        SentAs::HexLower => Form::HexLower,
    };
    if let Some(escape) = &frame.escape {
        faults.add(&escape.span, "an escape found in a frame that is sent as digits, which has nothing to hide");
    }
    for (key, octets) in [("start", &frame.start), ("end", &frame.end)] {
        let Some(octets) = octets.as_ref().filter(|octets| octets.0 != b"any") else { continue };
        if octets.0.first().is_some_and(u8::is_ascii_hexdigit) {
            faults.add(
                &octets.span,
                format!("`{key}` found that begins with a digit, which could stand inside the frame"),
            );
        }
    }
    Some(Pairs { form })
}

/// The lengths of fixed frames: one, or one for each kind.
fn sizes(frame: &At<FrameFile>, room: Range<usize>, faults: &mut Faults) -> Option<Vec<(Box<[u8]>, usize)>> {
    let checked = |size: &At<usize>, begins: Box<[u8]>, faults: &mut Faults| {
        let least = room.start + begins.len().max(1);
        if !(least..room.end).contains(&size.value) {
            let (found, most) = (size.value, room.end - 1);
            let message = format!("a size of {found} bytes found, more than the start and at most {most} were wanted");
            faults.add(&size.span, message);
        }
        (begins, size.value)
    };
    match (&frame.size, &frame.sizes[..]) {
        (Some(size), []) => Some(vec![checked(size, Box::default(), faults)]),
        (None, sizes @ [_, ..]) if sizes.len() <= RECORDS_MAX => {
            sizes.iter().map(|size| Some(checked(&size.size, bytes(&size.begins, faults)?, faults))).collect()
        }
        (None, sizes) if sizes.len() > RECORDS_MAX => {
            faults.add(&frame.span, format!("{} sizes found, at most {RECORDS_MAX} were wanted", sizes.len()));
            None
        }
        _ => {
            faults.add(&frame.span, "either `size`, or `sizes` for each kind of frame, was wanted");
            None
        }
    }
}

fn needed<'a, T>(value: &'a Option<At<T>>, key: &str, frame: &At<FrameFile>, faults: &mut Faults) -> Option<&'a At<T>> {
    if value.is_none() {
        faults.add(&frame.span, format!("a frame of this kind without `{key}` found, it was wanted"));
    }
    value.as_ref()
}

fn bytes(octets: &At<Octets>, faults: &mut Faults) -> Option<Box<[u8]>> {
    if (1..=BYTES_MAX).contains(&octets.0.len()) {
        return Some(octets.0.clone().into());
    }
    faults.add(&octets.span, format!("{} bytes found, 1 to {BYTES_MAX} were wanted", octets.0.len()));
    None
}

fn line_end(end: &At<Octets>) -> LineEnd {
    if end.0 == b"any" { LineEnd::Any } else { LineEnd::Bytes(end.0.clone().into()) }
}

fn escape(file: &At<EscapeFile>, start: &[u8], end: &[u8], faults: &mut Faults) -> Option<Escape> {
    let byte = file.byte;
    let hidden = match (&file.flip, &file.replaces) {
        (Some(flip), None) => Hidden::Flip(flip.value),
        (None, Some(pairs)) => Hidden::Replaced(pairs.value.clone()),
        _ => {
            faults.add(&file.span, "either `flip` or `replaces` was wanted in an escape");
            return None;
        }
    };
    let escape = Escape { byte, hidden };
    // Each byte that must be hidden has to come out as itself, and must not look like start or end on the way. What
    // stands behind an escape is passed over by the search for the end, so it may be the byte itself.
    for plain in [byte, start[0], end[0]] {
        let (mut sent, mut back) = (Vec::new(), Vec::new());
        escape.cover(&[plain], start, end, &mut sent);
        let shows = sent.len() < 2 || sent.starts_with(end) || sent.starts_with(start);
        if shows || escape.uncover(&sent, &mut back).is_err() || back != [plain] {
            faults.add(&file.span, format!("the byte {plain:#04X} would not be hidden by this escape"));
            return None;
        }
    }
    Some(escape)
}

fn length(file: &At<LengthFile>, start: &[u8], faults: &mut Faults) -> Option<Length> {
    let bytes = file.bytes.value;
    let allowed = if file.form == Form::Binary { 1..=4 } else { 1..=5 };
    if !allowed.contains(&bytes) {
        let most = allowed.end();
        faults.add(&file.bytes.span, format!("a length of {bytes} bytes found, 1 to {most} were wanted"));
        return None;
    }
    if file.at.value < start.len() || file.at.value > BYTES_MAX {
        let (found, least) = (file.at.value, start.len());
        faults.add(&file.at.span, format!("a length at byte {found} found, {least} to {BYTES_MAX} was wanted"));
        return None;
    }
    let (at, order, form, counts, plus) = (file.at.value, file.order, file.form, file.counts, file.plus);
    Some(Length { at, bytes, order, form, counts, plus })
}

/// Holds the records against the frame: a fixed frame must have room for exactly each of them, a length must stand
/// where the records say, and the sizes that a length may name are those of the records.
pub(super) fn fit(
    framer: &mut Framer,
    checks: &[Check],
    files: &[At<RecordFile>],
    records: &[Rule],
    faults: &mut Faults,
) {
    let before = checksum::size(checks, Stands::BeforeEnd);
    let max = framer.max;
    let bounds = records.iter().map(|rule| bounds(&rule.layout));
    match &mut framer.kind {
        Kind::Fixed(fixed) => {
            let around = fixed.start.len() + before;
            let rooms: Vec<usize> = fixed.sizes.iter().map(|(_, size)| size.saturating_sub(around)).collect();
            for ((least, most), file) in bounds.zip(files) {
                if !rooms.iter().any(|room| (least..=most).contains(room)) {
                    let found = if least == most { least.to_string() } else { format!("{least} to {most}") };
                    let room = rooms.iter().map(usize::to_string).collect::<Vec<_>>().join(" or ");
                    let message = format!("fields of {found} bytes found, the frame has room for {room}");
                    faults.add(&file.span, message);
                }
            }
        }
        Kind::Prefixed(prefixed) => {
            let around = if prefixed.in_record { prefixed.start.len() } else { prefixed.header() };
            let around = around + before + prefixed.end.len();
            for ((rule, file), (least, _)) in records.iter().zip(files).zip(bounds.clone()) {
                if prefixed.in_record {
                    length_stands(rule, file, prefixed, faults);
                }
                if least + around > max {
                    faults.add(
                        &file.span,
                        format!("at least {} bytes found, the longest frame has {max}", least + around),
                    );
                }
            }
            let least = bounds.clone().map(|(least, _)| least).min().unwrap_or(0) + around;
            let most = bounds.map(|(_, most)| most).max().unwrap_or(0).saturating_add(around);
            prefixed.sizes = (least.max(prefixed.header()), most.min(max));
        }
        Kind::Line(_) | Kind::Delimited(_) | Kind::Silence | Kind::Block(_) => {}
    }
    let holds = records.iter().zip(files).find(|(rule, _)| length_place(&rule.layout).is_some());
    if let Some((_, file)) = holds
        && !matches!(&framer.kind, Kind::Prefixed(prefixed) if prefixed.in_record)
    {
        let advice = "it is wanted only where bytes stand between `start` and the length of a `prefixed` frame";
        faults.advise(
            &file.span,
            "a field that is the length of the frame found, and the frame has none there",
            advice,
        );
    }
}

fn length_stands(rule: &Rule, file: &At<RecordFile>, prefixed: &Prefixed, faults: &mut Faults) {
    let wanted = prefixed.length.at - prefixed.start.len();
    match length_place(&rule.layout) {
        Some((at, bytes)) if (at, bytes) == (Some(wanted), prefixed.length.bytes) => {}
        _ => {
            let bytes = prefixed.length.bytes;
            faults.add(
                &file.span,
                format!("a field `is = \"length\"` of {bytes} bytes was wanted {wanted} bytes behind the start"),
            );
        }
    }
}

/// Where the length stands in a record, if it holds one: its place, if that is fixed, and its bytes.
fn length_place(layout: &Layout) -> Option<(Option<usize>, usize)> {
    let Layout::Sequence(steps) = layout else { return None };
    let mut at = Some(0);
    for step in steps {
        if let Step::Length { bytes } = step {
            return Some((at, *bytes));
        }
        let (least, most) = step_bounds(step);
        at = at.filter(|_| least == most).map(|at| at + least);
    }
    None
}

/// The least and the most bytes that a record takes.
pub(in crate::protocol) fn bounds(layout: &Layout) -> (usize, usize) {
    match layout {
        Layout::Sequence(steps) => {
            let mut may_end = None;
            let (mut least, mut most) = (0usize, 0usize);
            for step in steps {
                if matches!(step, Step::MayEnd) {
                    may_end = may_end.or(Some(least));
                }
                let (step_least, step_most) = step_bounds(step);
                least += step_least;
                most = most.saturating_add(step_most);
            }
            (may_end.unwrap_or(least), most)
        }
        Layout::Keyed(keyed) => (keyed.begins.len() + keyed.ends.len(), usize::MAX),
        Layout::Json { .. } => (2, usize::MAX),
    }
}

fn step_bounds(step: &Step) -> (usize, usize) {
    match step {
        Step::Literal(literal) => (literal.len(), literal.len()),
        Step::Field { extent: Extent::Fixed(size), .. } | Step::Skip { extent: Extent::Fixed(size), .. } => {
            (*size, *size)
        }
        Step::Field { extent: Extent::UpTo(size), .. } | Step::Skip { extent: Extent::UpTo(size), .. } => (0, *size),
        Step::Field { .. } | Step::Skip { .. } => (0, usize::MAX),
        Step::Gap(_) => (1, usize::MAX),
        Step::Flags { bytes, .. } | Step::Length { bytes } => (*bytes, *bytes),
        Step::MayEnd => (0, 0),
    }
}
