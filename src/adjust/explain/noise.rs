//! How likely misclosures are as plain noise, and how much likelier they become when one mistake is taken out of them.
//!
//! | symbol | meaning | unit |
//! |---|---|---|
//! | w | misclosures of the closures looked at together, k of them | mm |
//! | C | their covariance, from the standard deviation of a setup | mm^2 |
//! | s | by how much the noise is wider than that | - |
//! | q | w' C^-1 w | - |
//! | e, x | what a mistake of size 1 does to w; its size | mm, - |
//! | b, d | e' C^-1 w, e' C^-1 e | - |
//!
//! ```text
//! density(q)   sum over s of p(s) s^-k exp(-q / 2 s^2)        up to a factor that all hypotheses share
//! known size   q' = q + 2 x b + x^2 d
//! any size     density of x at -b/d, times s sqrt(2 pi / d), at q - b^2/d      (Laplace)
//! about none   x normal with deviation t: q' = q - b^2 / (d + s^2/t^2), times (1 + t^2 d / s^2)^-1/2
//! ```
//!
//! How noisy a run is nobody knows beforehand. Half of the belief is that it is as its instrument states (s = 1), half that
//! it is as its class lets expect, whose allowance is then [`NOISE_Z`] standard deviations. Common practice, no source.
//! Source: Bayes' rule over single hypotheses; integrals derived.

use std::f64::consts::TAU;

use super::priors;
use crate::book::closure::NOISE_Z;

/// The noise of the closures looked at together.
#[derive(Clone, Copy, Debug)]
pub(super) struct Noise {
    closures: i32,
    wider: f64,
    q: f64,
}

impl Noise {
    /// For so many closures with that q; the allowance and the standard deviation of the one to be explained, mm.
    pub(super) fn new(closures: usize, q: f64, allowance_mm: f64, deviation_mm: f64) -> Self {
        let wider = (allowance_mm / NOISE_Z / deviation_mm).max(1.0);
        Noise { closures: closures as i32, wider, q }
    }

    /// Logarithm of how much likelier the misclosures are once a mistake of known size leaves this q.
    pub(super) fn ln_gain(&self, q: f64) -> f64 {
        self.mix(|s| self.ln_at(q, s)) - self.mix(|s| self.ln_at(self.q, s))
    }

    /// The same for a mistake of any size.
    pub(super) fn ln_gain_of_any_size(&self, effect: Effect) -> f64 {
        let prior = priors::size_density(effect.size());
        let ln = |s: f64| self.ln_at(self.q - effect.b * effect.b / effect.d, s) + (s * (TAU / effect.d).sqrt()).ln();
        prior.ln() + self.mix(ln) - self.mix(|s| self.ln_at(self.q, s))
    }

    /// The same for a mistake whose size is normally distributed about none.
    pub(super) fn ln_gain_about_none(&self, effect: Effect, deviation: f64) -> f64 {
        let ln = |s: f64| {
            let own = (s / deviation).powi(2);
            let q = self.q - effect.b * effect.b / (effect.d + own);
            self.ln_at(q, s) - (1.0 + effect.d / own).ln() / 2.0
        };
        self.mix(ln) - self.mix(|s| self.ln_at(self.q, s))
    }

    /// Logarithm of the density of a difference between two readings with this standard deviation of each, mm.
    pub(super) fn ln_difference(&self, difference_mm: f64, deviation_mm: f64) -> f64 {
        self.mix(|s| -(difference_mm / deviation_mm / s).powi(2) / 2.0 - (s * deviation_mm * TAU.sqrt()).ln())
    }

    fn ln_at(&self, q: f64, s: f64) -> f64 {
        -q / (2.0 * s * s) - f64::from(self.closures) * s.ln()
    }

    /// Logarithm of the mean over how noisy the run may be.
    fn mix(&self, ln: impl Fn(f64) -> f64) -> f64 {
        let (stated, expected) = (ln(1.0), ln(self.wider));
        let larger = stated.max(expected);
        larger + ((stated - larger).exp() + (expected - larger).exp()).ln() - std::f64::consts::LN_2
    }
}

/// What a mistake of size 1 does to the misclosures.
#[derive(Clone, Copy, Debug)]
pub(super) struct Effect {
    pub(super) b: f64,
    pub(super) d: f64,
}

impl Effect {
    /// The size that explains the misclosures best.
    pub(super) fn size(&self) -> f64 {
        -self.b / self.d
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// One closure of 30 mm, deviation 1 mm, allowance 4 mm: the class lets expect 2 mm.
    const NOISE: Noise = Noise { closures: 1, wider: 2.0, q: 900.0 };

    #[test]
    fn integrals_agree_with_sums() {
        // w = 30, C = 1, e = 1: b = 30, d = 1.
        let effect = Effect { b: 30.0, d: 1.0 };
        let density = |x: f64| NOISE.ln_gain(900.0 + 2.0 * x * effect.b + x * x * effect.d).exp();
        let sum = |prior: &dyn Fn(f64) -> f64| -> f64 {
            (-60_000..60_000).map(|at| f64::from(at) / 1000.0).map(|x| density(x) * prior(x) / 1000.0).sum()
        };
        let any = sum(&priors::size_density);
        assert!((NOISE.ln_gain_of_any_size(effect) - any.ln()).abs() < 0.01, "Laplace is near where x is well known");
        let normal = |x: f64| (-x * x / 200.0).exp() / (100.0 * TAU).sqrt();
        assert!((NOISE.ln_gain_about_none(effect, 10.0) - sum(&normal).ln()).abs() < 1e-6);
    }

    #[test]
    fn what_closes_better_gains_and_what_does_not_loses() {
        assert!(NOISE.ln_gain(1.0) > 100.0);
        assert!(NOISE.ln_gain(1600.0) < 0.0);
        assert_eq!(NOISE.ln_gain(900.0), 0.0);
    }
}
