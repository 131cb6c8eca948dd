//! The walk that reads: a frame's bytes against the steps of its record.

use nom::IResult;
use nom::bytes::complete::{tag, take, take_till, take_while};

use super::code::longest_item;
use super::{Slots, Stop, binary, choose, counted, json, keyed, quoted, scale};
use crate::protocol::format::file::{Order, Sign};
use crate::protocol::grammar::{Bits, Code, Extent, Field, Grammar, Layout, Point, Presence, Rule, Step};

/// Reads the fields of a frame; gives the place of its rule in the grammar.
///
/// # Errors
/// Where and why the bytes do not fit.
pub(in crate::protocol) fn read(grammar: &Grammar, bytes: &[u8], slots: &mut Slots) -> Result<usize, Stop> {
    slots.begin(bytes.len());
    let chosen = choose::rule(grammar, bytes, slots)?;
    let rule = &grammar.records[chosen];
    slots.empty(rule.fields.len());
    match &rule.layout {
        Layout::Sequence(steps) => {
            let walk = Walk { rule, bytes, end: bytes.len() };
            let rest = walk.steps(steps, 0, slots)?;
            if rest < bytes.len() {
                return Err(Stop::new(rest, format!("{} found behind the last field", quoted(&bytes[rest..]))));
            }
        }
        Layout::Keyed(keyed) => keyed::read(rule, keyed, bytes, slots)?,
        Layout::Json { root, literals, others } => json::read(rule, (root, *literals, *others), bytes, slots)?,
    }
    scale::settle(rule, slots)?;
    Ok(chosen)
}

/// One walk over part of a frame.
pub(super) struct Walk<'a> {
    pub(super) rule: &'a Rule,
    pub(super) bytes: &'a [u8],
    /// Where the part ends.
    pub(super) end: usize,
}

type Parsed<'a> = IResult<&'a [u8], &'a [u8]>;

impl Walk<'_> {
    /// Takes the steps in order from byte `at`; gives where they end.
    pub(super) fn steps(&self, steps: &[Step], mut at: usize, slots: &mut Slots) -> Result<usize, Stop> {
        for step in steps {
            slots.step(at)?;
            let input = &self.bytes[at..self.end];
            at += match step {
                Step::Literal(literal) => match (&**literal, input) {
                    // Most literals are one separator.
                    ([wanted], [found, ..]) if wanted == found => 1,
                    (wanted, _) => match tag::<_, _, ()>(wanted)(input) {
                        Ok(_) => wanted.len(),
                        Err(_) => return Err(self.not_literal(wanted, at)),
                    },
                },
                Step::Field { slot, extent } => {
                    let field = &self.rule.fields[*slot];
                    let cut = cut(extent, field, input).map_err(|short| self.too_short(field, short, at))?;
                    slots
                        .decode(*slot, field, cut, at)
                        .map_err(|fail| Stop::new(at + fail.at, self.of_field(field, &fail.reason)))?;
                    cut.len()
                }
                Step::Skip { extent, .. } => match extent {
                    Extent::Fixed(size) if input.len() < *size => {
                        let found = input.len();
                        return Err(Stop::new(at, format!("{found} bytes left, {size} were wanted to be passed over")));
                    }
                    Extent::Fixed(size) => *size,
                    Extent::Until(stop) => until(stop, input).len(),
                    Extent::UpTo(size) => input.len().min(*size),
                    Extent::Natural | Extent::Rest => input.len(),
                },
                Step::Gap(byte) => {
                    let gap = take_while::<_, _, ()>(|found| found == *byte)(input).map_or(0, |(_, gap)| gap.len());
                    if gap == 0 {
                        return Err(self.not_literal(&[*byte], at));
                    }
                    gap
                }
                Step::Flags { bytes, order, parts, unused } => {
                    self.flags((*bytes, *order), parts, *unused, at, slots)?;
                    *bytes
                }
                Step::Length { bytes } => {
                    if input.len() < *bytes {
                        return Err(Stop::new(
                            at,
                            format!("{} bytes left for the length, {bytes} were wanted", input.len()),
                        ));
                    }
                    *bytes
                }
                Step::MayEnd if input.is_empty() => return Ok(at),
                Step::MayEnd => 0,
            };
        }
        Ok(at)
    }

    fn flags(
        &self,
        (bytes, order): (usize, Order),
        parts: &[Bits],
        unused: u64,
        at: usize,
        slots: &mut Slots,
    ) -> Result<(), Stop> {
        let input = &self.bytes[at..self.end];
        let Some(word) = binary::unsigned(bytes, order, input) else {
            return Err(Stop::new(at, format!("{} bytes left for the flags, {bytes} were wanted", input.len())));
        };
        if word & unused != 0 {
            return Err(Stop::new(at, format!("flags {word:#X} found, bits {unused:#X} of them were wanted to be 0")));
        }
        for part in parts {
            slots.step(at)?;
            let number = word >> part.bit & (u64::MAX >> (64 - part.bits));
            let field = &self.rule.fields[part.slot];
            let value =
                binary::of_number(field, number).map_err(|reason| Stop::new(at, self.of_field(field, &reason)))?;
            slots.set(part.slot, value, at..at + bytes);
        }
        Ok(())
    }

    fn of_field(&self, field: &Field, reason: &str) -> String {
        format!("{} of a {}: {reason}", field.name, self.rule.name)
    }

    fn too_short(&self, field: &Field, wanted: usize, at: usize) -> Stop {
        let found = self.end - at;
        Stop::new(self.end, self.of_field(field, &format!("{} left, {wanted} were wanted", counted(found, "byte"))))
    }

    fn not_literal(&self, literal: &[u8], at: usize) -> Stop {
        let found = &self.bytes[at..self.end.min(at + literal.len().max(1))];
        let (found, wanted) = (quoted(found), quoted(literal));
        Stop::new(at, format!("a {}: {found} found, {wanted} was wanted", self.rule.name))
    }
}

/// Cuts off the bytes of a field; the error is how many were wanted.
fn cut<'a>(extent: &Extent, field: &Field, input: &'a [u8]) -> Result<&'a [u8], usize> {
    match extent {
        Extent::Fixed(size) => {
            let taken: Result<_, nom::Err<()>> = take(*size)(input);
            taken.map(|(_, taken)| taken).map_err(|_| *size)
        }
        Extent::UpTo(size) => Ok(&input[..input.len().min(*size)]),
        Extent::Until(stop) => Ok(until(stop, input)),
        Extent::Natural => Ok(natural(field, input)),
        Extent::Rest => Ok(input),
    }
}

/// Everything before `stop`, or to the end.
pub(super) fn until<'a>(stop: &[u8], input: &'a [u8]) -> &'a [u8] {
    match stop {
        [byte] => {
            let taken: Parsed<'a> = take_till(|found| found == *byte)(input);
            taken.map_or(input, |(_, taken)| taken)
        }
        _ => memchr::memmem::find(input, stop).map_or(input, |at| &input[..at]),
    }
}

/// As far as the characters belong to the field.
fn natural<'a>(field: &Field, input: &'a [u8]) -> &'a [u8] {
    let behind = input.get(field.before.len()..).unwrap_or_default();
    let value = match &field.code {
        Code::Number(number) => {
            let mark = if let Point::Sent { mark, .. } = number.point { mark } else { b'0' };
            let belongs = |byte: u8| byte.is_ascii_digit() || byte == mark || matches!(byte, b'+' | b'-');
            // A space may stand for plus in front of the digits.
            let space = usize::from(number.sign == Sign::Space && behind.first() == Some(&b' '));
            let taken: Parsed<'_> = take_while(belongs)(&behind[space..]);
            space + taken.map_or(0, |(_, taken)| taken.len())
        }
        Code::Hex { .. } => behind.iter().take_while(|byte| byte.is_ascii_hexdigit()).count(),
        Code::Choice(choice) => longest_item(choice, behind),
        _ => behind.len(),
    };
    let len = field.before.len() + value + field.behind.len();
    &input[..len.min(input.len())]
}

/// Whether nothing may be there.
pub(super) fn may_be_absent(field: &Field) -> bool {
    field.presence == Presence::Optional
}
