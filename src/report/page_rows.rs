//! The page of a run as rows of cells: what stands in which column, and what is said behind it.
//!
//! A line of the book is one row, and one more for each shot where a sight has several, or where corrections are on. How
//! cells are marked, aligned and cut is the affair of whoever prints them.

use crate::book::reading::Role;
use crate::report::document::FieldBook;
use crate::report::document::tree::{Figure, Line, PageCheck, ReadingRow, Sight, State};

/// Columns of the page, in order.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Column {
    /// The setup that begins here.
    Setup,
    /// The point.
    Point,
    /// Backsight.
    Back,
    /// Intermediate sight.
    Inter,
    /// Foresight.
    Fore,
    /// Height of instrument.
    Height,
    /// Rise.
    Rise,
    /// Fall.
    Fall,
    /// Elevation.
    Elevation,
    /// Sight length to the back staff.
    BackSight,
    /// Sight length to the staff ahead.
    ForeSight,
}

/// All of them.
pub(super) const COLUMNS: [Column; 11] = [
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

/// One cell.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub(super) struct Cell {
    /// What stands in it.
    pub(super) text: String,
    /// Whether that counts.
    pub(super) mark: Mark,
}

/// Whether what stands in a cell counts.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(super) enum Mark {
    /// It does.
    #[default]
    None,
    /// It is struck out.
    Struck,
    /// Its setup was broken off.
    Broken,
}

/// One row.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub(super) struct Row {
    /// Its cells, by column.
    pub(super) cells: [Cell; COLUMNS.len()],
    /// What is said behind it.
    pub(super) remarks: Vec<String>,
    /// Sight lengths of this row, for where their columns have no room.
    pub(super) lengths: Vec<String>,
}

impl Row {
    /// What stands in a column.
    pub(super) fn cell(&self, column: Column) -> &Cell {
        &self.cells[column as usize]
    }

    fn put(&mut self, column: Column, text: String) {
        self.cells[column as usize] = Cell { text, mark: Mark::None };
    }

    fn figure(&mut self, column: Column, figure: Option<&Figure>) {
        if let Some(figure) = figure {
            self.put(column, figure.shown.clone());
        }
    }

    fn reading(&mut self, column: Column, state: State, figure: &Figure) {
        let mark = match state {
            State::Counted | State::Extra => Mark::None,
            State::Struck => Mark::Struck,
            State::Broken => Mark::Broken,
        };
        self.cells[column as usize] = Cell { text: figure.shown.clone(), mark };
    }
}

/// The rows of a line of the book.
pub(super) fn rows(book: &FieldBook, line: &Line) -> Vec<Row> {
    let mut row = Row::default();
    row.put(Column::Point, line.point.clone().unwrap_or_else(|| "-".to_owned()));
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
            [one] if reading(book, *one).is_some_and(|reading| reading.corrections.is_empty()) => {
                let reading = reading(book, *one).expect("looked at just now");
                let figure = sight.booked.as_ref().unwrap_or(&reading.reading);
                row.reading(reading_column(role), reading.state, figure);
                said.push((role, reading.remarks.clone()));
            }
            shots => {
                row.figure(reading_column(role), sight.booked.as_ref());
                if sight.counted > 1 {
                    row.remarks.push(format!("{} mean of {}", role.word(), sight.counted));
                }
                under.extend(shots.iter().filter_map(|number| shot(book, *number)));
            }
        }
        if let Some(length) = &sight.sight_length {
            row.lengths.push(format!("{} sight {} {}", role.word(), length.shown, book.shown.sight_unit));
        }
    }
    row.remarks.extend(by_role(said));
    under.extend(line.broken.iter().filter_map(|number| shot(book, *number)));
    let mut rows = vec![row];
    rows.extend(under);
    rows
}

/// The sums under the page.
pub(super) fn sums(check: &PageCheck) -> Row {
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

/// A shot under its sight.
fn shot(book: &FieldBook, number: u32) -> Option<Row> {
    let reading = reading(book, number)?;
    let mut row = Row::default();
    row.put(Column::Point, format!(" no. {number}"));
    row.reading(reading_column(reading.role), reading.state, &reading.reading);
    row.figure(sight_column(reading.role), reading.sight_length.as_ref());
    if let Some(corrected) = &reading.corrected {
        row.remarks.push(format!("as read, corrected {}", corrected.shown));
        let unit = book.shown.height_unit;
        row.remarks.extend(reading.corrections.iter().map(|correction| {
            let made = correction.added.as_ref().map(|added| format!("{} {unit}", added.shown));
            let became = made.or_else(|| correction.not_made.clone()).unwrap_or_default();
            format!("{} {became}", correction.what)
        }));
    }
    row.remarks.extend(reading.remarks.iter().cloned());
    Some(row)
}

fn reading(book: &FieldBook, number: u32) -> Option<&ReadingRow> {
    book.readings.get((number as usize).checked_sub(1)?)
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
