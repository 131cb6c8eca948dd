//! The adjusted network as text, in eighty columns: how well it fits first, then elevations, then what they rest on.

use super::lines::{count, cut, led};
use super::{Doubt, MarkRow, NetworkReport, SectionRow, SigmaName};
use crate::report::text::wrap::{columns, visible};

/// The widest column of mark names; longer ones are cut.
const NAME_MAX: usize = 16;

/// The document as text.
pub fn print(report: &NetworkReport) -> String {
    let mut blocks = vec![head(report)];
    blocks.extend(doubts(report));
    blocks.push(known(report));
    blocks.push(marks(report));
    blocks.push(sections(report));
    blocks.push(tests(report));
    blocks.extend(aside(report));
    blocks.push(remarks(report));
    let mut text = blocks.into_iter().map(|block| block.join("\n")).collect::<Vec<_>>().join("\n\n");
    text.push('\n');
    text
}

fn head(report: &NetworkReport) -> Vec<String> {
    let mut lines = led("NETWORK", &report.files.join(", "));
    if report.simulated {
        lines.extend(led("SIMULATED", "a simulated instrument was heard; nothing here was measured"));
    }
    let last = report.held.as_ref().unwrap_or(&report.free);
    let counts = format!(
        "{}, {} of them known; {}; {}",
        count(report.marks.len(), "mark", "marks"),
        report.known.iter().filter(|known| known.used).count(),
        count(report.sections.len(), "section", "sections"),
        count(last.degrees_of_freedom, "degree of freedom", "degrees of freedom")
    );
    lines.extend(led("", &counts));
    lines.extend(led("weights", &report.weights));
    for summary in [Some(&report.free), report.held.as_ref()].into_iter().flatten() {
        let (word, says) = summary.words.split_once(": ").unwrap_or(("", &summary.words));
        lines.extend(led(word, says));
    }
    let sigma = match report.sigma {
        SigmaName::APriori => "a-priori sigma, 1: as the weights state".to_owned(),
        SigmaName::APosteriori => format!("a-posteriori sigma, {:.3}: as the residuals turned out", report.sigma_value),
    };
    lines.extend(led(
        "deviations",
        &format!("with the {sigma}; intervals hold the truth in {:.0} %", 100.0 * report.confidence),
    ));
    lines
}

fn doubts(report: &NetworkReport) -> Option<Vec<String>> {
    let said = |doubt: &Doubt| {
        let mut lines = led("DOUBT", &doubt.words);
        lines.extend(led(
            "",
            &format!("to take it out and adjust anew, if the field book bears it out: {}", doubt.to_take_out),
        ));
        lines
    };
    (!report.doubts.is_empty()).then(|| report.doubts.iter().flat_map(said).collect())
}

fn known(report: &NetworkReport) -> Vec<String> {
    let unit = report.shown.unit;
    let mut lines = Vec::new();
    for known in &report.known {
        let hold = match &known.deviation {
            None => String::new(),
            Some(deviation) => format!(" +- {} {}", deviation.shown, report.shown.size_unit),
        };
        let text = format!("{} {} {unit}{hold}: {}", visible(&known.mark), known.elevation.shown, known.words);
        lines.extend(led(if lines.is_empty() { "KNOWN" } else { "" }, &text));
    }
    lines
}

fn marks(report: &NetworkReport) -> Vec<String> {
    let shown = &report.shown;
    let width = name_width(report.marks.iter().map(|mark| &mark.mark));
    let interval = format!("{:.0} % {}", 100.0 * report.confidence, shown.size_unit);
    let mut lines = led("ELEVATIONS", "may be off by: the worst that a mistake just missed by the tests could do");
    lines.push(format!(
        "{:<width$}  {:>13}  {:>8}  {interval:>9}  may be off by",
        "mark",
        format!("elevation {}", shown.unit),
        format!("sd {}", shown.size_unit)
    ));
    for mark in &report.marks {
        let (deviation, half) = match mark.standing {
            "held" => ("-".to_owned(), "-".to_owned()),
            _ => (mark.deviation.shown.clone(), mark.half_interval.shown.clone()),
        };
        let name = cut(&mark.mark, width);
        let said = said_of(mark, shown.size_unit.symbol());
        lines.push(
            format!("{name:<width$}  {:>13}  {deviation:>8}  {half:>9}  {said}", mark.elevation.shown)
                .trim_end()
                .to_owned(),
        );
    }
    lines
}

fn said_of(mark: &MarkRow, unit: &str) -> String {
    match (mark.standing, mark.hangs_on, &mark.exposure) {
        ("held", ..) => "held".to_owned(),
        (_, Some(section), _) => format!("any size: unchecked, by section {section}"),
        (_, None, Some(exposure)) => format!("{} {unit}, by section {}", exposure.by.shown, exposure.section),
        (_, None, None) => String::new(),
    }
}

fn sections(report: &NetworkReport) -> Vec<String> {
    let shown = &report.shown;
    let width = ends_width(report);
    let mut lines = led("SECTIONS", "residuals: adjusted less observed; deviations: of the adjusted rise");
    lines.push(format!(
        "{:>4}  {:<width$}  {:>11}  {:>11}  {:>9}  {:>8}  {:>8}",
        "no.",
        "section",
        format!("observed {}", shown.unit),
        format!("adjusted {}", shown.unit),
        format!("resid. {}", shown.size_unit),
        format!("sd {}", shown.size_unit),
        format!("{:.0} %", 100.0 * report.confidence)
    ));
    for row in &report.sections {
        lines.push(format!(
            "{:>4}  {:<width$}  {:>11}  {:>11}  {:>9}  {:>8}  {:>8}",
            row.number,
            ends(row, width),
            row.observed.shown,
            row.adjusted.shown,
            row.residual.shown,
            row.deviation.shown,
            row.half_interval.shown
        ));
    }
    for row in report.sections.iter().filter(|row| row.activity.is_some()) {
        let stated =
            row.stated.as_ref().map(|size| format!(", with its own deviation of {} {}", size.shown, shown.size_unit));
        let came = row.came.as_deref().unwrap_or_default();
        lines.extend(led("", &format!("section {}: {came}{}", row.number, stated.unwrap_or_default())));
    }
    lines
}

fn tests(report: &NetworkReport) -> Vec<String> {
    let last = report.held.as_ref().unwrap_or(&report.free);
    let width = ends_width(report);
    let unit = report.shown.size_unit;
    let tau = last.critical_tau.map_or_else(String::new, |tau| format!(", |tau| over {tau:.2}"));
    let about = format!("doubtful: |w| over {:.2} (a-priori sigma){tau} (a-posteriori)", last.critical_w);
    let about = if last.critical_tau.is_some() { about } else { about.trim_end_matches(" (a-posteriori)").to_owned() };
    let mut lines = led("TESTS", &about);
    lines.push(format!(
        "{:>4}  {:<width$}  {:>5}  {:>6}  {:>6}  {:>13}  moves",
        "no.",
        "section",
        "redun",
        "w",
        "tau",
        format!("detectable {unit}")
    ));
    for row in &report.sections {
        let number = |value: Option<f64>| value.map_or("-".to_owned(), |value| format!("{value:.2}"));
        let moves = match (&row.moves, &row.moves_by) {
            (Some(mark), Some(by)) => format!("{} by {}", cut(mark, NAME_MAX), by.shown),
            _ => "unchecked".to_owned(),
        };
        lines.push(format!(
            "{:>4}  {:<width$}  {:>5.2}  {:>6}  {:>6}  {:>13}  {moves}",
            row.number,
            ends(row, width),
            row.redundancy,
            number(row.w),
            number(row.tau),
            row.detectable.as_ref().map_or("-", |size| size.shown.as_str()),
        ));
    }
    lines
}

fn aside(report: &NetworkReport) -> Option<Vec<String>> {
    let mut lines = Vec::new();
    for row in &report.set_aside {
        let number = row.number.map(|number| format!("section {number}, ")).unwrap_or_default();
        let text = format!(
            "{number}{} to {}, {} {}: a person took it out, and it is not adjusted",
            visible(&row.from),
            visible(&row.to),
            row.observed.shown,
            report.shown.unit
        );
        lines.extend(led(if lines.is_empty() { "SET ASIDE" } else { "" }, &text));
    }
    (!lines.is_empty()).then_some(lines)
}

fn remarks(report: &NetworkReport) -> Vec<String> {
    let detectable = format!(
        "detectable: the smallest mistake that the test of |w| finds in {:.0} of 100 cases, refusing {} of 1000 good sections",
        100.0 * report.levels.power,
        1000.0 * report.levels.single
    );
    let mut lines = Vec::new();
    for text in report.remarks.iter().chain([&detectable]) {
        lines.extend(led(if lines.is_empty() { "MIND" } else { "" }, text));
    }
    lines
}

fn name_width<'a>(names: impl Iterator<Item = &'a String>) -> usize {
    names.map(|name| columns(name)).max().unwrap_or(4).clamp(4, NAME_MAX)
}

/// Room for both ends of a section, what is left by the numbers.
fn ends_width(report: &NetworkReport) -> usize {
    const MOST: usize = 21;
    let ends = |row: &SectionRow| columns(&row.from) + columns(BETWEEN) + columns(&row.to);
    report.sections.iter().map(ends).max().unwrap_or(7).clamp(7, MOST)
}

/// What stands between the two ends of a section.
const BETWEEN: &str = " to ";

/// The ends of a section, each cut to half of the room where both do not fit.
fn ends(row: &SectionRow, width: usize) -> String {
    let (from, to) = (columns(&row.from), columns(&row.to));
    let room = width - columns(BETWEEN);
    let half = room / 2;
    let (from, to) = match from + to <= room {
        true => (from, to),
        false if from <= half => (from, room - from),
        false if to <= room - half => (room - to, to),
        false => (half, room - half),
    };
    format!("{}{BETWEEN}{}", cut(&row.from, from), cut(&row.to, to))
}
