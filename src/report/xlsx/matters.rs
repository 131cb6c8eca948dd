//! What is said and does not recompute: the answer of the first page, results, the adjustment, findings, changes.

use rust_xlsxwriter::{Worksheet, XlsxError};

use super::cells::number;
use super::sheet::{Holds, Sheet, Styles, column};
use crate::report::document::full::Report;
use crate::report::document::full::tree::{AdjustedFigures, ChangeRow};
use crate::report::document::tree::{FindingRow, FindingState};
use crate::report::document::{by_words, history_words};

/// The answer of the first page, and what the job is.
pub(super) fn front(report: &Report, styles: &Styles) -> Result<Worksheet, XlsxError> {
    let book = &report.book;
    let mut sheet = Sheet::new("Report", &format!("Levelling report: {}", book.job), styles)?;
    sheet.widths(&[column("", 22.0, Holds::Text), column("", 110.0, Holds::Text)])?;
    let (answer, record) = (&report.answer, &report.record);
    sheet.row += 1;
    let mut rows: Vec<(&str, String)> = vec![("verdict", format!("{}: {}", answer.standing.word(), answer.verdict))];
    rows.extend(report.run.map(|run| ("of", format!("run {run} only; elevations are those of the whole job"))));
    rows.extend(answer.carried.iter().map(|words| ("carried", words.clone())));
    rows.extend(book.runs.iter().flat_map(|run| {
        run.closures.iter().map(move |closure| {
            let verdict = closure.verdict.words();
            (
                "closed",
                format!("run {} at {}, {}: {}, {verdict}", run.number, closure.point, closure.against, closure.words),
            )
        })
    }));
    rows.extend(answer.reliance.iter().map(|words| ("may it be used", words.clone())));
    rows.push(("digest of the record", format!("{}, {} events", record.digest, record.events)));
    rows.extend(record.damage.iter().map(|damage| ("record", damage.clone())));
    rows.push((
        "kept",
        format!("{} to {} UTC, begun with {}", clock(&book.opened_at), clock(&book.last_at), book.program),
    ));
    rows.push(("class", format!("{}: {}", book.class.title, book.class.source)));
    rows.extend(book.equipment.iter().map(|words| ("equipment", words.clone())));
    rows.push(("sequence", book.sequence.clone()));
    if book.corrections.is_empty() {
        rows.push(("corrections", "none: readings are booked as read".to_owned()));
    }
    rows.extend(book.corrections.iter().map(|words| ("correction", words.clone())));
    rows.push(("rounding", book.shown.rounding.clone()));
    rows.extend(book.cautions.iter().map(|words| ("cautions", words.clone())));
    let mut said = "";
    for (what, words) in &rows {
        if *what != said {
            sheet.text(0, what, &styles.strong)?;
        }
        said = what;
        sheet.wrapped(1, words)?;
        sheet.row += 1;
    }
    Ok(sheet.done())
}

fn clock(at: &str) -> String {
    at.get(..19).unwrap_or(at).replace('T', " ")
}

/// Every mark with its elevation.
pub(super) fn results(report: &Report, styles: &Styles) -> Result<Worksheet, XlsxError> {
    let (unit, height) = (report.book.shown.unit, report.book.shown.height_unit);
    let figures = report.adjustment.figures.as_ref();
    let confidence =
        figures.map_or_else(|| "interval".to_owned(), |figures| format!("{} % interval +/-", figures.confidence));
    let columns = [
        column("point", 24.0, Holds::Text),
        column(format!("elevation {unit}"), 14.0, Holds::Numbers),
        column(format!("deviation {height}"), 12.0, Holds::Numbers),
        column(format!("{confidence} {height}"), 14.0, Holds::Numbers),
        column(format!("observed {unit}"), 14.0, Holds::Numbers),
        column("runs", 10.0, Holds::Text),
        column("remarks", 60.0, Holds::Text),
    ];
    let mut sheet = Sheet::new("Results", "Elevations", styles)?;
    match &report.adjustment.not_adjusted {
        None => {
            sheet.line("As adjusted when the report was made: these do not recompute. The sheets of the runs do.")?
        }
        Some(why) => sheet.line(&format!("As observed, not adjusted: {why}"))?,
    }
    sheet.row += 1;
    sheet.standing_heads(&columns)?;
    for row in &report.results {
        sheet.text(0, &row.point, &styles.text)?;
        sheet.number(1, number(row.elevation.exact, unit), &styles.level)?;
        for (at, figure) in [(2, &row.deviation), (3, &row.interval)] {
            if let Some(figure) = figure {
                sheet.number(at, number(figure.exact, height), &styles.deviation)?;
            }
        }
        if let Some(observed) = &row.observed {
            sheet.number(4, number(observed.exact, unit), &styles.level)?;
        }
        let runs: Vec<String> = row.runs.iter().map(ToString::to_string).collect();
        sheet.text(5, &runs.join(", "), &styles.text)?;
        sheet.wrapped(6, &row.remarks.join("; "))?;
        sheet.row += 1;
    }
    Ok(sheet.done())
}

/// The adjustment with its tests.
pub(super) fn adjustment(report: &Report, styles: &Styles) -> Result<Worksheet, XlsxError> {
    let view = &report.adjustment;
    let mut sheet = Sheet::new("Adjustment", "Adjustment", styles)?;
    sheet.line("As it came out when the report was made: this does not recompute.")?;
    sheet.line(&format!("method: {}", view.method))?;
    sheet.line(&format!("standard deviations: {}", view.weights))?;
    for words in &view.left_out {
        sheet.line(&format!("left out: {words}"))?;
    }
    if let Some(why) = &view.not_adjusted {
        sheet.line(&format!("not adjusted: {why}"))?;
    }
    if let Some(figures) = &view.figures {
        tests(&mut sheet, figures)?;
        lines(&mut sheet, report, figures, styles)?;
        known(&mut sheet, report, figures, styles)?;
    }
    Ok(sheet.done())
}

fn tests(sheet: &mut Sheet<'_>, figures: &AdjustedFigures) -> Result<(), XlsxError> {
    let held = if figures.held_to_all { "held to all known marks" } else { "one known mark held" };
    sheet.line(&format!("{held}: {}", figures.extent()))?;
    sheet.line(&format!("deviations and intervals {}; {}", figures.sigma, figures.levels))?;
    if let Some(global) = &figures.global {
        let (statistic, lower, upper) = (global.statistic, global.lower, global.upper);
        sheet.line(&format!("global test: {statistic:.2}, wanted {lower:.2} to {upper:.2}: {}", global.words))?;
    }
    for doubt in &figures.doubts {
        sheet.line(&format!("doubted: {doubt}"))?;
    }
    Ok(())
}

fn lines(sheet: &mut Sheet<'_>, report: &Report, figures: &AdjustedFigures, styles: &Styles) -> Result<(), XlsxError> {
    let shown = &report.book.shown;
    let (unit, height, sight) = (shown.unit, shown.height_unit, shown.sight_unit);
    sheet.row += 1;
    let number_of = |head: String| column(head, 12.0, Holds::Numbers);
    sheet.standing_heads(&[
        column("line", 6.0, Holds::Numbers),
        column("from", 16.0, Holds::Text),
        column("to", 16.0, Holds::Text),
        column("run", 6.0, Holds::Numbers),
        column("setups", 8.0, Holds::Numbers),
        number_of(format!("length {sight}")),
        number_of(format!("observed rise {unit}")),
        number_of(format!("residual {height}")),
        number_of(format!("adjusted rise {unit}")),
        number_of(format!("deviation {height}")),
        number_of("redundancy".to_owned()),
        number_of("w".to_owned()),
        number_of(format!("detectable mistake {height}")),
        column("activity", 9.0, Holds::Numbers),
    ])?;
    for (line, at) in figures.lines.iter().zip(1u32..) {
        sheet.count(0, at)?;
        sheet.text(1, &line.from, &styles.text)?;
        sheet.text(2, &line.to, &styles.text)?;
        for (at, count) in [(3, line.run), (4, line.setups), (13, line.activity)] {
            if let Some(count) = count {
                sheet.count(at, count)?;
            }
        }
        if let Some(length) = &line.length {
            sheet.number(5, number(length.exact, sight), &styles.sight)?;
        }
        sheet.number(6, number(line.observed.exact, unit), &styles.level)?;
        sheet.number(7, number(line.residual.exact, height), &styles.signed)?;
        sheet.number(8, number(line.adjusted.exact, unit), &styles.level)?;
        sheet.number(9, number(line.deviation.exact, height), &styles.deviation)?;
        sheet.number(10, line.redundancy, &styles.two_decimals)?;
        if let Some(w) = line.w {
            sheet.number(11, w, &styles.two_decimals)?;
        }
        if let Some(detectable) = &line.detectable {
            sheet.number(12, number(detectable.exact, height), &styles.height)?;
        }
        sheet.row += 1;
    }
    Ok(())
}

fn known(sheet: &mut Sheet<'_>, report: &Report, figures: &AdjustedFigures, styles: &Styles) -> Result<(), XlsxError> {
    if figures.known.is_empty() {
        return Ok(());
    }
    let height = report.book.shown.height_unit;
    sheet.heading("Known marks against what the new work alone gives for them")?;
    sheet.heads(&[
        column("", 6.0, Holds::Text),
        column("mark", 16.0, Holds::Text),
        column("carried from", 16.0, Holds::Text),
        column("", 6.0, Holds::Text),
        column("", 8.0, Holds::Text),
        column(format!("difference {height}"), 12.0, Holds::Numbers),
        column(format!("deviation {height}"), 12.0, Holds::Numbers),
        column("ratio", 12.0, Holds::Numbers),
    ])?;
    for row in &figures.known {
        sheet.text(1, &row.point, &styles.text)?;
        sheet.text(2, &row.datum, &styles.text)?;
        sheet.number(5, number(row.difference.exact, height), &styles.signed)?;
        sheet.number(6, number(row.deviation.exact, height), &styles.deviation)?;
        if let Some(ratio) = row.ratio {
            sheet.number(7, ratio, &styles.two_decimals)?;
        }
        sheet.row += 1;
    }
    Ok(())
}

/// What was found and what was done about it.
pub(super) fn findings(report: &Report, styles: &Styles) -> Result<Worksheet, XlsxError> {
    let columns = [
        column("priority", 9.0, Holds::Text),
        column("stands", 8.0, Holds::Text),
        column("finding", 28.0, Holds::Text),
        column("fact", 70.0, Holds::Text),
        column("to do", 50.0, Holds::Text),
        column("what was done", 60.0, Holds::Text),
    ];
    let mut sheet = Sheet::new("Findings", "Findings and what was done about them", styles)?;
    sheet.row += 1;
    sheet.standing_heads(&columns)?;
    for row in &report.book.findings {
        let stands = match row.state {
            FindingState::Stands => "yes",
            FindingState::Gone => "no longer",
        };
        let done = done_words(report, row);
        let texts = [row.priority.word(), stands, &row.key, &row.fact, &row.todo, &done];
        for (at, text) in (0..).zip(texts) {
            sheet.wrapped(at, text)?;
        }
        sheet.row += 1;
    }
    Ok(sheet.done())
}

fn done_words(report: &Report, row: &FindingRow) -> String {
    let told = history_words(&report.book.opened_at, row);
    if told.is_empty() { "not announced".to_owned() } else { told.join("; ") }
}

/// What people said and changed.
pub(super) fn changes(report: &Report, styles: &Styles) -> Result<Worksheet, XlsxError> {
    let columns = [
        column("event", 7.0, Holds::Numbers),
        column("time (UTC)", 19.0, Holds::Text),
        column("by", 22.0, Holds::Text),
        column("run.setup", 9.0, Holds::Text),
        column("what", 70.0, Holds::Text),
        column("reason", 50.0, Holds::Text),
        column("taken back by event", 12.0, Holds::Numbers),
    ];
    let mut sheet = Sheet::new("Changes", "What people said and changed, and why", styles)?;
    sheet.row += 1;
    sheet.standing_heads(&columns)?;
    for row in &report.changes {
        sheet.count(0, row.event as f64)?;
        let texts = [clock(&row.at), by(row), place(row), row.what.clone(), row.reason.clone().unwrap_or_default()];
        for (at, text) in (1..).zip(texts) {
            sheet.wrapped(at, &text)?;
        }
        if let Some(event) = row.taken_back_by {
            sheet.count(6, event as f64)?;
        }
        sheet.row += 1;
    }
    Ok(sheet.done())
}

fn by(row: &ChangeRow) -> String {
    row.by.as_ref().map_or("by new settings", by_words).to_owned()
}

fn place(row: &ChangeRow) -> String {
    row.setup.map(|setup| format!("{}.{}", setup.run, setup.setup)).unwrap_or_default()
}
