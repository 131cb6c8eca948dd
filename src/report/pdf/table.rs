//! Tables: heads that are repeated on each page, decimal points in line, texts broken in their columns, and no row alone
//! at the foot or the head of a page.

use super::faces::Face;
use super::ink::{Ink, LEFT, Size, UNIT};
use super::sheets::{Mark, Sheets, Style, base_line};
use crate::report::page_rows::Mark as Counting;

/// A column.
#[derive(Clone, Debug)]
pub(super) struct Column {
    /// Its head, line by line.
    pub(super) head: Vec<String>,
    pub(super) fit: Fit,
}

/// How a column takes its room, and how its cells stand in it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Fit {
    /// As wide as its widest number, decimal points in line.
    Numbers,
    /// As wide as its widest text, at most so much; longer ones are broken.
    Words(f32),
    /// What is left, by this share of it; texts are broken.
    Rest(f32),
}

pub(super) fn column(head: &str, fit: Fit) -> Column {
    Column { head: head.lines().map(str::to_owned).collect(), fit }
}

/// A cell: paragraphs, each in its style.
#[derive(Clone, Debug, Default)]
pub(super) struct Cell {
    pub(super) parts: Vec<(Style, String)>,
    pub(super) mark: Counting,
}

impl Cell {
    pub(super) fn of(style: Style, text: impl Into<String>) -> Self {
        Cell { parts: vec![(style, text.into())], mark: Counting::None }
    }

    pub(super) fn text(text: impl Into<String>) -> Self {
        Cell::of(Style::BODY, text)
    }

    pub(super) fn and(mut self, style: Style, text: impl Into<String>) -> Self {
        let text = text.into();
        if !text.is_empty() {
            self.parts.push((style, text));
        }
        self
    }
}

/// A row.
#[derive(Clone, Debug, Default)]
pub(super) struct Row {
    pub(super) cells: Vec<Cell>,
    /// What is said under its cells, from the second column on.
    pub(super) under: String,
    /// A rule above it, as above sums.
    pub(super) ruled: bool,
}

impl Row {
    pub(super) fn of(cells: impl IntoIterator<Item = Cell>) -> Self {
        Row { cells: cells.into_iter().collect(), ..Row::default() }
    }
}

/// Air above and below the letters of a row.
const PAD: f32 = 1.1;
/// Air between two columns.
const GAP: f32 = 8.0;
/// The least air; a table that needs less room than that is set so.
const GAP_LEAST: f32 = 4.5;

/// A table fitted to its rows and to the page.
pub(super) struct Table {
    columns: Vec<Fitted>,
    gap: f32,
}

struct Fitted {
    head: Vec<String>,
    fit: Fit,
    x: f32,
    width: f32,
    /// From the decimal point to the right edge.
    behind: f32,
}

impl Table {
    /// Fits the columns to these rows. Rows of the same kind may be set with it later.
    pub(super) fn fit(sheets: &Sheets<'_, '_>, columns: &[Column], rows: &[Row]) -> Self {
        let measure = |style: Style, text: &str| sheets.faces.width(style.face, style.size.points(), text);
        let mut fitted: Vec<Fitted> = Vec::new();
        for (at, column) in columns.iter().enumerate() {
            let head = column.head.iter().map(|line| measure(HEAD, line)).fold(0.0, f32::max);
            let (mut before, mut behind, mut widest) = (0.0f32, 0.0f32, head);
            for (style, text) in rows.iter().filter_map(|row| row.cells.get(at)).flat_map(|cell| &cell.parts) {
                let (whole, fraction) = split(text);
                before = before.max(measure(*style, whole));
                behind = behind.max(measure(*style, fraction));
                widest = widest.max(measure(*style, text));
            }
            let width = match column.fit {
                Fit::Numbers => head.max(before + behind),
                Fit::Words(most) => widest.min(most.max(head)),
                Fit::Rest(_) => head,
            };
            fitted.push(Fitted { head: column.head.clone(), fit: column.fit, x: 0.0, width, behind });
        }
        let mut table = Table { columns: fitted, gap: GAP };
        table.share_out(sheets.width());
        table
    }

    /// Gives columns that take what is left their width, and all of them their place.
    fn share_out(&mut self, width: f32) {
        let gaps = self.columns.len().saturating_sub(1) as f32;
        let taken = |table: &Table| -> f32 {
            table.columns.iter().filter(|column| !matches!(column.fit, Fit::Rest(_))).map(|column| column.width).sum()
        };
        let shares: f32 =
            self.columns.iter().map(|column| if let Fit::Rest(share) = column.fit { share } else { 0.0 }).sum();
        let rests: f32 =
            self.columns.iter().filter(|column| matches!(column.fit, Fit::Rest(_))).map(|column| column.width).sum();
        let over = taken(self) + rests + gaps * GAP - width;
        if over > 0.0 && gaps > 0.0 {
            self.gap = (GAP - over / gaps).max(GAP_LEAST);
        }
        let mut left = width - taken(self) - gaps * self.gap;
        if left < rests {
            // Words give way to numbers.
            let words = self.columns.iter_mut().filter(|column| matches!(column.fit, Fit::Words(_)));
            let mut words: Vec<&mut Fitted> = words.collect();
            let lacks = (rests - left).max(0.0);
            let held: f32 = words.iter().map(|column| column.width).sum();
            for column in &mut words {
                column.width -= (lacks * column.width / held.max(1.0)).min(column.width * 0.6);
            }
            left = rests;
        }
        let mut x = LEFT;
        for column in &mut self.columns {
            if let Fit::Rest(share) = column.fit {
                column.width = left * share / shares;
            }
            column.x = x;
            x += column.width + self.gap;
        }
    }

    /// Width of the last column.
    pub(super) fn last_width(&self) -> f32 {
        self.columns.last().map_or(0.0, |column| column.width)
    }

    /// The right edge of the last column.
    fn right(&self) -> f32 {
        self.columns.last().map_or(LEFT, |column| column.x + column.width)
    }

    /// Height of the heads.
    pub(super) fn head_height(&self) -> f32 {
        let lines = self.columns.iter().map(|column| column.head.len()).max().unwrap_or(0);
        lines as f32 * Size::Small.leading() + 4.0
    }

    /// Height of a row.
    pub(super) fn height(&self, sheets: &Sheets<'_, '_>, row: &Row) -> f32 {
        let of_cell = |(cell, column): (&Cell, &Fitted)| -> f32 {
            let tall = |(style, text): &(Style, String)| {
                self.lines(sheets, column, *style, text).len() as f32 * style.size.leading()
            };
            lowered(cell) + cell.parts.iter().map(tall).sum::<f32>()
        };
        let cells = row.cells.iter().zip(&self.columns).map(of_cell).fold(0.0, f32::max);
        let under = match row.under.is_empty() {
            true => 0.0,
            false => self.under(sheets, row).len() as f32 * Size::Small.leading(),
        };
        cells + under + 2.0 * PAD
    }

    fn lines(&self, sheets: &Sheets<'_, '_>, column: &Fitted, style: Style, text: &str) -> Vec<String> {
        match column.fit {
            Fit::Numbers => vec![text.to_owned()],
            // A hair of room, so that a text that fits exactly is not broken by rounding.
            Fit::Words(_) | Fit::Rest(_) => sheets.faces.wrap(style, column.width + 0.05, text),
        }
    }

    fn under(&self, sheets: &Sheets<'_, '_>, row: &Row) -> Vec<String> {
        let x = self.columns.get(1).map_or(LEFT, |column| column.x);
        sheets.faces.wrap(Style::SMALL, LEFT + sheets.width() - x, &row.under)
    }

    /// The heads.
    pub(super) fn set_head(&self, sheets: &mut Sheets<'_, '_>) {
        let most = self.columns.iter().map(|column| column.head.len()).max().unwrap_or(0);
        for column in &self.columns {
            for (at, line) in column.head.iter().enumerate() {
                // Heads stand on the rule, whatever their number of lines.
                let y = sheets.y + (most - column.head.len() + at) as f32 * Size::Small.leading();
                let wide = sheets.faces.width(HEAD.face, HEAD.size.points(), line);
                let x = if column.fit == Fit::Numbers { column.x + column.width - wide } else { column.x };
                sheets.mark(Mark::Text { x, y: base_line(y, Size::Small), style: HEAD, text: line.clone() });
            }
        }
        sheets.y += most as f32 * Size::Small.leading() + 2.0;
        let y = sheets.y;
        sheets.mark(Mark::Line { from: (LEFT, y), to: (self.right(), y), width: 0.6, ink: Ink::Black });
        sheets.y += 2.0;
    }

    /// A row.
    pub(super) fn set_row(&self, sheets: &mut Sheets<'_, '_>, row: &Row) {
        let height = self.height(sheets, row);
        let top = sheets.y;
        if row.ruled {
            sheets.mark(Mark::Line { from: (LEFT, top), to: (self.right(), top), width: 0.6, ink: Ink::Black });
        }
        let mut lowest = top + PAD;
        for (cell, column) in row.cells.iter().zip(&self.columns) {
            let mut y = top + PAD + lowered(cell);
            for (style, text) in &cell.parts {
                for line in self.lines(sheets, column, *style, text) {
                    self.set_cell(sheets, column, *style, &line, y, cell.mark);
                    y += style.size.leading();
                }
            }
            lowest = lowest.max(y);
        }
        if !row.under.is_empty() {
            let x = self.columns.get(1).map_or(LEFT, |column| column.x);
            for line in self.under(sheets, row) {
                sheets.mark(Mark::Text { x, y: base_line(lowest, Size::Small), style: Style::SMALL, text: line });
                lowest += Size::Small.leading();
            }
        }
        sheets.y = top + height;
    }

    fn set_cell(&self, sheets: &mut Sheets<'_, '_>, column: &Fitted, style: Style, text: &str, y: f32, mark: Counting) {
        let wide = sheets.faces.width(style.face, style.size.points(), text);
        let x = match column.fit {
            Fit::Words(_) | Fit::Rest(_) => column.x,
            Fit::Numbers => {
                let (_, fraction) = split(text);
                // A number without a fraction stands before the place of the point; a word stands at the right edge.
                let number = text.chars().any(|c| c.is_ascii_digit());
                let behind = sheets.faces.width(style.face, style.size.points(), fraction);
                column.x + column.width - if number { column.behind - behind } else { 0.0 } - wide
            }
        };
        let ink = if mark == Counting::None { style.ink } else { Ink::Grey };
        sheets.mark(Mark::Text { x, y: base_line(y, style.size), style: style.in_ink(ink), text: text.to_owned() });
        let (top, bottom) = (y + style.size.leading() * 0.25, y + style.size.leading() * 0.82);
        let middle = y + style.size.leading() * 0.56;
        let stroke = match mark {
            Counting::None => return,
            Counting::Struck => ((x - 1.5, middle), (x + wide + 1.5, middle)),
            Counting::Broken => ((x - 1.0, bottom), (x + wide + 1.0, top)),
        };
        sheets.mark(Mark::Line { from: stroke.0, to: stroke.1, width: 0.7, ink: Ink::Black });
    }

    /// All rows, over as many pages as they take. Neither the first nor the last row stands alone on a page.
    pub(super) fn set(&self, sheets: &mut Sheets<'_, '_>, rows: &[Row]) {
        let heights: Vec<f32> = rows.iter().map(|row| self.height(sheets, row)).collect();
        let mut next = 0;
        while next < rows.len() {
            let room = sheets.left() - self.head_height();
            let count = page_full(&heights[next..], room);
            let count = match count {
                0 if sheets.fresh() => 1,
                0 => {
                    sheets.turn();
                    continue;
                }
                count => count,
            };
            self.set_head(sheets);
            for row in &rows[next..next + count] {
                self.set_row(sheets, row);
            }
            next += count;
            if next < rows.len() {
                sheets.turn();
            }
        }
    }

    /// The same under a heading and a note in small letters, which stay with its first rows.
    pub(super) fn set_under(&self, sheets: &mut Sheets<'_, '_>, title: &str, depth: usize, note: &str, rows: &[Row]) {
        let note_lines = sheets.faces.wrap(Style::SMALL, sheets.width(), note).len() as f32;
        let room = note_lines * Size::Small.leading() + self.beginning(sheets, rows);
        sheets.heading(title, depth, room);
        sheets.paragraph(Style::SMALL, note);
        sheets.y += UNIT;
        self.set(sheets, rows);
    }

    /// Height that a heading must leave room for: the heads and the first rows.
    pub(super) fn beginning(&self, sheets: &Sheets<'_, '_>, rows: &[Row]) -> f32 {
        self.head_height() + rows.iter().take(2).map(|row| self.height(sheets, row)).sum::<f32>()
    }
}

/// How much lower a cell of small letters begins, so that its first line stands on that of the cells beside it.
fn lowered(cell: &Cell) -> f32 {
    cell.parts.first().map_or(0.0, |(style, _)| base_line(0.0, Size::Body) - base_line(0.0, style.size))
}

/// Column heads.
const HEAD: Style = Style { face: Face::Bold, size: Size::Small, ink: Ink::Grey };

/// How many rows go on a page with so much room: none rather than one of several, and never all but one.
fn page_full(heights: &[f32], room: f32) -> usize {
    let mut used = 0.0;
    let fits = heights.iter().take_while(|height| {
        used += **height;
        used <= room
    });
    match (fits.count(), heights.len()) {
        (count, all) if count == all => all,
        (count, all) if count + 1 == all && count >= 3 => count - 1,
        (count, all) if count < 2 || count + 1 == all => 0,
        (count, _) => count,
    }
}

/// A number before its decimal point, and from there on.
fn split(text: &str) -> (&str, &str) {
    text.find('.').map_or((text, ""), |at| text.split_at(at))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn no_row_stands_alone() {
        let rows = [10.0; 6];
        assert_eq!(page_full(&rows, 100.0), 6);
        assert_eq!(page_full(&rows, 45.0), 4);
        assert_eq!(page_full(&rows, 55.0), 4, "the sixth would stand alone on the next page");
        assert_eq!(page_full(&rows, 15.0), 0, "the first would stand alone on this");
        assert_eq!(page_full(&rows[..3], 25.0), 0, "three are not parted");
        assert_eq!(page_full(&rows[..1], 15.0), 1, "a table of one row is one");
    }
}
