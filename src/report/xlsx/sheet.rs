//! A sheet being filled: titles, heads, rows, and how they look on the screen and on paper.

use rust_xlsxwriter::{Color, Format, FormatAlign, FormatBorder, Formula, Worksheet, XlsxError};

use crate::book::reading::hidden;
use crate::report::document::full::Report;
use crate::units::Unit;

/// The longest text that a cell takes; what is longer is cut, and ends in an ellipsis.
const TEXT_MAX: usize = 32_000;
/// What a text must not begin with, lest somebody who edits the cell makes a formula of it.
const LEADS: [char; 6] = ['=', '+', '-', '@', '\t', '\r'];

/// Height of a line of text in points, as spreadsheets have it.
const LINE_POINTS: f64 = 15.0;

/// How cells look. Shaded cells are put in; all others are computed or said.
pub(super) struct Styles {
    title: Format,
    warning: Format,
    pub(super) strong: Format,
    head: Format,
    head_right: Format,
    said: Format,
    pub(super) text: Format,
    wrapped: Format,
    pub(super) count: Format,
    /// Readings and elevations.
    pub(super) level: Format,
    pub(super) level_in: Format,
    pub(super) level_struck: Format,
    pub(super) level_sum: Format,
    /// Misclosures and corrections, with their sign.
    pub(super) signed: Format,
    /// Allowances.
    pub(super) height: Format,
    /// Standard deviations.
    pub(super) deviation: Format,
    /// Parts of a correction, with their sign, and how good each is.
    pub(super) part: Format,
    pub(super) part_size: Format,
    pub(super) sight: Format,
    pub(super) sight_in: Format,
    pub(super) sight_sum: Format,
    pub(super) sight_signed: Format,
    pub(super) percent: Format,
    pub(super) two_decimals: Format,
    footer: String,
    simulated: bool,
    paper: u8,
}

impl Styles {
    pub(super) fn new(report: &Report) -> Self {
        let shown = &report.book.shown;
        let decimals = |count: usize| if count == 0 { "0".to_owned() } else { format!("0.{}", "0".repeat(count)) };
        let base = || Format::new().set_align(FormatAlign::Top);
        let number = |format: String| base().set_num_format(format);
        let level = || number(decimals(usize::from(shown.decimals)));
        // As the field book shows them: a tenth of a millimetre and finer where readings are, or a ten-thousandth of a foot.
        let metric = shown.height_unit == Unit::Millimetre;
        let fine = if metric {
            usize::from(shown.decimals).saturating_sub(3).max(1)
        } else {
            usize::from(shown.decimals).max(4)
        };
        let coarse = if metric { 1 } else { 4 };
        let sight = || number(decimals(if metric { 2 } else { 1 }));
        let shade = |format: Format| format.set_background_color(Color::RGB(0x00EA_F1F8));
        let sum = |format: Format| format.set_border_top(FormatBorder::Thin);
        let signed = |count: usize| {
            let plain = decimals(count);
            number(format!("+{plain};-{plain};{plain}"))
        };
        let head = || {
            Format::new()
                .set_bold()
                .set_text_wrap()
                .set_align(FormatAlign::Bottom)
                .set_border_bottom(FormatBorder::Thin)
        };
        // A text stands apart from the number before it; only one that is set to the left can be indented.
        let apart = |format: Format| format.set_align(FormatAlign::Left).set_indent(1);
        Styles {
            title: Format::new().set_bold().set_font_size(14),
            warning: Format::new().set_bold().set_font_color(Color::RGB(0x00A8_4300)),
            strong: base().set_bold(),
            head: apart(head()),
            head_right: head().set_align(FormatAlign::Right),
            said: base(),
            text: apart(base()),
            wrapped: apart(base().set_text_wrap()),
            count: number("0".to_owned()),
            level: level(),
            level_in: shade(level()),
            level_struck: level().set_font_strikethrough(),
            level_sum: sum(level()),
            signed: signed(fine),
            height: number(decimals(coarse)),
            deviation: number(decimals(if metric { coarse + 1 } else { coarse })),
            part: signed(coarse + 1),
            part_size: number(decimals(coarse + 1)),
            sight: sight(),
            sight_in: shade(sight()),
            sight_sum: sum(sight()),
            sight_signed: signed(if metric { 2 } else { 1 }),
            percent: number("0\" %\"".to_owned()),
            two_decimals: number("0.00".to_owned()),
            footer: footer(report),
            simulated: report.book.simulated,
            paper: if shown.job_unit.is_foot() { 1 } else { 9 },
        }
    }
}

/// `&` means something there: one that is meant is written twice.
fn footer(report: &Report) -> String {
    let job: String = visible(&report.book.job).replace('&', "&&").chars().take(80).collect();
    let digest = report.record.digest.get(..16).unwrap_or(&report.record.digest);
    let simulated = if report.book.simulated { "&C&\"-,Bold\"SIMULATED" } else { "" };
    format!("&L{job}, {}, digest {digest}{simulated}&Rpage &P of &N", report.book.last_at.get(..10).unwrap_or_default())
}

/// A column: its head and its width in letters.
pub(super) struct Column {
    pub(super) head: String,
    pub(super) width: f64,
    pub(super) holds: Holds,
}

/// What a column holds.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Holds {
    Text,
    Numbers,
}

pub(super) fn column(head: impl Into<String>, width: f64, holds: Holds) -> Column {
    Column { head: head.into(), width, holds }
}

/// A sheet with the next row to fill.
pub(super) struct Sheet<'a> {
    sheet: Worksheet,
    styles: &'a Styles,
    pub(super) row: u32,
    /// Widths of the columns, in letters.
    widths: Vec<f64>,
    /// The row with broken texts that was written last, and its lines.
    tall: (u32, usize),
}

impl<'a> Sheet<'a> {
    /// A sheet with its title, and SIMULATED where that is so.
    pub(super) fn new(name: &str, title: &str, styles: &'a Styles) -> Result<Self, XlsxError> {
        let mut sheet = Worksheet::new();
        sheet.set_name(name)?;
        sheet.set_landscape().set_paper_size(styles.paper).set_print_fit_to_pages(1, 0);
        sheet.set_footer(&styles.footer);
        sheet.set_screen_gridlines(false);
        let mut sheet = Sheet { sheet, styles, row: 0, widths: Vec::new(), tall: (0, 1) };
        sheet.text(0, title, &styles.title)?;
        sheet.row = 1;
        if styles.simulated {
            sheet.text(0, "SIMULATED: a simulated instrument was heard; nothing here was measured", &styles.warning)?;
            sheet.row = 2;
        }
        Ok(sheet)
    }

    /// The widths of the columns.
    pub(super) fn widths(&mut self, columns: &[Column]) -> Result<(), XlsxError> {
        for (at, column) in (0..).zip(columns) {
            self.sheet.set_column_width(at, column.width)?;
        }
        self.widths = columns.iter().map(|column| column.width).collect();
        Ok(())
    }

    /// The heads of the columns in the next row.
    pub(super) fn heads(&mut self, columns: &[Column]) -> Result<(), XlsxError> {
        // Letters of heads are bold.
        let tall = |column: &Column| lines(&column.head, column.width * 0.85);
        let most = columns.iter().map(tall).max().unwrap_or(1);
        self.sheet.set_row_height(self.row, most as f64 * LINE_POINTS)?;
        for (at, column) in (0..).zip(columns) {
            let format = if column.holds == Holds::Numbers { &self.styles.head_right } else { &self.styles.head };
            self.sheet.write_string_with_format(self.row, at, &column.head, format)?;
        }
        self.row += 1;
        Ok(())
    }

    /// The same, standing still on the screen and repeated on each printed page.
    pub(super) fn standing_heads(&mut self, columns: &[Column]) -> Result<(), XlsxError> {
        let at = self.row;
        self.widths(columns)?;
        self.heads(columns)?;
        self.sheet.set_repeat_rows(at, at)?;
        self.sheet.set_freeze_panes(self.row, 0)?;
        Ok(())
    }

    /// A text in the next row, however it begins.
    pub(super) fn text(&mut self, column: u16, text: &str, format: &Format) -> Result<(), XlsxError> {
        let mut text = visible(text);
        if text.chars().count() > TEXT_MAX {
            text = text.chars().take(TEXT_MAX).chain(['\u{2026}']).collect();
        }
        if text.starts_with(LEADS) {
            let format = format.clone().set_quote_prefix();
            self.sheet.write_string_with_format(self.row, column, text, &format)?;
        } else {
            self.sheet.write_string_with_format(self.row, column, text, format)?;
        }
        Ok(())
    }

    /// A text that is broken at the width of its column. The row is made as high as it needs: programs that only show a
    /// sheet do not do so themselves.
    pub(super) fn wrapped(&mut self, column: u16, text: &str) -> Result<(), XlsxError> {
        let width = self.widths.get(usize::from(column)).copied().unwrap_or(f64::MAX);
        // The indent takes one letter.
        let lines = lines(text, width - 1.0);
        let before = if self.tall.0 == self.row { self.tall.1 } else { 1 };
        if lines > before {
            self.sheet.set_row_height(self.row, lines as f64 * LINE_POINTS)?;
            self.tall = (self.row, lines);
        }
        let format = &self.styles.wrapped;
        self.text(column, text, format)
    }

    pub(super) fn number(&mut self, column: u16, number: f64, format: &Format) -> Result<(), XlsxError> {
        self.sheet.write_number_with_format(self.row, column, number, format)?;
        Ok(())
    }

    pub(super) fn count(&mut self, column: u16, count: impl Into<f64>) -> Result<(), XlsxError> {
        let format = &self.styles.count;
        self.sheet.write_number_with_format(self.row, column, count.into(), format)?;
        Ok(())
    }

    /// A formula with the number that it comes to.
    pub(super) fn formula(
        &mut self,
        column: u16,
        formula: &str,
        result: f64,
        format: &Format,
    ) -> Result<(), XlsxError> {
        let formula = Formula::new(formula).set_result(result.to_string());
        self.sheet.write_formula_with_format(self.row, column, formula, format)?;
        Ok(())
    }

    /// A formula with the text that it comes to.
    pub(super) fn formula_text(&mut self, column: u16, formula: &str, result: &str) -> Result<(), XlsxError> {
        let formula = Formula::new(formula).set_result(result);
        self.sheet.write_formula_with_format(self.row, column, formula, &self.styles.text)?;
        Ok(())
    }

    /// A line of its own across the sheet, and on to the next row.
    pub(super) fn line(&mut self, text: &str) -> Result<(), XlsxError> {
        let format = &self.styles.said;
        self.text(0, text, format)?;
        self.row += 1;
        Ok(())
    }

    /// A heading after an empty row, and on to the next.
    pub(super) fn heading(&mut self, text: &str) -> Result<(), XlsxError> {
        self.row += 1;
        let format = &self.styles.strong;
        self.text(0, text, format)?;
        self.row += 1;
        Ok(())
    }

    pub(super) fn done(self) -> Worksheet {
        self.sheet
    }
}

/// Lines that a text takes in a column, for letters that are as wide as digits are.
fn lines(text: &str, width: f64) -> usize {
    let (mut lines, mut used) = (1, 0.0);
    for word in text.split_whitespace() {
        let wide = word.chars().count() as f64;
        if used > 0.0 && used + 1.0 + wide > width {
            lines += 1;
            used = 0.0;
        }
        // A word longer than the column is broken.
        used += wide + if used > 0.0 { 1.0 } else { 0.0 };
        while used > width {
            lines += 1;
            used -= width;
        }
    }
    lines
}

/// A text as a cell may hold it: what nobody would see is replaced.
fn visible(text: &str) -> String {
    text.chars().map(|c| if hidden(c) { '\u{fffd}' } else { c }).collect()
}

#[cfg(test)]
mod tests {
    use super::lines;

    #[test]
    fn a_row_is_as_high_as_its_longest_text() {
        assert_eq!((lines("", 10.0), lines("abcde fghi", 10.0), lines("abcde fghij", 10.0)), (1, 1, 2));
        assert_eq!(lines(&"x".repeat(25), 10.0), 3);
    }
}
