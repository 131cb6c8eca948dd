//! The page of a run as a table of text: one line a point, decimal points in line, remarks where there is room for
//! them and on lines of their own where there is not.
//!
//! A struck reading stands between `~` and a reading of a broken setup between `/`; shots of one sight stand under it.

use super::wrap::{columns, visible, wrap};
use crate::book::settings::Booking;
use crate::report::document::FieldBook;
use crate::report::document::tree::{Line, PageCheck, RunPart};
use crate::report::page_rows::{self, COLUMNS, Column, Mark, Row};

/// A point name longer than this stands on a line of its own.
const POINT_MAX: usize = 14;
/// The narrowest column of points: shots stand in it as ` no. 1234`.
const POINT_MIN: usize = 9;
/// Columns behind the table that make room for a short remark: two of air, and `keyed in`.
const REMARK_ROOM: usize = 10;
/// Where remarks begin that have a line of their own.
const REMARK_LEAD: &str = "         ";

/// A table fitted to its run and to the width of the page.
pub(super) struct Table<'a> {
    book: &'a FieldBook,
    width: usize,
    columns: Vec<Fitted>,
    gap: usize,
    sights: bool,
}

/// A column with its width. Numbers stand with their decimal points in line.
#[derive(Clone, Copy)]
struct Fitted {
    column: Column,
    width: usize,
    /// Columns from the decimal point on.
    behind: usize,
}

impl<'a> Table<'a> {
    pub(super) fn new(book: &'a FieldBook, run: &RunPart, width: usize) -> Self {
        let mut table = Table { book, width, columns: Vec::new(), gap: 2, sights: true };
        let lines = run.lines.iter().flat_map(|line| page_rows::rows(book, line));
        let rows: Vec<Row> = lines.chain(run.page_checks.iter().map(page_rows::sums)).collect();
        // Wide if there is room for remarks behind it, close if that makes room, without sight lengths if it must be.
        let ways = [(2, true, REMARK_ROOM), (1, true, REMARK_ROOM), (2, true, 0), (1, true, 0), (1, false, 0)];
        for (gap, sights, room) in ways {
            (table.gap, table.sights) = (gap, sights);
            table.fit(&rows);
            if table.whole() + room <= width {
                break;
            }
        }
        table
    }

    fn fit(&mut self, rows: &[Row]) {
        // Names are as long as a column of points may be until it is fitted.
        self.columns.clear();
        let form = self.book.shown.form;
        let shown = COLUMNS.into_iter().filter(|column| match column {
            Column::Height => form == Booking::HeightOfInstrument,
            Column::Rise | Column::Fall => form == Booking::RiseAndFall,
            Column::BackSight | Column::ForeSight => self.sights,
            _ => true,
        });
        self.columns = shown
            .map(|column| {
                let cells = || rows.iter().map(|row| self.cell(row, column));
                let before = cells().map(|cell| columns(split(&cell).0)).max().unwrap_or(0);
                let behind = cells().map(|cell| columns(split(&cell).1)).max().unwrap_or(0);
                let heads = self.head_of(column);
                let least = heads.iter().map(|head| columns(head)).max().unwrap_or(0);
                Fitted { column, width: (before + behind).max(least), behind }
            })
            .collect();
        let over = self.whole().saturating_sub(self.width);
        if let Some(point) = self.columns.iter_mut().find(|fitted| fitted.column == Column::Point) {
            point.width = point.width.clamp(POINT_MIN, POINT_MAX).saturating_sub(over).max(POINT_MIN);
        }
    }

    /// Columns that the whole table takes.
    fn whole(&self) -> usize {
        self.columns.iter().map(|fitted| fitted.width + self.gap).sum::<usize>().saturating_sub(self.gap)
    }

    fn head_of(&self, column: Column) -> [String; 2] {
        let shown = &self.book.shown;
        let (unit, sight) = (shown.unit.symbol(), shown.sight_unit.symbol());
        let two = |first: &str, second: &str| [first.to_owned(), second.to_owned()];
        match column {
            Column::Setup => two("setup", ""),
            Column::Point => two("point", ""),
            Column::Back => two("back", unit),
            Column::Inter => two("inter", unit),
            Column::Fore => two("fore", unit),
            Column::Height => two("height of", &format!("instr. {unit}")),
            Column::Rise => two("rise", unit),
            Column::Fall => two("fall", unit),
            Column::Elevation => two("elevation", unit),
            Column::BackSight => two("sight", &format!("back {sight}")),
            Column::ForeSight => two("sight", &format!("fore {sight}")),
        }
    }

    /// The head of the table: two lines and a rule.
    pub(super) fn head(&self) -> Vec<String> {
        let line = |index: usize| self.joined(|fitted| self.head_of(fitted.column)[index].clone());
        vec![line(0), line(1), "-".repeat(self.whole())]
    }

    /// A line of the book as lines of text.
    pub(super) fn line(&self, line: &Line) -> Vec<String> {
        page_rows::rows(self.book, line).iter().flat_map(|row| self.print(row)).collect()
    }

    /// The sums under the table.
    pub(super) fn sums(&self, check: &PageCheck) -> Vec<String> {
        let mut lines = vec!["-".repeat(self.whole())];
        lines.extend(self.print(&page_rows::sums(check)));
        lines
    }

    fn point_width(&self) -> usize {
        let fitted = self.columns.iter().find(|fitted| fitted.column == Column::Point);
        fitted.map_or(POINT_MAX, |fitted| fitted.width)
    }

    /// What is printed in a column: what does not count between its marks, a long name nowhere.
    fn cell(&self, row: &Row, column: Column) -> String {
        let cell = row.cell(column);
        let text = if column == Column::Point { visible(&cell.text) } else { cell.text.clone() };
        match cell.mark {
            Mark::Struck => format!("~{text}~"),
            Mark::Broken => format!("/{text}/"),
            Mark::None if column == Column::Point && columns(&text) > self.point_width() => String::new(),
            Mark::None => text,
        }
    }

    fn print(&self, row: &Row) -> Vec<String> {
        let mut lines = Vec::new();
        let name = visible(&row.cell(Column::Point).text);
        if columns(&name) > self.point_width() {
            let lead = " ".repeat(columns("setup") + self.gap);
            lines.extend(wrap(&lead, &name, self.width));
        }
        let cells = self.cells(row);
        let lengths = row.lengths.iter().filter(|_| !self.sights);
        let remarks = lengths.chain(&row.remarks).map(String::as_str).collect::<Vec<_>>().join("; ");
        let remarks = visible(remarks.trim());
        let room = self.width.saturating_sub(self.whole() + 2);
        if remarks.is_empty() {
            lines.push(cells);
        } else if columns(&remarks) <= room {
            lines.push(format!("{cells:<whole$}  {remarks}", whole = self.whole()));
        } else {
            lines.push(cells);
            lines.extend(wrap(REMARK_LEAD, &remarks, self.width));
        }
        lines
    }

    /// The cells of a row, numbers with their decimal points in line.
    fn cells(&self, row: &Row) -> String {
        self.joined(|fitted| {
            let cell = self.cell(row, fitted.column);
            let behind = columns(split(&cell).1);
            let pad = if behind > 0 && fitted.column != Column::Point { fitted.behind - behind } else { 0 };
            format!("{cell}{:pad$}", "")
        })
    }

    /// A line of cells: points to the left of their column, all else to the right.
    fn joined(&self, cell: impl Fn(&Fitted) -> String) -> String {
        let aligned = self.columns.iter().map(|fitted| {
            let (cell, width) = (cell(fitted), fitted.width);
            match fitted.column {
                Column::Point => format!("{cell:<width$}"),
                _ => format!("{cell:>width$}"),
            }
        });
        let line = aligned.collect::<Vec<_>>().join(&" ".repeat(self.gap));
        line.trim_end().to_owned()
    }
}

/// A number before its decimal point, and from there on.
fn split(cell: &str) -> (&str, &str) {
    cell.find('.').map_or((cell, ""), |at| cell.split_at(at))
}
