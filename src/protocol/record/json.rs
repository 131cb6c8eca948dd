//! One JSON object: a single pass over its bytes that keeps the digits of numbers as they stand.
//!
//! Nesting is bounded; names may stand in any order, each once where the format names it.

use std::borrow::Cow;
use std::ops::Range;

use super::code::decode;
use super::read::may_be_absent;
use super::{Slots, Stop, Value, quoted};
use crate::protocol::grammar::{Code, Excess, Field, Node, Quotes, Rule};
use crate::protocol::limits::DEPTH_MAX;

/// Reads the object.
pub(super) fn read(
    rule: &Rule,
    (root, wanted, others): (&Node, usize, Excess),
    bytes: &[u8],
    slots: &mut Slots,
) -> Result<(), Stop> {
    let mut seen = vec![false; rule.fields.len()];
    let mut literals = 0;
    let mut reader = Reader { bytes, at: 0, slots };
    reader.space();
    reader.known(&mut Wanted { rule, others, seen: &mut seen, literals: &mut literals }, root, 0)?;
    reader.space();
    if reader.at < bytes.len() {
        return Err(reader.stop(format!("{} found behind the object", quoted(&bytes[reader.at..]))));
    }
    for (field, seen) in rule.fields.iter().zip(seen) {
        if !seen && !may_be_absent(field) {
            return Err(Stop::new(bytes.len(), format!("a {}: {} was wanted and not found", rule.name, field.name)));
        }
    }
    if literals < wanted {
        return Err(Stop::new(bytes.len(), format!("a {}: a fixed member was wanted and not found", rule.name)));
    }
    Ok(())
}

/// The value at a path, without its quotes; `None` if there is none.
pub(super) fn find<'a>(bytes: &'a [u8], path: &[Box<str>], slots: &mut Slots) -> Result<Option<&'a [u8]>, Stop> {
    let mut reader = Reader { bytes, at: 0, slots };
    reader.space();
    // What is behind it may still be no JSON: the walk that reads says so, and better.
    let mut found = None;
    let _ = reader.find(path, 0, &mut found);
    Ok(found.map(|place| &bytes[place]))
}

/// The text of a JSON string with escapes; it was checked before.
pub(super) fn unescaped(content: &[u8]) -> String {
    let quoted = [b"\"", content, b"\""].concat();
    serde_json::from_slice(&quoted).unwrap_or_else(|_| String::from_utf8_lossy(content).into_owned())
}

struct Reader<'a, 's> {
    bytes: &'a [u8],
    at: usize,
    slots: &'s mut Slots,
}

struct Wanted<'a> {
    rule: &'a Rule,
    others: Excess,
    seen: &'a mut [bool],
    literals: &'a mut usize,
}

/// A scalar: where its content stands, and whether in quotes.
struct Scalar {
    place: Range<usize>,
    quotes: Quotes,
}

impl<'a> Reader<'a, '_> {
    fn stop(&self, reason: impl Into<String>) -> Stop {
        Stop::new(self.at, reason)
    }

    fn peek(&self) -> Option<u8> {
        self.bytes.get(self.at).copied()
    }

    fn space(&mut self) {
        while matches!(self.peek(), Some(b' ' | b'\t' | b'\r' | b'\n')) {
            self.at += 1;
        }
    }

    fn take(&mut self, wanted: u8) -> Result<(), Stop> {
        if self.peek() == Some(wanted) {
            self.at += 1;
            return Ok(());
        }
        let found = &self.bytes[self.at..self.bytes.len().min(self.at + 1)];
        Err(self.stop(format!("{} found in a JSON object, {} was wanted", quoted(found), quoted(&[wanted]))))
    }

    fn deeper(&mut self, depth: usize) -> Result<(), Stop> {
        self.slots.step(self.at)?;
        if depth >= DEPTH_MAX {
            return Err(self.stop(format!("more than {DEPTH_MAX} levels of a JSON object")));
        }
        Ok(())
    }

    /// Reads a value that the format describes.
    fn known(&mut self, wanted: &mut Wanted<'_>, node: &Node, depth: usize) -> Result<(), Stop> {
        self.deeper(depth)?;
        match node {
            Node::Object(members) => self.object(|reader, name| {
                let member = reader.name(&name);
                match members.iter().find(|(known, _)| *known.as_bytes() == *member) {
                    Some((_, node)) => reader.known(wanted, node, depth + 1),
                    None if wanted.others == Excess::Ignored => reader.unknown(depth + 1),
                    None => {
                        let name = quoted(&reader.bytes[name]);
                        Err(reader
                            .stop(format!("a {}: the member {name} is not one of the format's", wanted.rule.name)))
                    }
                }
            }),
            Node::Array(nodes) => {
                let mut index = 0;
                self.array(|reader| {
                    index += 1;
                    match nodes.get(index - 1) {
                        Some(node) => reader.known(wanted, node, depth + 1),
                        None if wanted.others == Excess::Ignored => reader.unknown(depth + 1),
                        None => Err(reader.stop(format!("more than {} values in a list", nodes.len()))),
                    }
                })
            }
            Node::Field { slot, quotes } => self.field(wanted, *slot, *quotes),
            Node::Literal { value, quotes } => {
                let at = self.at;
                let found = self.scalar()?;
                if self.bytes[found.place.clone()] == **value && found.quotes == *quotes {
                    *wanted.literals += 1;
                    return Ok(());
                }
                let (found, value) = (quoted(&self.bytes[found.place]), quoted(value));
                Err(Stop::new(at, format!("a {}: {found} found, {value} was wanted", wanted.rule.name)))
            }
        }
    }

    fn field(&mut self, wanted: &mut Wanted<'_>, slot: usize, quotes: Quotes) -> Result<(), Stop> {
        let field = &wanted.rule.fields[slot];
        let of = |reason: &str| format!("{} of a {}: {reason}", field.name, wanted.rule.name);
        let at = self.at;
        if std::mem::replace(&mut wanted.seen[slot], true) {
            return Err(Stop::new(at, of("found twice")));
        }
        let scalar = self.scalar()?;
        let found = &self.bytes[scalar.place.clone()];
        if scalar.quotes == Quotes::Bare && found == b"null" {
            return if may_be_absent(field) {
                Ok(())
            } else {
                Err(Stop::new(at, of("null found, a value was wanted")))
            };
        }
        if scalar.quotes != quotes {
            let (found, wanted) = match quotes {
                Quotes::Quoted => ("without", "with"),
                Quotes::Bare => ("in", "without"),
            };
            return Err(Stop::new(at, of(&format!("found {found} quotes, {wanted} them was wanted"))));
        }
        let escaped = quotes == Quotes::Quoted && memchr::memchr(b'\\', found).is_some();
        let start = scalar.place.start;
        if escaped {
            let value = self.escaped(field, found).map_err(|reason| Stop::new(start, of(&reason)))?;
            self.slots.set(slot, value, scalar.place);
            return Ok(());
        }
        self.slots.decode(slot, field, found, start).map_err(|fail| Stop::new(start + fail.at, of(&fail.reason)))
    }

    /// A text with escapes: kept as it stands, once it is known that they can be read.
    fn escaped(&self, field: &Field, content: &[u8]) -> Result<Value, String> {
        if !matches!(field.code, Code::Text(_)) {
            return Err("a JSON escape found, plain characters were wanted".to_owned());
        }
        let text: String = serde_json::from_slice(&[b"\"", content, b"\""].concat())
            .map_err(|_| "a JSON escape that does not exist")?;
        let place = decode(field, text.as_bytes(), &mut Value::Absent).map_err(|fail| fail.reason)?;
        if place != (0..text.len()) {
            return Err("filling around a text with escapes found, none was wanted".to_owned());
        }
        Ok(Value::Escaped)
    }

    /// The name of a member, its escapes resolved.
    fn name(&self, place: &Range<usize>) -> Cow<'a, [u8]> {
        let found = &self.bytes[place.clone()];
        if memchr::memchr(b'\\', found).is_none() {
            return Cow::Borrowed(found);
        }
        Cow::Owned(unescaped(found).into_bytes())
    }

    fn object(&mut self, mut member: impl FnMut(&mut Self, Range<usize>) -> Result<(), Stop>) -> Result<(), Stop> {
        self.take(b'{')?;
        self.space();
        if self.peek() == Some(b'}') {
            self.at += 1;
            return Ok(());
        }
        loop {
            self.slots.step(self.at)?;
            let name = self.string()?;
            self.space();
            self.take(b':')?;
            self.space();
            member(self, name)?;
            self.space();
            if self.peek() == Some(b'}') {
                self.at += 1;
                return Ok(());
            }
            self.take(b',')?;
            self.space();
        }
    }

    fn array(&mut self, mut value: impl FnMut(&mut Self) -> Result<(), Stop>) -> Result<(), Stop> {
        self.take(b'[')?;
        self.space();
        if self.peek() == Some(b']') {
            self.at += 1;
            return Ok(());
        }
        loop {
            self.slots.step(self.at)?;
            value(self)?;
            self.space();
            if self.peek() == Some(b']') {
                self.at += 1;
                return Ok(());
            }
            self.take(b',')?;
            self.space();
        }
    }

    /// Passes over a value that the format does not describe.
    fn unknown(&mut self, depth: usize) -> Result<(), Stop> {
        self.deeper(depth)?;
        match self.peek() {
            Some(b'{') => self.object(|reader, _| reader.unknown(depth + 1)),
            Some(b'[') => self.array(|reader| reader.unknown(depth + 1)),
            _ => self.scalar().map(|_| ()),
        }
    }

    /// The place of the value at a path.
    fn find(&mut self, path: &[Box<str>], depth: usize, found: &mut Option<Range<usize>>) -> Result<(), Stop> {
        self.deeper(depth)?;
        match (path.split_first(), self.peek()) {
            (Some((first, rest)), Some(b'{')) => self.object(|reader, name| {
                if *reader.name(&name) == *first.as_bytes() {
                    return reader.find(rest, depth + 1, found);
                }
                reader.unknown(depth + 1)
            }),
            (Some((first, rest)), Some(b'[')) => {
                let mut index = 0;
                self.array(|reader| {
                    index += 1;
                    if first.parse() == Ok(index - 1) {
                        return reader.find(rest, depth + 1, found);
                    }
                    reader.unknown(depth + 1)
                })
            }
            (None, _) if !matches!(self.peek(), Some(b'{' | b'[')) => {
                *found = Some(self.scalar()?.place);
                Ok(())
            }
            _ => self.unknown(depth),
        }
    }

    fn scalar(&mut self) -> Result<Scalar, Stop> {
        if self.peek() == Some(b'"') {
            return Ok(Scalar { place: self.string()?, quotes: Quotes::Quoted });
        }
        let rest = &self.bytes[self.at..];
        let len =
            rest.iter().take_while(|byte| !matches!(byte, b',' | b'}' | b']' | b' ' | b'\t' | b'\r' | b'\n')).count();
        if len == 0 || matches!(rest[0], b'{' | b'[') {
            return Err(self.stop(format!("{} found, a value was wanted", quoted(&rest[..rest.len().min(1)]))));
        }
        let place = self.at..self.at + len;
        self.at += len;
        Ok(Scalar { place, quotes: Quotes::Bare })
    }

    /// Reads a string; gives the place of its content.
    fn string(&mut self) -> Result<Range<usize>, Stop> {
        self.take(b'"')?;
        let start = self.at;
        loop {
            let rest = &self.bytes[self.at..];
            match rest.iter().position(|&byte| matches!(byte, b'"' | b'\\' | 0..=0x1F)) {
                Some(behind) => self.at += behind,
                None => {
                    self.at = self.bytes.len();
                    return Err(self.stop("the end of the record found inside a string, a quote was wanted"));
                }
            }
            match self.bytes[self.at] {
                b'"' => break,
                b'\\' if self.at + 1 < self.bytes.len() => self.at += 2,
                byte => return Err(self.stop(format!("{} found inside a string", quoted(&[byte])))),
            }
        }
        self.at += 1;
        Ok(start..self.at - 1)
    }
}
