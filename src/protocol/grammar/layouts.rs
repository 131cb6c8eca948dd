//! Records, from the file to the tree: how fields lie, and by what a record is told from the others.

mod json;
mod keyed;
mod sequence;

use std::ops::Range;

use super::build::{Faults, name, span};
use super::fields::{Part, Place};
use super::{Code, Extent, Field, FieldUnit, Layout, Leads, MEANINGS, Rule, Step, Test, fields};
use crate::protocol::format::file::{Encoding, FieldFile, File, LayoutKind, Means, RecordFile, RecordKind};
use crate::protocol::format::written::{At, Octets};
use crate::protocol::framing::Framer;
use crate::protocol::limits::{BYTES_MAX, FIELDS_MAX, LOOKS_MAX, PARTS_MAX, SCANS_MAX};

/// Checks all records.
pub(super) fn build(file: &File, framer: Option<&Framer>, faults: &mut Faults) -> Vec<Rule> {
    let mut rules: Vec<Rule> = Vec::new();
    for record in &file.record {
        if let Some(rule) = one(record, file.text, faults) {
            if rules.iter().any(|other| other.name == rule.name) {
                faults.add(&record.name.span, format!("two records named {:?} found", record.name.value));
            }
            rules.push(rule);
        }
    }
    if faults.0.is_empty() {
        reachable(&rules, &file.record, faults);
        tellable(&rules, &file.record, faults);
        if framer.is_some() && !rules.iter().any(|rule| rule.kind == RecordKind::Reading) {
            let at = file.record.first().map_or(0..0, |record| record.span.clone());
            faults.add(&at, "no record of the kind \"reading\" found, at least one was wanted");
        }
    }
    rules
}

/// A record that an earlier one always takes the place of is a mistake.
fn reachable(rules: &[Rule], files: &[At<RecordFile>], faults: &mut Faults) {
    for (place, rule) in rules.iter().enumerate() {
        let earlier = rules[..place].iter().find(|earlier| earlier.tests.iter().all(|test| implied(test, &rule.tests)));
        if let Some(earlier) = earlier {
            let message = format!("every {} would be taken for a {}, which stands before it", rule.name, earlier.name);
            let advice = "put it first, or give it a `begins`, a literal or a choosing field that the other has not";
            faults.advise(&files[place].span, message, advice);
        }
    }
}

/// Telling a frame's record must not cost more than reading it.
fn tellable(rules: &[Rule], files: &[At<RecordFile>], faults: &mut Faults) {
    let (mut looks, mut scans) = (0, 0);
    // One kind of record needs no telling.
    for (rule, file) in rules.iter().zip(files).filter(|_| rules.len() > 1) {
        for test in &rule.tests {
            match test {
                Test::At { any_of, .. } => looks += any_of.len(),
                Test::Item { index, any_of, .. } => looks += index + any_of.len(),
                Test::Bits { any_of, .. } => looks += any_of.len(),
                Test::Key { any_of, .. } | Test::Pointer { any_of, .. } => {
                    looks += any_of.len();
                    scans += 1;
                }
            }
        }
        if looks > LOOKS_MAX || scans > SCANS_MAX {
            let message = format!(
                "records that take {looks} looks at a frame and {scans} walks over it to be told apart found, at most \
                 {LOOKS_MAX} and {SCANS_MAX} were wanted"
            );
            faults.advise(&file.span, message, "let fewer literals and choosing fields tell the records apart");
            return;
        }
    }
}

/// Whether a test holds wherever all of `others` do.
pub(in crate::protocol) fn implied(test: &Test, others: &[Test]) -> bool {
    others.iter().any(|other| match (test, other) {
        (Test::At { offset: a, any_of: wide }, Test::At { offset: b, any_of: narrow }) => narrow.iter().all(|narrow| {
            a.checked_sub(*b)
                .and_then(|skip| narrow.get(skip..))
                .is_some_and(|rest| wide.iter().any(|wide| rest.starts_with(wide)))
        }),
        (a, b) if a == b => true,
        (
            Test::Item { behind: a, separator: c, repeats: e, index: g, any_of: wide },
            Test::Item { behind: b, separator: d, repeats: f, index: h, any_of: narrow },
        ) => (a, c, e, g) == (b, d, f, h) && narrow.iter().all(|narrow| wide.contains(narrow)),
        (
            Test::Key { behind: a, separator: c, joins: e, key: g, any_of: wide },
            Test::Key { behind: b, separator: d, joins: f, key: h, any_of: narrow },
        ) => (a, c, e, g) == (b, d, f, h) && narrow.iter().all(|narrow| wide.contains(narrow)),
        (Test::Pointer { path: a, any_of: wide }, Test::Pointer { path: b, any_of: narrow }) => {
            a == b && narrow.iter().all(|narrow| wide.contains(narrow))
        }
        (
            Test::Bits { offset: a, bytes: c, order: e, bit: g, bits: i, any_of: wide },
            Test::Bits { offset: b, bytes: d, order: f, bit: h, bits: j, any_of: narrow },
        ) => (a, c, e, g, i) == (b, d, f, h, j) && narrow.iter().all(|narrow| wide.contains(narrow)),
        _ => false,
    })
}

fn one(file: &At<RecordFile>, encoding: Encoding, faults: &mut Faults) -> Option<Rule> {
    name(&file.name, "a record", faults);
    let before = faults.0.len();
    let mut builder = Builder::new(encoding);
    let layout = layout(file, &mut builder, faults);
    builder.units(faults);
    let parts = file.fields.len() + file.lines.iter().map(|line| 1 + line.fields.len()).sum::<usize>();
    if parts > PARTS_MAX {
        faults.add(&file.span, format!("{parts} parts found, at most {PARTS_MAX} were wanted"));
    }
    if builder.fields.len() > FIELDS_MAX {
        faults.add(&file.span, format!("{} fields found, at most {FIELDS_MAX} were wanted", builder.fields.len()));
    }
    if faults.0.len() > before {
        return None;
    }
    let layout = layout?;
    let spans = std::mem::take(&mut builder.spans);
    let rule = builder.rule(file, layout, faults);
    meanings(&rule, file, &spans, faults);
    (faults.0.len() == before).then_some(rule)
}

fn layout(file: &At<RecordFile>, builder: &mut Builder, faults: &mut Faults) -> Option<Layout> {
    let kind = match &file.layout {
        Some(kind) => kind.value,
        None if file.fields.is_empty() && file.lines.is_empty() => {
            if !matches!(file.kind, RecordKind::Ignored | RecordKind::Echo | RecordKind::Fault) {
                faults.add(
                    &file.span,
                    "a record without fields found, which only a fault, an echo or an ignored record can be",
                );
            }
            return Some(sequence::bare(file, builder, faults));
        }
        None => {
            faults.advise(
                &file.span,
                "a record without `layout` found, which says how its fields lie",
                "one of separated, columns, keyed, json, parts, lines, binary",
            );
            return None;
        }
    };
    use LayoutKind::{Json, Keyed, Lines, Separated};
    let repeats = file.separator_repeats.then_some(&file.span);
    let short = file.short.then_some(&file.span);
    faults.misplaced(
        &[
            ("separator", span(&file.separator), matches!(kind, Separated | Keyed)),
            ("separator_repeats", repeats, kind == Separated),
            ("short", short, matches!(kind, Separated | LayoutKind::Columns)),
            ("joins", span(&file.joins), kind == Keyed),
            ("line_end", span(&file.line_end), kind == Lines),
            ("begins", span(&file.begins), kind != Json),
            ("ends", span(&file.ends), !matches!(kind, Json | Lines)),
            ("lines", file.lines.first().map(|line| &line.span), kind == Lines),
            ("fields", file.fields.first().map(|field| &field.span), kind != Lines),
        ],
        "a record of this layout",
    );
    for octets in [&file.begins, &file.ends, &file.separator, &file.joins, &file.line_end].into_iter().flatten() {
        if !(1..=BYTES_MAX).contains(&octets.0.len()) {
            faults.add(&octets.span, format!("{} bytes found, 1 to {BYTES_MAX} were wanted", octets.0.len()));
            return None;
        }
    }
    match kind {
        Keyed => keyed::build(file, builder, faults),
        Json => json::build(file, builder, faults),
        Lines => sequence::lines(file, builder, faults),
        _ => sequence::build(file, kind, builder, faults),
    }
}

fn octets(value: &Option<At<Octets>>) -> Box<[u8]> {
    value.as_ref().map_or(Box::default(), |octets| octets.0.clone().into())
}

/// A record while it is put together.
struct Builder {
    encoding: Encoding,
    fields: Vec<Field>,
    /// Where each of them stands in the file.
    spans: Vec<Range<usize>>,
    /// Fields whose unit another field names.
    unit_from: Vec<(usize, At<String>)>,
    tests: Vec<Test>,
}

impl Builder {
    fn new(encoding: Encoding) -> Self {
        Builder { encoding, fields: Vec::new(), spans: Vec::new(), unit_from: Vec::new(), tests: Vec::new() }
    }

    fn part(&mut self, file: &At<FieldFile>, layout: LayoutKind, faults: &mut Faults) -> Option<Part> {
        fields::build(file, Place { layout, encoding: self.encoding }, faults)
    }

    /// Takes a field in; gives its slot.
    fn push(&mut self, field: Field, file: &At<FieldFile>, faults: &mut Faults) -> usize {
        if self.fields.iter().any(|other| other.name == field.name) {
            faults.add(&file.span, format!("two fields named {:?} found", field.name));
        }
        let slot = self.fields.len();
        if let Some(from) = &file.unit_from {
            self.unit_from.push((slot, from.clone()));
        }
        self.fields.push(field);
        self.spans.push(file.span.clone());
        slot
    }

    /// Finds the choices that name units.
    fn units(&mut self, faults: &mut Faults) {
        for (slot, from) in std::mem::take(&mut self.unit_from) {
            let place = self.fields.iter().position(|field| *field.name == *from.value);
            match place.map(|place| (place, &self.fields[place])) {
                Some((place, field)) if field.means == Some(Means::Unit) && matches!(field.code, Code::Choice(_)) => {
                    self.fields[slot].unit = FieldUnit::From(place);
                }
                Some(_) => faults.add(&from.span, format!("the field {:?} is no choice that means unit", from.value)),
                None => {
                    let known: Vec<_> = self.fields.iter().map(|field| &*field.name).collect();
                    faults.unknown(&from.span, "field", &from, &known);
                }
            }
        }
    }

    fn rule(self, file: &At<RecordFile>, layout: Layout, faults: &mut Faults) -> Rule {
        let mut slots = [None; MEANINGS];
        for (slot, field) in self.fields.iter().enumerate() {
            if let Some(means) = field.means
                && slots[means as usize].replace(slot as u16).is_some()
                && means != Means::Unit
            {
                faults.add(&file.span, format!("two fields that mean {} found", means.word()));
            }
        }
        let leads = match &layout {
            Layout::Sequence(steps) => matches!(steps.first(), Some(Step::Literal(_))),
            Layout::Keyed(keyed) => !keyed.begins.is_empty(),
            Layout::Json { .. } => true,
        };
        let leads = if leads { Leads::ByLiteral } else { Leads::Not };
        let late = |slot: &u16| crate::protocol::record::is_settled_late(&self.fields[usize::from(*slot)]);
        let settled = (0..self.fields.len() as u16).filter(late).collect();
        let (name, kind, tests, fields) = (file.name.value.as_str().into(), file.kind, self.tests, self.fields);
        Rule { name, kind, tests, layout, fields, leads, settled, slots }
    }
}

/// What a record of its kind must and may mean.
fn meanings(rule: &Rule, file: &At<RecordFile>, spans: &[Range<usize>], faults: &mut Faults) {
    use crate::protocol::grammar::Presence;
    if rule.kind == RecordKind::Reading {
        match rule.slot(Means::Staff).map(|slot| &rule.fields[slot]) {
            None => faults.advise(
                &file.span,
                "a reading without a staff reading found",
                "say which field it is: `means = \"staff\"`",
            ),
            Some(field) if field.presence == Presence::Optional => {
                faults.add(&file.span, "a staff reading that may be absent found, it must always be there");
            }
            Some(_) => {}
        }
        for (field, span) in rule.fields.iter().zip(spans) {
            let length = matches!(field.means, Some(Means::Staff | Means::Sight | Means::Spread));
            if length && field.unit == FieldUnit::None {
                let advice = format!("say it with `unit`, one of {}, or with `unit_from`", known_units());
                faults.advise(span, format!("the field {:?} without a unit found", field.name), advice);
            }
            if let FieldUnit::From(slot) = field.unit
                && rule.fields[slot].presence == Presence::Optional
            {
                faults.add(span, format!("the unit of {:?} may be absent, it must always be there", field.name));
            }
        }
    }
}

fn known_units() -> String {
    crate::units::Unit::ALL.map(crate::units::Unit::symbol).join(", ")
}

/// The values that a choosing field tells its record by.
fn chosen(part: &Part, file: &FieldFile) -> Option<Vec<Box<[u8]>>> {
    match part {
        Part::Literal(literal) => Some(vec![literal.clone()]),
        Part::Field(field, _) if file.chooses => match &field.code {
            Code::Choice(choice) => {
                let around = |sent: &[u8]| [&*field.before, sent, &*field.behind].concat().into();
                Some(choice.items.iter().map(|item| around(&item.sent)).collect())
            }
            _ => None,
        },
        _ => None,
    }
}

/// How far a field reaches when nothing but itself ends it.
fn natural(field: &Field, size: Option<usize>) -> Option<Extent> {
    match (size, &field.code) {
        (Some(size), _) => Some(Extent::Fixed(size)),
        (None, Code::Number(number)) if number.filling.is_none_or(|filling| filling.byte == b'0') => {
            Some(Extent::Natural)
        }
        (None, Code::Hex { .. }) => Some(Extent::Natural),
        (None, Code::Choice(choice)) if !choice.open && choice.filling.is_none() => Some(Extent::Natural),
        _ => None,
    }
}
