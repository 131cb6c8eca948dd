//! How good each observed rise is: its standard deviation, by a rule or as stated.
//!
//! | rule | standard deviation of a rise | when |
//! |---|---|---|
//! | `Length` | `c * sqrt(K)`, K in km | the usual one for lines |
//! | `Setups` | `q * sqrt(n)` | buildings, where sights are short and K says little |
//! | `ProportionalToLength` | `c * K` | where a source asks for it; errors that add up, not noise |
//! | `Equal` | the same for all | worked examples, sections of one size |
//! | `Stated` | each section's own | where the observations or their repeats say it |
//!
//! A section's own standard deviation wins over every rule. The weight is 1 / variance, so the a-priori standard
//! deviation of unit weight is 1, without a unit.
//!
//! Source: why the root of length or setups, see `book::closure`; estimate from repeats, textbook, from memory, agreeing
//! with `s = 1/2 sqrt(sum(d^2 / D) / N)` for forward and back runs. Checked against: `observation_weights_from_sd`,
//! `level_network_*`.

use std::collections::HashMap;

use super::given::Section;
use super::network::{MarkId, Network, SectionId};
use super::refusal::{NetworkError, Quantity};

/// The standard deviation of a section that states none.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum WeightRule {
    /// Grows with the root of length.
    Length {
        /// Of one kilometre, in mm.
        mm_per_sqrt_km: f64,
    },
    /// Grows with the root of the number of setups.
    Setups {
        /// Of one setup, in mm.
        mm_per_sqrt_setup: f64,
    },
    /// Grows with length itself.
    ProportionalToLength {
        /// Of one kilometre, in mm.
        mm_per_km: f64,
    },
    /// The same for all.
    Equal {
        /// In mm.
        mm: f64,
    },
    /// Every section must state its own.
    Stated,
}

/// Standard deviations that a rule may have, mm: a nanometre to a kilometre. Beyond it the unit is wrong, and squares could
/// leave the range of floats.
const RULE_MM: std::ops::RangeInclusive<f64> = 1e-6..=1e6;

/// The variance of each section, m^2.
///
/// # Errors
/// A rule beyond reason, or a section without what the rule needs.
pub fn variances_m2(network: &Network, rule: WeightRule) -> Result<Vec<f64>, NetworkError> {
    check_rule(rule)?;
    let one = |(at, section): (usize, &Section<MarkId>)| {
        deviation_of(section, rule)
            .map(|deviation| deviation * deviation)
            .map_err(|quantity| NetworkError::Unweighted { section: network.section_name(SectionId::at(at)), quantity })
    };
    network.sections().iter().enumerate().map(one).collect()
}

fn check_rule(rule: WeightRule) -> Result<(), NetworkError> {
    let found = match rule {
        WeightRule::Length { mm_per_sqrt_km: found }
        | WeightRule::Setups { mm_per_sqrt_setup: found }
        | WeightRule::ProportionalToLength { mm_per_km: found }
        | WeightRule::Equal { mm: found } => found,
        WeightRule::Stated => return Ok(()),
    };
    if RULE_MM.contains(&found) { Ok(()) } else { Err(NetworkError::BadRule { found }) }
}

/// The standard deviation of one section, m, or what is missing.
pub(super) fn deviation_of<M>(section: &Section<M>, rule: WeightRule) -> Result<f64, Quantity> {
    if let Some(stated) = section.deviation {
        return Ok(stated.to_f64_m());
    }
    let length_km = || section.length.map(|length| length.to_f64_m() / 1000.0).ok_or(Quantity::Length);
    let setups = || section.setups.map(f64::from).ok_or(Quantity::Setups);
    let mm = match rule {
        WeightRule::Length { mm_per_sqrt_km } => mm_per_sqrt_km * length_km()?.sqrt(),
        WeightRule::Setups { mm_per_sqrt_setup } => mm_per_sqrt_setup * setups()?.sqrt(),
        WeightRule::ProportionalToLength { mm_per_km } => mm_per_km * length_km()?,
        WeightRule::Equal { mm } => mm,
        WeightRule::Stated => return Err(Quantity::Deviation),
    };
    Ok(mm / 1000.0)
}

/// What sections that were levelled more than once say of the noise, to be used as a rule.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Estimate {
    /// The rule with the estimated standard deviation in it.
    pub rule: WeightRule,
    /// How many differences it rests on; below ten it says little (common practice, no source).
    pub degrees_of_freedom: usize,
}

/// By what the noise is taken to grow.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Growth {
    /// With the root of length.
    Length,
    /// With the root of the number of setups.
    Setups,
}

/// Estimates the noise from sections between the same two marks, in either direction. `None` where there are none.
///
/// # Formula
/// `sum over the sections of (rise - weighted mean of its group)^2 / size`, divided by the sections less the groups.
pub fn estimate_from_repeats(network: &Network, growth: Growth) -> Option<Estimate> {
    let mut groups: HashMap<[u32; 2], Vec<(f64, f64)>> = HashMap::new();
    for section in network.sections() {
        let size = match growth {
            Growth::Length => section.length.map(|length| length.to_f64_m() / 1000.0),
            Growth::Setups => section.setups.map(f64::from),
        };
        let [from, to] = section.ends();
        let (ends, sign) = if from <= to { ([from, to], 1) } else { ([to, from], -1) };
        if let Some(size) = size {
            // Differences of approximate elevations are taken off first: exact, and what is left is small.
            let small = network.misfit(section) * sign;
            groups.entry(ends).or_default().push((small.to_f64_mm(), size));
        }
    }
    let (mut sum, mut degrees_of_freedom) = (0.0, 0);
    for group in groups.values() {
        let weight: f64 = group.iter().map(|(_, size)| 1.0 / size).sum();
        let mean = group.iter().map(|(rise, size)| rise / size).sum::<f64>() / weight;
        sum += group.iter().map(|(rise, size)| (rise - mean).powi(2) / size).sum::<f64>();
        degrees_of_freedom += group.len() - 1;
    }
    let estimated = (sum / degrees_of_freedom as f64).sqrt();
    (estimated.is_finite() && estimated > 0.0).then_some(Estimate {
        rule: match growth {
            Growth::Length => WeightRule::Length { mm_per_sqrt_km: estimated },
            Growth::Setups => WeightRule::Setups { mm_per_sqrt_setup: estimated },
        },
        degrees_of_freedom,
    })
}

#[cfg(test)]
mod tests {
    use super::super::example::{given, metres, network};
    use super::*;

    #[test]
    fn a_stated_deviation_wins_over_the_rule() {
        let mut given = given(&["A 1"], &["A B 1", "B C 1"]);
        given.sections[0].length = Some(metres("4000"));
        given.sections[0].setups = Some(9);
        given.sections[1].deviation = Some(metres("0.003"));
        let network = Network::new(given).unwrap();
        for (rule, first_mm) in [
            (WeightRule::Length { mm_per_sqrt_km: 0.7 }, 1.4),
            (WeightRule::Setups { mm_per_sqrt_setup: 0.5 }, 1.5),
            (WeightRule::ProportionalToLength { mm_per_km: 0.7 }, 2.8),
            (WeightRule::Equal { mm: 2.0 }, 2.0),
        ] {
            let mm: Vec<f64> =
                variances_m2(&network, rule).unwrap().iter().map(|variance| variance.sqrt() * 1000.0).collect();
            assert!((mm[0] - first_mm).abs() < 1e-12 && (mm[1] - 3.0).abs() < 1e-12, "{rule:?}: {mm:?}");
        }
        let refusal = |rule| variances_m2(&network, rule).unwrap_err().to_string();
        assert_eq!(
            refusal(WeightRule::Stated),
            "section 1 (A to B) states no standard deviation: give it one, or choose a rule by length or setups"
        );
        for found in [0.0, -1.0, f64::NAN, f64::INFINITY, 1e-7] {
            assert!(
                refusal(WeightRule::Equal { mm: found }).starts_with("the rule of weights has a standard deviation of")
            );
        }
    }

    /// Forward and back, s = 1/2 sqrt(sum(d^2 / D) / N) of the mean; a single run has sqrt(2) times that.
    #[test]
    fn forward_and_back_runs_give_the_textbook_estimate() {
        let network = network(&["A 1"], &["A B 1.002", "B A -1.000", "B C 0.500", "C B -0.503", "C D 1"]).unwrap();
        let estimate = estimate_from_repeats(&network, Growth::Length).unwrap();
        let of_the_mean = 0.5 * ((4.0f64 + 9.0) / 2.0).sqrt();
        let WeightRule::Length { mm_per_sqrt_km } = estimate.rule else { panic!("{estimate:?}") };
        assert!((mm_per_sqrt_km - of_the_mean * 2f64.sqrt()).abs() < 1e-9, "{estimate:?}");
        assert_eq!(estimate.degrees_of_freedom, 2);
        assert_eq!(estimate_from_repeats(&network, Growth::Setups), None, "no setups are told");
    }
}
