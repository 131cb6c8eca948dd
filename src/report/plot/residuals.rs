//! Residuals of an adjustment over their standard deviations, line by line, against what is taken for chance.

use super::axis::Scale;
use super::canvas::{Anchor, Canvas, Job, LETTER};
use super::{Plot, WIDTHS};
use crate::report::document::full::tree::{AdjustedFigures, AdjustedLine};

const HEIGHT: u32 = 200;
/// Beyond so many lines bars would be thinner than a pixel on paper: the largest of neighbours is drawn for them.
const BARS_MAX: usize = 300;

/// The residuals; `None` where nothing checks any line.
pub fn residuals(figures: &AdjustedFigures, width: u32) -> Option<Plot> {
    let tested: Vec<(usize, &AdjustedLine, f64)> =
        figures.lines.iter().enumerate().filter_map(|(at, line)| Some((at + 1, line, line.w?))).collect();
    // Of equal ones the first: on one line of marks all are equal, and differ by rounding only.
    let largest =
        *tested.iter().reduce(|held, next| if next.2.abs() > held.2.abs() * (1.0 + 1e-6) { next } else { held })?;
    let width = width.clamp(*WIDTHS.start(), *WIDTHS.end());
    let critical = figures.critical_w;
    let most = tested.iter().map(|(.., w)| w.abs()).fold(critical, f64::max) * 1.15;
    let (left, right, top, bottom) = (52.0, f64::from(width) - 16.0, 28.0, f64::from(HEIGHT) - 40.0);
    let y = Scale::new((-most, most), (bottom, top));
    let mut canvas = Canvas::new(width, HEIGHT);
    let (up, down) = (y.at(critical), y.at(-critical));
    canvas.area(Job::Allowed, &[(left, up), (right, up), (right, down), (left, down)]);
    let ticks = y.ticks(4);
    for tick in &ticks.values {
        let job = if *tick == 0.0 { Job::Axis } else { Job::Grid };
        canvas.line(job, (left, y.at(*tick)), (right, y.at(*tick)));
        canvas.text((left - 6.0, y.at(*tick) + LETTER / 3.0), Anchor::End, &ticks.text(*tick));
    }
    canvas.line(Job::Limit, (left, up), (right, up));
    canvas.line(Job::Limit, (left, down), (right, down));

    let group = tested.len().div_ceil(BARS_MAX);
    let bars: Vec<_> =
        tested.chunks(group).filter_map(|lines| lines.iter().max_by(|a, b| a.2.abs().total_cmp(&b.2.abs()))).collect();
    let x = Scale::new((0.0, bars.len() as f64), (left, right));
    let wide = ((right - left) / bars.len() as f64 * 0.6).min(28.0);
    let every = (bars.len() * 28).div_ceil((right - left).max(1.0) as usize);
    for (index, &&(number, line, w)) in bars.iter().enumerate() {
        let middle = x.at(index as f64 + 0.5);
        let job = if line.doubtful { Job::Over } else { Job::Observed };
        canvas.bar(job, middle - wide / 2.0, wide, y.at(0.0), y.at(w));
        if index % every == 0 {
            canvas.text((middle, bottom + 4.0 + LETTER), Anchor::Middle, &number.to_string());
        }
    }
    canvas.text((4.0, 16.0), Anchor::Start, "residual over its standard deviation (w)");
    canvas.text((right, 16.0), Anchor::End, "dashed: taken for chance");
    canvas.text((right, f64::from(HEIGHT) - 6.0), Anchor::End, "line, as numbered in the table");
    let (number, line, w) = largest;
    let words = format!(
        "Residuals of {} over their standard deviations: the largest, {w:.2}, at line {number}, {} to {}; up to {critical:.2} is \
         taken for chance.",
        if tested.len() == 1 { "1 line".to_owned() } else { format!("{} lines", tested.len()) },
        line.from,
        line.to
    );
    Some(canvas.finish("Residuals of the adjustment", words))
}
