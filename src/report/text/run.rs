//! A run in text: what it is and how it stands, its page with the page check, and what closed.

use super::section;
use super::sheet::Sheet;
use super::table::Table;
use super::wrap::{columns, wrap};
use crate::book::settings::Booking;
use crate::report::document::tree::{ClosureRow, Line, PageCheck, RunPart};
use crate::report::document::{FieldBook, cut, page_check, page_end};

/// Lines kept free under a page of the table for its sums and page check.
const CHECK_LINES: usize = 8;

pub(super) fn run(sheet: &mut Sheet, book: &FieldBook, run: &RunPart, width: usize) {
    let table = Table::new(book, run, width);
    let head = head(book, run, width);
    // A head is never left alone at the foot of a page: the first setup must have room under it.
    let above = head.len() + 2 + table.head().len() + CHECK_LINES;
    if !part_end(&table, &run.lines, 0, sheet.left().saturating_sub(above)).1 {
        sheet.turn();
    }
    sheet.gap();
    sheet.put(head);
    sheet.gap();
    page(sheet, book, run, &table, width);
    for closure in &run.closures {
        sheet.gap();
        sheet.block(self::closure(closure, book, width));
    }
    for section in &run.sections {
        sheet.gap();
        section::section(sheet, book, section, width);
    }
}

/// A heading with SIMULATED at its right where that is so, and a rule under it.
pub(super) fn heading(book: &FieldBook, words: &str, width: usize) -> Vec<String> {
    let right = if book.simulated { "SIMULATED" } else { "" };
    let room = width.saturating_sub(columns(right) + 2);
    let mut lines = wrap("", words, room);
    if let Some(first) = lines.first_mut()
        && !right.is_empty()
    {
        let between = width.saturating_sub(columns(first) + columns(right));
        *first = format!("{first}{:between$}{right}", "");
    }
    lines.push("=".repeat(width));
    lines
}

fn head(book: &FieldBook, run: &RunPart, width: usize) -> Vec<String> {
    let setups = if run.setups == 1 { "1 setup".to_owned() } else { format!("{} setups", run.setups) };
    let sight = book.shown.sight_unit;
    let length = match run.length_lacks {
        false => format!(", {} {sight}", run.length.shown),
        true => ", length not known: some setups have no sight lengths".to_owned(),
    };
    let mut lines = heading(book, &format!("RUN {}: {} to {}", run.number, run.from, run.to), width);
    lines.extend(wrap("", &format!("{setups}{length}"), width));
    for datum in &run.datums {
        lines.extend(wrap("", datum, width));
    }
    lines.extend(wrap("", &run.verdict(), width));
    lines
}

/// The page itself, whole or cut at turning points so that each part has its own page check.
fn page(sheet: &mut Sheet, book: &FieldBook, run: &RunPart, table: &Table<'_>, width: usize) {
    let mut start = 0;
    let mut parts = 0;
    loop {
        let room = sheet.left().saturating_sub(table.head().len() + CHECK_LINES);
        let (end, fits) = part_end(table, &run.lines, start, room);
        if !fits && sheet.left() < sheet.whole() {
            sheet.turn();
            continue;
        }
        let part = cut(&run.lines, start, end);
        sheet.put(table.head());
        sheet.put(part.iter().flat_map(|line| table.line(line)));
        for check in page_check(&book.shown, &part) {
            sheet.block(checked(book, table, &check, width));
        }
        parts += 1;
        start = end;
        if end + 1 >= run.lines.len() {
            break;
        }
        sheet.turn();
    }
    if parts > 1 {
        for check in &run.page_checks {
            sheet.gap();
            let mut lines = vec![format!("run {} as a whole", run.number)];
            lines.extend(equality(book, check, width));
            sheet.block(lines);
        }
    }
}

/// The last line of the page that begins with line `start`, and whether there was room for it.
fn part_end(table: &Table<'_>, lines: &[Line], start: usize, room: usize) -> (usize, bool) {
    page_end(lines, start, room as f64, |line| table.line(line).len() as f64)
}

fn checked(book: &FieldBook, table: &Table<'_>, check: &PageCheck, width: usize) -> Vec<String> {
    let mut lines = table.sums(check);
    lines.extend(equality(book, check, width));
    lines
}

/// The page check as an equality.
fn equality(book: &FieldBook, check: &PageCheck, width: usize) -> Vec<String> {
    let mut terms = vec![(
        "sum back - sum fore",
        &check.sum_backsights.shown,
        &check.sum_foresights.shown,
        &check.backsights_less_foresights.shown,
    )];
    if book.shown.form == Booking::RiseAndFall {
        terms.push((
            "sum rises - sum falls",
            &check.sum_rises.shown,
            &check.sum_falls.shown,
            &check.rises_less_falls.shown,
        ));
    }
    if let (Some(first), Some(last), Some(climb)) = (&check.first, &check.last, &check.last_less_first) {
        terms.push(("last - first", &last.shown, &first.shown, &climb.shown));
    }
    let widest = |part: fn(&(&str, &String, &String, &String)) -> usize| terms.iter().map(part).max().unwrap_or(0);
    let (name, left, right, result) =
        (widest(|t| t.0.len()), widest(|t| t.1.len()), widest(|t| t.2.len()), widest(|t| t.3.len()));
    let mut lines: Vec<String> = terms
        .iter()
        .enumerate()
        .map(|(index, (what, a, b, difference))| {
            let lead = if index == 0 { "page check" } else { "" };
            format!("{lead:<10}  {what:<name$}  {a:>left$} - {b:>right$} = {difference:>result$}")
        })
        .collect();
    let verdict = match &check.off_by {
        None => format!("holds from {} to {}", check.from, check.to),
        Some(off) => {
            format!("DOES NOT HOLD from {} to {}: off by {} {}", check.from, check.to, off.shown, book.shown.unit)
        }
    };
    let rounded = if check.rounded { "; some readings have more digits than are shown, the sums have all" } else { "" };
    lines.extend(wrap("            ", &format!("{verdict}{rounded}"), width));
    lines
}

fn closure(closure: &ClosureRow, book: &FieldBook, width: usize) -> Vec<String> {
    let mut lines = wrap(
        "closure     ",
        &format!("at {}, setup {}, {}: {}", closure.point, closure.setup, closure.against, closure.verdict.words()),
        width,
    );
    let length = match &closure.length {
        Some(length) => format!("{} {}", length.shown, book.shown.sight_unit),
        None => "length not known".to_owned(),
    };
    let setups = if closure.setups == 1 { "1 setup".to_owned() } else { format!("{} setups", closure.setups) };
    lines.extend(wrap("misclosure  ", &format!("{}, over {length}, {setups}", closure.words), width));
    if let Some(words) = &closure.allowance_words {
        lines.extend(wrap("allowance   ", words, width));
    }
    lines
}
