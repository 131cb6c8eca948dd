//! What a setup's sights come to: means, sight lengths, two height differences, and the noise that they show.

use super::reading::Role;
use super::run::{Reduced, Setup, Shot, ShotStanding};
use super::sequence::Sequence;
use crate::units::Length;

/// Reduces a setup as it stands.
pub(super) fn reduce(sequence: Sequence, setup: &Setup) -> Reduced {
    let mean = |shots: &[Shot]| Length::mean(shots.iter().filter(|shot| shot.counts()).map(|shot| shot.value));
    let sight = |shots: &[Shot]| Length::mean(shots.iter().filter(|shot| shot.counts()).filter_map(|shot| shot.sight));
    let (back_sight, fore_sight) = (sight(&setup.back), sight(&setup.fore));
    let (back, fore) = (mean(&setup.back), mean(&setup.fore));
    let complete = back.is_some()
        && fore.is_some()
        && setup.filled(Role::Back) >= sequence.wanted()
        && setup.filled(Role::Fore) >= sequence.wanted();
    let differences = if complete && sequence.two_differences() { differences(sequence, setup) } else { None };
    Reduced {
        back,
        fore,
        back_sight,
        fore_sight,
        imbalance: back_sight.zip(fore_sight).map(|(back, fore)| back - fore),
        differences,
        variance_mm2: if complete { variance_mm2(setup, differences) } else { None },
        complete,
    }
}

/// Variance of a setup's rise, from what its shots show: two height differences, else repeats, else what the
/// instrument states.
///
/// Two differences `d1`, `d2` of equal weight: the variance of their mean is `(d1 - d2)^2 / 4` in expectation.
/// Repeats: pooled `s^2 = sum (x - mean)^2 / (m - 1)`, of the mean `s^2 / m`. Stated: the deviations added in
/// quadrature. Source: propagation of independent errors, standard textbooks, from memory.
fn variance_mm2(setup: &Setup, differences: Option<(Length, Length)>) -> Option<f64> {
    if let Some((first, second)) = differences {
        return Some((first - second).to_f64_mm().powi(2) / 4.0);
    }
    let of_mean = |shots: &[Shot]| {
        let counted = || shots.iter().filter(|shot| shot.counts());
        let m = counted().count();
        if m < 2 {
            let spread = counted().next()?.spread?;
            return Some(spread.to_f64_mm().powi(2));
        }
        let mean = counted().map(|shot| shot.value.to_f64_mm()).sum::<f64>() / m as f64;
        let squares: f64 = counted().map(|shot| (shot.value.to_f64_mm() - mean).powi(2)).sum();
        Some(squares / (m as f64 - 1.0) / m as f64)
    };
    Some(of_mean(&setup.back)? + of_mean(&setup.fore)?)
}

/// The setup's two height differences: first half of the backsights less first half of the foresights, and the rest.
fn differences(sequence: Sequence, setup: &Setup) -> Option<(Length, Length)> {
    let half = sequence.wanted() / 2;
    let part = |shots: &[Shot], second: bool| {
        let places = shots.iter().filter(|shot| shot.standing != ShotStanding::Extra).enumerate();
        let of_half = places.filter(|(place, _)| (*place >= half) == second).map(|(_, shot)| shot);
        Length::mean(of_half.filter(|shot| shot.counts()).map(|shot| shot.value))
    };
    let difference = |second| Some(part(&setup.back, second)? - part(&setup.fore, second)?);
    Some((difference(false)?, difference(true)?))
}
