//! The walk that writes: a record's fields into bytes, over the same steps.

use std::fmt;

use super::code::{Fail, encode};
use super::{Content, Record, Slots, binary, read};
use crate::nearest::nearest;
use crate::protocol::framing::{Cut, Frame, Kind, Scan, contents, wrap};
use crate::protocol::grammar::{Bits, Extent, Grammar, Keyed, Layout, Node, Presence, Quotes, Rule, Step};

/// Why a record cannot be written in a format.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct WriteError {
    /// The field, or nothing where it is the record as a whole.
    pub field: Option<String>,
    /// What was found and what was wanted.
    pub reason: String,
}

impl WriteError {
    pub(in crate::protocol) fn whole(reason: impl Into<String>) -> Self {
        WriteError { field: None, reason: reason.into() }
    }

    fn field(name: &str, reason: impl Into<String>) -> Self {
        WriteError { field: Some(name.to_owned()), reason: reason.into() }
    }
}

impl fmt::Display for WriteError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match &self.field {
            Some(field) => write!(f, "{field} cannot be written: {}", self.reason),
            None => write!(f, "the record cannot be written: {}", self.reason),
        }
    }
}

impl std::error::Error for WriteError {}

/// Writes one framed record, and makes sure that it reads back as the same.
pub(in crate::protocol) fn write(grammar: &Grammar, record: &Record) -> Result<Vec<u8>, WriteError> {
    let fields = write_fields(grammar, record)?;
    let frame = wrap(&grammar.framer, &grammar.checks, &fields)
        .map_err(|long| WriteError::whole(format!("{} bytes, at most {} were wanted", long.found, long.most)))?;
    read_back(grammar, record, &frame)?;
    Ok(frame)
}

/// Writes the fields of a record, without frame and checks.
pub(in crate::protocol) fn write_fields(grammar: &Grammar, record: &Record) -> Result<Vec<u8>, WriteError> {
    let names = || grammar.records.iter().map(|rule| &*rule.name);
    let Some(rule) = grammar.records.iter().find(|rule| *rule.name == *record.name) else {
        let known = names().collect::<Vec<_>>().join(", ");
        let meant = nearest(&record.name, names()).map_or(String::new(), |name| format!("; did you mean {name}?"));
        let found = &record.name;
        return Err(WriteError::whole(format!("no record {found:?} in the format, one of {known} was wanted{meant}")));
    };
    let mut contents = vec![None; rule.fields.len()];
    for (name, content) in &record.fields {
        match rule.fields.iter().position(|field| *field.name == **name) {
            Some(slot) => contents[slot] = Some(content),
            None => return Err(WriteError::field(name, format!("a {} has no such field", rule.name))),
        }
    }
    let writer = Writer { rule, contents };
    let mut fields = Vec::new();
    match &rule.layout {
        Layout::Sequence(steps) => writer.steps(steps, &mut fields)?,
        Layout::Keyed(keyed) => writer.keyed(keyed, &mut fields)?,
        Layout::Json { root, .. } => writer.node(root, &mut fields)?,
    }
    Ok(fields)
}

/// What was written must be one frame and say the same.
fn read_back(grammar: &Grammar, record: &Record, frame: &[u8]) -> Result<(), WriteError> {
    let refuse = |why: String| WriteError::whole(format!("it would not read back: {why}"));
    let cut = match grammar.framer.next(frame, &mut Scan::default()) {
        Cut::More if matches!(grammar.framer.kind, Kind::Silence) => {
            Frame { len: frame.len(), start: 0, end: frame.len(), trail: frame.len() }
        }
        Cut::Frame(cut) if cut.len == frame.len() => cut,
        other => return Err(refuse(format!("as a frame it is {other:?}"))),
    };
    let mut plain = Vec::new();
    let (bytes, fields) = contents(&grammar.framer, &grammar.checks, frame, cut, &mut plain)
        .map_err(|mismatch| refuse(mismatch.reason))?;
    let mut slots = Slots::default();
    let payload = &bytes[fields];
    let place = read(grammar, payload, &mut slots).map_err(|stop| refuse(stop.reason))?;
    let back = slots.record(&grammar.records[place], payload);
    let mut given = record.fields.clone();
    let mut got = back.fields;
    given.sort_by(|a, b| a.0.cmp(&b.0));
    got.sort_by(|a, b| a.0.cmp(&b.0));
    if back.name != record.name {
        return Err(refuse(format!("it would be taken for a {}", back.name)));
    }
    match given.iter().zip(&got).find(|(a, b)| a != b) {
        Some(((name, content), (_, back))) => {
            Err(WriteError::field(name, format!("{:?} would read back as {:?}", content.as_str(), back.as_str())))
        }
        None if given.len() != got.len() => Err(refuse("fields would be lost or added".to_owned())),
        None => Ok(()),
    }
}

struct Writer<'a> {
    rule: &'a Rule,
    contents: Vec<Option<&'a Content>>,
}

impl Writer<'_> {
    fn steps(&self, steps: &[Step], out: &mut Vec<u8>) -> Result<(), WriteError> {
        for (place, step) in steps.iter().enumerate() {
            match step {
                Step::Literal(literal) => out.extend_from_slice(literal),
                Step::Field { slot, extent } => {
                    let from = out.len();
                    self.field(*slot, out)?;
                    if let Extent::UpTo(size) = extent {
                        // Only at the end of the record could it be cut short, and it need not be.
                        out.resize(out.len().max(from + size), b' ');
                    }
                    let found = out.len() - from;
                    if let Extent::Fixed(size) | Extent::UpTo(size) = extent
                        && *size != found
                    {
                        let reason = format!("it takes {found} bytes, {size} were wanted");
                        return Err(WriteError::field(&self.rule.fields[*slot].name, reason));
                    }
                }
                Step::Skip { extent: Extent::Fixed(size), fill } => {
                    out.extend(fill.iter().copied().chain(std::iter::repeat(b' ')).take(*size));
                }
                Step::Skip { fill, .. } => out.extend_from_slice(fill),
                Step::Gap(byte) => out.push(*byte),
                Step::Flags { bytes, order, parts, .. } => {
                    binary::put(self.flags(parts)?, *bytes, *order, out);
                }
                Step::Length { bytes } => out.extend(std::iter::repeat_n(0, *bytes)),
                Step::MayEnd => {
                    let left = steps[place..]
                        .iter()
                        .filter_map(|s| if let Step::Field { slot, .. } = s { Some(*slot) } else { None });
                    if left.into_iter().all(|slot| self.contents[slot].is_none()) {
                        return Ok(());
                    }
                }
            }
        }
        Ok(())
    }

    fn field(&self, slot: usize, out: &mut Vec<u8>) -> Result<(), WriteError> {
        let field = &self.rule.fields[slot];
        encode(field, self.contents[slot], out).map_err(|reason| WriteError::field(&field.name, reason))
    }

    fn flags(&self, parts: &[Bits]) -> Result<u64, WriteError> {
        let mut word = 0;
        for part in parts {
            let field = &self.rule.fields[part.slot];
            let content = self.contents[part.slot]
                .ok_or_else(|| WriteError::field(&field.name, "nothing given, a value was wanted"))?;
            let number = binary::number_for(field, content.as_str(), part.bits)
                .map_err(|reason| WriteError::field(&field.name, reason))?;
            word |= number << part.bit;
        }
        Ok(word)
    }

    fn keyed(&self, keyed: &Keyed, out: &mut Vec<u8>) -> Result<(), WriteError> {
        out.extend_from_slice(&keyed.begins);
        let first = out.len();
        for entry in &keyed.entries {
            let given = entry.slots.iter().any(|&slot| self.contents[slot].is_some());
            if entry.presence == Presence::Optional && !given {
                continue;
            }
            if out.len() > first {
                out.extend_from_slice(&keyed.separator);
            }
            out.extend_from_slice(&entry.key);
            out.extend_from_slice(&keyed.joins);
            self.steps(&entry.steps, out)?;
        }
        out.extend_from_slice(&keyed.ends);
        Ok(())
    }

    /// Writes a JSON value; an absent field is left out of an object.
    fn node(&self, node: &Node, out: &mut Vec<u8>) -> Result<(), WriteError> {
        match node {
            Node::Object(members) => {
                out.push(b'{');
                let mut first = true;
                for (name, node) in members {
                    if matches!(node, Node::Field { slot, .. } if self.contents[*slot].is_none())
                        && self.may_be_absent(node)
                    {
                        continue;
                    }
                    if !std::mem::replace(&mut first, false) {
                        out.push(b',');
                    }
                    out.extend_from_slice(json_string(name).as_bytes());
                    out.push(b':');
                    self.node(node, out)?;
                }
                out.push(b'}');
            }
            Node::Array(nodes) => {
                out.push(b'[');
                for (place, node) in nodes.iter().enumerate() {
                    if place > 0 {
                        out.push(b',');
                    }
                    self.node(node, out)?;
                }
                out.push(b']');
            }
            Node::Field { slot, .. } if self.contents[*slot].is_none() && self.may_be_absent(node) => {
                out.extend_from_slice(b"null");
            }
            Node::Field { slot, quotes } => {
                let mut value = Vec::new();
                self.field(*slot, &mut value)?;
                match (quotes, String::from_utf8(value)) {
                    (Quotes::Bare, Ok(value)) => out.extend_from_slice(value.as_bytes()),
                    (Quotes::Quoted, Ok(value)) => out.extend_from_slice(json_string(&value).as_bytes()),
                    (_, Err(_)) => {
                        return Err(WriteError::field(&self.rule.fields[*slot].name, "JSON holds nothing but UTF-8"));
                    }
                }
            }
            Node::Literal { value, quotes } => match quotes {
                Quotes::Bare => out.extend_from_slice(value),
                Quotes::Quoted => out.extend_from_slice(json_string(&String::from_utf8_lossy(value)).as_bytes()),
            },
        }
        Ok(())
    }

    fn may_be_absent(&self, node: &Node) -> bool {
        matches!(node, Node::Field { slot, .. } if self.rule.fields[*slot].presence == Presence::Optional)
    }
}

fn json_string(text: &str) -> String {
    serde_json::Value::from(text).to_string()
}

impl From<Fail> for WriteError {
    fn from(fail: Fail) -> Self {
        WriteError::whole(fail.reason)
    }
}
