//! A misclosure shared out along its section, as a table of text: observed elevation, correction, adjusted elevation.

use super::sheet::Sheet;
use super::wrap::{columns, visible, wrap};
use crate::book::reading::Role;
use crate::report::document::tree::{Section, SectionPoint};
use crate::report::document::{Distribution, FieldBook};

pub(super) fn section(sheet: &mut Sheet, book: &FieldBook, section: &Section, width: usize) {
    let height = book.shown.height_unit;
    let title = match &section.to {
        Some(to) => format!(
            "{} to {}: {} {height} over {}, shared out {}",
            section.from,
            to,
            section.misclosure.shown,
            extent(book, section),
            section.by.words()
        ),
        None => format!("beyond {}: {}", section.from, extent(book, section)),
    };
    let mut head = wrap("adjustment  ", &title, width);
    for remark in &section.remarks {
        head.extend(wrap("            ", remark, width));
    }
    let columns = Adjusted::of(book, section, width);
    head.extend(columns.head());
    let rows: Vec<Vec<String>> = section.points.iter().map(|point| columns.row(point)).collect();
    if sheet.left() < head.len() + rows.iter().take(3).map(Vec::len).sum::<usize>() {
        sheet.turn();
    }
    sheet.put(head);
    for row in rows {
        if sheet.left() < row.len() {
            sheet.turn();
            sheet.put(columns.head());
        }
        sheet.put(row);
    }
}

/// The table, fitted to its section.
struct Adjusted<'a> {
    by: Distribution,
    heads: [(&'static str, &'a str); CELLS],
    widths: [usize; CELLS],
    width: usize,
}

/// Point, setup, measure from the start, observed, correction, adjusted.
const CELLS: usize = 6;

/// A name longer than this stands on a line of its own.
const NAME_MAX: usize = 18;

impl<'a> Adjusted<'a> {
    fn of(book: &'a FieldBook, section: &Section, width: usize) -> Self {
        let shown = &book.shown;
        let (unit, height, sight) = (shown.unit.symbol(), shown.height_unit.symbol(), shown.sight_unit.symbol());
        let measure = match section.by {
            Distribution::ByLength => ("from start", sight),
            Distribution::BySetups | Distribution::None => ("setups", ""),
        };
        let heads =
            [("point", ""), ("run.setup", ""), measure, ("observed", unit), ("correction", height), ("adjusted", unit)];
        let mut widths = heads.map(|(first, second)| first.len().max(second.len()));
        for point in &section.points {
            for (width, cell) in widths.iter_mut().zip(cells(point, section.by)) {
                *width = (*width).max(columns(&cell));
            }
        }
        widths[0] = widths[0].min(NAME_MAX);
        Adjusted { by: section.by, heads, widths, width }
    }

    fn head(&self) -> Vec<String> {
        let first = self.line(&self.heads.map(|(first, _)| first.to_owned()));
        let second = self.line(&self.heads.map(|(_, second)| second.to_owned()));
        let rule = "-".repeat(self.widths.iter().sum::<usize>() + 2 * (CELLS - 1));
        vec![first, second, rule]
    }

    fn row(&self, point: &SectionPoint) -> Vec<String> {
        let mut cells = cells(point, self.by);
        let mut lines = Vec::new();
        if columns(&cells[0]) > NAME_MAX {
            lines.extend(wrap("", &std::mem::take(&mut cells[0]), self.width));
        }
        let mut line = self.line(&cells);
        if point.sight == Some(Role::Intermediate) {
            line += "  single, unchecked";
        }
        if columns(&line) > self.width {
            lines.push(self.line(&cells));
            lines.push("  single, unchecked".to_owned());
        } else {
            lines.push(line);
        }
        lines
    }

    fn line(&self, cells: &[String; CELLS]) -> String {
        let [name, rest @ ..] = cells;
        let [first, widths @ ..] = self.widths;
        let mut line = format!("{name:<first$}");
        for (cell, width) in rest.iter().zip(widths) {
            line += &format!("  {cell:>width$}");
        }
        line.trim_end().to_owned()
    }
}

fn cells(point: &SectionPoint, by: Distribution) -> [String; CELLS] {
    let measure = match by {
        Distribution::ByLength => point.length.as_ref().map(|length| length.shown.clone()).unwrap_or_default(),
        Distribution::BySetups | Distribution::None => point.setups.to_string(),
    };
    [
        visible(&point.point),
        format!("{}.{}", point.run, point.setup),
        measure,
        point.observed.shown.clone(),
        point.correction.shown.clone(),
        point.adjusted.shown.clone(),
    ]
}

fn extent(book: &FieldBook, section: &Section) -> String {
    let setups = if section.setups == 1 { "1 setup".to_owned() } else { format!("{} setups", section.setups) };
    match &section.length {
        Some(length) => format!("{setups}, {} {}", length.shown, book.shown.sight_unit),
        None => setups,
    }
}
