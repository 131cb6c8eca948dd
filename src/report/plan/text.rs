//! A plan as text, in eighty columns: what the marks would have, what the runs would show, and what to add.

use super::PlanReport;
use crate::report::network::lines::{count, cut, led};
use crate::report::text::wrap::columns;

/// The widest column of mark names; longer ones are cut.
const NAME_MAX: usize = 16;

/// The document as text.
pub fn print(report: &PlanReport) -> String {
    let blocks = [head(report), extra(report), marks(report), runs(report)];
    let blocks = blocks.into_iter().filter(|block| !block.is_empty()).map(|block| block.join("\n"));
    let mut text = blocks.collect::<Vec<_>>().join("\n\n");
    text.push('\n');
    text
}

fn head(report: &PlanReport) -> Vec<String> {
    let mut lines = led("PLAN", &report.file);
    let counts = format!(
        "{}, {}; {}",
        count(report.marks.len(), "mark", "marks"),
        count(report.runs.len(), "run", "runs"),
        count(report.degrees_of_freedom, "degree of freedom", "degrees of freedom")
    );
    lines.extend(led("", &counts));
    lines.extend(led("weights", &report.weights));
    for (at, remark) in report.remarks.iter().enumerate() {
        lines.extend(led(if at == 0 { "mind" } else { "" }, remark));
    }
    lines
}

fn name_width(report: &PlanReport) -> usize {
    report.marks.iter().map(|mark| columns(&mark.mark)).max().unwrap_or(4).clamp(4, NAME_MAX)
}

fn extra(report: &PlanReport) -> Vec<String> {
    if report.extra.is_empty() {
        return led("ADD", "no extra run would help");
    }
    let (width, unit) = (name_width(report), report.shown.size_unit);
    let mut lines = led("ADD", "runs that would help most, the best first; worst: the largest sd of any mark then");
    lines.push(format!(
        "{:<width$}  {:<width$}  {:>8}  {:>9}  how far",
        "from",
        "to",
        "checks",
        format!("worst {unit}")
    ));
    for row in &report.extra {
        let checks = match row.newly_checked {
            0 => "-".to_owned(),
            1 => "1 mark".to_owned(),
            marks => format!("{marks} marks"),
        };
        let (from, to) = (cut(&row.from, width), cut(&row.to, width));
        let line = format!("{from:<width$}  {to:<width$}  {checks:>8}  {:>9}  {}", row.worst.shown, row.effort);
        lines.push(line.trim_end().to_owned());
    }
    lines
}

fn marks(report: &PlanReport) -> Vec<String> {
    let (width, unit) = (name_width(report), report.shown.size_unit);
    let mut lines = led("MARKS", "detectable: the worst that a mistake in one run, just missed, could do to the mark");
    lines.push(format!(
        "{:<width$}  {:>9}  {:>9}  detectable",
        "mark",
        format!("sd {unit}"),
        format!("{:.0} % {unit}", 100.0 * report.confidence)
    ));
    for mark in &report.marks {
        let held = mark.standing == "held";
        let said = match (held, mark.hangs_on, &mark.detectable, mark.detectable_in) {
            (true, ..) => "held".to_owned(),
            (_, Some(run), ..) => format!("none: unchecked, by run {run}"),
            (_, None, Some(size), Some(run)) => format!("{} {unit}, in run {run}", size.shown),
            _ => String::new(),
        };
        let number = |shown: &String| if held { "-".to_owned() } else { shown.clone() };
        let name = cut(&mark.mark, width);
        let line = format!(
            "{name:<width$}  {:>9}  {:>9}  {said}",
            number(&mark.deviation.shown),
            number(&mark.half_interval.shown)
        );
        lines.push(line.trim_end().to_owned());
    }
    lines
}

fn runs(report: &PlanReport) -> Vec<String> {
    let (width, unit) = (name_width(report), report.shown.size_unit);
    let mut lines = led("RUNS", "detectable: the smallest mistake in the run that would be found");
    lines.push(format!(
        "{:>4}  {:<width$}  {:<width$}  {:>5}  {:>13}  how far",
        "no.",
        "from",
        "to",
        "redun",
        format!("detectable {unit}")
    ));
    for run in &report.runs {
        let detectable = run.detectable.as_ref().map_or("unchecked", |size| size.shown.as_str());
        let (from, to) = (cut(&run.from, width), cut(&run.to, width));
        let line = format!(
            "{:>4}  {from:<width$}  {to:<width$}  {:>5.2}  {detectable:>13}  {}",
            run.number, run.redundancy, run.effort
        );
        lines.push(line.trim_end().to_owned());
    }
    lines
}
