//! From corrections and cofactors to what is told of each mark, section and known elevation.

use super::adjustment::{Effects, Options};
use super::approximate::SUM_MAX;
use super::control::Control;
use super::exposure::exposure;
use super::lines::{Role, Spread};
use super::network::MarkId;
use super::outcome::{AdjustedKnown, AdjustedMark, AdjustedSection, Adjustment, SingleTest, Standing};
use super::problem::Problem;
use super::refusal::NetworkError;
use super::significance::{Critical, GlobalTest, Sigma, interval_multiplier};
use super::variances::{Cofactors, SectionCofactors};
use crate::units::Length;

/// Puts an adjustment together.
///
/// # Errors
/// When a mark comes out beyond any height on land.
pub(super) fn assemble(
    problem: &Problem<'_>,
    control: &Control,
    solution: &Spread,
    cofactors: &Cofactors,
    options: &Options,
) -> Result<Adjustment, NetworkError> {
    let known = known_residuals(problem, solution);
    let observations = problem.variances.len() + known.len();
    let unknowns = problem.roles.iter().filter(|role| !matches!(role, Role::Fixed(_))).count();
    let degrees_of_freedom = observations - unknowns;

    let of_known: f64 = known.iter().map(|known| known.residual_m * known.residual_m / known.variance).sum();
    let weighted_squares = solution.squares + of_known;
    let variance_factor = (degrees_of_freedom > 0).then(|| weighted_squares / degrees_of_freedom as f64);
    let sigma_posterior = variance_factor.map(f64::sqrt);
    let (sigma, sigma_value) = match (options.sigma, sigma_posterior) {
        (Sigma::APosteriori, Some(value)) => (Sigma::APosteriori, value),
        (Sigma::APosteriori, None) | (Sigma::APriori, _) => (Sigma::APriori, 1.0),
    };
    let critical = Critical::new(&options.levels, degrees_of_freedom);
    let tester = Tester { detectable: critical.detectable, sigma_posterior };
    let marks = marks(problem, control, solution, cofactors, sigma_value)?;
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
        sections: sections(problem, solution, cofactors, &marks, &tester, sigma_value),
        weighted: weighted(problem, control, cofactors, &known, &tester),
        marks,
        exposure: match options.effects {
            Effects::OnEnds => None,
            Effects::OnEveryMark => exposure(problem, control, cofactors, critical.detectable),
        },
    })
}

/// A weighted mark against its known elevation.
struct KnownResidual {
    mark: MarkId,
    residual_m: f64,
    /// Of the known elevation, m^2.
    variance: f64,
}

fn known_residuals(problem: &Problem<'_>, solution: &Spread) -> Vec<KnownResidual> {
    let residual = |&(mark, ..): &(MarkId, _, _)| match problem.roles[mark.index()] {
        Role::Weighted(correction, variance) => {
            Some(KnownResidual { mark, residual_m: solution.corrections[mark.index()] - correction, variance })
        }
        Role::Free | Role::Fixed(_) => None,
    };
    problem.network.known.iter().filter_map(residual).collect()
}

fn marks(
    problem: &Problem<'_>,
    control: &Control,
    solution: &Spread,
    cofactors: &Cofactors,
    sigma_value: f64,
) -> Result<Vec<AdjustedMark>, NetworkError> {
    let one = |mark: usize| {
        let correction = Length::from_f64_m(solution.corrections[mark]).filter(|length| length.abs() <= SUM_MAX);
        let too_high = || NetworkError::TooHigh { mark: problem.network.names[mark].clone(), most: SUM_MAX };
        Ok(AdjustedMark {
            elevation: problem.network.approximate[mark] + correction.ok_or_else(too_high)?,
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

fn sections(
    problem: &Problem<'_>,
    solution: &Spread,
    cofactors: &Cofactors,
    marks: &[AdjustedMark],
    tester: &Tester,
    sigma_value: f64,
) -> Vec<AdjustedSection> {
    let one = |(at, section): (usize, &super::Section<MarkId>)| {
        let (residual_m, variance, cofactor) = (solution.residuals[at], problem.variances[at], &cofactors.sections[at]);
        let [from, to] = [section.from, section.to].map(|mark| marks[mark.index()].elevation);
        AdjustedSection {
            rise: to - from,
            deviation_m: sigma_value * (variance * (1.0 - cofactor.redundancy)).sqrt(),
            residual_m,
            redundancy: cofactor.redundancy,
            test: tester.test(residual_m, variance, cofactor, [section.from, section.to]),
        }
    };
    problem.network.sections.iter().enumerate().map(one).collect()
}

fn weighted(
    problem: &Problem<'_>,
    control: &Control,
    cofactors: &Cofactors,
    known: &[KnownResidual],
    tester: &Tester,
) -> Vec<AdjustedKnown> {
    let bare: Vec<MarkId> =
        control.bare_known.iter().map(|junction| problem.lines.junctions[*junction as usize]).collect();
    let one = |&KnownResidual { mark, residual_m, variance }: &KnownResidual| {
        let redundancy = if bare.contains(&mark) { 0.0 } else { cofactors.known_redundancy(mark, variance) };
        let cofactor = SectionCofactors { redundancy, at_from: 0.0, at_to: 1.0 - redundancy };
        AdjustedKnown { mark, residual_m, redundancy, test: tester.test(residual_m, variance, &cofactor, [mark, mark]) }
    };
    known.iter().map(one).collect()
}

/// What the test of each observation is made with.
struct Tester {
    /// Smallest detectable mistake in units of sigma / sqrt(r).
    detectable: f64,
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
            let detectable_m = self.detectable * deviation_m / redundancy.sqrt();
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
