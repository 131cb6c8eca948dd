//! The adjustment from end to end: weights, free, then held to the known marks.

use super::assemble::assemble;
use super::control::Control;
use super::given::Hold;
use super::lines::Role;
use super::network::Network;
use super::outcome::{Adjustment, KnownCheck, Outcome};
use super::problem::Problem;
use super::refusal::NetworkError;
use super::significance::{Levels, Sigma};
use super::variances::Cofactors;
use super::weights::{WeightRule, variances_m2};

/// How to adjust.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Options {
    /// How good each section is.
    pub weights: WeightRule,
    /// With which sigma standard deviations and intervals are given.
    pub sigma: Sigma,
    /// Levels of tests and intervals.
    pub levels: Levels,
    /// How far the effects of undetected mistakes are followed.
    pub effects: Effects,
}

/// How far the effects of undetected mistakes are followed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Effects {
    /// To the ends of the section, of which one is moved most.
    OnEnds,
    /// To every mark, for networks up to [`EXPOSURE_MAX`](super::EXPOSURE_MAX).
    OnEveryMark,
}

/// Adjusts a network by least squares: free first, then held to its known marks.
///
/// # Errors
/// A section without what the rule of weights needs, or weights too far apart for 64-bit floats.
pub fn adjust(network: &Network, options: &Options) -> Result<Outcome, NetworkError> {
    let variances = variances_m2(network, options.weights)?;
    let free = solve(network, free_roles(network), &variances, options)?;
    let known = check_known(network, &free);
    let held = match network.known.len() > network.parts.len() {
        true => Some(solve(network, held_roles(network), &variances, options)?),
        false => None,
    };
    Ok(Outcome { free, held, known })
}

/// The datum of each part held at its elevation, which is its approximate one.
fn free_roles(network: &Network) -> Vec<Role> {
    let mut roles = vec![Role::Free; network.mark_count()];
    for part in &network.parts {
        roles[part.datum.index()] = Role::Fixed(0.0);
    }
    roles
}

/// All known marks held, fixed or by their weights.
pub(super) fn held_roles(network: &Network) -> Vec<Role> {
    let mut roles = vec![Role::Free; network.mark_count()];
    for &(mark, elevation, hold) in &network.known {
        let correction = (elevation - network.approximate[mark.index()]).to_f64_m();
        roles[mark.index()] = match hold {
            Hold::Fixed => Role::Fixed(correction),
            Hold::Weighted(deviation) => Role::Weighted(correction, deviation.to_f64_m().powi(2)),
        };
    }
    roles
}

/// One adjustment with those marks held.
pub(super) fn solve(
    network: &Network,
    roles: Vec<Role>,
    variances: &[f64],
    options: &Options,
) -> Result<Adjustment, NetworkError> {
    let problem = Problem::new(network, roles, variances)?;
    let control = Control::new(&problem.lines, &problem.roles);
    let cofactors = Cofactors::new(&problem, &control);
    assemble(&problem, &control, &problem.solve(), &cofactors, options)
}

/// The known marks that the free adjustment did not hold, against what it gives for them.
fn check_known(network: &Network, free: &Adjustment) -> Vec<KnownCheck> {
    let mut own_m = vec![0.0; network.mark_count()];
    for (mark, _, hold) in &network.known {
        if let Hold::Weighted(deviation) = hold {
            own_m[mark.index()] = deviation.to_f64_m();
        }
    }
    let others = network.known.iter().filter(|(mark, ..)| network.datum_of(*mark) != *mark);
    let check = |&(mark, elevation, _)| {
        let datum = network.datum_of(mark);
        let found = &free.marks[mark.index()];
        let of_the_way_m = found.deviation_m / free.sigma_value;
        KnownCheck {
            mark,
            datum,
            difference_m: (found.elevation - elevation).to_f64_m(),
            deviation_m: of_the_way_m.hypot(own_m[mark.index()]).hypot(own_m[datum.index()]),
        }
    };
    others.map(check).collect()
}

#[cfg(test)]
mod tests {
    use super::super::example::{OPTIONS, given, metres, name, network};
    use super::super::outcome::Standing;
    use super::*;

    #[test]
    fn one_known_mark_is_the_whole_result() {
        let network = network(&["A 10"], &["A B 1", "B A -1.001"]).unwrap();
        let outcome = adjust(&network, &OPTIONS).unwrap();
        assert!(outcome.held.is_none() && outcome.known.is_empty());
        assert_eq!(outcome.last().marks[1].elevation, metres("11.0005"), "the mean of forward and back");
    }

    #[test]
    fn a_moved_mark_stands_out_against_the_free_adjustment() {
        let network = network(&["A 10", "B 12", "C 14.02"], &["A B 2", "B C 2"]).unwrap();
        let outcome = adjust(&network, &OPTIONS).unwrap();
        let told: Vec<_> =
            outcome.known.iter().map(|check| (network.name(check.mark).as_str(), check.difference_m)).collect();
        assert_eq!(told, [("B", 0.0), ("C", -0.02)]);
        assert!((outcome.known[1].deviation_m - 0.001 * 2f64.sqrt()).abs() < 1e-15);
        let held = outcome.held.unwrap();
        assert!(held.marks.iter().all(|mark| mark.standing == Standing::Held && mark.deviation_m == 0.0));
        assert_eq!(
            (held.unknowns, held.degrees_of_freedom()),
            (0, 2),
            "nothing is unknown, and the sections are tested"
        );
        assert!((held.sections[1].residual_m - 0.02).abs() < 1e-15);
    }

    #[test]
    fn without_redundancy_nothing_is_tested_and_sigma_stays_a_priori() {
        let network = network(&["A 10"], &["A B 1", "B C 1"]).unwrap();
        let options = Options { sigma: Sigma::APosteriori, ..OPTIONS };
        let outcome = adjust(&network, &options).unwrap();
        let free = outcome.last();
        assert_eq!((free.degrees_of_freedom(), free.variance_factor, free.global), (0, None, None));
        assert_eq!((free.sigma, free.sigma_value), (Sigma::APriori, 1.0));
        assert!(free.sections.iter().all(|section| section.test.is_none() && section.residual_m == 0.0));
        let hangs = |section| Standing::HangsOn(super::super::SectionId::at(section));
        assert_eq!([free.marks[1].standing, free.marks[2].standing], [hangs(0), hangs(1)]);
    }

    #[test]
    fn perfect_agreement_has_no_tau() {
        let network = network(&["A 10"], &["A B 1", "B A -1", "A B 1"]).unwrap();
        let outcome = adjust(&network, &Options { sigma: Sigma::APosteriori, ..OPTIONS }).unwrap();
        let test = outcome.last().sections[0].test.unwrap();
        assert_eq!((test.w, test.tau, outcome.last().variance_factor), (0.0, None, Some(0.0)));
    }

    #[test]
    fn deviations_too_far_apart_are_named() {
        let mut given = given(&["A 10"], &["A B 1", "B C 1", "C A -2"]);
        given.sections[1].deviation = Some(metres("0.0000000001"));
        given.sections[2].deviation = Some(metres("50"));
        let error = adjust(&Network::new(given).unwrap(), &OPTIONS).unwrap_err();
        assert_eq!(
            error.to_string(),
            "the standard deviations of section 2 (B to C) and section 3 (C to A) lie too far apart to be adjusted together: \
             look for one in the wrong unit"
        );
    }

    /// The short way is steep and weak, the long one flat and strong: the heights leave all reason after the network was
    /// found sound.
    #[test]
    fn heights_beyond_reason_are_refused_after_solving_too() {
        let chain: Vec<String> = (0..30).map(|at| format!("M{at} M{} 99999", at + 1)).collect();
        let mut sections: Vec<&str> = chain.iter().map(String::as_str).collect();
        let back: Vec<String> = (1..=30).map(|at| format!("M0 M{at} 0")).collect();
        sections.extend(back.iter().map(String::as_str));
        let mut given = given(&["M0 0"], &sections);
        given.sections[30..].iter_mut().for_each(|section| section.deviation = Some(metres("500")));
        let error = adjust(&Network::new(given).unwrap(), &OPTIONS).unwrap_err();
        assert_eq!(error, NetworkError::TooHigh { mark: name("M3"), most: metres("200000") });
    }
}
