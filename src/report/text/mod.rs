//! The field book as plain text: eighty columns unless told otherwise, on one page without end or on pages.

mod matters;
mod rises;
mod run;
mod section;
mod sheet;
mod table;
pub(super) mod wrap;

use super::document::FieldBook;
use sheet::{PageHead, Sheet};

/// How the text is laid out.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Layout {
    /// Columns of a line; fewer than [`Layout::WIDTH_MIN`] are treated as that many.
    pub width: u16,
    /// Whether it is cut into pages.
    pub pages: Pages,
}

/// Whether a text is cut into pages.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Pages {
    /// One page without end.
    Continuous,
    /// Pages of so many lines, form feeds between them; fewer than [`Layout::LINES_MIN`] are treated as that many.
    OfLines(u16),
}

impl Layout {
    /// The narrowest page: a line of the book without its sight lengths.
    pub const WIDTH_MIN: u16 = 72;
    /// The shortest page: head, column heads, a few lines of the book and their page check.
    pub const LINES_MIN: u16 = 30;
    /// The lines of a usual page: 66 of paper less its margins.
    pub const LINES: u16 = 58;
}

impl Default for Layout {
    /// Eighty columns, one page without end.
    fn default() -> Self {
        Layout { width: 80, pages: Pages::Continuous }
    }
}

/// The field book as text.
pub fn print(book: &FieldBook, layout: Layout) -> String {
    let width = usize::from(layout.width.max(Layout::WIDTH_MIN));
    let lines = match layout.pages {
        Pages::Continuous => None,
        Pages::OfLines(lines) => Some(usize::from(lines.max(Layout::LINES_MIN))),
    };
    let mut sheet = Sheet::new(lines);
    for block in matters::head(book, width) {
        sheet.gap();
        sheet.block(block);
    }
    for run in &book.runs {
        run::run(&mut sheet, book, run, width);
    }
    for block in rises::rises(book, width).into_iter().chain(matters::foot(book, width)) {
        sheet.gap();
        sheet.block(block);
    }
    let title = wrap::visible(&format!("field book  {}", book.job));
    sheet.print(&PageHead { title: &title, simulated: book.simulated, width })
}
