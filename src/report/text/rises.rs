//! What was carried up a tape and across gaps: conditions, readings, corrections line by line, the rise.

use super::run::heading;
use super::wrap::{columns, visible, wrap};
use crate::report::document::FieldBook;
use crate::report::document::tree::{CameView, RiseReading, RiseView};

/// Columns before a line of a table.
const INDENT: usize = 12;
/// Columns of a number.
const NUMBER: usize = 12;
/// Columns of its unit, and of a deviation behind it.
const UNIT: usize = 4;
const DEVIATION: usize = 16;

/// A block for each of them; none without any.
pub(super) fn rises(book: &FieldBook, width: usize) -> Vec<Vec<String>> {
    book.rises.iter().map(|rise| block(book, rise, width)).collect()
}

fn block(book: &FieldBook, rise: &RiseView, width: usize) -> Vec<String> {
    let (unit, height) = (book.shown.unit, book.shown.height_unit);
    let title = format!("{}: {} to {}", rise.method.words().to_uppercase(), rise.from, rise.to);
    let mut lines = heading(book, &title, width);
    let led = |lead: &str, text: &str| wrap(&format!("{lead:<INDENT$}"), text, width);
    lines.extend(led("activity", &format!("{}, kept as event {}", rise.activity, rise.event)));
    for words in &rise.conditions {
        lines.extend(led("with", words));
    }
    let names = rise.readings.iter().map(|row| &row.what).chain(rise.steps.iter().map(|step| &step.what));
    let behind = INDENT + NUMBER + UNIT + DEVIATION;
    let room = names.map(|what| columns(what)).max().unwrap_or(0).min(width.saturating_sub(behind));
    let row = |what: &str, number: &str, unit: &str, behind: &str| {
        let what: String = visible(what).chars().take(room).collect();
        format!("{:INDENT$}{what:<room$}{number:>NUMBER$} {unit:<3}{behind}", "").trim_end().to_owned()
    };
    for reading in &rise.readings {
        lines.push(row(&reading.what, &shown(reading), unit.symbol(), &remark(reading)));
    }
    for step in &rise.steps {
        let good = step.deviation.as_ref().map(|deviation| format!("  +- {} {height}", deviation.shown));
        lines.push(row(&step.what, &step.value.shown, step.unit.symbol(), &good.unwrap_or_default()));
    }
    let result = format!(
        "{} is higher than {} by {} {unit}, standard deviation {} {height}; {}",
        rise.to, rise.from, rise.rise.shown, rise.deviation.shown, rise.standing
    );
    lines.extend(led("rise", &result));
    lines
}

/// A reading as it is shown, marked as in the book where it is struck.
fn shown(reading: &RiseReading) -> String {
    if reading.struck { format!("~{}~", reading.reading.shown) } else { reading.reading.shown.clone() }
}

fn remark(reading: &RiseReading) -> String {
    match reading.came {
        CameView::Heard => String::new(),
        CameView::KeyedIn => "  keyed in".to_owned(),
    }
}
