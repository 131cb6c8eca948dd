//! One field, from the file to the tree: what kind of part it is.

mod choice;
mod flags;
mod keys;
mod meaning;
mod number;
mod time;
mod width;

use choice::choice;
use flags::flags;
use keys::misplaced;
use meaning::{fits, range, unit};
use time::time;
use width::{filling, width};

use super::build::{Faults, name};
use super::{Choice, Code, Field, Filling, Presence, Quotes, Span, Text};
use crate::protocol::format::file::{Chars, Encoding, FieldFile, Is, LayoutKind, Means, Order};
use crate::protocol::format::written::{At, Octets};
use crate::protocol::limits::{ABSENT_MAX, BYTES_MAX, FRAME_MAX};

/// Where a field stands, as far as its own keys depend on it.
#[derive(Clone, Copy)]
pub(super) struct Place {
    pub(super) layout: LayoutKind,
    pub(super) encoding: Encoding,
}

/// What a field turned out to be.
pub(super) enum Part {
    /// A value.
    Field(Box<Field>, Option<usize>),
    /// Always these bytes.
    Literal(Box<[u8]>),
    /// Bytes of no interest.
    Skip { size: Option<usize>, fill: Box<[u8]> },
    /// Bits with meanings: bytes, order, and each part.
    Flags { bytes: usize, order: Order, parts: Vec<(Field, u8, u8)>, unused: u64 },
    /// The length of the frame.
    Length { bytes: usize },
}

pub(super) fn build(file: &At<FieldFile>, place: Place, faults: &mut Faults) -> Option<Part> {
    misplaced(file, place, faults);
    match file.is.value {
        Is::Literal => literal(file, faults),
        Is::Skip => skip(file, place, faults),
        Is::Length => {
            let bytes = size(file, faults)?;
            Some(Part::Length { bytes })
        }
        Is::Flags => flags(file, faults),
        _ => value(file, place, faults),
    }
}

fn literal(file: &FieldFile, faults: &mut Faults) -> Option<Part> {
    match &file.literal {
        Some(literal) if (1..=BYTES_MAX).contains(&literal.0.len()) => Some(Part::Literal(literal.0.clone().into())),
        Some(literal) => {
            faults.add(&literal.span, format!("{} bytes found, 1 to {BYTES_MAX} were wanted", literal.0.len()));
            None
        }
        None => {
            faults.add(&file.is.span, "a literal without its bytes found, `literal = \"...\"` was wanted");
            None
        }
    }
}

fn skip(file: &FieldFile, place: Place, faults: &mut Faults) -> Option<Part> {
    let size = match (&file.bytes, &file.width) {
        (Some(bytes), _) => Some(bytes.value),
        (None, Some(width)) if width.min == width.max => Some(width.min),
        (None, Some(width)) => {
            faults.add(&width.span, "a range of widths found, one width or none was wanted for bytes of no interest");
            return None;
        }
        (None, None) => None,
    };
    if size.is_some_and(|size| size > FRAME_MAX) {
        faults.add(&file.is.span, format!("more than {FRAME_MAX} bytes to be passed over found"));
        return None;
    }
    let filling = if place.layout == LayoutKind::Binary { 0 } else { b' ' };
    let fill = match (&file.fill, size) {
        (Some(fill), _) => fill.0.clone(),
        (None, Some(size)) => vec![filling; size],
        (None, None) => Vec::new(),
    };
    if let (Some(given), Some(size)) = (&file.fill, size)
        && given.0.len() != size
    {
        faults.add(&given.span, format!("{} bytes found, {size} were wanted", given.0.len()));
    }
    Some(Part::Skip { size, fill: fill.into() })
}

fn size(file: &FieldFile, faults: &mut Faults) -> Option<usize> {
    if file.bytes.is_none() {
        faults.add(&file.is.span, "`bytes` was wanted: how many the field takes");
    }
    file.bytes.as_ref().map(|bytes| bytes.value)
}

fn value(file: &At<FieldFile>, place: Place, faults: &mut Faults) -> Option<Part> {
    let field_name = named(file.name.as_ref(), file.means.as_ref(), &file.is.span, faults);
    let width = width(file, place, faults);
    let filling = filling(file, place, width, faults);
    let code = code(file, place, width, filling, faults);
    let (field_name, code) = (field_name?, code?);
    let presence = if file.optional || !file.absent.is_empty() { Presence::Optional } else { Presence::Required };
    if file.optional && place.layout == LayoutKind::Binary && !matches!(code, Code::Text(_) | Code::Number(_)) {
        faults.advise(
            &file.is.span,
            "an optional binary field found",
            "name the bytes that stand for no value: `absent = [[0xFF, 0xFF]]`",
        );
    }
    if file.absent.len() > ABSENT_MAX {
        let found = file.absent.len();
        faults.add(&file.is.span, format!("{found} texts for no value found, at most {ABSENT_MAX} were wanted"));
    }
    let zeros = filling.is_some_and(|filling| filling.byte == b'0') && width.min > 0;
    if file.optional && zeros && file.absent.is_empty() && matches!(code, Code::Number(_)) {
        faults.advise(
            &file.is.span,
            "an optional number filled with zeros found: none of them could be told from 0",
            "say what stands there instead: `absent = [\"    \"]`",
        );
    }
    let affix = |octets: &Option<At<Octets>>| {
        octets.as_ref().map_or(Box::default(), |octets| octets.0.clone().into_boxed_slice())
    };
    let field = Field {
        name: field_name,
        means: file.means.as_ref().map(|means| means.value),
        presence,
        before: affix(&file.before),
        behind: affix(&file.behind),
        absent: file.absent.iter().map(|text| text.0.clone().into()).collect(),
        unit: unit(file, faults),
        range: range(file, faults),
        code,
    };
    if let Some(means) = &file.means {
        fits(means, &field, file.values.as_ref(), faults);
    }
    let size = fixed_size(file, &field, place, width, faults);
    Some(Part::Field(Box::new(field), size))
}

fn code(
    file: &At<FieldFile>,
    place: Place,
    width: Span,
    filling: Option<Filling>,
    faults: &mut Faults,
) -> Option<Code> {
    let order = file.order.as_ref().map_or(Order::Big, |order| order.value);
    Some(match file.is.value {
        Is::Decimal | Is::Integer => Code::Number(number::written(file, width, filling, faults)),
        Is::Hex => number::hex(file, width, faults),
        Is::Text => {
            let chars = file.chars.as_ref().map_or(Chars::Printable, |chars| chars.value);
            let encoding = if place.layout == LayoutKind::Json { Encoding::Utf8 } else { place.encoding };
            Code::Text(Text { encoding, chars, filling, width })
        }
        Is::Choice => Code::Choice(choice(file, place, width, filling, order, faults)?),
        Is::Time => Code::Time(time(file, faults)?),
        Is::Unsigned | Is::Signed | Is::Float | Is::Bcd => number::binary(file, order, faults)?,
        Is::Literal | Is::Skip | Is::Flags | Is::Length => return None,
    })
}

/// How many bytes a field takes, where it is always the same.
fn fixed_size(file: &FieldFile, field: &Field, place: Place, width: Span, faults: &mut Faults) -> Option<usize> {
    let around = field.before.len() + field.behind.len();
    let inner = match &field.code {
        Code::Integer { bytes, .. } | Code::Float { bytes, .. } | Code::Bcd { bytes, .. } => Some(*bytes),
        Code::Time(time) => Some(time.width()),
        Code::Choice(Choice { binary: Some((bytes, _)), .. }) => Some(*bytes),
        Code::Choice(choice) if !choice.open && choice.width.max == usize::MAX => {
            let mut sizes = choice.items.iter().map(|item| item.sent.len());
            let first = sizes.next();
            first.filter(|first| sizes.all(|size| size == *first))
        }
        _ => (width.min == width.max).then_some(width.min),
    };
    let absent_differs = inner.is_some_and(|inner| field.absent.iter().any(|text| text.len() != inner));
    if absent_differs && matches!(place.layout, LayoutKind::Binary | LayoutKind::Columns) {
        faults.add(&file.is.span, "texts for no value of another length than the field found");
    }
    inner.map(|inner| inner + around)
}

fn named(
    given: Option<&At<String>>,
    means: Option<&At<Means>>,
    at: &std::ops::Range<usize>,
    faults: &mut Faults,
) -> Option<Box<str>> {
    match (given, means) {
        (Some(given), _) => {
            name(given, "a field", faults);
            Some(given.value.as_str().into())
        }
        (None, Some(means)) => Some(means.word().into()),
        (None, None) => {
            faults.advise(
                at,
                "a field without a name found",
                "give it a `name`, say what it `means`, or `is = \"skip\"` it",
            );
            None
        }
    }
}

/// Whether a JSON value stands in quotes.
pub(super) fn quotes(file: &FieldFile) -> Quotes {
    let bare = matches!(file.is.value, Is::Decimal | Is::Integer | Is::Skip);
    match file.quoted.as_ref().map(|quoted| quoted.value) {
        Some(true) => Quotes::Quoted,
        Some(false) => Quotes::Bare,
        None if bare => Quotes::Bare,
        None => Quotes::Quoted,
    }
}
