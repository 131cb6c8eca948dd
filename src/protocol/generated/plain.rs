//! A second reader of the same tree, as plain as can be and slow: it knows nothing of nom, keeps whole strings, and
//! works its numbers out in 128 bits. Where it and the walk disagree, one of them is wrong.
//!
//! It reads grammars of one record without ranges, as they are made up here.

use std::collections::HashMap;

use crate::protocol::format::file::{Chars, Encoding, Order, Sign, SignAt};
use crate::protocol::grammar::{
    Choice, Code, Decimals, Excess, Extent, Field, Filling, Grammar, Keyed, Layout, Node, Number, Point, Presence,
    Quotes, Rule, Scale, Side, Signed, Span, Step, Text, Time, TimePart,
};
use crate::protocol::record::{Content, Record};

/// The record in the bytes of a frame's fields.
pub(super) fn read(grammar: &Grammar, bytes: &[u8]) -> Option<Record> {
    let [rule] = &grammar.records[..] else { panic!("one record was wanted") };
    let mut found = HashMap::new();
    match &rule.layout {
        Layout::Sequence(steps) => {
            let rest = sequence(rule, steps, bytes, &mut found)?;
            if !rest.is_empty() {
                return None;
            }
        }
        Layout::Keyed(keyed) => pairs(rule, keyed, bytes, &mut found)?,
        Layout::Json { root, others, .. } => {
            let (value, rest) = json(bytes, 0)?;
            if !rest.trim_ascii().is_empty() {
                return None;
            }
            matched(rule, root, &value, *others, &mut found)?;
        }
    }
    let mut record = Record::new(&*rule.name);
    for (slot, field) in rule.fields.iter().enumerate() {
        match found.remove(&slot).flatten() {
            Some(content) => record.fields.push((field.name.to_string(), content)),
            None if field.presence == Presence::Required => return None,
            None => {}
        }
    }
    Some(record)
}

type Found = HashMap<usize, Option<Content>>;

fn sequence<'a>(rule: &Rule, steps: &[Step], mut bytes: &'a [u8], found: &mut Found) -> Option<&'a [u8]> {
    for step in steps {
        match step {
            Step::Literal(literal) => bytes = bytes.strip_prefix(&**literal)?,
            Step::Gap(byte) => {
                let len = bytes.iter().take_while(|b| *b == byte).count();
                if len == 0 {
                    return None;
                }
                bytes = &bytes[len..];
            }
            Step::MayEnd if bytes.is_empty() => return Some(bytes),
            Step::MayEnd => {}
            Step::Field { slot, extent } => {
                let len = match extent {
                    Extent::Fixed(size) => *size,
                    Extent::UpTo(size) => bytes.len().min(*size),
                    Extent::Until(stop) => {
                        (0..bytes.len()).find(|&at| bytes[at..].starts_with(stop)).unwrap_or(bytes.len())
                    }
                    Extent::Rest => bytes.len(),
                    Extent::Natural => panic!("no field of its own length is made up"),
                };
                let item = bytes.get(..len)?;
                found.insert(*slot, field(&rule.fields[*slot], item)?);
                bytes = &bytes[len..];
            }
            Step::Skip { .. } | Step::Flags { .. } | Step::Length { .. } => panic!("none of these is made up"),
        }
    }
    Some(bytes)
}

fn pairs(rule: &Rule, keyed: &Keyed, bytes: &[u8], found: &mut Found) -> Option<()> {
    let bytes = bytes.strip_prefix(&*keyed.begins)?.strip_suffix(&*keyed.ends)?;
    let mut seen = Vec::new();
    let mut rest = Some(bytes).filter(|bytes| !bytes.is_empty());
    while let Some(bytes) = rest {
        let end = (0..bytes.len()).find(|&at| bytes[at..].starts_with(&keyed.separator));
        let pair = &bytes[..end.unwrap_or(bytes.len())];
        rest = end.map(|end| &bytes[end + keyed.separator.len()..]);
        let joint = (0..pair.len()).find(|&at| pair[at..].starts_with(&keyed.joins))?;
        let (key, value) = (&pair[..joint], &pair[joint + keyed.joins.len()..]);
        let entry = keyed.entries.iter().find(|entry| *entry.key == *key);
        if seen.contains(&key) {
            return None;
        }
        seen.push(key);
        match entry {
            Some(entry) if sequence(rule, &entry.steps, value, found)?.is_empty() => {}
            None if keyed.others == Excess::Ignored => {}
            _ => return None,
        }
    }
    Some(())
}

/// `None`: not to be read. `Some(None)`: absent.
fn field(field: &Field, bytes: &[u8]) -> Option<Option<Content>> {
    let optional = field.presence == Presence::Optional;
    if field.absent.iter().any(|text| **text == *bytes) {
        return Some(None);
    }
    match &field.code {
        Code::Number(number) => characters(number, bytes, optional),
        Code::Text(text) => letters(text, bytes, optional),
        Code::Choice(choice) => choices(choice, bytes, optional),
        Code::Time(time) => clock(time, bytes, optional),
        Code::Integer { bytes: size, order, signed, scale } => {
            let mut bytes = bytes.to_vec();
            if bytes.len() != *size {
                return None;
            }
            if *order == Order::Little {
                bytes.reverse();
            }
            let mut number = bytes.iter().fold(0i128, |number, &byte| number * 256 + i128::from(byte));
            if *signed == Signed::Yes && bytes[0] > 127 {
                number -= 1i128 << (8 * size);
            }
            (number <= i128::from(i64::MAX)).then_some(())?;
            Some(Some(put_point(number, *scale)?))
        }
        Code::Float { bytes: size, order, decimals } => {
            let mut bytes = bytes.to_vec();
            if *order == Order::Little {
                bytes.reverse();
            }
            let number = match size {
                4 => f64::from(f32::from_be_bytes(bytes.try_into().ok()?)),
                _ => f64::from_be_bytes(bytes.try_into().ok()?),
            };
            if number.is_nan() || number.abs() >= 1e9 {
                return None;
            }
            let text = format!("{number:.*}", usize::from(*decimals));
            let zero = text.bytes().all(|byte| !matches!(byte, b'1'..=b'9'));
            number_content(if zero { text.trim_start_matches('-') } else { &text }).map(Some)
        }
        Code::Bcd { sign, scale, .. } => {
            let mut halves: Vec<u8> = bytes.iter().flat_map(|byte| [byte / 16, byte % 16]).collect();
            let mut negative = false;
            if *sign == Sign::Nibble {
                negative = match halves.pop()? {
                    12 => false,
                    13 => true,
                    _ => return None,
                };
            }
            if halves.iter().any(|&half| half > 9) {
                return None;
            }
            let number = halves.iter().fold(0i128, |number, &half| number * 10 + i128::from(half));
            let Content::Number(digits) = put_point(number, *scale)? else { return None };
            number_content(&format!("{}{digits}", if negative { "-" } else { "" })).map(Some)
        }
        Code::Hex { .. } | Code::Bits => panic!("none of these is made up"),
    }
}

fn number_content(text: &str) -> Option<Content> {
    text.parse().ok().map(Content::Number)
}

fn put_point(number: i128, scale: Scale) -> Option<Content> {
    let Decimals::All(places) = scale.decimals else { panic!("decimals by unit are not made up") };
    let number = number * i128::from(scale.times);
    i64::try_from(number).ok()?;
    let power = 10i128.pow(u32::from(places));
    let sign = if number < 0 { "-" } else { "" };
    let size = number.abs();
    number_content(&match places {
        0 => format!("{sign}{size}"),
        _ => format!("{sign}{}.{:0width$}", size / power, size % power, width = usize::from(places)),
    })
}

fn within(width: Span, bytes: &[u8]) -> Option<()> {
    (width.min <= bytes.len() && bytes.len() <= width.max).then_some(())
}

fn bare(filling: Option<Filling>, text: &str) -> String {
    match filling {
        Some(Filling { byte, side: Side::Front }) => text.trim_start_matches(char::from(byte)).to_owned(),
        Some(Filling { byte, side: Side::Behind }) => text.trim_end_matches(char::from(byte)).to_owned(),
        None => text.to_owned(),
    }
}

/// Bytes as one character each.
fn wide(bytes: &[u8]) -> String {
    bytes.iter().map(|&byte| char::from(byte)).collect()
}

fn characters(code: &Number, bytes: &[u8], optional: bool) -> Option<Option<Content>> {
    let text = wide(bytes);
    let zeros = code.filling.is_some_and(|filling| filling.byte == b'0');
    let mut text = if zeros { text } else { bare(code.filling, &text) };
    if bytes.is_empty() && optional {
        return Some(None);
    }
    within(code.width, bytes)?;
    if text.is_empty() {
        return optional.then_some(None);
    }
    let sign = match code.sign_at {
        SignAt::Front => text.chars().next()?,
        SignAt::Behind => text.chars().last()?,
    };
    let (negative, signed) = match (code.sign, sign) {
        (Sign::None | Sign::Nibble, _) => (false, false),
        (_, '-') => (true, true),
        (Sign::Both, '+') | (Sign::Space, ' ') => (false, true),
        (Sign::Minus, _) => (false, false),
        _ => return None,
    };
    if signed {
        match code.sign_at {
            SignAt::Front => drop(text.remove(0)),
            SignAt::Behind => drop(text.pop()),
        }
    }
    let (whole, behind) = match code.point {
        Point::Sent { mark, decimals } => {
            let (whole, behind) = match text.split_once(char::from(mark)) {
                Some((whole, behind)) => (whole, Some(behind)),
                None => (&*text, None),
            };
            match decimals {
                Decimals::All(0) if behind.is_some() => return None,
                Decimals::All(places) if places > 0 && behind.map(str::len) != Some(usize::from(places)) => {
                    return None;
                }
                _ if behind == Some("") => return None,
                _ => {}
            }
            (whole.to_owned(), behind.unwrap_or("").to_owned())
        }
        Point::Implied(_) => (text.clone(), String::new()),
    };
    if whole.is_empty() || !(whole.clone() + &behind).chars().all(|c| c.is_ascii_digit()) {
        return None;
    }
    if whole.len() > 1 && whole.starts_with('0') && !zeros {
        return None;
    }
    let sign = if negative { "-" } else { "" };
    let whole = match whole.trim_start_matches('0') {
        "" => "0",
        whole => whole,
    };
    match code.point {
        Point::Sent { .. } if behind.is_empty() => number_content(&format!("{sign}{whole}")).map(Some),
        Point::Sent { .. } => number_content(&format!("{sign}{whole}.{behind}")).map(Some),
        Point::Implied(scale) => {
            let Content::Number(digits) = put_point(whole.parse().ok()?, scale)? else { return None };
            // A zero keeps its sign only where nothing is calculated.
            let zero = whole == "0";
            let sign = if zero && scale.times != 1 { "" } else { sign };
            number_content(&format!("{sign}{digits}")).map(Some)
        }
    }
}

fn text_of(bytes: &[u8], encoding: Encoding) -> Option<String> {
    let text = match encoding {
        Encoding::Utf8 => String::from_utf8(bytes.to_vec()).ok()?,
        Encoding::Ascii if !bytes.is_ascii() => return None,
        Encoding::Ascii | Encoding::Latin1 => wide(bytes),
    };
    let seen = |c: char| match encoding {
        Encoding::Utf8 => !c.is_ascii_control(),
        Encoding::Ascii | Encoding::Latin1 => !c.is_control(),
    };
    text.chars().all(seen).then_some(text)
}

fn letters(code: &Text, bytes: &[u8], optional: bool) -> Option<Option<Content>> {
    assert_eq!(code.chars, Chars::Printable, "no other characters are made up");
    let inside: Vec<u8> = bare(code.filling, &wide(bytes)).chars().map(|c| c as u8).collect();
    if inside.is_empty() && optional {
        return Some(None);
    }
    within(code.width, bytes)?;
    let text = text_of(&inside, code.encoding)?;
    (!text.is_empty()).then_some(Some(Content::Text(text)))
}

fn choices(code: &Choice, bytes: &[u8], optional: bool) -> Option<Option<Content>> {
    let inside = if code.binary.is_some() { wide(bytes) } else { bare(code.filling, &wide(bytes)) };
    if let Some(item) = code.items.iter().find(|item| wide(&item.sent) == inside) {
        return Some(Some(Content::Text(item.key.to_string())));
    }
    (inside.is_empty() && optional).then_some(None)
}

fn clock(code: &Time, bytes: &[u8], optional: bool) -> Option<Option<Content>> {
    let text = wide(bytes);
    if optional && text.chars().all(|c| c == ' ') {
        return Some(None);
    }
    let mut rest = &*text;
    for part in &code.parts {
        match *part {
            TimePart::Literal(byte) => rest = rest.strip_prefix(char::from(byte))?,
            TimePart::Digits { count, least, most } => {
                let (digits, behind) = rest.split_at_checked(usize::from(count))?;
                let all = digits.chars().all(|c| c.is_ascii_digit());
                let number: u16 = digits.parse().ok().filter(|_| all)?;
                if number < least || number > most {
                    return None;
                }
                rest = behind;
            }
        }
    }
    rest.is_empty().then_some(Some(Content::Text(text)))
}

/// A JSON value, its scalars as they stand.
enum Json {
    Object(Vec<(String, Json)>),
    Array,
    String(Vec<u8>),
    Bare(Vec<u8>),
}

fn json(bytes: &[u8], depth: usize) -> Option<(Json, &[u8])> {
    if depth >= 32 {
        return None;
    }
    let bytes = bytes.trim_ascii_start();
    match bytes.split_first()? {
        (b'{', mut rest) => {
            let mut members = Vec::new();
            loop {
                rest = rest.trim_ascii_start();
                if let (Some(end), true) = (rest.strip_prefix(b"}"), members.is_empty()) {
                    return Some((Json::Object(members), end));
                }
                let (name, behind) = string(rest)?;
                let behind = behind.trim_ascii_start().strip_prefix(b":")?;
                let (value, behind) = json(behind, depth + 1)?;
                members.push((serde_json::from_slice(&[b"\"", &name[..], b"\""].concat()).ok()?, value));
                rest = behind.trim_ascii_start();
                match rest.split_first()? {
                    (b',', behind) => rest = behind,
                    (b'}', behind) => return Some((Json::Object(members), behind)),
                    _ => return None,
                }
            }
        }
        (b'[', mut rest) => {
            if let Some(end) = rest.trim_ascii_start().strip_prefix(b"]") {
                return Some((Json::Array, end));
            }
            loop {
                rest = json(rest, depth + 1)?.1.trim_ascii_start();
                match rest.split_first()? {
                    (b',', behind) => rest = behind,
                    (b']', behind) => return Some((Json::Array, behind)),
                    _ => return None,
                }
            }
        }
        (b'"', _) => string(bytes).map(|(content, rest)| (Json::String(content), rest)),
        _ => {
            let len = bytes.iter().take_while(|byte| !b",]} \t\r\n".contains(byte)).count();
            (len > 0).then(|| (Json::Bare(bytes[..len].to_vec()), &bytes[len..]))
        }
    }
}

fn string(bytes: &[u8]) -> Option<(Vec<u8>, &[u8])> {
    let mut content = Vec::new();
    let mut rest = bytes.strip_prefix(b"\"")?;
    loop {
        let (&first, behind) = rest.split_first()?;
        match first {
            b'"' => return Some((content, behind)),
            b'\\' => {
                content.extend([first, *behind.first()?]);
                rest = &behind[1..];
            }
            0..=0x1F => return None,
            _ => {
                content.push(first);
                rest = behind;
            }
        }
    }
}

fn matched(rule: &Rule, node: &Node, value: &Json, others: Excess, found: &mut Found) -> Option<()> {
    match (node, value) {
        (Node::Object(known), Json::Object(members)) => {
            for (name, value) in members {
                match known.iter().find(|(known, _)| **known == **name) {
                    Some((_, node)) => matched(rule, node, value, others, found)?,
                    None if others == Excess::Ignored => {}
                    None => return None,
                }
            }
            Some(())
        }
        (Node::Field { slot, .. }, value) => {
            let code = &rule.fields[*slot];
            let content = match value {
                Json::Bare(bytes) if bytes == b"null" => (code.presence == Presence::Optional).then_some(None)?,
                Json::Bare(bytes) if is(node, Quotes::Bare) => field(code, bytes)?,
                Json::String(bytes) if is(node, Quotes::Quoted) && !bytes.contains(&b'\\') => field(code, bytes)?,
                Json::String(bytes) if is(node, Quotes::Quoted) && matches!(code.code, Code::Text(_)) => {
                    let text: String = serde_json::from_slice(&[b"\"", &bytes[..], b"\""].concat()).ok()?;
                    field(code, text.as_bytes())?
                }
                _ => return None,
            };
            found.insert(*slot, content).is_none().then_some(())
        }
        (Node::Array(_) | Node::Literal { .. }, _) => panic!("neither lists nor literals are made up"),
        _ => None,
    }
}

fn is(node: &Node, wanted: Quotes) -> bool {
    matches!(node, Node::Field { quotes, .. } if *quotes == wanted)
}
