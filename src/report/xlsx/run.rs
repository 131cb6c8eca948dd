//! A run as a sheet: the page of the field book, its page checks, what closed, and the sharing out, all of it live.
//!
//! One row a line of the book, so that the row of any line is known before it is written: an elevation may rest on a known
//! point that the run meets further down.

use std::collections::HashMap;

use rust_xlsxwriter::{Format, Worksheet, XlsxError};

use super::cells::{Book, Cell, near, range};
use super::inputs::{BOOKED, SIGHT};
use super::section;
use super::sheet::{Column, Holds, Sheet, Styles, column};
use crate::book::reading::Role;
use crate::book::settings::Booking;
use crate::report::document::full::Report;
use crate::report::document::tree::{ClosureRow, Figure, Line, PageCheck, Reached, RunPart, Sight, Tie, TieOrigin};

/// Where the columns of the page stand.
#[derive(Clone, Copy)]
pub(super) struct Columns {
    /// Height of instrument; or rise, with fall behind it.
    middle: u16,
    pub(super) elevation: u16,
    pub(super) back_sight: u16,
    pub(super) fore_sight: u16,
    balance: u16,
    remarks: u16,
}

const SETUP: u16 = 0;
const POINT: u16 = 1;
const BACK: u16 = 2;
const INTER: u16 = 3;
const FORE: u16 = 4;

impl Columns {
    fn of(form: Booking) -> Self {
        let middle = FORE + 1;
        let elevation = match form {
            Booking::HeightOfInstrument => middle + 1,
            Booking::RiseAndFall => middle + 2,
        };
        Columns {
            middle,
            elevation,
            back_sight: elevation + 1,
            fore_sight: elevation + 2,
            balance: elevation + 3,
            remarks: elevation + 4,
        }
    }
}

/// The sheets of all runs, and what those written so far have where.
pub(super) struct Runs<'a> {
    pub(super) report: &'a Report,
    pub(super) book: &'a Book<'a>,
    pub(super) styles: &'a Styles,
    pub(super) columns: Columns,
    /// Elevations at the starts of runs and at the fore points of setups.
    pub(super) elevations: HashMap<Reached, Cell>,
    /// Corrections there, once shared out.
    pub(super) corrections: HashMap<Reached, Cell>,
    /// Sight lengths of setups, to the back and to the fore staff.
    pub(super) sights: HashMap<Reached, (Cell, Cell)>,
    /// Elevations by intermediate sights, by the setup.
    pub(super) sides: HashMap<Reached, Vec<(String, Cell)>>,
}

/// Where the lines of a run stand on its sheet.
struct Places {
    sheet: String,
    /// The row of the first line.
    first: u32,
    fores: HashMap<u32, u32>,
    backs: HashMap<u32, u32>,
}

impl<'a> Runs<'a> {
    pub(super) fn new(report: &'a Report, book: &'a Book<'a>, styles: &'a Styles) -> Self {
        Runs {
            report,
            book,
            styles,
            columns: Columns::of(report.book.shown.form),
            elevations: HashMap::new(),
            corrections: HashMap::new(),
            sights: HashMap::new(),
            sides: HashMap::new(),
        }
    }

    /// The sheet of a run.
    pub(super) fn sheet(&mut self, run: &RunPart) -> Result<Worksheet, XlsxError> {
        let name = format!("Run {}", run.number);
        let mut sheet = Sheet::new(&name, &format!("Run {}: {} to {}", run.number, run.from, run.to), self.styles)?;
        sheet.line(&run.standing_words)?;
        for datum in &run.datums {
            sheet.line(datum)?;
        }
        sheet.row += 1;
        sheet.standing_heads(&self.heads())?;
        let places = Places::of(name, sheet.row, run);
        self.remember(run, &places);
        Page { runs: self, run, places: &places, open: None }.lines(&mut sheet)?;
        for check in &run.page_checks {
            self.page_check(&mut sheet, check, &places)?;
        }
        self.closures(&mut sheet, run)?;
        for part in &run.sections {
            section::section(self, &mut sheet, part)?;
        }
        Ok(sheet.done())
    }

    fn heads(&self) -> Vec<Column> {
        let (unit, sight) = (self.book.unit, self.book.sight_unit);
        let number = |head: String| column(head, 12.0, Holds::Numbers);
        let mut heads = vec![
            column("setup", 8.0, Holds::Numbers),
            column("point", 16.0, Holds::Text),
            number(format!("back {unit}")),
            number(format!("inter {unit}")),
            number(format!("fore {unit}")),
        ];
        match self.report.book.shown.form {
            Booking::HeightOfInstrument => heads.push(number(format!("height of instrument {unit}"))),
            Booking::RiseAndFall => heads.extend([number(format!("rise {unit}")), number(format!("fall {unit}"))]),
        }
        heads.extend([
            number(format!("elevation {unit}")),
            column(format!("sight back {sight}"), 10.0, Holds::Numbers),
            column(format!("sight fore {sight}"), 10.0, Holds::Numbers),
            column(format!("balance {sight}"), 10.0, Holds::Numbers),
            column("remarks", 50.0, Holds::Text),
        ]);
        heads
    }

    fn remember(&mut self, run: &RunPart, places: &Places) {
        let cell = |row, column| Cell { sheet: places.sheet.clone(), row, column };
        let at = |setup| Reached { run: run.number, setup };
        self.elevations.insert(at(0), cell(places.first, self.columns.elevation));
        for (&setup, &row) in &places.fores {
            self.elevations.insert(at(setup), cell(row, self.columns.elevation));
            if let Some(&back) = places.backs.get(&setup) {
                let sights = (cell(back, self.columns.back_sight), cell(row, self.columns.fore_sight));
                self.sights.insert(at(setup), sights);
            }
        }
        for (line, row) in run.lines.iter().zip(places.first..) {
            if let (Some(sight), Some(point), Some(_)) = (&line.intermediate, &line.point, &line.elevation) {
                let side = (point.clone(), cell(row, self.columns.elevation));
                self.sides.entry(at(sight.setup)).or_default().push(side);
            }
        }
    }

    /// Sums under the page, and the equality that they must come to.
    fn page_check(&self, sheet: &mut Sheet<'_>, check: &PageCheck, places: &Places) -> Result<(), XlsxError> {
        let (first, last) = (places.first + check.first_line - 1, places.first + check.last_line - 1);
        let (styles, book, columns) = (self.styles, self.book, self.columns);
        sheet.row += 1;
        sheet.text(POINT, &format!("page check, {} to {}", check.from, check.to), &styles.strong)?;
        sheet.row += 1;
        let sums = sheet.row;
        sheet.text(POINT, "sums", &styles.text)?;
        // A backsight on the last line begins the next stretch, and a foresight on the first ends the one before.
        let backs = format!("=SUM({})", range(BACK, first, last - 1));
        sheet.formula(BACK, &backs, book.level(&check.sum_backsights), &styles.level_sum)?;
        let fores = format!("=SUM({})", range(FORE, first + 1, last));
        sheet.formula(FORE, &fores, book.level(&check.sum_foresights), &styles.level_sum)?;
        let rise_and_fall = self.report.book.shown.form == Booking::RiseAndFall;
        if rise_and_fall {
            for (column, figure) in [(columns.middle, &check.sum_rises), (columns.middle + 1, &check.sum_falls)] {
                let sum = format!("=SUM({})", range(column, first + 1, last));
                sheet.formula(column, &sum, book.level(figure), &styles.level_sum)?;
            }
        }
        if let Some(figure) = &check.sum_back_sights {
            let sum = format!("=SUM({})", range(columns.back_sight, first, last - 1));
            sheet.formula(columns.back_sight, &sum, book.sight(figure), &styles.sight_sum)?;
        }
        if let Some(figure) = &check.sum_fore_sights {
            // The column holds lengths of intermediate sights too: those of foresights stand beside one.
            let (fores, lengths) = (range(FORE, first + 1, last), range(columns.fore_sight, first + 1, last));
            let sum = format!("=SUMIF({fores},\"<>\",{lengths})");
            sheet.formula(columns.fore_sight, &sum, book.sight(figure), &styles.sight_sum)?;
        }
        sheet.row += 1;
        let mut terms: Vec<(&str, String, &Figure)> = vec![(
            "sum of backsights less sum of foresights",
            format!("={}-{}", near(sums, BACK), near(sums, FORE)),
            &check.backsights_less_foresights,
        )];
        if rise_and_fall {
            let formula = format!("={}-{}", near(sums, columns.middle), near(sums, columns.middle + 1));
            terms.push(("sum of rises less sum of falls", formula, &check.rises_less_falls));
        }
        if let Some(climb) = &check.last_less_first {
            let formula = format!("={}-{}", near(last, columns.elevation), near(first, columns.elevation));
            terms.push(("last less first elevation", formula, climb));
        }
        let results = sheet.row;
        for (what, formula, figure) in &terms {
            sheet.text(POINT, what, &styles.text)?;
            sheet.formula(FORE, formula, book.level(figure), &styles.level)?;
            sheet.row += 1;
        }
        // Floats carry a reading to fifteen digits; what differs by less than the ninth decimal is equal.
        let equal: Vec<String> = (results + 1..sheet.row)
            .map(|row| format!("ABS({}-{})<0.000000001", near(results, FORE), near(row, FORE)))
            .collect();
        if !equal.is_empty() {
            sheet.text(POINT, "all equal", &styles.text)?;
            let formula = format!("=IF(AND({}),\"holds\",\"DOES NOT HOLD\")", equal.join(","));
            sheet.formula_text(FORE, &formula, if check.holds { "holds" } else { "DOES NOT HOLD" })?;
            sheet.row += 1;
        }
        Ok(())
    }

    fn closures(&self, sheet: &mut Sheet<'_>, run: &RunPart) -> Result<(), XlsxError> {
        if run.closures.is_empty() {
            return Ok(());
        }
        sheet.heading("Closures: observed less known, or later less earlier")?;
        let height = self.book.height_unit;
        sheet.heads(&[
            column("setup", 8.0, Holds::Numbers),
            column("point", 16.0, Holds::Text),
            column(format!("misclosure {height}"), 12.0, Holds::Numbers),
            column(format!("allowance {height}"), 12.0, Holds::Numbers),
            column("share", 12.0, Holds::Numbers),
            column("verdict", 12.0, Holds::Text),
            column("against", 12.0, Holds::Text),
            column("", 12.0, Holds::Text),
            column("", 12.0, Holds::Text),
            column("setups", 10.0, Holds::Numbers),
            column("allowed by", 50.0, Holds::Text),
        ])?;
        for closure in &run.closures {
            self.closure(sheet, run, closure)?;
        }
        Ok(())
    }

    fn closure(&self, sheet: &mut Sheet<'_>, run: &RunPart, closure: &ClosureRow) -> Result<(), XlsxError> {
        let (book, styles) = (self.book, self.styles);
        sheet.count(0, closure.setup)?;
        sheet.text(1, &closure.point, &styles.text)?;
        let misclosure = book.height(&closure.misclosure);
        let here = self.elevations.get(&Reached { run: run.number, setup: closure.setup });
        let there = match closure.earlier {
            Some(earlier) => self.elevations.get(&earlier).cloned(),
            None => book.known(&closure.point),
        };
        // A run that is tied to nothing closes on itself without an elevation; there the misclosure stands as it came out.
        let tied = run.ties.iter().any(Option::is_some);
        match here.zip(there).filter(|_| tied) {
            Some((here, there)) => {
                let formula = format!("=({}-{})*{}", here.far(), there.far(), book.heights_in_one());
                sheet.formula(2, &formula, misclosure, &styles.signed)?;
            }
            None => sheet.number(2, misclosure, &styles.signed)?,
        }
        if let Some(allowance) = &closure.allowance {
            sheet.number(3, book.height(allowance), &styles.height)?;
            let (m, a) = (near(sheet.row, 2), near(sheet.row, 3));
            let share = 100.0 * misclosure.abs() / book.height(allowance);
            sheet.formula(4, &format!("=100*ABS({m})/{a}"), share, &styles.percent)?;
            let formula = format!("=IF(ABS({m})<={a}+0.0000001,\"closes\",\"does not close\")");
            sheet.formula_text(5, &formula, closure.verdict.words())?;
        } else {
            sheet.text(5, closure.verdict.words(), &styles.text)?;
        }
        sheet.text(6, &closure.against, &styles.text)?;
        sheet.count(9, closure.setups)?;
        sheet.wrapped(10, closure.allowance_words.as_deref().unwrap_or(""))?;
        sheet.row += 1;
        Ok(())
    }
}

impl Places {
    fn of(sheet: String, first: u32, run: &RunPart) -> Self {
        let mut places = Places { sheet, first, fores: HashMap::new(), backs: HashMap::new() };
        for (line, row) in run.lines.iter().zip(first..) {
            if let Some(sight) = &line.foresight {
                places.fores.insert(sight.setup, row);
            }
            if let Some(sight) = &line.backsight {
                places.backs.insert(sight.setup, row);
            }
        }
        places
    }
}

/// The page being written.
struct Page<'a> {
    runs: &'a Runs<'a>,
    run: &'a RunPart,
    places: &'a Places,
    open: Option<Open>,
}

/// A setup whose foresight is still to come: the row of its backsight, and the cell of the sight before.
struct Open {
    back: u32,
    before: (u32, u16),
}

impl Page<'_> {
    fn lines(mut self, sheet: &mut Sheet<'_>) -> Result<(), XlsxError> {
        for line in &self.run.lines {
            self.line(sheet, line)?;
            sheet.row += 1;
        }
        Ok(())
    }

    fn line(&mut self, sheet: &mut Sheet<'_>, line: &Line) -> Result<(), XlsxError> {
        let styles = self.runs.styles;
        let columns = self.runs.columns;
        if let Some(sight) = line.backsight.as_ref().or(line.intermediate.as_ref()) {
            sheet.count(SETUP, sight.setup)?;
        }
        sheet.text(POINT, line.point.as_deref().unwrap_or(""), &styles.text)?;
        let mut carried = false;
        if let Some(sight) = &line.foresight {
            let open = self.open.take();
            if self.sight(sheet, sight, Role::Fore)? {
                carried = self.seen(sheet, line, open.as_ref(), FORE)?;
                self.balance(sheet, sight)?;
            }
        }
        if let Some(sight) = &line.intermediate
            && self.sight(sheet, sight, Role::Intermediate)?
        {
            let row = sheet.row;
            let open = self.open.take();
            carried = self.seen(sheet, line, open.as_ref(), INTER)?;
            self.open = open.map(|open| Open { before: (row, INTER), ..open });
        }
        if let (Some(elevation), false) = (&line.elevation, carried) {
            let tie = self.run.ties.get((line.tie as usize).wrapping_sub(1)).and_then(Option::as_ref);
            let value = self.runs.book.level(elevation);
            match tie.and_then(|tie| self.tied(tie, sheet.row)) {
                Some(formula) => sheet.formula(columns.elevation, &formula, value, &styles.level)?,
                None => sheet.number(columns.elevation, value, &styles.level)?,
            }
        }
        if let Some(sight) = &line.backsight
            && self.sight(sheet, sight, Role::Back)?
        {
            self.open = Some(Open { back: sheet.row, before: (sheet.row, BACK) });
            if let Some(height) = line.height_of_instrument.as_ref().filter(|_| self.by_instrument()) {
                let formula = format!("={}+{}", near(sheet.row, columns.elevation), near(sheet.row, BACK));
                sheet.formula(columns.middle, &formula, self.runs.book.level(height), &styles.level)?;
            }
        }
        sheet.wrapped(columns.remarks, &remarks(self.runs.report, line).join("; "))
    }

    fn by_instrument(&self) -> bool {
        self.runs.report.book.shown.form == Booking::HeightOfInstrument
    }

    /// A sight: the mean of its shots that count, and of their lengths. Gives whether it is booked with anything.
    fn sight(&self, sheet: &mut Sheet<'_>, sight: &Sight, role: Role) -> Result<bool, XlsxError> {
        let (runs, styles) = (self.runs, self.runs.styles);
        let (column, length_column) = match role {
            Role::Back => (BACK, runs.columns.back_sight),
            Role::Intermediate => (INTER, runs.columns.fore_sight),
            Role::Fore => (FORE, runs.columns.fore_sight),
        };
        let reading = |number: &u32| runs.report.book.readings.get((*number as usize).wrapping_sub(1));
        let counted = || sight.shots.iter().filter(|number| reading(number).is_some_and(|row| row.state.counts()));
        if let Some(length) = &sight.sight_length {
            let with_length = counted().filter(|number| reading(number).is_some_and(|row| row.sight_length.is_some()));
            self.mean(sheet, length_column, with_length, SIGHT, runs.book.sight(length), &styles.sight)?;
        }
        let Some(booked) = &sight.booked else { return Ok(false) };
        self.mean(sheet, column, counted(), BOOKED, runs.book.level(booked), &styles.level)?;
        Ok(true)
    }

    fn mean<'n>(
        &self,
        sheet: &mut Sheet<'_>,
        column: u16,
        readings: impl Iterator<Item = &'n u32>,
        of: u16,
        result: f64,
        format: &Format,
    ) -> Result<(), XlsxError> {
        let cells: Vec<String> =
            readings.filter_map(|number| Some(self.runs.book.reading(*number, of)?.far())).collect();
        let formula = match &cells[..] {
            [] => return sheet.number(column, result, format),
            [one] => format!("={one}"),
            several => format!("=AVERAGE({})", several.join(",")),
        };
        sheet.formula(column, &formula, result, format)
    }

    /// Rise or fall, and elevation, of a point just seen. Gives whether its elevation was carried to it.
    fn seen(&self, sheet: &mut Sheet<'_>, line: &Line, open: Option<&Open>, column: u16) -> Result<bool, XlsxError> {
        let Some(open) = open else { return Ok(false) };
        let (columns, styles, book) = (self.runs.columns, self.runs.styles, self.runs.book);
        let (row, value) = (sheet.row, |figure: &Figure| book.level(figure));
        let (before, now) = (near(open.before.0, open.before.1), near(row, column));
        if !self.by_instrument() {
            let (rise, fall) = (line.rise.as_ref().map_or(0.0, value), line.fall.as_ref().map_or(0.0, value));
            sheet.formula(columns.middle, &format!("=MAX({before}-{now},0)"), rise, &styles.level)?;
            sheet.formula(columns.middle + 1, &format!("=MAX({now}-{before},0)"), fall, &styles.level)?;
        }
        let Some(elevation) = &line.elevation else { return Ok(false) };
        let formula = if self.by_instrument() {
            format!("={}-{now}", near(open.back, columns.middle))
        } else {
            // The sight before stands on its own row, with the elevation that it gave.
            let (rise, fall) = (near(row, columns.middle), near(row, columns.middle + 1));
            format!("={}+{rise}-{fall}", near(open.before.0, columns.elevation))
        };
        sheet.formula(columns.elevation, &formula, value(elevation), &styles.level)?;
        Ok(true)
    }

    /// Back less fore sight length, on the line of the foresight.
    fn balance(&self, sheet: &mut Sheet<'_>, sight: &Sight) -> Result<(), XlsxError> {
        let (columns, book) = (self.runs.columns, self.runs.book);
        let back = self.places.backs.get(&sight.setup);
        let back_line = back.and_then(|row| self.run.lines.get((row - self.places.first) as usize));
        let back_length = back_line.and_then(|line| line.backsight.as_ref()?.sight_length.as_ref());
        let (Some(row), Some(back), Some(fore)) = (back, back_length, &sight.sight_length) else { return Ok(()) };
        let formula = format!("={}-{}", near(*row, columns.back_sight), near(sheet.row, columns.fore_sight));
        let result = book.sight(back) - book.sight(fore);
        sheet.formula(columns.balance, &formula, result, &self.runs.styles.sight_signed)
    }

    /// The elevation on which heights that hang together rest, at the row where they begin.
    fn tied(&self, tie: &Tie, row: u32) -> Option<String> {
        if tie.origin == TieOrigin::Carried {
            return Some(format!("={}", self.runs.elevations.get(&tie.carried_from?)?.far()));
        }
        let known = self.runs.book.known(&tie.point)?.far();
        let met = (tie.setup > 0).then(|| self.met(tie)).flatten().filter(|(met, _)| *met > row);
        let Some((met, inter)) = met else { return Some(format!("={known}")) };
        // Back from where the known point was met: less what was climbed on the way.
        let backs = format!("SUM({})", range(BACK, row, met - 1));
        let fores = format!("SUM({})", range(FORE, row + 1, met));
        let side = inter.map(|column| format!("-{}", near(met, column))).unwrap_or_default();
        Some(format!("={known}-({backs}-{fores}{side})"))
    }

    /// The row on which a known point was met, and the column of its reading if that is an intermediate sight.
    fn met(&self, tie: &Tie) -> Option<(u32, Option<u16>)> {
        let is_it = |line: &&Line| line.point.as_deref() == Some(tie.point.as_str());
        let fore = self.places.fores.get(&tie.setup).copied();
        let on_fore =
            fore.filter(|row| self.run.lines.get((row - self.places.first) as usize).as_ref().is_some_and(is_it));
        if let Some(row) = on_fore {
            return Some((row, None));
        }
        let sides = self.run.lines.iter().zip(self.places.first..);
        let mut met =
            sides.filter(|(line, _)| line.intermediate.as_ref().is_some_and(|sight| sight.setup == tie.setup));
        met.find(|(line, _)| is_it(line)).map(|(_, row)| (row, Some(INTER)))
    }
}

/// What is said of a line, of its shots that stand on the sheet of readings only too.
fn remarks(report: &Report, line: &Line) -> Vec<String> {
    let mut remarks = line.remarks.clone();
    let sights = [&line.foresight, &line.intermediate, &line.backsight];
    for (sight, role) in sights.into_iter().zip(["fore", "inter", "back"]) {
        let Some(sight) = sight else { continue };
        if sight.counted > 1 {
            remarks.push(format!("{role} mean of {}", sight.counted));
        }
        let of_shots =
            sight.shots.iter().filter_map(|number| report.book.readings.get((*number as usize).wrapping_sub(1)));
        remarks.extend(
            of_shots.flat_map(|reading| {
                reading.remarks.iter().map(move |remark| format!("no. {}: {remark}", reading.number))
            }),
        );
    }
    remarks
}
