//! A run: how it stands, its drawings, its pages of the field book with their page checks, what closed, and the sharing
//! out.

use super::ink::{Ink, LEFT, Size, UNIT};
use super::sheets::{Sheets, Style};
use super::table::{Cell, Column as TableColumn, Fit, Row, Table, column};
use super::{name_on_paper, on_paper};
use crate::book::reading::Role;
use crate::book::settings::Booking;
use crate::report::causes::{Causes, Extent, Paragraph, paragraphs};
use crate::report::document::full::Report;
use crate::report::document::full::tree::PlotView;
use crate::report::document::tree::{
    Closes, ClosureRow, FieldBook, Figure, Line, PageCheck, RunPart, RunStanding, Section, SectionPoint,
};
use crate::report::document::{Distribution, cut, page_check, page_end};
use crate::report::page_rows::{self, COLUMNS, Column};

/// A run begins on a page of its own unless so much of this one is left, which holds its drawings.
const RUN_ROOM: f32 = 0.55;
/// Room under a page of the book for its sums and its page check.
const CHECK_ROOM: f32 = 70.0;

/// A run of the job.
pub(super) fn run<'a>(sheets: &mut Sheets<'a, '_>, report: &'a Report, run: &'a RunPart) {
    let doubt = match run.standing {
        RunStanding::Provisional | RunStanding::ClosesInPart => Some("PROVISIONAL"),
        RunStanding::DoesNotClose => Some("DOES NOT CLOSE"),
        RunStanding::Closes | RunStanding::NotJudged => None,
    };
    sheets.part(&format!("run {}", run.number), doubt);
    if sheets.left() < sheets.whole() * RUN_ROOM {
        sheets.turn();
    }
    sheets.doubt_here(doubt);
    head(sheets, report, run);
    plots(sheets, report, run);
    book_pages(sheets, &report.book, run);
    closures(sheets, &report.book, run);
    for causes in report.misclosures.iter().filter(|causes| causes.run == run.number) {
        self::causes(sheets, causes);
    }
    for section in &run.sections {
        self::section(sheets, &report.book, section);
    }
}

fn head(sheets: &mut Sheets<'_, '_>, report: &Report, run: &RunPart) {
    let book = &report.book;
    let title = format!("Run {}: {} to {}", run.number, name_on_paper(&run.from), name_on_paper(&run.to));
    sheets.heading(&title, 0, 4.0 * Size::Body.leading());
    let ink = match run.standing {
        RunStanding::DoesNotClose => Ink::Vermilion,
        RunStanding::Provisional | RunStanding::ClosesInPart | RunStanding::NotJudged => Ink::Orange,
        RunStanding::Closes => Ink::Green,
    };
    sheets.paragraph(Style::STRONG.in_ink(ink), &on_paper(&run.verdict()));
    let setups = count(run.setups, "setup");
    let length = match run.length_lacks {
        false => format!("{} {}", run.length.shown, book.shown.sight_unit),
        true => "length not known: some setups have no sight lengths".to_owned(),
    };
    sheets.paragraph(Style::BODY, &format!("{setups}, {length}"));
    for datum in &run.datums {
        sheets.paragraph(Style::BODY, &on_paper(datum));
    }
}

fn count(number: u32, what: &str) -> String {
    if number == 1 { format!("1 {what}") } else { format!("{number} {what}s") }
}

/// The profile over the whole width, under it misclosure and balance side by side.
fn plots<'a>(sheets: &mut Sheets<'a, '_>, report: &'a Report, run: &RunPart) {
    let of_run = |what: &str| {
        let name = format!("run-{}-{what}", run.number);
        report.plots.iter().find(|view| view.name == name)
    };
    let width = sheets.width();
    if let Some(view) = of_run("profile") {
        sheets.drawing_across(2.0 * UNIT, &view.paper, &on_paper(&view.words));
    }
    let gap = 4.0 * UNIT;
    let half = (width - gap) / 2.0;
    let pair: Vec<&PlotView> = ["misclosure", "balance"].into_iter().filter_map(of_run).collect();
    let heights = pair.iter().map(|view| sheets.drawing_height(half, &view.paper, &on_paper(&view.words)));
    let height = heights.fold(0.0, f32::max);
    if height > 0.0 {
        sheets.gap(3.0 * UNIT);
        sheets.need(height);
        for (at, view) in (0u8..).zip(&pair) {
            let x = LEFT + f32::from(at) * (half + gap);
            sheets.drawing(x, half, &view.paper, &on_paper(&view.words));
        }
        sheets.y += height;
    }
}

/// The field book: whole, or cut at turning points so that each page has its own page check.
fn book_pages(sheets: &mut Sheets<'_, '_>, book: &FieldBook, run: &RunPart) {
    let table = BookTable::fit(sheets, book, run);
    let height = |sheets: &Sheets<'_, '_>, line: &Line| -> f64 {
        table.rows(book, line).iter().map(|row| f64::from(table.table.height(sheets, row))).sum()
    };
    let mut start = 0;
    let mut parts = 0;
    sheets.heading("Field book", 1, table.table.head_height() + CHECK_ROOM + 30.0);
    loop {
        let room = sheets.left() - table.table.head_height() - CHECK_ROOM;
        let (end, fits) = page_end(&run.lines, start, f64::from(room), |line| height(sheets, line));
        if !fits && !sheets.fresh() && sheets.left() < sheets.whole() - 40.0 {
            sheets.turn();
            continue;
        }
        let part = cut(&run.lines, start, end);
        table.table.set_head(sheets);
        for line in &part {
            for row in table.rows(book, line) {
                sheets.need(table.table.height(sheets, &row));
                table.table.set_row(sheets, &row);
            }
        }
        for check in page_check(&book.shown, &part) {
            table.table.set_row(sheets, &Row { ruled: true, ..table.row(&page_rows::sums(&check)) });
            equality(sheets, book, &check);
        }
        parts += 1;
        start = end;
        if end + 1 >= run.lines.len() {
            break;
        }
        sheets.turn();
    }
    if parts > 1 {
        for check in &run.page_checks {
            sheets.gap(UNIT);
            sheets.need(5.0 * Size::Body.leading());
            sheets.words(LEFT, sheets.width(), Style::STRONG, &format!("Run {} as a whole", run.number));
            equality(sheets, book, check);
        }
    }
}

/// The page of the book as a table fitted to its run.
struct BookTable {
    table: Table,
    columns: Vec<Column>,
    /// Remarks stand in a column of their own.
    beside: bool,
}

/// A remark wants this much room beside the table; where there is less it stands under its line.
const REMARK_ROOM: f32 = 74.0;

impl BookTable {
    fn fit(sheets: &Sheets<'_, '_>, book: &FieldBook, run: &RunPart) -> Self {
        let form = book.shown.form;
        let columns: Vec<Column> = (COLUMNS.into_iter())
            .filter(|column| match column {
                Column::Height => form == Booking::HeightOfInstrument,
                Column::Rise | Column::Fall => form == Booking::RiseAndFall,
                _ => true,
            })
            .collect();
        let mut fitted = BookTable { table: Table::fit(sheets, &[], &[]), columns, beside: true };
        let lines = run.lines.iter().flat_map(|line| page_rows::rows(book, line));
        let rows: Vec<page_rows::Row> = lines.chain(run.page_checks.iter().map(page_rows::sums)).collect();
        for beside in [true, false] {
            fitted.beside = beside;
            let laid: Vec<Row> = rows.iter().map(|row| fitted.row(row)).collect();
            fitted.table = Table::fit(sheets, &fitted.heads(book), &laid);
            if fitted.table.last_width() >= REMARK_ROOM {
                break;
            }
        }
        fitted
    }

    fn heads(&self, book: &FieldBook) -> Vec<TableColumn> {
        let (unit, sight) = (book.shown.unit, book.shown.sight_unit);
        let numbers = |head: String| column(&head, Fit::Numbers);
        let mut heads: Vec<TableColumn> = (self.columns.iter())
            .map(|held| match held {
                Column::Setup => column("setup", Fit::Numbers),
                Column::Point => column("point", Fit::Words(84.0)),
                Column::Back => numbers(format!("back\n{unit}")),
                Column::Inter => numbers(format!("inter\n{unit}")),
                Column::Fore => numbers(format!("fore\n{unit}")),
                Column::Height => numbers(format!("height of\ninstr. {unit}")),
                Column::Rise => numbers(format!("rise\n{unit}")),
                Column::Fall => numbers(format!("fall\n{unit}")),
                Column::Elevation => numbers(format!("elevation\n{unit}")),
                Column::BackSight => numbers(format!("sight\nback {sight}")),
                Column::ForeSight => numbers(format!("sight\nfore {sight}")),
            })
            .collect();
        if self.beside {
            heads.push(column("remarks", Fit::Rest(1.0)));
        }
        heads
    }

    fn rows(&self, book: &FieldBook, line: &Line) -> Vec<Row> {
        page_rows::rows(book, line).iter().map(|row| self.row(row)).collect()
    }

    fn row(&self, row: &page_rows::Row) -> Row {
        let cell = |held: &Column| {
            let cell = row.cell(*held);
            let text = if *held == Column::Point { name_on_paper(&cell.text) } else { on_paper(&cell.text) };
            let style = if *held == Column::Elevation { Style::STRONG } else { Style::BODY };
            // A shot stands under its sight, a little to the right.
            let style = if text.starts_with(' ') { Style::BODY.in_ink(Ink::Grey) } else { style };
            Cell { mark: cell.mark, ..Cell::of(style, text) }
        };
        let mut laid = Row::of(self.columns.iter().map(cell));
        let remarks = on_paper(&row.remarks.join("; "));
        if self.beside {
            laid.cells.push(Cell::of(Style::SMALL, remarks));
        } else {
            laid.under = remarks;
        }
        laid
    }
}

/// The page check as an equality.
fn equality(sheets: &mut Sheets<'_, '_>, book: &FieldBook, check: &PageCheck) {
    let mut terms = vec![(
        "sum of backsights \u{2212} sum of foresights",
        &check.sum_backsights,
        &check.sum_foresights,
        &check.backsights_less_foresights,
    )];
    if book.shown.form == Booking::RiseAndFall {
        terms.push(("sum of rises \u{2212} sum of falls", &check.sum_rises, &check.sum_falls, &check.rises_less_falls));
    }
    if let (Some(first), Some(last), Some(climb)) = (&check.first, &check.last, &check.last_less_first) {
        terms.push(("last \u{2212} first elevation", last, first, climb));
    }
    let row = |(what, left, right, result): &(&str, &Figure, &Figure, &Figure)| {
        Row::of([
            Cell::text(*what),
            Cell::text(on_paper(&left.shown)),
            Cell::text("\u{2212}"),
            Cell::text(on_paper(&right.shown)),
            Cell::text("="),
            Cell::of(Style::STRONG, on_paper(&result.shown)),
            Cell::default(),
        ])
    };
    let rows: Vec<Row> = terms.iter().map(row).collect();
    let columns = [
        column("", Fit::Words(220.0)),
        column("", Fit::Numbers),
        column("", Fit::Words(10.0)),
        column("", Fit::Numbers),
        column("", Fit::Words(10.0)),
        column("", Fit::Numbers),
        column("", Fit::Rest(1.0)),
    ];
    let table = Table::fit(sheets, &columns, &rows);
    sheets.y += UNIT;
    for row in &rows {
        table.set_row(sheets, row);
    }
    let (style, words) = match &check.off_by {
        None => (
            Style::STRONG.in_ink(Ink::Green),
            format!("page check holds, {} to {}", name_on_paper(&check.from), name_on_paper(&check.to)),
        ),
        Some(off) => (
            Style::STRONG.in_ink(Ink::Vermilion),
            format!(
                "page check DOES NOT HOLD, {} to {}: off by {} {}",
                name_on_paper(&check.from),
                name_on_paper(&check.to),
                on_paper(&off.shown),
                book.shown.unit
            ),
        ),
    };
    let rounded = if check.rounded { "; some readings have more digits than are shown, the sums have all" } else { "" };
    sheets.words(LEFT, sheets.width(), style, &format!("{words}{rounded}"));
    if let (Some(back), Some(fore)) = (&check.sum_back_sights, &check.sum_fore_sights) {
        let unit = book.shown.sight_unit;
        let (back, fore, balance) = (&back.shown, &fore.shown, balance_words(book, check));
        let words = format!("balance: sights back {back} {unit}, fore {fore} {unit}, {balance} {unit}");
        sheets.words(LEFT, sheets.width(), Style::SMALL, &words);
    }
}

/// Sum of the sights back less sum of those fore, shown as sights are.
fn balance_words(book: &FieldBook, check: &PageCheck) -> String {
    let exact = |figure: &Option<crate::report::document::tree::Figure>| {
        figure.as_ref().map_or(crate::units::Length::ZERO, |figure| figure.exact)
    };
    let apart = exact(&check.sum_back_sights) - exact(&check.sum_fore_sights);
    let (unit, decimals) = crate::book::wording::Wording::new(book.shown.unit).sight_scale();
    format!("back less fore {}", on_paper(&apart.show_signed(unit, decimals)))
}

fn closures(sheets: &mut Sheets<'_, '_>, book: &FieldBook, run: &RunPart) {
    if run.closures.is_empty() {
        return;
    }
    sheets.heading("Closure", 1, 4.0 * Size::Body.leading());
    for closure in &run.closures {
        self::closure(sheets, book, closure);
    }
}

fn closure(sheets: &mut Sheets<'_, '_>, book: &FieldBook, closure: &ClosureRow) {
    let ink = match closure.verdict {
        Closes::Closes => Ink::Green,
        Closes::DoesNotClose => Ink::Vermilion,
        Closes::NotJudged => Ink::Orange,
    };
    sheets.need(4.0 * Size::Body.leading());
    let words = format!(
        "At {}, setup {}, {}: {}",
        name_on_paper(&closure.point),
        closure.setup,
        closure.against,
        closure.verdict.words()
    );
    sheets.paragraph(Style::STRONG.in_ink(ink), &words);
    let length = match &closure.length {
        Some(length) => format!("{} {}", length.shown, book.shown.sight_unit),
        None => "a length that is not known".to_owned(),
    };
    let words = format!("misclosure {}, over {length}, {}", closure.words, count(closure.setups, "setup"));
    sheets.paragraph(Style::BODY, &on_paper(&words));
    if let Some(words) = &closure.allowance_words {
        sheets.paragraph(Style::BODY, &on_paper(&format!("allowed: {words}")));
    }
    sheets.y += UNIT;
}

/// The likeliest single mistakes behind a misclosure, and the shot that would confirm each.
fn causes(sheets: &mut Sheets<'_, '_>, causes: &Causes) {
    let indent = 14.0;
    let title = format!("What could be behind the misclosure at {}", name_on_paper(&causes.point));
    sheets.heading(&title, 1, 4.0 * Size::Body.leading());
    for Paragraph { lead, text } in paragraphs(causes, Extent::Few) {
        let (lead, text) = (lead.trim(), on_paper(&text));
        // A paragraph without a number goes on with what the one before it began.
        let style = if lead.is_empty() { Style::BODY.in_ink(Ink::Grey) } else { Style::BODY };
        let lines = sheets.faces.wrap(style, sheets.width() - indent, &text).len();
        sheets.need(lines as f32 * Size::Body.leading());
        sheets.set(LEFT, Style::STRONG, lead);
        sheets.words(LEFT + indent, sheets.width() - indent, style, &text);
    }
}

fn section(sheets: &mut Sheets<'_, '_>, book: &FieldBook, section: &Section) {
    let height = book.shown.height_unit;
    let extent = match &section.length {
        Some(length) => format!("{}, {} {}", count(section.setups, "setup"), length.shown, book.shown.sight_unit),
        None => count(section.setups, "setup"),
    };
    let (from, to) = (name_on_paper(&section.from), section.to.as_deref().map(name_on_paper));
    let (title, words) = match &to {
        Some(to) => (
            format!("Shared out by hand, {from} to {to}"),
            format!(
                "{} {height} over {extent}, shared out {}",
                on_paper(&section.misclosure.shown),
                section.by.words()
            ),
        ),
        None => (format!("Beyond {from}"), extent),
    };
    let unit = book.shown.unit;
    let measure = match section.by {
        Distribution::ByLength => format!("from start\n{}", book.shown.sight_unit),
        Distribution::BySetups | Distribution::None => "\nsetups".to_owned(),
    };
    let columns = [
        column("run.\nsetup", Fit::Words(40.0)),
        column("point", Fit::Words(150.0)),
        column(&measure, Fit::Numbers),
        column(&format!("observed\n{unit}"), Fit::Numbers),
        column(&format!("correction\n{height}"), Fit::Numbers),
        column(&format!("adjusted\n{unit}"), Fit::Numbers),
        column("", Fit::Rest(1.0)),
    ];
    let rows: Vec<Row> = section.points.iter().map(|point| section_row(point, section.by)).collect();
    let table = Table::fit(sheets, &columns, &rows);
    let mut said = vec![words];
    said.extend(section.remarks.iter().map(|remark| on_paper(remark)));
    let room = said.len() as f32 * Size::Body.leading() + table.beginning(sheets, &rows);
    sheets.heading(&title, 1, room);
    for words in &said {
        sheets.paragraph(Style::BODY, words);
    }
    sheets.y += UNIT;
    table.set(sheets, &rows);
}

fn section_row(point: &SectionPoint, by: Distribution) -> Row {
    let measure = match by {
        Distribution::ByLength => point.length.as_ref().map(|length| length.shown.clone()).unwrap_or_default(),
        Distribution::BySetups | Distribution::None => point.setups.to_string(),
    };
    let side = point.sight == Some(Role::Intermediate);
    Row::of([
        Cell::text(format!("{}.{}", point.run, point.setup)),
        Cell::text(name_on_paper(&point.point)),
        Cell::text(measure),
        Cell::text(on_paper(&point.observed.shown)),
        Cell::text(on_paper(&point.correction.shown)),
        Cell::of(Style::STRONG, on_paper(&point.adjusted.shown)),
        Cell::of(Style::SMALL, if side { "single, unchecked" } else { "" }),
    ])
}
