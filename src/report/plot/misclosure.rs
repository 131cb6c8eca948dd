//! The misclosure of a run in its envelope: what the class allows over the length, what the noise seen so far makes
//! likely, and what has closed.
//!
//! The envelope is the allowance of the line from the run's start. A closure that begins elsewhere has an allowance of
//! its own, drawn as a bracket about zero at its place. Known points are diamonds, forward against back is round.

use super::axis::Scale;
use super::canvas::{Anchor, Canvas, Job, LETTER, Place, with_room};
use super::{Plot, WIDTHS};
use crate::book::Book;
use crate::book::closure::{self, LineKind, NOISE_Z};
use crate::book::run::{ClosesOn, Run, Setup};
use crate::book::wording::Wording;
use crate::units::{Length, Unit};

/// About how wide a letter is, in CSS pixels.
const LETTER_WIDTH: f64 = 0.6 * LETTER;

/// How far ahead of the last setup the expectation is drawn, as a share of the run so far.
const AHEAD: f64 = 0.25;
const HEIGHT: u32 = 260;

/// The misclosure of a run of the book, in `unit`; `None` before its first setup is complete.
pub fn misclosure(book: &Book, run: &Run, unit: Unit, width: u32) -> Option<Plot> {
    let setups: Vec<&Setup> = run.setups.iter().filter(|setup| setup.reduced.rise().is_some()).collect();
    let last = *setups.last()?;
    let width = width.clamp(*WIDTHS.start(), *WIDTHS.end());
    let sigma = sigma_setup_mm(book, last);
    // Without sight lengths the run is drawn over its setups.
    let by_setups = setups.iter().any(|setup| setup.reduced.length().is_none());
    let place = |setup: &Setup| if by_setups { f64::from(setup.setups()) } else { in_unit(setup.distance(), unit) };

    let mut envelope = vec![(0.0, 0.0, 0.0)];
    for setup in &setups {
        let noise = NOISE_Z * sigma * f64::from(setup.setups()).sqrt();
        envelope.push((place(setup), allowed_mm(book, run, setup, sigma).unwrap_or(0.0), noise));
    }
    let (end, _, _) = envelope[envelope.len() - 1];
    let ahead = end * (1.0 + AHEAD);
    let grown = (1.0 + AHEAD).sqrt();
    let (_, allowed_end, noise_end) = envelope[envelope.len() - 1];
    envelope.push((ahead, allowed_end * grown, noise_end * grown));

    let closures: Vec<_> =
        setups.iter().flat_map(|setup| setup.closures.iter().map(move |closure| (*setup, closure))).collect();
    let shown = |mm: f64| if unit.is_foot() { mm / 304.8 * 1000.0 } else { mm };
    let most = envelope.iter().flat_map(|(_, allowed, noise)| [*allowed, *noise]);
    let met = closures.iter().map(|(_, closure)| closure.misclosure.abs().to_f64_mm());
    let most = shown(most.chain(met).fold(0.1, f64::max)) * 1.15;

    let (left, right, top, bottom) = (52.0, f64::from(width) - 16.0, 28.0, f64::from(HEIGHT) - 40.0);
    let x = Scale::new((0.0, ahead), (left, right));
    let y = Scale::new((-most, most), (bottom, top));
    let mut canvas = Canvas::new(width, HEIGHT);
    let envelope = smooth(&envelope);
    let band = |of: fn(&(f64, f64, f64)) -> f64| {
        let up = envelope.iter().map(|at| (x.at(at.0), y.at(shown(of(at)))));
        let down = envelope.iter().rev().map(|at| (x.at(at.0), y.at(-shown(of(at)))));
        up.chain(down).collect::<Vec<_>>()
    };
    let has_allowance = envelope.iter().any(|at| at.1 > 0.0);
    if has_allowance {
        canvas.area(Job::Allowed, &band(|at| at.1));
    }
    canvas.area(Job::Expected, &band(|at| at.2));
    let ticks = y.ticks(4);
    for value in &ticks.values {
        let job = if *value == 0.0 { Job::Axis } else { Job::Grid };
        canvas.line(job, (left, y.at(*value)), (right, y.at(*value)));
        canvas.text((left - 6.0, y.at(*value) + LETTER / 3.0), Anchor::End, &ticks.text(*value));
    }
    if has_allowance {
        let edge = |sign: f64| envelope.iter().map(|at| (x.at(at.0), y.at(sign * shown(at.1)))).collect::<Vec<_>>();
        canvas.path(Job::Limit, &edge(1.0));
        canvas.path(Job::Limit, &edge(-1.0));
    }
    let ticks = x.ticks(if width < 480 { 3 } else { 6 });
    for value in &ticks.values {
        canvas.line(Job::Axis, (x.at(*value), bottom), (x.at(*value), bottom + 4.0));
        canvas.text((x.at(*value), bottom + 4.0 + LETTER), Anchor::Middle, &ticks.text(*value));
    }
    for (setup, closure) in &closures {
        let at = x.at(place(setup));
        if let Some(allowance) = closure.allowance.as_ref().filter(|_| closure.from_setup > 0) {
            let (up, down) = (y.at(shown(allowance.value.to_f64_mm())), y.at(-shown(allowance.value.to_f64_mm())));
            canvas.line(Job::Limit, (at, up), (at, down));
            canvas.line(Job::Limit, (at - 5.0, up), (at + 5.0, up));
            canvas.line(Job::Limit, (at - 5.0, down), (at + 5.0, down));
        }
        let job = if closure.over() { Job::Over } else { Job::Observed };
        let spot = (at, y.at(shown(closure.misclosure.to_f64_mm())));
        match closure.on {
            ClosesOn::Known => canvas.diamond(job, spot),
            ClosesOn::Earlier { .. } => canvas.round(job, spot),
        }
    }
    let named = closures.iter().map(|(setup, closure)| {
        let spot = (x.at(place(setup)), y.at(shown(closure.misclosure.to_f64_mm())));
        let below = closure.misclosure < Length::ZERO;
        ((spot.0 - 10.0, if below { spot.1 + LETTER + 4.0 } else { spot.1 - 8.0 }), closure.point.as_str())
    });
    for (beside, name) in later_names(named.collect()) {
        canvas.text(beside, Anchor::End, name);
    }
    let (height_unit, length_unit) = if unit.is_foot() { ("0.001 ft", unit.symbol()) } else { ("mm", unit.symbol()) };
    canvas.text((4.0, 16.0), Anchor::Start, &format!("misclosure, {height_unit}"));
    let along = if by_setups { "setups".to_owned() } else { format!("length of the run, {length_unit}") };
    canvas.text((right, f64::from(HEIGHT) - 6.0), Anchor::End, &along);
    // Each band is named at its end, the one above zero and the other below, so that they never meet.
    let (_, allowed_ahead, noise_ahead) = envelope[envelope.len() - 1];
    if has_allowance {
        canvas.text((right, y.at(shown(allowed_ahead)) - 5.0), Anchor::End, "allowed");
    }
    canvas.text((right, y.at(-shown(noise_ahead)) + LETTER), Anchor::End, "likely");
    canvas.line(Job::Grid, (x.at(end), top), (x.at(end), bottom));
    canvas.text((x.at(end) + 4.0, bottom - 4.0), Anchor::Start, "ahead");
    let words = words(run, unit, allowed_end);
    Some(canvas.finish("Misclosure in its envelope", words))
}

/// Names that end at their places, without those that would meet a later one.
fn later_names(named: Vec<(Place, &str)>) -> Vec<(Place, &str)> {
    let start = |(at, name): &(Place, &str)| at.0 - name.chars().count() as f64 * LETTER_WIDTH;
    with_room(named.into_iter().rev(), |one, other| {
        (one.0.1 - other.0.1).abs() > LETTER || other.0.0 <= start(one) || one.0.0 <= start(other)
    })
}

/// The same envelope with points between: it grows with the root of the length, so its square grows evenly.
fn smooth(envelope: &[(f64, f64, f64)]) -> Vec<(f64, f64, f64)> {
    /// Pieces of each stretch: corners are then smaller than a line is wide.
    const PIECES: u32 = 8;
    let between = |from: f64, to: f64, part: f64| (from * from + (to * to - from * from) * part).max(0.0).sqrt();
    let mut out: Vec<_> = envelope.first().copied().into_iter().collect();
    for pair in envelope.windows(2) {
        let (from, to) = (pair[0], pair[1]);
        out.extend((1..=PIECES).map(|piece| {
            let part = f64::from(piece) / f64::from(PIECES);
            (from.0 + (to.0 - from.0) * part, between(from.1, to.1, part), between(from.2, to.2, part))
        }));
    }
    out
}

fn words(run: &Run, unit: Unit, allowed_end_mm: f64) -> String {
    let say = Wording::new(unit);
    let so_far = match Length::from_f64_m(allowed_end_mm / 1000.0).filter(|_| allowed_end_mm > 0.0) {
        Some(allowed) => format!(
            "Run {}: after {} the class allows {} either way",
            run.number,
            say.distance(run.distance()),
            say.height(allowed)
        ),
        None => format!("Run {}: {} so far, no allowance", run.number, say.distance(run.distance())),
    };
    match run.closures().next_back() {
        Some(closure) => format!("{so_far}; the latest closure {}.", super::super::live::closure_words(say, closure)),
        None => format!("{so_far}; nothing has closed yet."),
    }
}

fn allowed_mm(book: &Book, run: &Run, setup: &Setup, sigma: f64) -> Option<f64> {
    let back_home = run.closures().any(|closure| closure.on == ClosesOn::Known && closure.point == run.start);
    let kind = if back_home { LineKind::Loop } else { LineKind::BetweenKnown };
    let length = setup.reduced.length().map(|_| setup.distance());
    let allowance = closure::allowance(&book.settings().class, kind, length, setup.setups(), None, sigma)?;
    Some(allowance.value.to_f64_mm())
}

/// Deviation of a setup's rise: as the setups have shown it, or as the instrument is said to be.
fn sigma_setup_mm(book: &Book, last: &Setup) -> f64 {
    let (sum, count) = match last.reduced.variance_mm2 {
        Some(variance) => (last.before.noise_mm2 + variance, last.before.noise_setups + 1),
        None => (last.before.noise_mm2, last.before.noise_setups),
    };
    let shots = last.back.iter().filter(|shot| shot.counts()).count().max(1);
    let stated = closure::setup_sd_mm(book.settings().instrument.reading_sd, shots);
    if count == 0 { stated } else { (sum / f64::from(count)).sqrt().max(0.01) }
}

pub(super) fn in_unit(length: Length, unit: Unit) -> f64 {
    if unit.is_foot() { length.to_f64_m() / 0.3048 } else { length.to_f64_m() }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_name_gives_way_to_a_later_one_that_it_would_meet() {
        let names =
            vec![((100.0, 50.0), "BM-1"), ((120.0, 52.0), "TP3"), ((121.0, 90.0), "TP4"), ((180.0, 50.0), "BM-2")];
        let set: Vec<&str> = later_names(names).into_iter().map(|(_, name)| name).collect();
        assert_eq!(set, ["BM-2", "TP4", "TP3"]);
    }
}
