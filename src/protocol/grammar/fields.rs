//! One field, from the file to the tree: which keys belong to which kind, and whether the meaning fits.

use super::build::{Faults, name, span};
use super::{
    Choice, Code, Decimals, Field, FieldUnit, Filling, Item, Number, Point, Presence, Quotes, Scale, Side, Signed,
    Span, Text, Time, TimePart,
};
use crate::protocol::format::file::{
    Align, BitFile, Chars, Encoding, FieldFile, Is, LayoutKind, Mark, Means, Order, Sign, SignAt,
};
use crate::protocol::format::written::{At, Octets, Pairs, PerUnit, Width};
use crate::protocol::limits::{BYTES_MAX, FRAME_MAX, NUMBER_MAX};
use crate::units::Unit;

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

fn misplaced(file: &FieldFile, place: Place, faults: &mut Faults) {
    use Is::{
        Bcd, Decimal, Flags, Float, Hex, Integer, Length, Literal, Signed as Int, Skip, Text as Chars, Time as Clock,
        Unsigned,
    };
    let is = file.is.value;
    let layout = place.layout;
    let binary = layout == LayoutKind::Binary;
    let characters = matches!(is, Decimal | Integer | Hex | Chars | Is::Choice | Clock);
    let number = matches!(is, Decimal | Integer | Hex | Unsigned | Int | Float | Bcd);
    let valued = characters || number;
    faults.misplaced(
        &[
            ("name", span(&file.name), valued),
            ("means", span(&file.means), valued),
            ("width", span(&file.width), characters || is == Skip),
            ("pad", span(&file.pad), matches!(is, Decimal | Integer | Chars | Is::Choice)),
            ("align", span(&file.align), matches!(is, Decimal | Integer | Chars | Is::Choice)),
            ("decimals", span(&file.decimals), matches!(is, Decimal | Float)),
            ("implied", span(&file.implied), matches!(is, Decimal | Unsigned | Int | Bcd)),
            ("times", span(&file.times), matches!(is, Decimal | Unsigned | Int | Bcd)),
            ("mark", span(&file.mark), is == Decimal),
            ("sign", span(&file.sign), matches!(is, Decimal | Integer | Bcd)),
            ("sign_at", span(&file.sign_at), matches!(is, Decimal | Integer)),
            ("bytes", span(&file.bytes), matches!(is, Unsigned | Int | Float | Bcd | Flags | Length | Skip) || binary),
            ("order", span(&file.order), matches!(is, Unsigned | Int | Float | Flags) || (binary && is == Is::Choice)),
            ("literal", span(&file.literal), is == Literal),
            ("values", span(&file.values), is == Is::Choice),
            ("unit", span(&file.unit), number),
            ("unit_from", span(&file.unit_from), number),
            ("range", span(&file.range), number),
            ("chars", span(&file.chars), is == Chars),
            ("pattern", span(&file.pattern), is == Clock),
            ("zone", span(&file.zone), is == Clock),
            ("fill", span(&file.fill), is == Skip),
        ],
        "a field of this kind",
    );
    faults.misplaced(
        &[
            ("columns", span(&file.columns), layout == LayoutKind::Columns),
            ("key", span(&file.key), layout == LayoutKind::Keyed),
            ("pointer", span(&file.pointer), layout == LayoutKind::Json),
            ("quoted", span(&file.quoted), layout == LayoutKind::Json),
            ("at", span(&file.at), binary),
            ("before", span(&file.before), valued && layout != LayoutKind::Json),
            ("behind", span(&file.behind), valued && layout != LayoutKind::Json),
        ],
        "this layout",
    );
    if matches!(is, Unsigned | Int | Float | Bcd | Flags) && !binary {
        faults.add(&file.is.span, "a binary field found, which only the layout \"binary\" can hold");
    }
    if (file.open || file.chooses) && is != Is::Choice {
        faults.add(&file.is.span, "`open` and `chooses` have no meaning but for a choice");
    }
    if !file.bits.is_empty() && is != Flags {
        faults.add(&file.is.span, "`bits` have no meaning but for flags");
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

fn flags(file: &FieldFile, faults: &mut Faults) -> Option<Part> {
    let bytes = size(file, faults)?;
    if !matches!(bytes, 1..=4) {
        faults.add(span(&file.bytes)?, format!("flags of {bytes} bytes found, 1 to 4 were wanted"));
        return None;
    }
    let all = u64::MAX >> (64 - 8 * bytes);
    let mut used = 0u64;
    let mut parts = Vec::new();
    for bit in &file.bits {
        let (low, count) = (bit.bit.value, bit.bits.as_ref().map_or(1, |bits| bits.value));
        if count == 0 || usize::from(low) + usize::from(count) > 8 * bytes {
            faults.add(&bit.span, format!("bits beyond the {} of the field found", 8 * bytes));
            return None;
        }
        let mask = (u64::MAX >> (64 - count)) << low;
        if used & mask != 0 {
            faults.add(&bit.span, "bits that another part holds already found");
        }
        used |= mask;
        parts.push((bits(bit, count, faults)?, low, count));
    }
    let order = file.order.as_ref().map_or(Order::Big, |order| order.value);
    Some(Part::Flags { bytes, order, parts, unused: all & !used })
}

fn bits(file: &BitFile, count: u8, faults: &mut Faults) -> Option<Field> {
    let means = file.means.as_ref().map(|means| means.value);
    let field_name = named(file.name.as_ref(), file.means.as_ref(), &file.bit.span, faults)?;
    let code = match &file.values {
        Some(values) => {
            let items = items(values, faults, |key, faults| {
                let number = number_key(key, faults)?;
                if number > u64::MAX >> (64 - count) {
                    faults.add(
                        &key.span,
                        format!("{number} found, {count} bits hold at most {}", u64::MAX >> (64 - count)),
                    );
                    return None;
                }
                Some((Box::default(), number))
            })?;
            let width = Span { min: 0, max: usize::MAX };
            Code::Choice(Choice { items, open: false, filling: None, width, binary: None, encoding: Encoding::Ascii })
        }
        None => Code::Bits,
    };
    let field = Field {
        name: field_name,
        means,
        code,
        presence: Presence::Required,
        before: Box::default(),
        behind: Box::default(),
        absent: Vec::new(),
        unit: FieldUnit::None,
        range: None,
    };
    if let Some(means) = &file.means {
        fits(means, &field, file.values.as_ref(), faults);
    }
    Some(field)
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

impl Means {
    /// All of them, in order.
    pub const ALL: [Means; super::MEANINGS] = [
        Means::Staff,
        Means::Sight,
        Means::Spread,
        Means::Count,
        Means::Point,
        Means::Role,
        Means::Sequence,
        Means::Time,
        Means::Temperature,
        Means::Battery,
        Means::Tilt,
        Means::Code,
        Means::Inverted,
        Means::Unit,
    ];

    /// The word of the format language.
    pub fn word(self) -> &'static str {
        match self {
            Means::Staff => "staff",
            Means::Sight => "sight",
            Means::Spread => "spread",
            Means::Count => "count",
            Means::Point => "point",
            Means::Role => "role",
            Means::Sequence => "sequence",
            Means::Time => "time",
            Means::Temperature => "temperature",
            Means::Battery => "battery",
            Means::Tilt => "tilt",
            Means::Code => "code",
            Means::Inverted => "inverted",
            Means::Unit => "unit",
        }
    }
}

const WIDE: Span = Span { min: 0, max: usize::MAX };

fn width(file: &FieldFile, place: Place, faults: &mut Faults) -> Span {
    let given = match (&file.width, &file.columns) {
        (Some(At { value: Width { min, max }, span }), _) => {
            if min > max || *max == 0 || *max > FRAME_MAX {
                faults.add(
                    span,
                    format!("a width from {min} to {max} found, at least 1 and at most {FRAME_MAX} were wanted"),
                );
            }
            Some(Span { min: *min, max: *max })
        }
        _ => None,
    };
    let columns = file.columns.as_ref().and_then(|columns| {
        let around = [&file.before, &file.behind].into_iter().flatten().map(|octets| octets.0.len()).sum::<usize>();
        let wide = (columns.value[1] + 1).checked_sub(columns.value[0] + around)?;
        Some(Span { min: wide, max: wide })
    });
    let bytes = file.bytes.as_ref().filter(|_| place.layout == LayoutKind::Binary);
    let bytes = bytes.map(|bytes| Span { min: bytes.value, max: bytes.value });
    match (given, columns.or(bytes)) {
        (Some(given), Some(other)) if given != other => {
            if let Some(at) = span(&file.width) {
                faults.add(at, format!("a width found that is not that of the {} characters it stands in", other.min));
            }
            other
        }
        (given, other) => other.or(given).unwrap_or(WIDE),
    }
}

fn filling(file: &FieldFile, place: Place, width: Span, faults: &mut Faults) -> Option<Filling> {
    let text = matches!(file.is.value, Is::Text | Is::Choice);
    let filled = matches!(file.is.value, Is::Text | Is::Choice | Is::Decimal | Is::Integer);
    let byte = match &file.pad {
        Some(pad) => match pad.as_bytes() {
            [byte @ b' '..=b'~'] => *byte,
            _ => {
                faults.add(&pad.span, format!("{:?} found, one printable character was wanted", pad.value));
                return None;
            }
        },
        None if place.layout == LayoutKind::Columns && filled => b' ',
        None => {
            if let Some(at) = span(&file.align) {
                faults.add(at, "`align` found without `pad`");
            }
            return None;
        }
    };
    if let (Some(at), usize::MAX) = (span(&file.pad), width.max) {
        faults.advise(at, "`pad` found without a width", "say how long the field is: `width = 8`, or `width = [1, 8]`");
    }
    let side = match file.align.as_ref().map(|align| align.value) {
        Some(Align::Left) => Side::Behind,
        Some(Align::Right) => Side::Front,
        None if text => Side::Behind,
        None => Side::Front,
    };
    let zero_behind = byte == b'0' && side == Side::Behind && !text;
    let digit = (b'1'..=b'9').contains(&byte) || matches!(byte, b'+' | b'-' | b'.' | b',');
    if let (Some(at), true) = (span(&file.pad), !text && (digit || zero_behind)) {
        faults.add(at, "a filling found that cannot be told from the number, a space, or zeros in front, were wanted");
    }
    Some(Filling { byte, side })
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
        Is::Decimal | Is::Integer => Code::Number(number(file, width, filling, faults)),
        Is::Hex => Code::Hex { width: if width == WIDE { Span { min: 1, max: 15 } } else { width } },
        Is::Text => {
            let chars = file.chars.as_ref().map_or(Chars::Printable, |chars| chars.value);
            let encoding = if place.layout == LayoutKind::Json { Encoding::Utf8 } else { place.encoding };
            Code::Text(Text { encoding, chars, filling, width })
        }
        Is::Choice => Code::Choice(choice(file, place, width, filling, order, faults)?),
        Is::Time => Code::Time(time(file, faults)?),
        Is::Unsigned | Is::Signed => {
            let bytes = size(file, faults)?;
            if !matches!(bytes, 1 | 2 | 3 | 4 | 8) {
                faults
                    .add(span(&file.bytes)?, format!("an integer of {bytes} bytes found, 1, 2, 3, 4 or 8 were wanted"));
                return None;
            }
            let signed = if file.is.value == Is::Signed { Signed::Yes } else { Signed::No };
            Code::Integer { bytes, order, signed, scale: scale(file, faults) }
        }
        Is::Float => {
            let bytes = size(file, faults)?;
            if !matches!(bytes, 4 | 8) {
                faults.add(span(&file.bytes)?, format!("a float of {bytes} bytes found, 4 or 8 were wanted"));
                return None;
            }
            match file.decimals.as_ref().map(|decimals| decimals.value) {
                Some(PerUnit::All(decimals)) => Code::Float { bytes, order, decimals },
                _ => {
                    faults.advise(
                        &file.is.span,
                        "a float without its decimals found",
                        "say with how many it is written out: `decimals = 5`",
                    );
                    return None;
                }
            }
        }
        Is::Bcd => {
            let bytes = size(file, faults)?;
            if !(1..=crate::protocol::record::BCD_MAX).contains(&bytes) {
                faults.add(span(&file.bytes)?, format!("packed digits of {bytes} bytes found, 1 to 9 were wanted"));
                return None;
            }
            let sign = file.sign.as_ref().map_or(Sign::None, |sign| sign.value);
            if !matches!(sign, Sign::None | Sign::Nibble) {
                faults.add(span(&file.sign)?, "a sign of packed digits found, \"none\" or \"nibble\" was wanted");
            }
            Code::Bcd { bytes, sign, scale: scale(file, faults) }
        }
        Is::Literal | Is::Skip | Is::Flags | Is::Length => return None,
    })
}

fn scale(file: &FieldFile, faults: &mut Faults) -> Scale {
    let decimals = match file.implied.as_ref().map(|implied| implied.value) {
        None => Decimals::All(0),
        Some(PerUnit::All(places)) => Decimals::All(places),
        Some(PerUnit::Each(each)) => Decimals::Each(each),
    };
    let times = file.times.as_ref().map_or(1, |times| times.value);
    if let (Some(at), 0) = (span(&file.times), times) {
        faults.add(at, "0 found, a step of at least 1 was wanted");
        return Scale { decimals, times: 1 };
    }
    Scale { decimals, times }
}

fn number(file: &FieldFile, width: Span, filling: Option<Filling>, faults: &mut Faults) -> Number {
    let mark = match file.mark.as_ref().map(|mark| mark.value) {
        Some(Mark::Comma) => b',',
        Some(Mark::Point) | None => b'.',
    };
    if let (Some(at), Some(_)) = (span(&file.decimals), &file.implied) {
        faults.add(at, "`decimals` and `implied` found, one of them was wanted: the point is sent, or it is not");
    }
    let whole = file.is.value == Is::Integer;
    let point = if whole || file.implied.is_some() || file.times.is_some() {
        Point::Implied(scale(file, faults))
    } else {
        let decimals = match file.decimals.as_ref().map(|decimals| decimals.value) {
            None => Decimals::Any,
            Some(PerUnit::All(places)) => Decimals::All(places),
            Some(PerUnit::Each(each)) => Decimals::Each(each),
        };
        Point::Sent { mark, decimals }
    };
    let mut sign = file.sign.as_ref().map_or(if whole { Sign::None } else { Sign::Minus }, |sign| sign.value);
    if let (Some(at), Sign::Nibble) = (span(&file.sign), sign) {
        faults.add(at, "a half byte as sign of written digits found, it is for packed digits");
    }
    let sign_at = file.sign_at.as_ref().map_or(SignAt::Front, |at| at.value);
    // Spaces on the same side swallow a space that stands for plus.
    let side = if sign_at == SignAt::Front { Side::Front } else { Side::Behind };
    if sign == Sign::Space && filling == Some(Filling { byte: b' ', side }) {
        sign = Sign::Minus;
    }
    let width = if width == WIDE { Span { min: 1, max: NUMBER_MAX } } else { width };
    Number { point, sign, sign_at, filling, width }
}

fn choice(
    file: &FieldFile,
    place: Place,
    width: Span,
    filling: Option<Filling>,
    order: Order,
    faults: &mut Faults,
) -> Option<Choice> {
    let Some(values) = &file.values else {
        faults.add(
            &file.is.span,
            "a choice without `values` found, a table such as { B = \"back\", F = \"fore\" } was wanted",
        );
        return None;
    };
    let binary = match (&file.bytes, place.layout) {
        (Some(bytes), LayoutKind::Binary) if matches!(bytes.value, 1..=4) => Some((bytes.value, order)),
        (Some(bytes), LayoutKind::Binary) => {
            faults.add(&bytes.span, format!("a choice of {} bytes found, 1 to 4 were wanted", bytes.value));
            return None;
        }
        _ => None,
    };
    let encoding = if place.layout == LayoutKind::Json { Encoding::Utf8 } else { place.encoding };
    let items = items(values, faults, |key, faults| match binary {
        Some((bytes, order)) => {
            let number = number_key(key, faults)?;
            let mut sent = Vec::new();
            crate::protocol::record::put(number, bytes, order, &mut sent);
            if number > u64::MAX >> (64 - 8 * bytes) {
                faults.add(&key.span, format!("{number} found, which {bytes} bytes cannot hold"));
                return None;
            }
            Some((sent.into(), number))
        }
        None => match crate::protocol::record::encoded(key, encoding) {
            Ok(sent) => {
                let filled = filling.is_some_and(|f| sent.first() == Some(&f.byte) || sent.last() == Some(&f.byte));
                if sent.is_empty() || sent.len() > width.max || (filled && sent.len() < width.max) {
                    faults.add(&key.span, format!("the value {:?} found, which cannot stand in this field", key.value));
                    return None;
                }
                Some((sent.into(), 0))
            }
            Err(reason) => {
                faults.add(&key.span, reason);
                None
            }
        },
    })?;
    Some(Choice { items, open: file.open, filling, width, binary, encoding })
}

fn items(
    values: &At<Pairs<String>>,
    faults: &mut Faults,
    mut sent: impl FnMut(&At<String>, &mut Faults) -> Option<(Box<[u8]>, u64)>,
) -> Option<Vec<Item>> {
    if values.0.is_empty() {
        faults.add(&values.span, "no values found, at least one was wanted");
        return None;
    }
    let mut items: Vec<Item> = Vec::new();
    for (key, meaning) in &values.0 {
        let (sent, number) = sent(key, faults)?;
        if items.iter().any(|item| item.sent == sent && item.number == number) {
            faults.add(&key.span, format!("the value {:?} found twice", key.value));
        }
        items.push(Item { sent, key: key.value.as_str().into(), number, meaning: meaning.value.as_str().into() });
    }
    Some(items)
}

fn number_key(key: &At<String>, faults: &mut Faults) -> Option<u64> {
    let number = match key.strip_prefix("0x") {
        Some(hex) => u64::from_str_radix(hex, 16).ok(),
        None => key.parse().ok(),
    };
    if number.is_none() {
        faults.add(&key.span, format!("{:?} found, a number such as \"1\" or \"0x0F\" was wanted", key.value));
    }
    number
}

fn time(file: &FieldFile, faults: &mut Faults) -> Option<Time> {
    let Some(pattern) = &file.pattern else {
        faults.advise(
            &file.is.span,
            "a time without `pattern` found",
            "for example `pattern = \"YYYY-MM-DD hh:mm:ss\"`",
        );
        return None;
    };
    let known = [
        ("YYYY", 0, 9999),
        ("YY", 0, 99),
        ("MM", 1, 12),
        ("DD", 1, 31),
        ("hh", 0, 23),
        ("mm", 0, 59),
        ("ss", 0, 60),
        ("fff", 0, 999),
    ];
    let mut parts = Vec::new();
    let mut rest = pattern.value.as_str();
    while let Some(first) = rest.chars().next() {
        if let Some((word, least, most)) = known.iter().find(|(word, ..)| rest.starts_with(word)) {
            parts.push(TimePart::Digits { count: word.len() as u8, least: *least, most: *most });
            rest = &rest[word.len()..];
        } else if first.is_ascii_alphabetic() && first != 'T' && first != 'Z' || !(' '..='~').contains(&first) {
            let known = known.map(|(word, ..)| word).join(", ");
            faults.add(
                &pattern.span,
                format!("{first:?} found in a pattern, one of {known} or a mark between them was wanted"),
            );
            return None;
        } else {
            parts.push(TimePart::Literal(first as u8));
            rest = &rest[1..];
        }
    }
    if !(1..=BYTES_MAX).contains(&parts.len()) {
        faults.add(&pattern.span, format!("{} parts of a time found, 1 to {BYTES_MAX} were wanted", parts.len()));
        return None;
    }
    let zone = match &file.zone {
        Some(zone) if zone.value == "UTC" || zone.value == "local" || is_offset(zone) => zone.value.as_str().into(),
        Some(zone) => {
            faults.add(
                &zone.span,
                format!("the zone {:?} found, UTC, local, or a difference such as +02:00 was wanted", zone.value),
            );
            return None;
        }
        None => "local".into(),
    };
    Some(Time { parts, zone })
}

fn is_offset(text: &str) -> bool {
    let digits = |at: usize| text.as_bytes()[at].is_ascii_digit();
    text.len() == 6
        && matches!(text.as_bytes()[0], b'+' | b'-')
        && digits(1)
        && digits(2)
        && text.as_bytes()[3] == b':'
        && digits(4)
        && digits(5)
}

fn unit(file: &FieldFile, faults: &mut Faults) -> FieldUnit {
    if let (Some(_), Some(at)) = (&file.unit, span(&file.unit_from)) {
        faults.add(at, "`unit` and `unit_from` found, one of them was wanted");
    }
    let means = file.means.as_ref().map(|means| means.value);
    let Some(unit) = &file.unit else {
        return FieldUnit::None;
    };
    let lengths = Unit::ALL.map(Unit::symbol);
    match means {
        Some(Means::Temperature) => match unit.as_str() {
            "C" => FieldUnit::None,
            "F" => FieldUnit::Other { factor: 5.0 / 9.0, offset: -160.0 / 9.0 },
            found => {
                faults.unknown(&unit.span, "unit of temperature", found, &["C", "F"]);
                FieldUnit::None
            }
        },
        Some(Means::Tilt) => match unit.as_str() {
            "arcmin" => FieldUnit::None,
            "arcsec" => FieldUnit::Other { factor: 1.0 / 60.0, offset: 0.0 },
            "deg" => FieldUnit::Other { factor: 60.0, offset: 0.0 },
            found => {
                faults.unknown(&unit.span, "unit of tilt", found, &["arcmin", "arcsec", "deg"]);
                FieldUnit::None
            }
        },
        Some(Means::Staff | Means::Sight | Means::Spread) | None => {
            match Unit::ALL.into_iter().find(|known| known.symbol() == unit.value) {
                Some(unit) => FieldUnit::Length(unit),
                None => {
                    faults.unknown(&unit.span, "unit", unit, &lengths);
                    FieldUnit::None
                }
            }
        }
        Some(means) => {
            faults.add(&unit.span, format!("a unit found for what means {}, which has none", means.word()));
            FieldUnit::None
        }
    }
}

fn range(file: &FieldFile, faults: &mut Faults) -> Option<[crate::units::Decimal; 2]> {
    let range = file.range.as_ref()?;
    match (range.value[0].number(), range.value[1].number()) {
        (Some(least), Some(most)) if !crate::protocol::record::below(most, least) => Some([least, most]),
        _ => {
            faults.add(&range.span, "a range found that is no least and greatest number");
            None
        }
    }
}

/// Whether a field is written so that it can mean what it is said to.
fn fits(means: &At<Means>, field: &Field, values: Option<&At<Pairs<String>>>, faults: &mut Faults) {
    let word = means.word();
    let (numeric, whole) = match &field.code {
        Code::Number(Number { point: Point::Sent { .. }, .. }) | Code::Float { .. } => (true, false),
        Code::Number(Number { point: Point::Implied(scale), .. })
        | Code::Bcd { scale, .. }
        | Code::Integer { scale, .. } => (true, scale.decimals == Decimals::All(0)),
        Code::Hex { .. } | Code::Bits => (true, true),
        Code::Text(_) | Code::Choice(_) | Code::Time(_) => (false, false),
    };
    let wanted: &[&str] = match means.value {
        Means::Staff | Means::Sight | Means::Spread | Means::Temperature | Means::Battery | Means::Tilt => {
            if !numeric {
                faults.add(&means.span, format!("what means {word} is no number, and a number was wanted"));
            }
            return;
        }
        Means::Count | Means::Sequence => {
            if !whole {
                faults.add(&means.span, format!("what means {word} is no whole number, and a whole number was wanted"));
            }
            return;
        }
        Means::Point | Means::Time | Means::Code => return,
        Means::Role => &["back", "fore", "intermediate"],
        Means::Inverted => &["upright", "inverted"],
        Means::Unit => &["m", "mm", "ft", "sft"],
    };
    let Some(values) = values else {
        faults.add(&means.span, format!("what means {word} is no choice, and a choice with `values` was wanted"));
        return;
    };
    for (_, meaning) in &values.0 {
        if !wanted.contains(&&*meaning.value) {
            faults.unknown(&meaning.span, word, meaning, wanted);
        }
    }
    if let Code::Choice(Choice { open: true, .. }) = &field.code {
        faults.add(&means.span, format!("an open choice found, what means {word} must be one of its values"));
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
