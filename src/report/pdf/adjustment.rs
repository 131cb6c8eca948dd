//! The adjustment with its tests, its residuals and the sketch of its network.

use super::front::{bullet, doubt, fact};
use super::ink::{Ink, Size, UNIT};
use super::sheets::{Sheets, Style};
use super::table::{Cell, Fit, Row, Table, column};
use super::{name_on_paper, on_paper};
use crate::report::document::full::Report;
use crate::report::document::full::tree::{AdjustedFigures, AdjustedLine, KnownCheckRow};

pub(super) fn adjustment<'a>(sheets: &mut Sheets<'a, '_>, report: &'a Report) {
    let view = &report.adjustment;
    sheets.part("adjustment", doubt(report.answer.standing));
    sheets.heading("Adjustment", 0, 6.0 * Size::Body.leading());
    sheets.doubt_here(doubt(report.answer.standing));
    fact(sheets, "method", &on_paper(&view.method));
    fact(sheets, "deviations", &on_paper(&view.weights));
    for words in &view.left_out {
        fact(sheets, "left out", &on_paper(words));
    }
    if let Some(why) = &view.not_adjusted {
        fact(sheets, "not done", &on_paper(why));
    }
    let Some(figures) = &view.figures else { return };
    tests(sheets, figures);
    lines(sheets, report, figures);
    known(sheets, report, figures);
    for name in ["residuals", "network"] {
        let Some(view) = report.plots.iter().find(|view| view.name == name) else { continue };
        sheets.drawing_across(3.0 * UNIT, &view.paper, &on_paper(&view.words));
    }
}

fn tests(sheets: &mut Sheets<'_, '_>, figures: &AdjustedFigures) {
    let held = if figures.held_to_all { "held to all known marks" } else { "one known mark held" };
    fact(sheets, "extent", &format!("{}; {held}", figures.extent()));
    fact(sheets, "intervals", &format!("deviations and intervals {}; {} %", figures.sigma, figures.confidence));
    fact(sheets, "levels", &figures.levels);
    match &figures.global {
        Some(global) => {
            let s0 = figures.s0.map(|s0| format!(", s0 {s0:.2}")).unwrap_or_default();
            let (statistic, lower, upper) = (global.statistic, global.lower, global.upper);
            let words = format!("{statistic:.2}, wanted {lower:.2} to {upper:.2}{s0}: {}", global.words);
            fact(sheets, "global test", &words);
        }
        None => fact(sheets, "global test", "none: there is nothing to spare that could be tested"),
    }
    let tau = figures.critical_tau.map(|tau| format!(", of \u{3c4} {tau:.2}")).unwrap_or_default();
    fact(sheets, "single tests", &format!("limit of w {:.2}{tau}", figures.critical_w));
    for doubt in &figures.doubts {
        bullet(sheets, &on_paper(doubt));
    }
}

fn lines(sheets: &mut Sheets<'_, '_>, report: &Report, figures: &AdjustedFigures) {
    let shown = &report.book.shown;
    let (unit, height, sight) = (shown.unit, shown.height_unit, shown.sight_unit);
    let has_tau = figures.critical_tau.is_some();
    let mut columns = vec![
        column("line", Fit::Numbers),
        column("from", Fit::Words(64.0)),
        column("to", Fit::Words(64.0)),
        column("\nsetups", Fit::Numbers),
        column(&format!("length\n{sight}"), Fit::Numbers),
        column(&format!("observed\nrise {unit}"), Fit::Numbers),
        column(&format!("residual\n{height}"), Fit::Numbers),
        column(&format!("adjusted\nrise {unit}"), Fit::Numbers),
        column(&format!("deviation\n{height}"), Fit::Numbers),
        column("redun-\ndancy", Fit::Numbers),
        column("w", Fit::Numbers),
    ];
    if has_tau {
        columns.push(column("\u{3c4}", Fit::Numbers));
    }
    columns.push(column(&format!("detect-\nable {height}"), Fit::Numbers));
    let rows: Vec<Row> =
        (figures.lines.iter().zip(1..)).map(|(line, at)| line_row(report, line, at, has_tau)).collect();
    let table = Table::fit(sheets, &columns, &rows);
    let room = table.beginning(sheets, &rows);
    sheets.heading("Lines", 1, room);
    table.set(sheets, &rows);
}

fn line_row(report: &Report, line: &AdjustedLine, at: usize, has_tau: bool) -> Row {
    let style = if line.doubtful { Style::STRONG.in_ink(Ink::Vermilion) } else { Style::BODY };
    let two = |value: Option<f64>| value.map(|value| on_paper(&format!("{value:.2}"))).unwrap_or_default();
    let mut cells = vec![
        Cell::text(at.to_string()),
        Cell::text(name_on_paper(&line.from)),
        Cell::text(name_on_paper(&line.to)),
        Cell::text(line.setups.map(|setups| setups.to_string()).unwrap_or_default()),
        Cell::text(line.length.as_ref().map(|length| length.shown.clone()).unwrap_or_default()),
        Cell::text(on_paper(&line.observed.shown)),
        Cell::text(on_paper(&line.residual.shown)),
        Cell::text(on_paper(&line.adjusted.shown)),
        Cell::text(on_paper(&line.deviation.shown)),
        Cell::text(two(Some(line.redundancy))),
        Cell::of(style, two(line.w)),
    ];
    if has_tau {
        cells.push(Cell::text(two(line.tau)));
    }
    let detectable = line.detectable.as_ref().map(|figure| on_paper(&figure.shown));
    cells.push(Cell::text(detectable.unwrap_or_else(|| "unchecked".to_owned())));
    let rise = report.book.rises.iter().find(|rise| line.activity == Some(rise.activity));
    let under = rise.map(|rise| format!("by {}, activity {}", rise.method.words(), rise.activity));
    Row { under: under.unwrap_or_default(), ..Row::of(cells) }
}

fn known(sheets: &mut Sheets<'_, '_>, report: &Report, figures: &AdjustedFigures) {
    if figures.known.is_empty() {
        return;
    }
    let height = report.book.shown.height_unit;
    let columns = [
        column("mark", Fit::Words(110.0)),
        column("carried from", Fit::Words(110.0)),
        column(&format!("difference\n{height}"), Fit::Numbers),
        column(&format!("deviation\n{height}"), Fit::Numbers),
        column("ratio", Fit::Numbers),
        column("", Fit::Rest(1.0)),
    ];
    let row = |check: &KnownCheckRow| {
        Row::of([
            Cell::text(name_on_paper(&check.point)),
            Cell::text(name_on_paper(&check.datum)),
            Cell::text(on_paper(&check.difference.shown)),
            Cell::text(on_paper(&check.deviation.shown)),
            Cell::text(check.ratio.map(|ratio| on_paper(&format!("{ratio:.2}"))).unwrap_or_default()),
        ])
    };
    let rows: Vec<Row> = figures.known.iter().map(row).collect();
    let table = Table::fit(sheets, &columns, &rows);
    let said = "What the new work alone, with one known mark held, gives for the others, less what was given.";
    table.set_under(sheets, "Known marks against the new work", 1, said, &rows);
}
