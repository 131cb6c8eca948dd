//! A misclosure shared out along its line, live: corrections at the two ends from the elevations, and between them by
//! length or by setups.

use rust_xlsxwriter::XlsxError;

use super::cells::{Cell, near};
use super::run::Runs;
use super::sheet::{Holds, Sheet, column};
use crate::book::reading::Role;
use crate::report::document::Distribution;
use crate::report::document::tree::{Reached, Section, SectionPoint};

const POINT: u16 = 1;
const MEASURE: u16 = 2;
const OBSERVED: u16 = 3;
const CORRECTION: u16 = 4;
const ADJUSTED: u16 = 5;

/// The table of a section.
pub(super) fn section(runs: &mut Runs<'_>, sheet: &mut Sheet<'_>, section: &Section) -> Result<(), XlsxError> {
    let (unit, height, sight) = (runs.book.unit, runs.book.height_unit, runs.book.sight_unit);
    let title = match &section.to {
        Some(to) => format!("{} to {to}: shared out {}", section.from, section.by.words()),
        None => format!("beyond {}", section.from),
    };
    sheet.heading(&title)?;
    for remark in &section.remarks {
        sheet.line(remark)?;
    }
    let measure = match section.by {
        Distribution::ByLength => format!("from start {sight}"),
        Distribution::BySetups | Distribution::None => "setups from start".to_owned(),
    };
    sheet.heads(&[
        column("setup", 8.0, Holds::Text),
        column("point", 16.0, Holds::Text),
        column(measure, 12.0, Holds::Numbers),
        column(format!("observed {unit}"), 12.0, Holds::Numbers),
        column(format!("correction {height}"), 12.0, Holds::Numbers),
        column(format!("adjusted {unit}"), 12.0, Holds::Numbers),
    ])?;
    let table = Table {
        section,
        first: sheet.row,
        last: sheet.row + section.points.len() as u32 - 1,
        name: sheet_name(runs, section),
    };
    for (index, point) in section.points.iter().enumerate() {
        table.row(runs, sheet, index, point)?;
        sheet.row += 1;
    }
    Ok(())
}

/// A section ends in the run on whose sheet it stands.
fn sheet_name(runs: &Runs<'_>, section: &Section) -> String {
    let run = section.points.last().map_or(0, |point| point.run);
    debug_assert!(runs.report.book.runs.iter().any(|part| part.number == run));
    format!("Run {run}")
}

struct Table<'a> {
    section: &'a Section,
    first: u32,
    last: u32,
    name: String,
}

impl Table<'_> {
    fn row(
        &self,
        runs: &mut Runs<'_>,
        sheet: &mut Sheet<'_>,
        index: usize,
        point: &SectionPoint,
    ) -> Result<(), XlsxError> {
        let (book, styles, row) = (runs.book, runs.styles, sheet.row);
        sheet.text(0, &format!("{}.{}", point.run, point.setup), &styles.text)?;
        sheet.text(POINT, &point.point, &styles.text)?;
        self.measure(runs, sheet, index, point)?;
        match self.observed(runs, index, point) {
            Some(cell) => {
                sheet.formula(OBSERVED, &format!("={}", cell.far()), book.level(&point.observed), &styles.level)?;
            }
            None => sheet.number(OBSERVED, book.level(&point.observed), &styles.level)?,
        }
        let correction = book.height(&point.correction);
        match self.correction(runs, row) {
            Some(formula) => sheet.formula(CORRECTION, &formula, correction, &styles.signed)?,
            None => sheet.number(CORRECTION, correction, &styles.signed)?,
        }
        let formula = format!("={}+{}/{}", near(row, OBSERVED), near(row, CORRECTION), book.heights_in_one());
        sheet.formula(ADJUSTED, &formula, book.level(&point.adjusted), &styles.level)?;
        if point.sight == Some(Role::Intermediate) {
            sheet.text(ADJUSTED + 1, "single, unchecked", &styles.text)?;
        } else {
            let at = Reached { run: point.run, setup: point.setup };
            runs.corrections.insert(at, Cell { sheet: self.name.clone(), row, column: CORRECTION });
        }
        Ok(())
    }

    /// Where the observed elevation of a point stands. A side point that was seen twice from a setup stands there twice.
    fn observed(&self, runs: &Runs<'_>, index: usize, point: &SectionPoint) -> Option<Cell> {
        let at = Reached { run: point.run, setup: point.setup };
        if point.sight != Some(Role::Intermediate) {
            return runs.elevations.get(&at).cloned();
        }
        let same = |other: &&SectionPoint| {
            (other.run, other.setup, other.sight, &other.point) == (point.run, point.setup, point.sight, &point.point)
        };
        let before = self.section.points[..index].iter().filter(same).count();
        let mut sides = runs.sides.get(&at)?.iter().filter(|(name, _)| *name == point.point);
        sides.nth(before).map(|(_, cell)| cell.clone())
    }

    /// Length or setups from the start; the length follows the sight lengths.
    fn measure(
        &self,
        runs: &Runs<'_>,
        sheet: &mut Sheet<'_>,
        index: usize,
        point: &SectionPoint,
    ) -> Result<(), XlsxError> {
        let (Some(length), Distribution::ByLength) = (&point.length, self.section.by) else {
            return sheet.count(MEASURE, point.setups);
        };
        let (result, format) = (runs.book.sight(length), &runs.styles.sight);
        let of_setup = runs.sights.get(&Reached { run: point.run, setup: point.setup });
        // Points seen from one setup, and the two ends of one leg and the next, are equally far.
        let before = |at: &SectionPoint| (at.run, at.setup) != (point.run, point.setup);
        let earlier = self.section.points[..index].iter().rposition(before);
        match (earlier, of_setup, point.sight) {
            (None, ..) => sheet.number(MEASURE, result, format),
            (Some(earlier), _, None) => {
                sheet.formula(MEASURE, &format!("={}", near(self.first + earlier as u32, MEASURE)), result, format)
            }
            (Some(earlier), Some((back, fore)), Some(_)) => {
                let from = near(self.first + earlier as u32, MEASURE);
                sheet.formula(MEASURE, &format!("={from}+{}+{}", back.far(), fore.far()), result, format)
            }
            (Some(_), None, Some(_)) => sheet.number(MEASURE, result, format),
        }
    }

    /// The correction at a row; none where it stands as it came out.
    fn correction(&self, runs: &Runs<'_>, row: u32) -> Option<String> {
        let known = |point: &SectionPoint, row: u32| {
            let known = runs.book.known(&point.point)?.far();
            Some(format!("=({known}-{})*{}", near(row, OBSERVED), runs.book.heights_in_one()))
        };
        let ([start, ..], [.., end]) = (&self.section.points[..], &self.section.points[..]) else { return None };
        let closes_on_known = self.section.to.is_some() && runs.book.known(&end.point).is_some();
        if row == self.first {
            return match (&self.section.to, closes_on_known) {
                // A loop that is tied nowhere else keeps the elevation of its first point.
                (Some(_), false) => None,
                _ => known(start, row).filter(|_| self.section.to.is_some()).or_else(|| inherited(runs, start)),
            };
        }
        let (first, last) = (near(self.first, CORRECTION), near(self.last, CORRECTION));
        if self.section.to.is_none() {
            return Some(format!("={first}"));
        }
        if row == self.last {
            return known(end, row).filter(|_| closes_on_known).or_else(|| {
                let apart = format!("{}-{}", near(self.first, OBSERVED), near(self.last, OBSERVED));
                Some(format!("={first}+({apart})*{}", runs.book.heights_in_one()))
            });
        }
        let measure = near(row, MEASURE);
        let whole = near(self.last, MEASURE);
        Some(format!("={first}+({last}-{first})*{measure}/{whole}"))
    }
}

/// The correction that a line takes over: of the same point, or of where an earlier run carried it from.
fn inherited(runs: &Runs<'_>, start: &SectionPoint) -> Option<String> {
    let at = Reached { run: start.run, setup: start.setup };
    let carried = || {
        let part = runs.report.book.runs.iter().find(|part| part.number == start.run)?;
        part.ties.first()?.as_ref()?.carried_from.filter(|_| start.setup == 0)
    };
    let here = runs.corrections.get(&at);
    let cell = here.or_else(|| runs.corrections.get(&carried()?))?;
    Some(format!("={}", cell.far()))
}
