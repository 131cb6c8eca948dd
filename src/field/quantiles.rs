//! Quantiles of the distributions that field tests compare with. The one place that names the statistics library.

use statrs::distribution::{ChiSquared, ContinuousCDF, FisherSnedecor, Normal, StudentsT};

/// Two-sided 95 % of a normal distribution: a value lies within this many standard deviations in 95 of 100 cases.
pub(super) const Z_95: f64 = 1.959_963_984_540_054;

/// The same for 99.9 %: beyond it chance is no explanation any more.
pub(super) const Z_999: f64 = 3.290_526_731_491_7;

/// Quantile of chi squared with `nu` degrees of freedom.
pub(super) fn chi_squared(p: f64, nu: u32) -> f64 {
    ChiSquared::new(f64::from(nu)).expect("a test has degrees of freedom").inverse_cdf(p)
}

/// Quantile of Student's t with `nu` degrees of freedom.
pub(super) fn student(p: f64, nu: u32) -> f64 {
    StudentsT::new(0.0, 1.0, f64::from(nu)).expect("a test has degrees of freedom").inverse_cdf(p)
}

/// Quantile of Fisher's F with `above` and `below` degrees of freedom.
pub(super) fn fisher(p: f64, above: u32, below: u32) -> f64 {
    FisherSnedecor::new(f64::from(above), f64::from(below)).expect("a test has degrees of freedom").inverse_cdf(p)
}

/// How likely a standard normal value is farther from nought than `z`.
pub(super) fn two_sided(z: f64) -> f64 {
    2.0 * Normal::standard().sf(z.abs())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_constants_are_the_library_s_quantiles() {
        let normal = Normal::standard();
        assert!((normal.inverse_cdf(0.975) - Z_95).abs() < 1e-9);
        assert!((normal.inverse_cdf(0.9995) - Z_999).abs() < 1e-9);
        assert!((two_sided(Z_95) - 0.05).abs() < 1e-9);
    }
}
