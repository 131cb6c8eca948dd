//! The record of a plan in words of the format language.

use super::{Cell, Page};
use crate::protocol::draft::figures::Style;
use crate::protocol::draft::plan::{Names, Plan};
use crate::protocol::draft::scale::Scale;
use crate::protocol::draft::tables::{Name, Way};
use crate::protocol::draft::words;

/// Writes the record, and says what was found and what is open.
pub(super) fn record(page: &Page<'_>, cells: &[Cell], plan: &mut Plan) -> Option<()> {
    let mut writer = Writer { page, cells, plan, names: Names::default() };
    let record = match &page.table.way {
        Way::Separated { separator, repeats } => writer.separated(*separator, *repeats)?,
        Way::Columns => writer.columns()?,
        Way::Keyed { separator, joins } => writer.keyed(separator, *joins)?,
        Way::Json => writer.json()?,
        Way::Parts { line_end: None } => {
            let row = writer.plan.shown[0];
            let (begins, fields) = writer.parts(0..page.bodies[row].len())?;
            let begins = begins.map_or(String::new(), |begins| format!("begins = {}\n", words::octets(&begins)));
            format!("layout = \"parts\"\n{begins}{}", list(&fields))
        }
        Way::Parts { line_end: Some(end) } => writer.lines(end)?,
    };
    plan.record = record;
    Some(())
}

fn list(fields: &[String]) -> String {
    let lines: String = fields.iter().map(|field| format!("    {field},\n")).collect();
    format!("fields = [\n{lines}]\n")
}

struct Writer<'a, 'p> {
    page: &'a Page<'a>,
    cells: &'a [Cell],
    plan: &'p mut Plan,
    names: Names,
}

impl Writer<'_, '_> {
    fn separated(&mut self, separator: u8, repeats: bool) -> Option<String> {
        let mut record = format!("layout = \"separated\"\nseparator = {}\n", words::octets(&[separator]));
        if repeats {
            record.push_str("separator_repeats = true\n");
        }
        let mut begin = 0;
        // What the record always begins with tells it from others.
        if let Cell::Constant(first) = &self.cells[0]
            && !repeats
            && self.cells.len() > 1
        {
            let begins = [first, &[separator][..]].concat();
            record.push_str(&format!("begins = {}\n", words::octets(&begins)));
            begin = 1;
        }
        let mut fields = Vec::new();
        for cell in begin..self.cells.len() {
            if repeats
                && matches!(self.cells[cell], Cell::Free { optional: true } | Cell::Choice { optional: true, .. })
            {
                return None;
            }
            fields.push(self.field(cell, "")?);
        }
        Some(record + &list(&fields))
    }

    fn columns(&mut self) -> Option<String> {
        let mut record = "layout = \"columns\"\n".to_owned();
        let mut begin = 0;
        if let (Cell::Constant(first), Name::Columns(1, _)) = (&self.cells[0], &self.page.table.names[0]) {
            record.push_str(&format!("begins = {}\n", words::octets(first)));
            begin = 1;
        }
        let mut fields = Vec::new();
        for cell in begin..self.cells.len() {
            let Name::Columns(first, last) = self.page.table.names[cell] else { return None };
            fields.push(self.field(cell, &format!("columns = [{first}, {last}], "))?);
        }
        // Blank columns at the end belong to the line too.
        let len = self.page.bodies[self.plan.shown[0]].len();
        let Some(Name::Columns(_, last)) = self.page.table.names.last() else { return None };
        if *last < len {
            record.push_str(&format!("ends = {}\n", words::octets(&vec![b' '; len - last])));
        }
        Some(record + &list(&fields))
    }

    fn keyed(&mut self, separator: &[u8], joins: u8) -> Option<String> {
        let (separator, joins) = (words::octets(separator), words::octets(&[joins]));
        let mut fields = Vec::new();
        let mut free = Vec::new();
        for (cell, name) in self.page.table.names.iter().enumerate() {
            let Name::Key(key) = name else { return None };
            let key = String::from_utf8_lossy(key);
            if matches!(self.cells[cell], Cell::Free { .. }) {
                free.push(key.into_owned());
                continue;
            }
            fields.push(self.field(cell, &format!("key = {}, ", words::text(&key)))?);
        }
        self.ask_for(&free, "key");
        let others = "# Keys that are not listed are passed over.\nothers = \"ignore\"\n";
        Some(format!("layout = \"keyed\"\nseparator = {separator}\njoins = {joins}\n{others}{}", list(&fields)))
    }

    fn json(&mut self) -> Option<String> {
        let mut fields = Vec::new();
        let mut free = Vec::new();
        for (cell, name) in self.page.table.names.iter().enumerate() {
            let Name::Pointer { path, quoted } = name else { return None };
            let word = matches!(&self.cells[cell], Cell::Constant(value) if value.len() > CONSTANT_MAX || !quoted);
            if word || matches!(self.cells[cell], Cell::Free { .. }) {
                free.push(path.clone());
                continue;
            }
            let number = matches!(self.cells[cell], Cell::Staff(..) | Cell::Sight { .. } | Cell::Sequence(_));
            let quotes = match (number, quoted) {
                (true, true) => "quoted = true, ",
                (false, false) => "quoted = false, ",
                _ => "",
            };
            fields.push(self.field(cell, &format!("pointer = {}, {quotes}", words::text(path)))?);
        }
        self.ask_for(&free, "member");
        let others = "# Members that are not listed are passed over.\nothers = \"ignore\"\n";
        Some(format!("layout = \"json\"\n{others}{}", list(&fields)))
    }

    fn ask_for(&mut self, free: &[String], what: &str) {
        if !free.is_empty() {
            self.plan.questions.push(format!("what does each {what} say that is passed over: {}?", free.join(", ")));
        }
    }

    /// Fields with the literals between them, of one line of the frame.
    fn parts(&mut self, line: std::ops::Range<usize>) -> Option<(Option<Vec<u8>>, Vec<String>)> {
        let row = self.plan.shown[0];
        let places = self.page.table.rows[row].as_ref()?;
        let body = self.page.bodies[row];
        let (mut begins, mut fields) = (None, Vec::new());
        let mut literal = Vec::new();
        let mut at = line.start;
        for (cell, place) in places.iter().enumerate() {
            let place = place.clone()?;
            if place.start < line.start || place.end > line.end {
                continue;
            }
            literal.extend_from_slice(&body[at..place.start]);
            at = place.end;
            if let Cell::Constant(value) = &self.cells[cell] {
                literal.extend_from_slice(value);
                continue;
            }
            if !literal.is_empty() && fields.is_empty() {
                begins = Some(std::mem::take(&mut literal));
            } else if !literal.is_empty() {
                fields.push(literal_field(&literal));
                literal.clear();
            }
            fields.push(self.field(cell, "")?);
        }
        literal.extend_from_slice(&body[at..line.end]);
        if fields.is_empty() {
            return Some((Some(literal), fields));
        }
        if !literal.is_empty() {
            fields.push(literal_field(&literal));
        }
        Some((begins, fields))
    }

    fn lines(&mut self, end: &[u8]) -> Option<String> {
        let body = self.page.bodies[self.plan.shown[0]];
        let mut lines = Vec::new();
        let mut at = 0;
        for stop in memchr::memmem::find_iter(body, end).chain([body.len()]) {
            let (begins, fields) = self.parts(at..stop)?;
            let mut keys: Vec<String> =
                begins.iter().map(|begins| format!("begins = {}", words::octets(begins))).collect();
            if !fields.is_empty() {
                keys.push(format!("layout = \"parts\", fields = [\n        {},\n    ]", fields.join(",\n        ")));
            }
            lines.push(format!("    {{ {} }},\n", keys.join(", ")));
            at = stop + end.len();
        }
        Some(format!("layout = \"lines\"\nline_end = {}\nlines = [\n{}]\n", words::octets(end), lines.concat()))
    }

    /// One field. `place` says where it stands.
    fn field(&mut self, cell: usize, place: &str) -> Option<String> {
        let own = self.page.field_name(cell);
        let repeats = matches!(self.page.table.way, Way::Separated { repeats: true, .. } | Way::Parts { .. });
        let missing = self.page.table.rows.iter().flatten().any(|row| row[cell].is_none());
        Some(match &self.cells[cell] {
            Cell::Staff(scale, style) => {
                self.plan.found.push(format!("staff reading: {own}, {}", described(*scale, style)));
                self.names.take("staff");
                format!("{{ {place}is = \"decimal\", means = \"staff\", {} }}", numbered(*scale, style))
            }
            Cell::Sight { scale, style, absent, optional } => {
                self.plan.found.push(format!("sight length: {own}, {}", described(*scale, style)));
                self.names.take("sight");
                let mut keys = numbered(*scale, style);
                if (*optional || missing) && !repeats {
                    keys.push_str(", optional = true");
                } else if *optional {
                    return None;
                }
                if !absent.is_empty() {
                    let texts: Vec<String> = absent.iter().map(|text| words::octets(text)).collect();
                    keys.push_str(&format!(", absent = [{}]", texts.join(", ")));
                }
                format!("{{ {place}is = \"decimal\", means = \"sight\", {keys} }}")
            }
            Cell::Sequence(style) => {
                self.plan.found.push(format!("number of the record: {own}, counted up"));
                self.names.take("sequence");
                let keys: String = style.keys.iter().map(|key| format!(", {key}")).collect();
                format!("{{ {place}is = \"integer\", means = \"sequence\"{keys} }}")
            }
            Cell::Inverted(values) => {
                self.plan.found.push(format!("inverted staff: {own}"));
                self.names.take("inverted");
                let pairs: Vec<String> = values
                    .iter()
                    .map(|(value, meaning)| format!("{} = \"{meaning}\"", words::text(&String::from_utf8_lossy(value))))
                    .collect();
                format!("{{ {place}is = \"choice\", means = \"inverted\", values = {{ {} }} }}", pairs.join(", "))
            }
            Cell::Constant(value) => {
                let place = place.replace("quoted = true, ", "");
                format!("{{ {place}is = \"literal\", literal = {} }}", words::octets(value))
            }
            Cell::Choice { values, optional } => {
                let name = self.names.take(&own);
                let mut shown: Vec<String> =
                    values.iter().map(|value| words::text(&String::from_utf8_lossy(value))).collect();
                if shown.is_empty() {
                    // It was empty wherever it was seen: whatever else stands there is refused.
                    shown.push(words::text(NEVER_SEEN));
                } else {
                    let question = format!("what does {name} say: {}? Perhaps the role, or a unit", shown.join(", "));
                    self.plan.questions.push(question);
                }
                let pairs: Vec<String> = shown.iter().map(|value| format!("{value} = {value}")).collect();
                let optional = if (*optional || missing) && !repeats { ", optional = true" } else { "" };
                format!(
                    "{{ {place}name = \"{name}\", is = \"choice\", values = {{ {} }}{optional} }}",
                    pairs.join(", ")
                )
            }
            Cell::Free { optional } => {
                let name = self.names.take(&own);
                self.plan.questions.push(format!("what does {name} say? Perhaps the point, the time or a temperature"));
                let optional = if (*optional || missing) && !repeats { ", optional = true" } else { "" };
                format!("{{ {place}name = \"{name}\", is = \"text\"{optional} }}")
            }
        })
    }
}

/// The one value of a choice of which none is known: no instrument sends it.
const NEVER_SEEN: &str = "~";

/// The longest JSON text that is taken for the kind of a record.
const CONSTANT_MAX: usize = 16;

fn literal_field(literal: &[u8]) -> String {
    format!("{{ is = \"literal\", literal = {} }}", words::octets(literal))
}

/// Unit, point and style of a number.
fn numbered(scale: Scale, style: &Style) -> String {
    let mut keys = vec![format!("unit = \"{}\"", scale.unit)];
    if let Some(decimals) = style.decimals {
        keys.push(format!("decimals = {decimals}"));
    } else if !style.pointed {
        keys.push(format!("implied = {}", scale.implied));
    }
    if scale.times != 1 {
        keys.push(format!("times = {}", scale.times));
    }
    keys.extend(style.keys.iter().cloned());
    keys.join(", ")
}

fn described(scale: Scale, style: &Style) -> String {
    match (style.pointed, scale.times) {
        (true, _) => format!("in {}", scale.unit),
        (false, 1) => format!("in {}, {} decimals implied", scale.unit, scale.implied),
        (false, times) => format!("in {}, {} decimals implied, steps of {times}", scale.unit, scale.implied),
    }
}
