//! Back less fore sight length of each setup as bars about zero, and their running sum as a line.

use super::axis::Scale;
use super::canvas::{Anchor, Canvas, Job, LETTER};
use super::misclosure::in_unit;
use super::{Plot, WIDTHS};
use crate::book::Book;
use crate::book::run::{Run, Setup};
use crate::book::wording::Wording;
use crate::units::Unit;

const HEIGHT: u32 = 200;
/// Beyond so many the earliest setups are left out: bars must stay wide enough to see.
const SETUPS_MAX: usize = 60;
/// Room for the name of the line.
const SUM_WIDTH: f64 = 34.0;

/// The balance of a run of the book, in `unit`; `None` without sight lengths.
pub fn balance(book: &Book, run: &Run, unit: Unit, width: u32) -> Option<Plot> {
    let width = width.clamp(*WIDTHS.start(), *WIDTHS.end());
    let class = &book.settings().class;
    let known: Vec<_> = run.setups.iter().filter(|setup| setup.reduced.imbalance.is_some()).collect();
    let shown = &known[known.len().saturating_sub(SETUPS_MAX)..];
    let last = shown.last()?;
    let limit = class.setup_imbalance_max.as_ref().map(|limit| limit.value);
    let value = |setup: &Setup| in_unit(setup.reduced.imbalance.unwrap_or_default(), unit);
    let sum = |setup: &Setup| in_unit(setup.imbalance_sum(), unit);
    let limit_shown = limit.map(|limit| in_unit(limit, unit));
    let most = shown.iter().flat_map(|setup| [value(setup).abs(), sum(setup).abs()]);
    let most = most.chain(limit_shown).fold(0.1, f64::max) * 1.15;

    let (left, right, top, bottom) = (52.0, f64::from(width) - 16.0, 28.0, f64::from(HEIGHT) - 40.0);
    let y = Scale::new((-most, most), (bottom, top));
    let x = Scale::new((0.0, shown.len() as f64), (left, right));
    let mut canvas = Canvas::new(width, HEIGHT);
    if let Some(limit) = limit_shown {
        let (up, down) = (y.at(limit), y.at(-limit));
        canvas.area(Job::Allowed, &[(left, up), (right, up), (right, down), (left, down)]);
    }
    let ticks = y.ticks(5);
    for tick in &ticks.values {
        let job = if *tick == 0.0 { Job::Axis } else { Job::Grid };
        canvas.line(job, (left, y.at(*tick)), (right, y.at(*tick)));
        canvas.text((left - 6.0, y.at(*tick) + LETTER / 3.0), Anchor::End, &ticks.text(*tick));
    }
    for edge in limit_shown.into_iter().flat_map(|limit| [y.at(limit), y.at(-limit)]) {
        canvas.line(Job::Limit, (left, edge), (right, edge));
    }
    let wide = ((right - left) / shown.len() as f64 * 0.6).min(28.0);
    let every = (shown.len() * 28).div_ceil((right - left).max(1.0) as usize);
    let mut sums = Vec::new();
    for (index, setup) in shown.iter().enumerate() {
        let middle = x.at(index as f64 + 0.5);
        let over = limit.is_some_and(|limit| setup.reduced.imbalance.unwrap_or_default().abs() > limit);
        let job = if over { Job::Over } else { Job::Observed };
        canvas.bar(job, middle - wide / 2.0, wide, y.at(0.0), y.at(value(setup)));
        sums.push((middle, y.at(sum(setup))));
        if index % every == 0 {
            canvas.text((middle, bottom + 4.0 + LETTER), Anchor::Middle, &setup.number.to_string());
        }
    }
    canvas.path(Job::Second, &sums);
    if let Some(end) = sums.last() {
        // Above the last stretch of the line, or under it where there is no room.
        let (high, low) = extent_from(&sums, end.0 - SUM_WIDTH);
        let base = if high - LETTER > top { high - 5.0 } else { low + LETTER + 1.0 };
        canvas.text((end.0.min(right - 4.0), base), Anchor::End, "sum");
    }
    canvas.text((4.0, 16.0), Anchor::Start, &format!("back less fore sight length, {unit}"));
    canvas.text((right, f64::from(HEIGHT) - 6.0), Anchor::End, "setup");
    let say = Wording::new(unit);
    let of = |limit: Option<crate::units::Length>| limit.map(|l| format!(" of {}", say.sight(l))).unwrap_or_default();
    let words = format!(
        "Run {}: balance of setup {} {}{}, sum over the section {}{}.",
        run.number,
        last.number,
        say.signed_sight(last.reduced.imbalance.unwrap_or_default()),
        of(limit),
        say.signed_sight(last.imbalance_sum()),
        of(class.sum_imbalance_max.as_ref().map(|limit| limit.value)),
    );
    Some(canvas.finish("Balance of sights", words))
}

/// The highest and the lowest place of a line from `start` to its end, as they stand on a sheet.
fn extent_from(line: &[(f64, f64)], start: f64) -> (f64, f64) {
    let crossing = line.windows(2).find(|pair| pair[0].0 < start && start <= pair[1].0).map(|pair| {
        let (from, to) = (pair[0], pair[1]);
        from.1 + (to.1 - from.1) * (start - from.0) / (to.0 - from.0)
    });
    let behind = line.iter().filter(|place| place.0 >= start).map(|place| place.1);
    behind.chain(crossing).fold((f64::MAX, f64::MIN), |(high, low), y| (high.min(y), low.max(y)))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_extent_of_a_stretch_begins_inside_a_piece_of_the_line() {
        let line = [(0.0, 50.0), (10.0, 20.0), (20.0, 40.0)];
        assert_eq!(extent_from(&line, 5.0), (20.0, 40.0));
        assert_eq!(extent_from(&line, 15.0), (30.0, 40.0));
        assert_eq!(extent_from(&line[2..], 15.0), (40.0, 40.0));
    }
}
