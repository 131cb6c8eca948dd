//! Readings in the cells of text.

use super::figures::{Style, Width, figure, style_of_most};
use super::plan::{FEW, Plan, Unknown, are_few, counts_up};
use super::scale::{Display, Minus, Scale, agreeing, in_order, plausible_sight, plausible_staff};
use super::seen::Seen;
use super::tables::{Name, Table, Way};
use super::words;
use crate::units::{Decimal, Measured};

mod write;

/// The most staff readings that are followed in one table.
const STAFFS_MAX: usize = 6;

/// The bodies of a cutting, taken apart in one way.
pub(super) struct Page<'a> {
    pub(super) bodies: &'a [&'a [u8]],
    pub(super) table: &'a Table,
    /// The number in each cell of each body.
    numbers: Vec<Vec<Option<Decimal>>>,
}

/// Where a number stands and what it means.
#[derive(Clone, Copy)]
struct Found {
    cell: usize,
    scale: Scale,
}

/// The values of a cell that says whether the staff is inverted, each with what it means.
type Inverted = Vec<(Vec<u8>, &'static str)>;

/// What a cell turned out to be.
#[derive(Clone, Debug)]
enum Cell {
    Staff(Scale, Style),
    Sight {
        scale: Scale,
        style: Style,
        absent: Vec<Vec<u8>>,
        optional: bool,
    },
    Sequence(Style),
    /// Whether the staff is inverted.
    Inverted(Inverted),
    /// Always the same.
    Constant(Vec<u8>),
    /// One of these.
    Choice {
        values: Vec<Vec<u8>>,
        optional: bool,
    },
    /// Anything.
    Free {
        optional: bool,
    },
}

/// All ways in which the cells could hold what was seen.
pub(super) fn plans(bodies: &[&[u8]], table: &Table, seen: &[Seen]) -> Vec<Plan> {
    let numbers = (0..table.names.len()).map(|cell| {
        (0..bodies.len()).map(|row| figure(table.cell(bodies, row, cell)?).map(|figure| figure.value)).collect()
    });
    let page = Page { bodies, table, numbers: numbers.collect() };
    let staffs: Vec<Measured> = seen.iter().map(|seen| seen.staff).collect();
    let mut plans = Vec::new();
    for minus in [Minus::Sent, Minus::Apart] {
        if minus == Minus::Apart && (!plans.is_empty() || seen.iter().all(|seen| !is_negative(&seen.staff))) {
            break;
        }
        let display = Display::new(staffs.clone(), minus);
        for cell in 0..table.names.len() {
            for scale in display.scales(&page.numbers[cell]) {
                if plans.len() < STAFFS_MAX {
                    plans.extend(page.plans(Found { cell, scale }, minus, seen, &staffs));
                }
            }
        }
    }
    plans
}

fn is_negative(measured: &Measured) -> bool {
    measured.digits().as_str().starts_with('-')
}

impl<'a> Page<'a> {
    fn plans(&self, staff: Found, minus: Minus, seen: &[Seen], staffs: &[Measured]) -> Vec<Plan> {
        let row = &self.numbers[staff.cell];
        let agrees = &mut agreeing(row, staff.scale, staffs, minus);
        let Some(shown) = in_order(row.len(), staffs.len(), agrees) else { return Vec::new() };
        let sights = self.sights(staff.cell, &shown, seen);
        if sights.is_empty() {
            return self.plan(staff, None, minus, &shown, seen).into_iter().collect();
        }
        sights.into_iter().filter_map(|sight| self.plan(staff, Some(sight), minus, &shown, seen)).collect()
    }

    /// Where the sight lengths could stand.
    fn sights(&self, staff: usize, shown: &[usize], seen: &[Seen]) -> Vec<Found> {
        let pairs = || shown.iter().zip(seen).filter_map(|(frame, seen)| Some((*frame, seen.sight?)));
        let display = Display::new(pairs().map(|(_, sight)| sight).collect(), Minus::Sent);
        let mut found = Vec::new();
        for cell in (0..self.table.names.len()).filter(|cell| *cell != staff) {
            let row: Vec<_> = pairs().map(|(frame, _)| self.numbers[cell][frame]).collect();
            found.extend(display.scales(&row).into_iter().map(|scale| Found { cell, scale }));
        }
        found.truncate(STAFFS_MAX);
        found
    }

    fn cell(&self, row: usize, cell: usize) -> Option<&'a [u8]> {
        self.table.cell(self.bodies, row, cell)
    }

    fn plan(&self, staff: Found, sight: Option<Found>, minus: Minus, shown: &[usize], seen: &[Seen]) -> Option<Plan> {
        let holds =
            |row: usize| self.numbers[staff.cell][row].is_some_and(|number| plausible_staff(number, staff.scale));
        let mut members: Vec<bool> = (0..self.bodies.len()).map(holds).collect();
        let mut unseen = Vec::new();
        let mut cells: Vec<Option<Cell>> = vec![None; self.table.names.len()];
        if minus == Minus::Apart {
            let (cell, values) = self.inverted(staff.cell, sight, shown, seen)?;
            members.iter_mut().enumerate().for_each(|(row, member)| {
                *member = *member && self.cell(row, cell).is_some_and(|found| values.iter().any(|(v, _)| v == found));
            });
            cells[cell] = Some(Cell::Inverted(values));
        }
        let alike = members.clone();
        let known = |cell: usize| cell == staff.cell || sight.is_some_and(|sight| sight.cell == cell);
        for (cell, is) in cells.iter_mut().enumerate().filter(|(cell, is)| !known(*cell) && is.is_none()) {
            *is = Some(self.judge(cell, &alike, &mut members, shown, &mut unseen));
        }
        // Only now is it known which frames are readings, and how theirs are written.
        let style = self.style(staff.cell, &mut members, shown, &mut unseen)?;
        cells[staff.cell] = Some(Cell::Staff(staff.scale, style));
        if let Some(sight) = sight {
            let style = self.style(sight.cell, &mut members, shown, &mut unseen)?;
            cells[sight.cell] = Some(self.sight(sight, &mut members, style));
        }
        let mut cells: Vec<Cell> = cells.into_iter().collect::<Option<_>>()?;
        self.number_once(&mut cells, shown[0]);
        let mut plan = Plan::of(members, shown, unseen);
        write::record(self, &cells, &mut plan)?;
        Some(plan)
    }

    /// A record has one number, if it can be a bare one; what else is counted with it may be its point.
    fn number_once(&self, cells: &mut [Cell], row: usize) {
        let counted: Vec<usize> = (0..cells.len()).filter(|&cell| matches!(cells[cell], Cell::Sequence(_))).collect();
        let bare = |cell: &&usize| self.cell(row, **cell).is_some_and(|text| text.iter().all(u8::is_ascii_digit));
        let number = counted.iter().find(bare).or(counted.first());
        for cell in counted.iter().filter(|cell| Some(*cell) != number) {
            cells[*cell] = Cell::Free { optional: false };
        }
    }

    /// How the numbers of a cell are written. Readings that write it otherwise are none: they are damaged, or what stands
    /// around the number means something, and is asked for where it comes again.
    fn style(&self, cell: usize, members: &mut [bool], shown: &[usize], unseen: &mut Vec<Unknown>) -> Option<Style> {
        let rows: Vec<(usize, &[u8])> = (0..members.len())
            .filter(|row| members[*row] && self.numbers[cell][*row].is_some())
            .filter_map(|row| Some((row, self.cell(row, cell)?)))
            .collect();
        let own: Vec<&[u8]> = rows.iter().map(|(_, text)| *text).collect();
        let (style, kept) = style_of_most(&own, self.width(), |place| shown.contains(&rows[place].0))?;
        let mut around: Vec<(Vec<u8>, Unknown)> = Vec::new();
        for ((row, text), _) in rows.iter().zip(kept).filter(|(_, kept)| !kept) {
            members[*row] = false;
            let without: Vec<u8> = text.iter().copied().filter(|byte| !byte.is_ascii_digit()).collect();
            match around.iter().position(|(known, _)| *known == without) {
                Some(place) => around[place].1.frames += 1,
                None if around.len() < FEW => {
                    let value = String::from_utf8_lossy(text).into_owned();
                    around.push((without, Unknown { field: self.field_name(cell), value, frames: 1, row: *row }));
                }
                None => {}
            }
        }
        unseen.extend(around.into_iter().map(|(_, unknown)| unknown).filter(|unknown| unknown.frames > 1));
        Some(style)
    }

    fn width(&self) -> Width {
        if self.table.way == Way::Columns { Width::Given } else { Width::Own }
    }

    /// What a cell is that is neither staff nor sight. Where it has few values, only those that were seen are taken:
    /// another may be another unit.
    fn judge(
        &self,
        cell: usize,
        alike: &[bool],
        members: &mut [bool],
        shown: &[usize],
        unseen: &mut Vec<Unknown>,
    ) -> Cell {
        let rows = || (0..self.bodies.len()).filter(|row| alike[*row]);
        let value = |row: usize| self.cell(row, cell).map_or(&b""[..], <[u8]>::trim_ascii);
        let mut values: Vec<(&[u8], usize, usize)> = Vec::new();
        for row in rows() {
            match values.iter().position(|(known, ..)| *known == value(row)) {
                Some(at) => values[at].1 += 1,
                None => values.push((value(row), 1, row)),
            }
            if values.len() > FEW {
                break;
            }
        }
        let optional = rows().any(|row| value(row).is_empty());
        if let [(value, ..)] = values[..]
            && !value.is_empty()
        {
            return Cell::Constant(self.cell(shown[0], cell).unwrap_or_default().to_vec());
        }
        let counted: Vec<i64> = rows()
            .filter_map(|row| self.numbers[cell][row])
            .filter(|number| number.decimals == 0)
            .map(|number| number.mantissa)
            .collect();
        if counts_up(&counted)
            && !optional
            && let Some(style) = self.style(cell, members, shown, unseen)
        {
            return Cell::Sequence(style);
        }
        let few = are_few(values.len(), rows().count());
        if !(few && values.iter().all(|(value, ..)| may_be_a_kind(value))) {
            return Cell::Free { optional };
        }
        let was_seen =
            |value: &[u8]| shown.iter().any(|row| self.cell(*row, cell).map_or(&b""[..], <[u8]>::trim_ascii) == value);
        let field = self.field_name(cell);
        for (value, frames, row) in values.iter().filter(|(value, ..)| !was_seen(value)) {
            let value =
                if value.is_empty() { "nothing".to_owned() } else { String::from_utf8_lossy(value).into_owned() };
            unseen.push(Unknown { field: field.clone(), value, frames: *frames, row: *row });
        }
        let seen: Vec<Vec<u8>> =
            values.iter().map(|(value, ..)| *value).filter(|value| was_seen(value)).map(<[u8]>::to_vec).collect();
        for (row, member) in members.iter_mut().enumerate() {
            *member = *member && seen.iter().any(|seen| seen == value(row));
        }
        let optional = seen.iter().any(Vec::is_empty);
        Cell::Choice { values: seen.into_iter().filter(|value| !value.is_empty()).collect(), optional }
    }

    /// The sight length, with the texts that stand for none.
    fn sight(&self, sight: Found, members: &mut [bool], style: Style) -> Cell {
        let mut absent: Vec<Vec<u8>> = Vec::new();
        let mut optional = false;
        for (row, member) in members.iter_mut().enumerate().filter(|(_, member)| **member) {
            match (self.cell(row, sight.cell), self.numbers[sight.cell][row]) {
                (_, Some(number)) if plausible_sight(number, sight.scale) => {}
                (None, _) | (Some([]), _) => optional = true,
                (Some(text), None) if text.trim_ascii().is_empty() => optional = true,
                // A text with digits is a damaged number.
                (Some(text), None) if absent.len() < ABSENT_MAX && !text.iter().any(u8::is_ascii_digit) => {
                    if !absent.iter().any(|known| known == text) {
                        absent.push(text.to_vec());
                    }
                }
                _ => *member = false,
            }
        }
        Cell::Sight { scale: sight.scale, style, absent, optional }
    }

    /// The one cell that says whether the staff is inverted.
    fn inverted(
        &self,
        staff: usize,
        sight: Option<Found>,
        shown: &[usize],
        seen: &[Seen],
    ) -> Option<(usize, Inverted)> {
        let others =
            (0..self.table.names.len()).filter(|cell| *cell != staff && sight.is_none_or(|sight| sight.cell != *cell));
        let mut found = others.filter_map(|cell| {
            let mut values: Inverted = Vec::new();
            for (row, seen) in shown.iter().zip(seen) {
                let value = self.cell(*row, cell).filter(|value| may_be_a_kind(value))?;
                let meaning = if is_negative(&seen.staff) { "inverted" } else { "upright" };
                match values.iter().find(|(known, _)| known == value) {
                    Some((_, known)) if *known != meaning => return None,
                    Some(_) => {}
                    None => values.push((value.to_vec(), meaning)),
                }
            }
            (values.len() == 2 && values[0].1 != values[1].1).then_some((cell, values))
        });
        found.next().filter(|_| found.next().is_none())
    }

    /// A name for a cell of which nothing else is known.
    fn field_name(&self, cell: usize) -> String {
        match &self.table.names[cell] {
            Name::Place(place) => format!("field-{}", place + 1),
            Name::Key(key) => words::name(&String::from_utf8_lossy(key)),
            Name::Pointer { path, .. } => words::name(path.rsplit('/').next().unwrap_or_default()),
            Name::Columns(first, _) => format!("column-{first}"),
        }
    }
}

/// The most texts that stand for no sight length.
const ABSENT_MAX: usize = 4;

/// Whether a value could be a unit, a sign, or a kind of reading: a letter or two, a unit in words, true or false.
fn may_be_a_kind(value: &[u8]) -> bool {
    const WORDS: [&[u8]; 12] = [
        b"true", b"false", b"null", b"feet", b"foot", b"metre", b"metres", b"meter", b"meters", b"usft", b"sft", b"ift",
    ];
    value.len() <= 2 || WORDS.iter().any(|word| word.eq_ignore_ascii_case(value))
}
