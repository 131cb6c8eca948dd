//! The checked tree: what a format file means, with everything that could be wrong about it already ruled out.
//!
//! Two walks go over it: `record::read` takes a frame apart, `record::write` puts one together. It holds no repeat and
//! no recursion but JSON's own nesting, so the work of a walk is bounded by the frame and the tree.

mod build;
mod checks;
pub(super) mod examples;
mod fields;
mod frames;
mod layouts;
mod talk;

pub(super) use build::build;
pub(super) use examples::{Example, Wanted};
pub(super) use layouts::implied;

use crate::units::{Decimal, Unit};

use super::checksum::Check;
use super::format::file::{Chars, Encoding, Means, Order, RecordKind, Sign, SignAt};
use super::framing::Framer;

/// Frames, checks and records of a format.
#[derive(Debug)]
pub(super) struct Grammar {
    pub(super) framer: Framer,
    pub(super) checks: Vec<Check>,
    pub(super) records: Vec<Rule>,
}

/// One kind of record.
#[derive(Debug)]
pub(super) struct Rule {
    pub(super) name: Box<str>,
    pub(super) kind: RecordKind,
    /// All of them hold if a frame is of this kind.
    pub(super) tests: Vec<Test>,
    pub(super) layout: Layout,
    /// Its fields; a slot is a place in this list.
    pub(super) fields: Vec<Field>,
    /// It begins with a literal, so that a tail of it is not taken for the whole.
    pub(super) leads: Leads,
    /// The slots whose numbers have a range, or depend on another field: all that is looked at once more at the end.
    pub(super) settled: Box<[u16]>,
    /// The slot of each meaning, by the number of the meaning.
    pub(super) slots: [Option<u16>; MEANINGS],
}

impl Rule {
    /// The slot of the field with that meaning.
    pub(super) fn slot(&self, means: Means) -> Option<usize> {
        self.slots[means as usize].map(usize::from)
    }
}

/// How many meanings there are.
pub(super) const MEANINGS: usize = Means::ALL.len();

/// Whether a record shows where it begins.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Leads {
    /// By a literal.
    ByLiteral,
    /// Not at all.
    Not,
}

/// A fixed part by which a record is told from the others.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) enum Test {
    /// One of these stands at that byte.
    At { offset: usize, any_of: Vec<Box<[u8]>> },
    /// One of these is that item, counted from 0, behind so many bytes.
    Item { behind: usize, separator: Box<[u8]>, repeats: bool, index: usize, any_of: Vec<Box<[u8]>> },
    /// One of these stands under that key.
    Key { behind: usize, separator: Box<[u8]>, joins: Box<[u8]>, key: Box<[u8]>, any_of: Vec<Box<[u8]>> },
    /// One of these stands at that JSON pointer.
    Pointer { path: Vec<Box<str>>, any_of: Vec<Box<[u8]>> },
    /// These bits of so many bytes at that place hold one of these.
    Bits { offset: usize, bytes: usize, order: Order, bit: u8, bits: u8, any_of: Vec<u64> },
}

/// How the fields of a record lie.
#[derive(Debug)]
pub(super) enum Layout {
    /// One behind another.
    Sequence(Vec<Step>),
    /// Pairs of key and value in any order.
    Keyed(Keyed),
    /// One JSON object.
    Json {
        root: Node,
        /// How many literals it has; all must be there.
        literals: usize,
        others: Excess,
    },
}

/// What is done with keys that the file does not name.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Excess {
    /// The record is refused.
    Refused,
    /// They are passed over.
    Ignored,
}

/// One step of a sequence.
#[derive(Debug)]
pub(super) enum Step {
    /// These bytes.
    Literal(Box<[u8]>),
    /// A field.
    Field { slot: usize, extent: Extent },
    /// Bytes of no interest; what is written there.
    Skip { extent: Extent, fill: Box<[u8]> },
    /// One or more of this byte.
    Gap(u8),
    /// Bits with meanings, and the bits that must be 0.
    Flags { bytes: usize, order: Order, parts: Vec<Bits>, unused: u64 },
    /// The length of a prefixed frame, which the framer has read.
    Length { bytes: usize },
    /// The record may end here; the fields behind are absent then.
    MayEnd,
}

/// Some bits of a flags field.
#[derive(Debug)]
pub(super) struct Bits {
    pub(super) slot: usize,
    pub(super) bit: u8,
    pub(super) bits: u8,
}

/// How far a field reaches.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) enum Extent {
    /// So many bytes.
    Fixed(usize),
    /// So many bytes, or fewer where the record ends before.
    UpTo(usize),
    /// To these bytes, or to the end.
    Until(Box<[u8]>),
    /// As long as the characters are those of a number, or the longest value of a choice.
    Natural,
    /// To the end.
    Rest,
}

/// Pairs of key and value in any order.
#[derive(Debug)]
pub(super) struct Keyed {
    pub(super) begins: Box<[u8]>,
    pub(super) ends: Box<[u8]>,
    pub(super) separator: Box<[u8]>,
    pub(super) joins: Box<[u8]>,
    pub(super) entries: Vec<Entry>,
    /// Places in `entries`, sorted by key.
    pub(super) by_key: Vec<u16>,
    pub(super) others: Excess,
}

/// One pair.
#[derive(Debug)]
pub(super) struct Entry {
    pub(super) key: Box<[u8]>,
    pub(super) steps: Vec<Step>,
    pub(super) presence: Presence,
    /// The slots that its steps fill.
    pub(super) slots: Vec<usize>,
}

/// A place in a JSON record.
#[derive(Debug)]
pub(super) enum Node {
    /// An object with these members.
    Object(Vec<(Box<str>, Node)>),
    /// A list.
    Array(Vec<Node>),
    /// A field.
    Field { slot: usize, quotes: Quotes },
    /// Always this value.
    Literal { value: Box<[u8]>, quotes: Quotes },
}

/// Whether a JSON value stands in quotes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Quotes {
    /// `"1.2834"`
    Quoted,
    /// `1.2834`
    Bare,
}

/// A field.
#[derive(Debug)]
pub(super) struct Field {
    pub(super) name: Box<str>,
    pub(super) means: Option<Means>,
    pub(super) code: Code,
    pub(super) presence: Presence,
    pub(super) before: Box<[u8]>,
    pub(super) behind: Box<[u8]>,
    /// Texts that stand for no value.
    pub(super) absent: Vec<Box<[u8]>>,
    pub(super) unit: FieldUnit,
    pub(super) range: Option<[Decimal; 2]>,
}

/// Whether a field must be there.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Presence {
    /// It must.
    Required,
    /// It may be empty or missing.
    Optional,
}

/// The unit of a field.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum FieldUnit {
    /// It has none.
    None,
    /// Always this length unit.
    Length(Unit),
    /// The length unit that the choice in that slot means.
    From(usize),
    /// Its value times `numerator / denominator`, plus an offset, is in the unit of the book: for temperatures and tilts.
    Other { factor: f64, offset: f64 },
}

/// How a field is written.
#[derive(Debug)]
pub(super) enum Code {
    Number(Number),
    Hex {
        width: Span,
        scale: Scale,
    },
    Text(Text),
    Choice(Choice),
    Time(Time),
    Integer {
        bytes: usize,
        order: Order,
        signed: Signed,
        scale: Scale,
    },
    Float {
        bytes: usize,
        order: Order,
        decimals: u8,
    },
    Bcd {
        bytes: usize,
        sign: Sign,
        scale: Scale,
    },
    /// Some bits as a number.
    Bits,
}

/// Whether a binary number has a sign.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Signed {
    /// Two's complement.
    Yes,
    /// Not negative.
    No,
}

/// From the whole number sent to the value: `sent * times / 10^decimals`.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Scale {
    pub(super) decimals: Decimals,
    pub(super) times: u32,
}

/// How many digits stand behind the point.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Decimals {
    /// Any number of them.
    Any,
    /// Exactly so many.
    All(u8),
    /// So many by the unit, in the order of [`Unit::ALL`].
    Each([Option<u8>; Unit::ALL.len()]),
}

/// A number written in characters.
#[derive(Debug)]
pub(super) struct Number {
    pub(super) point: Point,
    pub(super) sign: Sign,
    pub(super) sign_at: SignAt,
    pub(super) filling: Option<Filling>,
    pub(super) width: Span,
}

/// Where the decimal point of a number stands.
#[derive(Debug)]
pub(super) enum Point {
    /// It is sent as this character, with so many digits behind it.
    Sent { mark: u8, decimals: Decimals },
    /// It is not sent.
    Implied(Scale),
}

/// What fills a field up to its width.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Filling {
    pub(super) byte: u8,
    pub(super) side: Side,
}

/// On which side of the value the filling stands.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Side {
    /// In front of it.
    Front,
    /// Behind it.
    Behind,
}

/// The least and the most characters of a field.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Span {
    pub(super) min: usize,
    pub(super) max: usize,
}

/// Characters.
#[derive(Debug)]
pub(super) struct Text {
    pub(super) encoding: Encoding,
    pub(super) chars: Chars,
    pub(super) filling: Option<Filling>,
    pub(super) width: Span,
}

/// One of several values.
#[derive(Debug)]
pub(super) struct Choice {
    pub(super) items: Vec<Item>,
    /// Other values are taken as they are.
    pub(super) open: bool,
    pub(super) filling: Option<Filling>,
    pub(super) width: Span,
    /// So many bytes in binary, and their order; characters if `None`.
    pub(super) binary: Option<(usize, Order)>,
    pub(super) encoding: Encoding,
}

/// One value of a choice.
#[derive(Debug)]
pub(super) struct Item {
    /// As it is sent.
    pub(super) sent: Box<[u8]>,
    /// As the file writes it.
    pub(super) key: Box<str>,
    /// Its number, where it is sent in binary or as bits.
    pub(super) number: u64,
    /// What it means.
    pub(super) meaning: Box<str>,
}

/// A date, a time of day, or both.
#[derive(Debug)]
pub(super) struct Time {
    pub(super) parts: Vec<TimePart>,
    pub(super) zone: Box<str>,
}

/// One part of a time.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum TimePart {
    /// This character.
    Literal(u8),
    /// So many digits, with their least and greatest value.
    Digits { count: u8, least: u16, most: u16 },
}

impl Time {
    /// How many characters it has.
    pub(super) fn width(&self) -> usize {
        self.parts
            .iter()
            .map(|part| if let TimePart::Digits { count, .. } = part { usize::from(*count) } else { 1 })
            .sum()
    }
}
