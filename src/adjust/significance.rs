//! Statistical tests of an adjustment and of each observation in it.
//!
//! | symbol | meaning | unit |
//! |---|---|---|
//! | nu | degrees of freedom, observations less unknowns | - |
//! | s0^2 | variance factor `v'Pv / nu`, a posteriori; its a-priori value is 1 | - |
//! | v, sigma, r | residual, standard deviation a priori and redundancy number of one observation | m, m, - |
//! | w | `v / (sigma sqrt(r))`, a-priori sigma; normal when nothing is wrong | - |
//! | tau | `w / s0`, a-posteriori sigma; bounded by sqrt(nu) | - |
//!
//! ```text
//! global   chi2(alpha/2, nu) <= v'Pv <= chi2(1 - alpha/2, nu)
//! w        |w| <= N(1 - alpha0/2)
//! tau      |tau| <= sqrt(nu) t / sqrt(nu - 1 + t^2),  t = t(1 - alpha0/2, nu - 1)
//! mistake that w finds with the stated power   (N(1 - alpha0/2) + N(power)) sigma / sqrt(r)
//! ```
//!
//! Source: Baarda 1968 (w, smallest detectable mistake), Pope 1976 (tau), from memory. Checked against:
//! `level_network_data_snooping`; quantiles against SciPy.

use statrs::distribution::{ChiSquared, ContinuousCDF, Normal, StudentsT};

/// Levels of the tests. All are chances: between 0 and 1, both excluded.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Levels {
    /// Chance that the global test refuses a sound adjustment.
    pub global: f64,
    /// Chance that the test of one observation refuses a sound one.
    pub single: f64,
    /// Chance that the test of one observation finds a mistake of the smallest detectable size.
    pub power: f64,
    /// Chance that an interval holds the true value.
    pub confidence: f64,
}

impl Levels {
    /// 5 % for the network, 0.1 % for one observation, 80 % power: Baarda's choice (from memory); intervals of 95 %.
    pub const USUAL: Levels = Levels { global: 0.05, single: 0.001, power: 0.80, confidence: 0.95 };
}

/// Which standard deviation of unit weight is meant.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Sigma {
    /// As the weights were stated: 1.
    APriori,
    /// As the residuals turned out: s0.
    APosteriori,
}

/// The values that the statistics of an adjustment are compared with.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Critical {
    /// For |w|.
    pub w: f64,
    /// For |tau|; `None` with fewer than two degrees of freedom, where tau says nothing.
    pub tau: Option<f64>,
    /// Smallest detectable mistake in units of sigma / sqrt(r).
    pub detectable: f64,
}

impl Critical {
    pub(super) fn new(levels: &Levels, degrees_of_freedom: usize) -> Self {
        let w = normal_quantile(1.0 - levels.single / 2.0);
        let tau = (degrees_of_freedom >= 2).then(|| {
            let nu = degrees_of_freedom as f64;
            let t = student_quantile(1.0 - levels.single / 2.0, nu - 1.0);
            nu.sqrt() * t / (nu - 1.0 + t * t).sqrt()
        });
        Critical { w, tau, detectable: w + normal_quantile(levels.power) }
    }
}

/// The test of the model as a whole.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct GlobalTest {
    /// v'Pv.
    pub statistic: f64,
    /// Smallest value that is taken for chance.
    pub lower: f64,
    /// Largest value that is taken for chance.
    pub upper: f64,
}

/// What the global test says.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Verdict {
    /// The residuals are as large as the weights let expect.
    Passed,
    /// Larger: a mistake, a moved mark, or standard deviations stated too small.
    TooLarge,
    /// Smaller: standard deviations stated too large, or observations that are not independent.
    TooSmall,
}

impl GlobalTest {
    /// `None` without degrees of freedom.
    pub(super) fn new(statistic: f64, degrees_of_freedom: usize, levels: &Levels) -> Option<Self> {
        (degrees_of_freedom > 0).then(|| {
            let nu = degrees_of_freedom as f64;
            let [lower, upper] =
                [levels.global / 2.0, 1.0 - levels.global / 2.0].map(|chance| chi_squared_quantile(chance, nu));
            GlobalTest { statistic, lower, upper }
        })
    }

    /// What it says.
    pub fn verdict(&self) -> Verdict {
        if self.statistic > self.upper {
            Verdict::TooLarge
        } else if self.statistic < self.lower {
            Verdict::TooSmall
        } else {
            Verdict::Passed
        }
    }
}

/// Half the width of an interval in units of the standard deviation.
pub(super) fn interval_multiplier(sigma: Sigma, levels: &Levels, degrees_of_freedom: usize) -> f64 {
    let chance = 0.5 + levels.confidence / 2.0;
    match sigma {
        Sigma::APriori => normal_quantile(chance),
        Sigma::APosteriori => student_quantile(chance, degrees_of_freedom as f64),
    }
}

fn normal_quantile(chance: f64) -> f64 {
    Normal::standard().inverse_cdf(chance)
}

fn student_quantile(chance: f64, degrees_of_freedom: f64) -> f64 {
    match StudentsT::new(0.0, 1.0, degrees_of_freedom) {
        Ok(distribution) => distribution.inverse_cdf(chance),
        Err(error) => unreachable!("{degrees_of_freedom} degrees of freedom: {error}"),
    }
}

fn chi_squared_quantile(chance: f64, degrees_of_freedom: f64) -> f64 {
    match ChiSquared::new(degrees_of_freedom) {
        Ok(distribution) => distribution.inverse_cdf(chance),
        Err(error) => unreachable!("{degrees_of_freedom} degrees of freedom: {error}"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Textbook tables: Student 12.706 and 2.024, chi-squared 56.896 and 53.384 (38 degrees), 3.2905 and 4.13 of Baarda.
    #[test]
    fn agree_with_printed_tables() {
        let close = |found: f64, printed: f64, half_digit: f64| {
            assert!((found - printed).abs() <= half_digit, "{found} {printed}")
        };
        close(normal_quantile(0.9995), 3.2905, 5e-5);
        close(student_quantile(0.975, 1.0), 12.706, 5e-4);
        close(student_quantile(0.975, 38.0), 2.024, 5e-4);
        close(chi_squared_quantile(0.975, 38.0), 56.896, 5e-4);
        close(chi_squared_quantile(0.95, 38.0), 53.384, 5e-4);
        close(Critical::new(&Levels::USUAL, 5).detectable, 4.13, 5e-3);
    }

    #[test]
    fn tau_stays_below_the_root_of_the_degrees_of_freedom() {
        assert_eq!(Critical::new(&Levels::USUAL, 0).tau, None);
        assert_eq!(Critical::new(&Levels::USUAL, 1).tau, None);
        for nu in [2, 3, 10, 1000] {
            let critical = Critical::new(&Levels::USUAL, nu);
            assert!(critical.tau.is_some_and(|tau| tau < (nu as f64).sqrt() && tau > 0.0), "{critical:?}");
        }
        let many = Critical::new(&Levels::USUAL, 100_000);
        assert!(
            many.tau.is_some_and(|tau| (tau - many.w).abs() < 1e-3),
            "tau becomes w where s0 is well known: {many:?}"
        );
    }

    #[test]
    fn a_global_test_says_which_way_it_failed() {
        let verdict = |statistic| GlobalTest::new(statistic, 38, &Levels::USUAL).map(|test| test.verdict());
        assert_eq!(verdict(38.0), Some(Verdict::Passed));
        assert_eq!(verdict(57.0), Some(Verdict::TooLarge));
        assert_eq!(verdict(22.0), Some(Verdict::TooSmall));
        assert_eq!(GlobalTest::new(0.0, 0, &Levels::USUAL), None);
    }
}
