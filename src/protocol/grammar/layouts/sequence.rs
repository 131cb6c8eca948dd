//! Fields one behind another: separated, in columns, binary, in parts, in lines. All become one list of steps.

use super::{Builder, chosen, natural, octets};
use crate::protocol::format::file::{FieldFile, Is, LayoutKind, RecordFile, RecordKind};
use crate::protocol::format::written::At;
use crate::protocol::grammar::build::{Faults, span};
use crate::protocol::grammar::fields::Part;
use crate::protocol::grammar::{Bits, Code, Extent, Field, Filling, Layout, Side, Step, Test};
use crate::protocol::limits::BYTES_MAX;

/// A record that is only known by what it begins with.
pub(super) fn bare(file: &At<RecordFile>, builder: &mut Builder, faults: &mut Faults) -> Layout {
    let mut steps = Steps::default();
    steps.telling(octets(&file.begins), builder);
    let ends = octets(&file.ends);
    if ends.is_empty() && file.kind == RecordKind::Fault {
        // A fault without fields is its literal and nothing else.
        if file.begins.is_none() {
            faults.add(&file.span, "a fault without `begins` and fields found");
        }
        return Layout::Sequence(steps.steps);
    }
    let extent = if ends.is_empty() { Extent::Rest } else { Extent::Until(ends.clone()) };
    steps.steps.push(Step::Skip { extent, fill: Box::default() });
    if !ends.is_empty() {
        steps.steps.push(Step::Literal(ends));
    }
    Layout::Sequence(steps.steps)
}

pub(super) fn build(
    file: &At<RecordFile>,
    kind: LayoutKind,
    builder: &mut Builder,
    faults: &mut Faults,
) -> Option<Layout> {
    let mut steps = Steps::default();
    let ends = octets(&file.ends);
    let run = Run {
        fields: &file.fields,
        separator: octets(&file.separator),
        repeats: file.separator_repeats,
        short: file.short,
        begins: octets(&file.begins).len(),
        stop: if ends.is_empty() { None } else { Some(ends.clone()) },
        span: &file.span,
    };
    steps.telling(octets(&file.begins), builder);
    steps.run(kind, &run, builder, faults)?;
    steps.literal(ends);
    Some(Layout::Sequence(steps.steps))
}

pub(super) fn lines(file: &At<RecordFile>, builder: &mut Builder, faults: &mut Faults) -> Option<Layout> {
    let Some(end) = &file.line_end else {
        faults.add(&file.span, "lines without `line_end` found, it was wanted");
        return None;
    };
    if file.lines.is_empty() {
        faults.add(&file.span, "no lines found, `lines = [...]` was wanted");
        return None;
    }
    let end: Box<[u8]> = end.0.clone().into();
    let mut steps = Steps::default();
    steps.telling(octets(&file.begins), builder);
    for (place, line) in file.lines.iter().enumerate() {
        if place > 0 {
            steps.literal(end.clone());
        }
        steps.telling(octets(&line.begins), builder);
        let run = Run {
            fields: &line.fields,
            separator: octets(&line.separator),
            repeats: line.separator_repeats,
            short: false,
            begins: octets(&line.begins).len(),
            stop: (place + 1 < file.lines.len()).then(|| end.clone()),
            span: &line.span,
        };
        match &line.layout {
            None if line.fields.is_empty() => {}
            Some(kind) if matches!(kind.value, LayoutKind::Separated | LayoutKind::Columns | LayoutKind::Parts) => {
                let belongs = kind.value == LayoutKind::Separated;
                faults.misplaced(&[("separator", span(&line.separator), belongs)], "a line of this layout");
                steps.run(kind.value, &run, builder, faults)?;
            }
            _ => {
                faults.add(&line.span, "a line with fields found, `layout` separated, columns or parts was wanted");
                return None;
            }
        }
    }
    Some(Layout::Sequence(steps.steps))
}

/// A run of fields of one layout.
struct Run<'a> {
    fields: &'a [At<FieldFile>],
    separator: Box<[u8]>,
    repeats: bool,
    short: bool,
    /// How many bytes the literal before the fields takes.
    begins: usize,
    /// What stands behind the last field.
    stop: Option<Box<[u8]>>,
    span: &'a std::ops::Range<usize>,
}

/// Steps so far, and how many bytes they always take.
struct Steps {
    steps: Vec<Step>,
    offset: Option<usize>,
}

impl Default for Steps {
    fn default() -> Self {
        Steps { steps: Vec::new(), offset: Some(0) }
    }
}

impl Steps {
    /// A literal that tells the record from others, where its place is fixed.
    fn telling(&mut self, literal: Box<[u8]>, builder: &mut Builder) {
        if let (Some(offset), false) = (self.offset, literal.is_empty()) {
            builder.tests.push(Test::At { offset, any_of: vec![literal.clone()] });
        }
        self.literal(literal);
    }

    /// A literal that only separates.
    fn literal(&mut self, literal: Box<[u8]>) {
        if !literal.is_empty() {
            self.advance(Some(literal.len()));
            self.steps.push(Step::Literal(literal));
        }
    }

    fn advance(&mut self, by: Option<usize>) {
        self.offset = self.offset.zip(by).map(|(offset, by)| offset + by);
    }

    fn run(&mut self, kind: LayoutKind, run: &Run<'_>, builder: &mut Builder, faults: &mut Faults) -> Option<()> {
        match kind {
            LayoutKind::Separated => self.separated(run, builder, faults),
            LayoutKind::Columns => self.columns(run, builder, faults),
            _ => self.in_order(kind, run, builder, faults),
        }
    }

    fn separated(&mut self, run: &Run<'_>, builder: &mut Builder, faults: &mut Faults) -> Option<()> {
        if run.separator.is_empty() {
            faults.add(run.span, "fields without a `separator` found, it was wanted");
            return None;
        }
        if run.repeats && run.separator.len() != 1 {
            faults.add(run.span, "a repeated separator of several bytes found, one byte was wanted");
            return None;
        }
        let behind = self.offset;
        let first_missing = trailing_optional(run.fields);
        let mut index = 0;
        for (place, file) in run.fields.iter().enumerate() {
            let part = builder.part(file, LayoutKind::Separated, faults)?;
            self.tells_apart(&part, file, run, faults);
            if place > 0 && !file.joined {
                if run.short && place >= first_missing {
                    self.steps.push(Step::MayEnd);
                }
                self.steps.push(if run.repeats {
                    Step::Gap(run.separator[0])
                } else {
                    Step::Literal(run.separator.clone())
                });
                self.advance(if run.repeats { None } else { Some(run.separator.len()) });
                index += 1;
            }
            let next = run.fields.get(place + 1);
            let alone = !file.joined && next.is_none_or(|next| !next.joined);
            if let (Some(any_of), Some(behind), true) = (chosen(&part, file), behind, alone) {
                let (separator, repeats) = (run.separator.clone(), run.repeats);
                builder.tests.push(Test::Item { behind, separator, repeats, index, any_of });
            }
            let stop = match next {
                Some(next) if next.joined => None,
                Some(_) => Some(Extent::Until(run.separator.clone())),
                None => Some(run.stop.clone().map_or(Extent::Rest, Extent::Until)),
            };
            self.part(part, file, stop, builder, faults)?;
        }
        Some(())
    }

    /// A separator must not be what fills a field, and one that repeats leaves no room for an empty field.
    fn tells_apart(&self, part: &Part, file: &At<FieldFile>, run: &Run<'_>, faults: &mut Faults) {
        let Part::Field(field, _) = part else { return };
        let filling = match &field.code {
            Code::Number(number) => number.filling,
            Code::Text(text) => text.filling,
            Code::Choice(choice) => choice.filling,
            _ => None,
        };
        if let (Some(filling), [byte]) = (filling, &*run.separator)
            && filling.byte == *byte
        {
            faults.add(&file.span, "a field filled with what separates it from the next found");
        }
        if run.repeats && file.optional {
            let advice = "say what stands there instead: `absent = [\"--\"]`";
            faults.advise(
                &file.span,
                "an optional field between separators that repeat found: nobody could see it missing",
                advice,
            );
        }
    }

    fn columns(&mut self, run: &Run<'_>, builder: &mut Builder, faults: &mut Faults) -> Option<()> {
        // The literal that the line begins with stands in the first columns.
        let mut free = run.begins + 1;
        let first_missing = trailing_optional(run.fields);
        for (place, file) in run.fields.iter().enumerate() {
            let Some(columns) = &file.columns else {
                let advice = "its first and last, counted from 1: `columns = [1, 8]`";
                faults.advise(&file.span, "a field without `columns` found", advice);
                return None;
            };
            let [first, last] = columns.value;
            if first < free || last < first || last > crate::protocol::limits::FRAME_MAX {
                faults.add(&columns.span, format!("columns {first} to {last} found, the first free one is {free}"));
                return None;
            }
            if run.short && place >= first_missing {
                self.steps.push(Step::MayEnd);
            }
            self.literal(vec![b' '; first - free].into());
            free = last + 1;
            let wide = last - first + 1;
            let part = builder.part(file, LayoutKind::Columns, faults)?;
            self.chooses(&part, file, builder);
            let part = match part {
                Part::Skip { size: None, fill } if fill.is_empty() => {
                    Part::Skip { size: Some(wide), fill: vec![b' '; wide].into() }
                }
                Part::Skip { fill, .. } => Part::Skip { size: Some(wide), fill },
                other => other,
            };
            let found = match &part {
                Part::Field(_, size) => size.unwrap_or(wide),
                Part::Literal(literal) => literal.len(),
                Part::Skip { fill, .. } => fill.len(),
                Part::Flags { bytes, .. } | Part::Length { bytes } => *bytes,
            };
            if found != wide {
                faults.add(&columns.span, format!("{wide} columns found for what takes {found} characters"));
                return None;
            }
            let (part, extent) = match part {
                // Spaces at the end of the line may be cut off inside the last field that is there.
                Part::Field(mut field, size) => {
                    let cut = run.short && place + 1 >= first_missing && is_cut_short(&mut field);
                    (Part::Field(field, size), if cut { Extent::UpTo(wide) } else { Extent::Fixed(wide) })
                }
                part => (part, Extent::Fixed(wide)),
            };
            self.part(part, file, Some(extent), builder, faults)?;
        }
        Some(())
    }

    fn in_order(&mut self, kind: LayoutKind, run: &Run<'_>, builder: &mut Builder, faults: &mut Faults) -> Option<()> {
        let start = self.offset;
        for (place, file) in run.fields.iter().enumerate() {
            let part = builder.part(file, kind, faults)?;
            if let Some(at) = &file.at
                && self.offset.zip(start).is_some_and(|(here, start)| here - start != at.value)
            {
                let here = self.offset.zip(start).map_or(0, |(here, start)| here - start);
                faults.add(&at.span, format!("byte {} found, by the fields before it is byte {here}", at.value));
            }
            self.chooses(&part, file, builder);
            let next = run.fields.get(place + 1);
            let stop = match (next, &run.stop) {
                _ if matches!(part, Part::Field(_, Some(_))) => None,
                (None, None) => Some(Extent::Rest),
                (None, Some(stop)) => Some(Extent::Until(stop.clone())),
                (Some(next), _) => match &next.literal {
                    Some(literal) if next.is.value == Is::Literal => Some(Extent::Until(literal.0.clone().into())),
                    _ => None,
                },
            };
            self.part(part, file, stop, builder, faults)?;
        }
        Some(())
    }

    /// A literal or a choosing field at a fixed place tells the record from others.
    fn chooses(&self, part: &Part, file: &FieldFile, builder: &mut Builder) {
        let Some(offset) = self.offset else { return };
        if let (Some(any_of), false) = (chosen(part, file), matches!(part, Part::Literal(_))) {
            builder.tests.push(Test::At { offset, any_of });
        }
        if let Part::Flags { bytes, order, parts, .. } = part {
            for ((field, bit, bits), file) in parts.iter().zip(&file.bits) {
                if let (Code::Choice(choice), true) = (&field.code, file.chooses) {
                    let any_of = choice.items.iter().map(|item| item.number).collect();
                    let (bytes, order, bit, bits) = (*bytes, *order, *bit, *bits);
                    builder.tests.push(Test::Bits { offset, bytes, order, bit, bits, any_of });
                }
            }
        }
    }

    /// Takes one part in. `stop` is how far it reaches if it has no size of its own; `None`: only as far as itself.
    fn part(
        &mut self,
        part: Part,
        file: &At<FieldFile>,
        stop: Option<Extent>,
        builder: &mut Builder,
        faults: &mut Faults,
    ) -> Option<()> {
        match part {
            Part::Literal(literal) => self.telling(literal, builder),
            Part::Length { bytes } => {
                self.advance(Some(bytes));
                self.steps.push(Step::Length { bytes });
            }
            Part::Flags { bytes, order, parts, unused } => {
                self.advance(Some(bytes));
                let parts = parts
                    .into_iter()
                    .map(|(field, bit, bits)| Bits { slot: builder.push(field, file, faults), bit, bits })
                    .collect();
                self.steps.push(Step::Flags { bytes, order, parts, unused });
            }
            Part::Skip { size, fill } => {
                let extent = match (size, stop) {
                    (Some(size), _) => Extent::Fixed(size),
                    (None, Some(stop)) => stop,
                    (None, None) => {
                        faults.add(
                            &file.span,
                            "bytes of no interest without an end found, a width or a literal behind them was wanted",
                        );
                        return None;
                    }
                };
                self.advance(if let Extent::Fixed(size) = extent { Some(size) } else { None });
                self.steps.push(Step::Skip { extent, fill });
            }
            Part::Field(field, size) => {
                let Some(extent) = stop.or_else(|| natural(&field, size)) else {
                    let advice = "give it a width, or put a literal or a separator behind it";
                    faults.advise(&file.span, format!("the field {:?} without an end found", field.name), advice);
                    return None;
                };
                self.advance(if let Extent::Fixed(size) = extent { Some(size) } else { None });
                let slot = builder.push(*field, file, faults);
                self.steps.push(Step::Field { slot, extent });
            }
        }
        if file.before.as_ref().is_some_and(|octets| octets.0.len() > BYTES_MAX) {
            faults.add(&file.span, format!("more than {BYTES_MAX} bytes before a value found"));
        }
        Some(())
    }
}

/// Lets a text or a choice that is filled with spaces behind it be shorter than its columns.
fn is_cut_short(field: &mut Field) -> bool {
    let spaces = Filling { byte: b' ', side: Side::Behind };
    let (filling, width) = match &mut field.code {
        Code::Text(text) => (text.filling, &mut text.width),
        Code::Choice(choice) => (choice.filling, &mut choice.width),
        _ => return false,
    };
    let cut = filling == Some(spaces);
    if cut {
        width.min = 0;
    }
    cut
}

/// The place of the first of the optional fields at the end.
fn trailing_optional(fields: &[At<FieldFile>]) -> usize {
    fields.iter().rposition(|field| !field.optional).map_or(0, |last| last + 1)
}
