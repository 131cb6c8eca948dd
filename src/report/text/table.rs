//! The page of a run as a table of text: one line a point, decimal points in line, remarks where there is room for
//! them and on lines of their own where there is not.
//!
//! A struck reading stands between `~` and a reading of a broken setup between `/`; shots of one sight stand under it.

use super::wrap::{columns, visible, wrap};
use crate::book::reading::Role;
use crate::book::settings::Booking;
use crate::report::document::FieldBook;
use crate::report::document::tree::{Figure, Line, PageCheck, ReadingRow, RunPart, Sight, State};

/// Columns of the page, in order.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Column {
    Setup,
    Point,
    Back,
    Inter,
    Fore,
    Height,
    Rise,
    Fall,
    Elevation,
    BackSight,
    ForeSight,
}

const COLUMNS: [Column; 11] = [
    Column::Setup,
    Column::Point,
    Column::Back,
    Column::Inter,
    Column::Fore,
    Column::Height,
    Column::Rise,
    Column::Fall,
    Column::Elevation,
    Column::BackSight,
    Column::ForeSight,
];

/// A point name longer than this stands on a line of its own.
const POINT_MAX: usize = 14;
/// The narrowest column of points: shots stand in it as ` no. 1234`.
const POINT_MIN: usize = 9;
/// Columns behind the table that make room for a short remark: two of air, and `keyed in`.
const REMARK_ROOM: usize = 10;
/// Where remarks begin that have a line of their own.
const REMARK_LEAD: &str = "         ";

/// The cells of one line of text, and what is said behind it.
#[derive(Default)]
struct Row {
    cells: [String; COLUMNS.len()],
    /// A point name too long for its column.
    name: Option<String>,
    remarks: Vec<String>,
}

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
        let mut rows: Vec<Row> = run.lines.iter().flat_map(|line| table.rows(line)).collect();
        rows.extend(run.page_checks.iter().map(|check| table.sums_row(check)));
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
        let form = self.book.shown.form;
        let shown = COLUMNS.into_iter().filter(|column| match column {
            Column::Height => form == Booking::HeightOfInstrument,
            Column::Rise | Column::Fall => form == Booking::RiseAndFall,
            Column::BackSight | Column::ForeSight => self.sights,
            _ => true,
        });
        self.columns = shown
            .map(|column| {
                let cells = || rows.iter().map(|row| row.cells[column as usize].as_str());
                let before = cells().map(|cell| columns(split(cell).0)).max().unwrap_or(0);
                let behind = cells().map(|cell| columns(split(cell).1)).max().unwrap_or(0);
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
        self.rows(line).iter().flat_map(|row| self.print(row)).collect()
    }

    /// The sums under the table.
    pub(super) fn sums(&self, check: &PageCheck) -> Vec<String> {
        let mut lines = vec!["-".repeat(self.whole())];
        lines.extend(self.print(&self.sums_row(check)));
        lines
    }

    fn sums_row(&self, check: &PageCheck) -> Row {
        let mut row = Row::default();
        row.put(Column::Point, "sums".to_owned());
        row.figure(Column::Back, Some(&check.sum_backsights));
        row.figure(Column::Fore, Some(&check.sum_foresights));
        row.figure(Column::Rise, Some(&check.sum_rises));
        row.figure(Column::Fall, Some(&check.sum_falls));
        row.figure(Column::BackSight, check.sum_back_sights.as_ref());
        row.figure(Column::ForeSight, check.sum_fore_sights.as_ref());
        row
    }

    fn rows(&self, line: &Line) -> Vec<Row> {
        let mut row = Row::default();
        let name = visible(line.point.as_deref().unwrap_or("-"));
        if columns(&name) > self.point_width() {
            row.name = Some(name);
        } else {
            row.put(Column::Point, name);
        }
        let begins = line.backsight.as_ref().or(line.intermediate.as_ref());
        row.put(Column::Setup, begins.map(|sight| sight.setup.to_string()).unwrap_or_default());
        row.figure(Column::Height, line.height_of_instrument.as_ref());
        row.figure(Column::Rise, line.rise.as_ref());
        row.figure(Column::Fall, line.fall.as_ref());
        row.figure(Column::Elevation, line.elevation.as_ref());
        row.remarks.clone_from(&line.remarks);
        let mut said: Vec<(Role, Vec<String>)> = Vec::new();
        let mut under = Vec::new();
        for (role, sight) in sights(line) {
            row.figure(sight_column(role), sight.sight_length.as_ref());
            match &sight.shots[..] {
                [one] if self.reading(*one).is_some_and(|reading| reading.corrections.is_empty()) => {
                    let reading = self.reading(*one).expect("looked at just now");
                    let figure = sight.booked.as_ref().unwrap_or(&reading.reading);
                    row.put(reading_column(role), marked(reading.state, figure));
                    said.push((role, reading.remarks.clone()));
                }
                shots => {
                    row.figure(reading_column(role), sight.booked.as_ref());
                    if sight.counted > 1 {
                        row.remarks.push(format!("{} mean of {}", role.word(), sight.counted));
                    }
                    under.extend(shots.iter().filter_map(|number| self.shot(*number)));
                }
            }
            if !self.sights
                && let Some(length) = &sight.sight_length
            {
                let unit = self.book.shown.sight_unit;
                row.remarks.push(format!("{} sight {} {unit}", role.word(), length.shown));
            }
        }
        row.remarks.extend(by_role(said));
        under.extend(line.broken.iter().filter_map(|number| self.shot(*number)));
        let mut rows = vec![row];
        rows.extend(under);
        rows
    }

    /// A shot under its sight.
    fn shot(&self, number: u32) -> Option<Row> {
        let reading = self.reading(number)?;
        let mut row = Row::default();
        row.put(Column::Point, format!(" no. {number}"));
        row.put(reading_column(reading.role), marked(reading.state, &reading.reading));
        row.figure(sight_column(reading.role), reading.sight_length.as_ref());
        if let Some(corrected) = &reading.corrected {
            row.remarks.push(format!("as read, corrected {}", corrected.shown));
            let unit = self.book.shown.height_unit;
            row.remarks.extend(reading.corrections.iter().map(|correction| {
                let made = correction.added.as_ref().map(|added| format!("{} {unit}", added.shown));
                let became = made.or_else(|| correction.not_made.clone()).unwrap_or_default();
                format!("{} {became}", correction.what)
            }));
        }
        row.remarks.extend(reading.remarks.iter().cloned());
        Some(row)
    }

    fn reading(&self, number: u32) -> Option<&'a ReadingRow> {
        self.book.readings.get((number as usize).checked_sub(1)?)
    }

    fn point_width(&self) -> usize {
        let fitted = self.columns.iter().find(|fitted| fitted.column == Column::Point);
        fitted.map_or(POINT_MAX, |fitted| fitted.width)
    }

    fn print(&self, row: &Row) -> Vec<String> {
        let mut lines = Vec::new();
        if let Some(name) = &row.name {
            let lead = " ".repeat(columns("setup") + self.gap);
            lines.extend(wrap(&lead, name, self.width));
        }
        let cells = self.cells(row);
        let remarks = row.remarks.join("; ");
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
            let cell = &row.cells[fitted.column as usize];
            let behind = columns(split(cell).1);
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

impl Row {
    fn put(&mut self, column: Column, text: String) {
        self.cells[column as usize] = text;
    }

    fn figure(&mut self, column: Column, figure: Option<&Figure>) {
        if let Some(figure) = figure {
            self.put(column, figure.shown.clone());
        }
    }
}

/// The sights of a line, in the order in which they were taken.
fn sights(line: &Line) -> impl Iterator<Item = (Role, &Sight)> {
    let fore = line.foresight.iter().map(|sight| (Role::Fore, sight));
    let inter = line.intermediate.iter().map(|sight| (Role::Intermediate, sight));
    let back = line.backsight.iter().map(|sight| (Role::Back, sight));
    fore.chain(inter).chain(back)
}

fn reading_column(role: Role) -> Column {
    match role {
        Role::Back => Column::Back,
        Role::Intermediate => Column::Inter,
        Role::Fore => Column::Fore,
    }
}

/// An intermediate sight has its length in the column of the foresights: both look ahead.
fn sight_column(role: Role) -> Column {
    match role {
        Role::Back => Column::BackSight,
        Role::Intermediate | Role::Fore => Column::ForeSight,
    }
}

fn marked(state: State, figure: &Figure) -> String {
    match state {
        State::Counted | State::Extra => figure.shown.clone(),
        State::Struck => format!("~{}~", figure.shown),
        State::Broken => format!("/{}/", figure.shown),
    }
}

/// What is said of two readings of one line: once if of both, else with the role before it.
fn by_role(said: Vec<(Role, Vec<String>)>) -> Vec<String> {
    let [(_, first), (_, second)] = &said[..] else {
        return said.into_iter().flat_map(|(_, remarks)| remarks).collect();
    };
    let both: Vec<String> = first.iter().filter(|remark| second.contains(remark)).cloned().collect();
    let rest = said.iter().flat_map(|(role, remarks)| {
        let own = remarks.iter().filter(|remark| !both.contains(remark));
        own.map(|remark| format!("{}: {remark}", role.word())).collect::<Vec<_>>()
    });
    let rest: Vec<String> = rest.collect();
    both.into_iter().chain(rest).collect()
}
