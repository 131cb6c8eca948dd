//! The first page, and what the job is: what a reader needs before any number.

use super::faces::Face;
use super::ink::{BOTTOM, Ink, LEFT, Size, UNIT};
use super::sheets::{Mark, Sheets, Style};
use super::table::{Cell, Fit, Row, Table, column};
use super::{name_on_paper, on_paper};
use crate::book::settings::Booking;
use crate::report::document::full::Report;
use crate::report::document::full::tree::{ClosedRow, JobStanding, ResultRow};
use crate::report::document::time_words;
use crate::report::document::tree::{Closes, LimitRow};
use crate::units::Unit;

/// Room for the signatures at the foot of the first page.
const SIGNATURES: f32 = 74.0;

/// The first page, results, and the job.
pub(super) fn front<'a>(sheets: &mut Sheets<'a, '_>, report: &'a Report) {
    sheets.part("", None);
    sheets.doubt_here(doubt(report.answer.standing));
    sheets.kept = SIGNATURES + 4.0 * UNIT;
    signatures(sheets);
    title(sheets, report);
    verdict(sheets, report);
    answers(sheets, report);
    results(sheets, report);
    sheets.part("the job", None);
    job(sheets, report);
    limits(sheets, report);
}

/// What each page says that shows such work.
pub(super) fn doubt(standing: JobStanding) -> Option<&'static str> {
    match standing {
        JobStanding::Provisional | JobStanding::Empty => Some("PROVISIONAL"),
        JobStanding::DoesNotClose => Some("DOES NOT CLOSE"),
        JobStanding::Closes | JobStanding::NotJudged => None,
    }
}

fn title(sheets: &mut Sheets<'_, '_>, report: &Report) {
    let book = &report.book;
    let style = Style { face: Face::Bold, size: Size::Small, ink: Ink::Grey };
    let kind = match report.run {
        Some(run) => format!("LEVELLING REPORT, RUN {run} ONLY"),
        None => "LEVELLING REPORT".to_owned(),
    };
    sheets.words(LEFT, sheets.width(), style, &kind);
    sheets.y += UNIT / 2.0;
    let style = Style { face: Face::Bold, size: Size::Title, ink: Ink::Black };
    sheets.words(LEFT, sheets.width(), style, &name_on_paper(&book.job));
    let (opened, last) = (day(&book.opened_at), day(&book.last_at));
    let days = if opened == last { opened.to_owned() } else { format!("{opened} to {last}") };
    let line =
        format!("{days}  \u{b7}  {}  \u{b7}  {}", book.class.title, book.equipment.first().map_or("", String::as_str));
    sheets.words(LEFT, sheets.width(), Style::BODY.in_ink(Ink::Grey), &on_paper(&line));
    sheets.y += 3.0 * UNIT;
}

fn day(at: &str) -> &str {
    at.get(..10).unwrap_or(at)
}

/// The verdict: a bar, its sign, its word, its reason.
fn verdict(sheets: &mut Sheets<'_, '_>, report: &Report) {
    let answer = &report.answer;
    let ink = match (report.record.damage.is_some(), answer.standing) {
        (true, _) | (_, JobStanding::DoesNotClose) => Ink::Vermilion,
        (_, JobStanding::Provisional | JobStanding::NotJudged | JobStanding::Empty) => Ink::Orange,
        (_, JobStanding::Closes) => Ink::Green,
    };
    let word = Style { face: Face::Bold, size: Size::Heading, ink };
    let (inside, width) = (LEFT + 34.0, sheets.width() - 46.0);
    let lines = sheets.faces.wrap(Style::BODY, width, &on_paper(&answer.verdict));
    let mut height = Size::Heading.leading() + lines.len() as f32 * Size::Body.leading() + 4.0 * UNIT;
    let simulated = report.book.simulated;
    if simulated {
        height += Size::Body.leading();
    }
    let top = sheets.y;
    sheets.mark(Mark::Fill { x: LEFT, y: top, width: sheets.width(), height, ink: Ink::Shade });
    sheets.mark(Mark::Fill { x: LEFT, y: top, width: 4.0, height, ink });
    sign(sheets, answer.standing, (LEFT + 20.0, top + 2.0 * UNIT + Size::Heading.leading() / 2.0), ink);
    sheets.y = top + 2.0 * UNIT;
    sheets.words(inside, width, word, answer.standing.word());
    sheets.words(inside, width, Style::BODY, &on_paper(&answer.verdict));
    if simulated {
        let style = Style::STRONG.in_ink(Ink::Vermilion);
        sheets.words(inside, width, style, "SIMULATED: nothing here was measured");
    }
    sheets.y = top + height + 2.0 * UNIT;
}

/// The sign of a verdict: it says in black and white what the colour says.
fn sign(sheets: &mut Sheets<'_, '_>, standing: JobStanding, (x, y): (f32, f32), ink: Ink) {
    let r = 5.5;
    match standing {
        JobStanding::DoesNotClose => {
            sheets.mark(Mark::Fill { x: x - r, y: y - r, width: 2.0 * r, height: 2.0 * r, ink });
        }
        JobStanding::Provisional | JobStanding::NotJudged | JobStanding::Empty => {
            let points = vec![(x, y - r * 1.15), (x + r * 1.2, y + r * 0.9), (x - r * 1.2, y + r * 0.9)];
            sheets.mark(Mark::Shape { points, ink });
        }
        JobStanding::Closes => {
            let circle = |radius: f32| {
                let turn = std::f32::consts::TAU / 32.0;
                (0..32)
                    .map(|at| (x + radius * (turn * at as f32).cos(), y + radius * (turn * at as f32).sin()))
                    .collect()
            };
            sheets.mark(Mark::Shape { points: circle(r), ink });
            sheets.mark(Mark::Shape { points: circle(r - 2.0), ink: Ink::Shade });
        }
    }
}

/// What was carried where, how well it closed, may it be used.
fn answers(sheets: &mut Sheets<'_, '_>, report: &Report) {
    let answer = &report.answer;
    sheets.heading("What was carried where", 0, 2.0 * Size::Body.leading());
    if answer.carried.is_empty() {
        sheets.paragraph(Style::BODY, "Nothing yet.");
    }
    for words in &answer.carried {
        sheets.paragraph(Style::BODY, &on_paper(words));
    }
    let rows: Vec<Row> = answer.closed.iter().map(|closed| closed_row(closed, report)).collect();
    let (height, sight) = (report.book.shown.height_unit, report.book.shown.sight_unit);
    if rows.is_empty() {
        sheets.heading("How well it closed", 0, Size::Body.leading());
        sheets.paragraph(Style::BODY, "Nothing has closed yet.");
    } else {
        let columns = [
            column("run", Fit::Numbers),
            column("at", Fit::Words(90.0)),
            column("against", Fit::Rest(1.0)),
            column(&format!("length\n{sight}"), Fit::Numbers),
            column("\nsetups", Fit::Numbers),
            column(&format!("misclosure\n{height}"), Fit::Numbers),
            column(&format!("allowed\n{height}"), Fit::Numbers),
            column("share\n%", Fit::Numbers),
            column("", Fit::Words(80.0)),
        ];
        let table = Table::fit(sheets, &columns, &rows);
        let room = table.beginning(sheets, &rows);
        sheets.heading("How well it closed", 0, room);
        table.set(sheets, &rows);
    }
    let first = answer.reliance.first().map_or("", String::as_str);
    let follows = sheets.faces.wrap(Style::BODY, sheets.width(), first).len() as f32 * Size::Body.leading();
    sheets.heading("May it be used", 0, follows);
    for words in &answer.reliance {
        bullet(sheets, &on_paper(words));
    }
}

/// A sentence with a small square before it.
pub(super) fn bullet(sheets: &mut Sheets<'_, '_>, text: &str) {
    let indent = 9.0;
    let lines = sheets.faces.wrap(Style::BODY, sheets.width() - indent, text).len();
    sheets.need(lines as f32 * Size::Body.leading());
    let y = sheets.y + Size::Body.leading() / 2.0 - 0.6;
    sheets.mark(Mark::Fill { x: LEFT + 1.0, y, width: 2.4, height: 2.4, ink: Ink::Grey });
    sheets.words(LEFT + indent, sheets.width() - indent, Style::BODY, text);
}

fn closed_row(closed: &ClosedRow, report: &Report) -> Row {
    let figure = |figure: &Option<crate::report::document::tree::Figure>| {
        Cell::text(figure.as_ref().map(|figure| on_paper(&figure.shown)).unwrap_or_default())
    };
    let (style, word) = match closed.verdict {
        Closes::Closes => (Style::STRONG.in_ink(Ink::Green), "closes"),
        Closes::DoesNotClose => (Style::STRONG.in_ink(Ink::Vermilion), "does not close"),
        Closes::NotJudged => (Style::STRONG.in_ink(Ink::Orange), "not judged"),
    };
    debug_assert!(report.run.is_none_or(|run| run == closed.run));
    Row::of([
        Cell::text(closed.run.to_string()),
        Cell::text(name_on_paper(&closed.point)),
        Cell::text(on_paper(&closed.against)),
        figure(&closed.length),
        Cell::text(closed.setups.to_string()),
        Cell::text(on_paper(&closed.misclosure.shown)),
        figure(&closed.allowance),
        Cell::text(closed.share.map(|share| share.to_string()).unwrap_or_default()),
        Cell::of(style, word),
    ])
}

/// Every mark with its elevation.
fn results(sheets: &mut Sheets<'_, '_>, report: &Report) {
    let shown = &report.book.shown;
    let (unit, height) = (shown.unit, shown.height_unit);
    let confidence = report.adjustment.figures.as_ref().map(|figures| figures.confidence);
    let columns = [
        column("mark", Fit::Words(120.0)),
        column(&format!("elevation\n{unit}"), Fit::Numbers),
        column(&format!("deviation\n{height}"), Fit::Numbers),
        column(
            &confidence.map_or_else(|| format!("interval\n{height}"), |c| format!("{c} % within\n\u{b1} {height}")),
            Fit::Numbers,
        ),
        column(&format!("observed\n{unit}"), Fit::Numbers),
        column("", Fit::Rest(1.0)),
    ];
    let rows: Vec<Row> = report.results.iter().map(result_row).collect();
    let table = Table::fit(sheets, &columns, &rows);
    let said = results_said(report);
    sheets.part("elevations", doubt(report.answer.standing));
    table.set_under(sheets, "Elevations", 0, &said, &rows);
}

fn results_said(report: &Report) -> String {
    match &report.adjustment.not_adjusted {
        Some(why) => format!("As observed, without uncertainties: {}.", on_paper(why)),
        None => format!(
            "By least squares over all runs of the job. Deviations {}. Readings, weights and tests follow.",
            report.adjustment.figures.as_ref().map_or("", |figures| &figures.sigma)
        ),
    }
}

fn result_row(row: &ResultRow) -> Row {
    let figure = |figure: &Option<crate::report::document::tree::Figure>| {
        Cell::text(figure.as_ref().map(|figure| on_paper(&figure.shown)).unwrap_or_default())
    };
    Row::of([
        Cell::of(Style::STRONG, name_on_paper(&row.point)),
        Cell::of(Style::STRONG, on_paper(&row.elevation.shown)),
        figure(&row.deviation),
        figure(&row.interval),
        figure(&row.observed),
        Cell::of(Style::SMALL, on_paper(&row.remarks.join("; "))),
    ])
}

/// Who answers for it, at the foot of the first page.
fn signatures(sheets: &mut Sheets<'_, '_>) {
    let top = sheets.paper.height() - BOTTOM - SIGNATURES;
    let (gap, width) = (16.0, sheets.width());
    let wide = (width - 2.0 * gap) / 3.0;
    for (at, who) in (0u8..).zip(["observed and booked", "checked", "answers for it: licensed surveyor or engineer"]) {
        let x = LEFT + f32::from(at) * (wide + gap);
        sheets.y = top;
        sheets.set(x, Style::SMALL.in_ink(Ink::Black), who);
        for (line, what) in [(34.0, "name"), (62.0, "signature, date")] {
            let y = top + line;
            sheets.mark(Mark::Line { from: (x, y), to: (x + wide, y), width: 0.5, ink: Ink::Grey });
            sheets.y = y;
            sheets.set(x, Style::SMALL, what);
        }
    }
    sheets.y = super::ink::TOP;
}

/// What the job is.
fn job(sheets: &mut Sheets<'_, '_>, report: &Report) {
    let (book, record) = (&report.book, &report.record);
    let clock = |at: &str| at.get(..19).unwrap_or(at).replace('T', " ");
    let mut facts: Vec<(&str, String)> = vec![
        ("kept", format!("{} to {} UTC, begun with {}", clock(&book.opened_at), clock(&book.last_at), book.program)),
        ("record", format!("{} events; digest of the last, which covers all before it (SHA-256):", record.events)),
        ("", record.digest.clone()),
    ];
    facts.push((
        "",
        record.damage.clone().map_or_else(
            || "every event is as it was kept".to_owned(),
            |damage| format!("NOT AS IT WAS KEPT: {damage}"),
        ),
    ));
    facts.extend(book.listened.iter().map(|row| {
        let digest = row.digest.get(..16).unwrap_or(&row.digest);
        let from = time_words(&book.opened_at, &row.at);
        ("listened", format!("from {from}: {}, format {} ({digest})", row.link, row.format))
    }));
    facts.extend(book.equipment.iter().map(|words| ("instrument", words.clone())));
    let form = match book.shown.form {
        Booking::HeightOfInstrument => "height of instrument",
        Booking::RiseAndFall => "rise and fall",
    };
    facts.push(("booked", format!("by {form}, in {}, observed {}", unit_words(report), book.sequence)));
    if book.corrections.is_empty() {
        facts.push(("corrections", "none: readings are booked as read".to_owned()));
    }
    facts.extend(book.corrections.iter().map(|words| ("corrections", words.clone())));
    facts.extend(book.known.iter().map(|known| {
        let assumed = if known.assumed { ", ASSUMED to have one to start from" } else { "" };
        let given = match known.given.unit == book.shown.unit {
            true => String::new(),
            false => format!(", given as {} {}", known.given.digits, known.given.unit),
        };
        ("known", format!("{}  {} {}{given}{assumed}", known.point, known.elevation.shown, book.shown.unit))
    }));
    facts.push(("rounding", book.shown.rounding.clone()));
    sheets.heading("The job", 0, 4.0 * Size::Body.leading());
    let mut before = "";
    for (what, words) in &facts {
        let lead = if *what == before { "" } else { what };
        fact(sheets, lead, &on_paper(words));
        before = what;
    }
}

/// A fact with its name before it.
pub(super) fn fact(sheets: &mut Sheets<'_, '_>, name: &str, words: &str) {
    let indent = 62.0;
    let lines = sheets.faces.wrap(Style::BODY, sheets.width() - indent, words).len();
    sheets.need(lines.min(3) as f32 * Size::Body.leading());
    sheets.set(LEFT, Style::BODY.in_ink(Ink::Grey), name);
    for line in sheets.faces.wrap(Style::BODY, sheets.width() - indent, words) {
        sheets.need(Size::Body.leading());
        sheets.set(LEFT + indent, Style::BODY, &line);
        sheets.y += Size::Body.leading();
    }
}

fn unit_words(report: &Report) -> String {
    let shown = &report.book.shown;
    let unit = match shown.unit {
        Unit::Metre | Unit::Millimetre => "metres",
        Unit::Foot => "international feet (0.3048 m)",
        Unit::SurveyFoot => "US survey feet (1200/3937 m)",
    };
    let same = shown.job_unit == shown.unit || (!shown.job_unit.is_foot() && !shown.unit.is_foot());
    if same { unit.to_owned() } else { format!("{unit}, turned from a job in {}", shown.job_unit) }
}

/// The limits of the class, and where each comes from.
fn limits(sheets: &mut Sheets<'_, '_>, report: &Report) {
    let class = &report.book.class;
    let row = |limit: &LimitRow| {
        Row::of([
            Cell::text(on_paper(&limit.what)),
            Cell::text(on_paper(&limit.limit)),
            Cell::of(Style::SMALL, on_paper(&limit.basis)),
        ])
    };
    let rows: Vec<Row> = class.limits.iter().map(row).collect();
    let columns = [
        column("limit of", Fit::Words(220.0)),
        column("", Fit::Words(140.0)),
        column("how it is known", Fit::Rest(1.0)),
    ];
    let table = Table::fit(sheets, &columns, &rows);
    let source = format!("{}: {}", class.title, class.source);
    let lines = sheets.faces.wrap(Style::BODY, sheets.width(), &source).len() as f32;
    let room = lines * Size::Body.leading() + table.beginning(sheets, &rows);
    sheets.heading("Class and limits", 0, room);
    sheets.paragraph(Style::BODY, &on_paper(&source));
    if !rows.is_empty() {
        sheets.y += UNIT;
        table.set(sheets, &rows);
    }
}
