//! What a mistake that the tests would just miss could do to each mark: the worst of all sections.
//!
//! | symbol | meaning | unit |
//! |---|---|---|
//! | a, b, S, R | junctions, variance and redundancy `1 - q_ab / S` of a line | -, -, m^2, - |
//! | M | smallest detectable mistake, `delta0 sigma / sqrt(r)`, which is `delta0 sqrt(S / R)` for each section of the line | m |
//! | Q | cofactors of the junctions, N^-1 | m^2 |
//! | g_j | `M (Q_jb - Q_ja) / S`, what the mistake does to junction j | m |
//! | t | share of a line's variance up to a mark on it | - |
//!
//! ```text
//! mark on another line, or a junction   (1-t) g_from + t g_to
//! mark on the same line                 (1-t) g_a + t g_b - t M        mistake beyond the mark
//!                                       (1-t) g_a + t g_b + (1-t) M    mistake before the mark
//! mark on a spur                        as where the spur starts
//! ```
//!
//! Needs the whole of Q among the junctions, not only the pattern of the factor, so it is done for small networks only.
//! Source: `x = N^-1 A'P l` for one mistake in l, textbook, from memory; along a line derived. Checked against: mistakes
//! planted in generated networks.

use super::control::Control;
use super::lines::{Line, Step};
use super::network::SectionId;
use super::outcome::Exposure;
use super::problem::Problem;
use super::variances::Cofactors;

/// Up to this many lines times marks it is worked out: two thousand marks of a grid, some tenths of a second.
pub const EXPOSURE_MAX: usize = 10_000_000;

/// The worst mistake for each mark; `None` for a network beyond [`EXPOSURE_MAX`]. `delta0` is the smallest detectable
/// mistake in units of sigma / sqrt(r).
pub(super) fn exposure(
    problem: &Problem<'_>,
    control: &Control,
    cofactors: &Cofactors,
    delta0: f64,
) -> Option<Vec<Option<Exposure>>> {
    let lines = &problem.lines;
    if lines.lines.len().saturating_mul(problem.roles.len()) > EXPOSURE_MAX {
        return None;
    }
    let inverse = problem.factor.as_ref().map(|factor| factor.inverse()).unwrap_or_default();
    let mut worst = Worst(vec![None; problem.roles.len()]);
    let mut at_junctions = vec![0.0; lines.junctions.len()];
    for (line, is_bridge) in lines.lines.iter().zip(&control.bridges) {
        let steps = &lines.steps[line.steps.clone()];
        let (Some(first), Some(last)) = (steps.first(), steps.last()) else { continue };
        let first_share = problem.variances[first.section as usize] / line.variance;
        let redundancy = cofactors.sections[first.section as usize].redundancy / first_share;
        if *is_bridge || redundancy <= 0.0 {
            continue;
        }
        let mistake_m = delta0 * (line.variance / redundancy).sqrt();
        problem.equations.column_difference(&inverse, line, mistake_m / line.variance, &mut at_junctions);
        for (mark, by_m) in lines.junctions.iter().zip(&at_junctions) {
            worst.at(mark.0, first, *by_m);
        }
        for other in &lines.lines {
            let [from, to] = [other.from, other.to].map(|junction| at_junctions[junction as usize]);
            let own = std::ptr::eq(line, other);
            for (t, step) in inner_marks(problem, other) {
                let straight = (1.0 - t) * from + t * to;
                if own {
                    // Signed along the line; the section counts from its own start.
                    worst.at(step.to, last, straight - t * mistake_m);
                    worst.at(step.to, first, straight + (1.0 - t) * mistake_m);
                } else {
                    worst.at(step.to, first, straight);
                }
            }
        }
    }
    for spur in &lines.spurs {
        worst.0[spur.to as usize] = worst.0[spur.from as usize];
    }
    Some(worst.0)
}

/// The marks on a line, without its junctions: the share of the variance up to each, and the step that leads to it.
fn inner_marks<'a>(problem: &'a Problem<'_>, line: &'a Line) -> impl Iterator<Item = (f64, &'a Step)> {
    let inner = line.steps.start..line.steps.end - 1;
    problem.lines.steps[inner].iter().scan(0.0, |sum, step| {
        *sum += problem.variances[step.section as usize];
        Some((*sum / line.variance, step))
    })
}

/// The worst so far for each mark.
struct Worst(Vec<Option<Exposure>>);

impl Worst {
    /// `by_m` is for a mistake along the line that raises its end; the section may have been observed the other way.
    fn at(&mut self, mark: u32, step: &Step, by_m: f64) {
        let held = &mut self.0[mark as usize];
        if by_m != 0.0 && held.is_none_or(|held| by_m.abs() > held.by_m.abs()) {
            *held = Some(Exposure { section: SectionId(step.section), by_m: step.sign * by_m });
        }
    }
}
