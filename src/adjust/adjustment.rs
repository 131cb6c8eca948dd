//! The adjustment from end to end: weights, free, then held to the known marks.

use super::approximate::SUM_MAX;
use super::control::Control;
use super::exposure::exposure;
use super::lines::{Role, Spread};
use super::network::{Hold, MarkId, Network};
use super::outcome::{
    AdjustedKnown, AdjustedMark, AdjustedSection, Adjustment, KnownCheck, Outcome, SingleTest, Standing,
};
use super::problem::Problem;
use super::refusal::NetworkError;
use super::tests::{Critical, GlobalTest, Levels, Sigma, interval_multiplier};
use super::variances::{Cofactors, SectionCofactors};
use super::weights::{WeightRule, variances_m2};
use crate::units::Length;

/// How to adjust.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Options {
    /// How good each section is.
    pub weights: WeightRule,
    /// With which sigma standard deviations and intervals are given.
    pub sigma: Sigma,
    /// Levels of tests and intervals.
    pub levels: Levels,
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
    let solution = problem.solve();
    let cofactors = Cofactors::new(&problem, &control);
    assemble(&problem, &control, &solution, &cofactors, options)
}

fn assemble(
    problem: &Problem<'_>,
    control: &Control,
    solution: &Spread,
    cofactors: &Cofactors,
    options: &Options,
) -> Result<Adjustment, NetworkError> {
    let Problem { network, roles, variances, .. } = problem;
    let weighted: Vec<(MarkId, f64, f64)> = network
        .known
        .iter()
        .filter_map(|&(mark, ..)| match roles[mark.index()] {
            Role::Weighted(correction, variance) => {
                Some((mark, solution.corrections[mark.index()] - correction, variance))
            }
            Role::Free | Role::Fixed(_) => None,
        })
        .collect();
    let observations = variances.len() + weighted.len();
    let unknowns = roles.iter().filter(|role| !matches!(role, Role::Fixed(_))).count();
    let weighted_squares =
        solution.squares + weighted.iter().map(|(_, residual, variance)| residual * residual / variance).sum::<f64>();

    let degrees_of_freedom = observations - unknowns;
    let variance_factor = (degrees_of_freedom > 0).then(|| weighted_squares / degrees_of_freedom as f64);
    let sigma_posterior = variance_factor.map(f64::sqrt);
    let (sigma, sigma_value) = match (options.sigma, sigma_posterior) {
        (Sigma::APosteriori, Some(value)) => (Sigma::APosteriori, value),
        (Sigma::APosteriori, None) | (Sigma::APriori, _) => (Sigma::APriori, 1.0),
    };
    let critical = Critical::new(&options.levels, degrees_of_freedom);
    let tester = Tester { critical, sigma_posterior };

    let marks = marks(problem, control, solution, cofactors, sigma_value)?;
    let sections =
        network.sections.iter().zip(&solution.residuals).zip(cofactors.sections.iter().zip(variances.iter()));
    let sections = sections
        .map(|((section, &residual_m), (cofactor, variance))| AdjustedSection {
            rise: marks[section.to.index()].elevation - marks[section.from.index()].elevation,
            deviation_m: sigma_value * (variance * (1.0 - cofactor.redundancy)).sqrt(),
            residual_m,
            redundancy: cofactor.redundancy,
            test: tester.test(residual_m, *variance, cofactor, [section.from, section.to]),
        })
        .collect();
    let weighted = weighted
        .into_iter()
        .map(|(mark, residual_m, variance)| {
            let bare = control.bare_known.iter().any(|&junction| problem.lines.junctions[junction as usize] == mark);
            let redundancy = if bare { 0.0 } else { cofactors.known_redundancy(mark.index(), roles[mark.index()]) };
            let cofactor = SectionCofactors { redundancy, at_from: 0.0, at_to: 1.0 - redundancy };
            AdjustedKnown {
                mark,
                residual_m,
                redundancy,
                test: tester.test(residual_m, variance, &cofactor, [mark, mark]),
            }
        })
        .collect();

    Ok(Adjustment {
        observations,
        unknowns,
        weighted_squares,
        variance_factor,
        global: GlobalTest::new(weighted_squares, degrees_of_freedom, &options.levels),
        sigma,
        sigma_value,
        interval_multiplier: interval_multiplier(sigma, &options.levels, degrees_of_freedom),
        levels: options.levels,
        critical,
        marks,
        sections,
        weighted,
        exposure: exposure(problem, control, cofactors, critical.detectable),
    })
}

fn marks(
    problem: &Problem<'_>,
    control: &Control,
    solution: &Spread,
    cofactors: &Cofactors,
    sigma_value: f64,
) -> Result<Vec<AdjustedMark>, NetworkError> {
    let one = |mark: usize| {
        let correction =
            Length::from_f64_m(solution.corrections[mark]).filter(|correction| correction.abs() <= SUM_MAX);
        let too_high = || NetworkError::TooHigh { mark: problem.network.names[mark].clone(), most: SUM_MAX };
        let correction = correction.ok_or_else(too_high)?;
        Ok(AdjustedMark {
            elevation: problem.network.approximate[mark] + correction,
            deviation_m: sigma_value * cofactors.marks[mark].sqrt(),
            standing: match (problem.roles[mark], control.hangs_on[mark]) {
                (Role::Fixed(_), _) => Standing::Held,
                (_, Some(section)) => Standing::HangsOn(section),
                (_, None) => Standing::Checked,
            },
        })
    };
    (0..problem.roles.len()).map(one).collect()
}

/// What the test of each observation is made with.
struct Tester {
    critical: Critical,
    sigma_posterior: Option<f64>,
}

impl Tester {
    fn test(
        &self,
        residual_m: f64,
        variance: f64,
        cofactor: &SectionCofactors,
        [from, to]: [MarkId; 2],
    ) -> Option<SingleTest> {
        let &SectionCofactors { redundancy, at_from, at_to } = cofactor;
        (redundancy > 0.0).then(|| {
            let deviation_m = variance.sqrt();
            let w = residual_m / (deviation_m * redundancy.sqrt());
            let detectable_m = self.critical.detectable * deviation_m / redundancy.sqrt();
            let (moves, share) = if at_to >= at_from { (to, at_to) } else { (from, -at_from) };
            SingleTest {
                w,
                tau: self.sigma_posterior.filter(|sigma| *sigma > 0.0).map(|sigma| w / sigma),
                mistake_m: -residual_m / redundancy,
                detectable_m,
                moves,
                moves_by_m: share * detectable_m,
            }
        })
    }
}

/// The known marks that the free adjustment did not hold, against what it gives for them.
fn check_known(network: &Network, free: &Adjustment) -> Vec<KnownCheck> {
    let datums: Vec<MarkId> = network.parts.iter().map(|part| part.datum).collect();
    let others = network.known.iter().filter(|(mark, ..)| !datums.contains(mark));
    let own_m = |mark: MarkId| match network.known.iter().find(|known| known.0 == mark) {
        Some(&(_, _, Hold::Weighted(deviation))) => deviation.to_f64_m(),
        Some((_, _, Hold::Fixed)) | None => 0.0,
    };
    others
        .map(|&(mark, elevation, _)| {
            let datum = network.datum_of(mark);
            let AdjustedMark { elevation: found, deviation_m, .. } = free.marks[mark.index()];
            KnownCheck {
                mark,
                datum,
                difference_m: (found - elevation).to_f64_m(),
                deviation_m: (deviation_m / free.sigma_value).hypot(own_m(mark)).hypot(own_m(datum)),
            }
        })
        .collect()
}
