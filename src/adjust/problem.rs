//! One adjustment set up: the network with its weights and its held marks, taken apart, its equations factored.
//!
//! Its factor serves the solution, the variances and what undetected mistakes could do.

use super::equations::Equations;
use super::lines::{Lines, Role, SectionValues, Spread};
use super::network::{MarkId, Network, SectionId};
use super::refusal::{NetworkError, ObservationName};
use super::solve::Factor;
use crate::book::reading::PointName;

/// A network that is ready to be solved.
pub(super) struct Problem<'a> {
    pub network: &'a Network,
    pub roles: Vec<Role>,
    pub variances: &'a [f64],
    pub lines: Lines,
    pub equations: Equations,
    /// `None` where no junction is unknown: between held marks there are only single lines and spurs.
    pub factor: Option<Factor>,
}

impl<'a> Problem<'a> {
    /// Takes the network apart and factors its equations.
    pub(super) fn new(network: &'a Network, roles: Vec<Role>, variances: &'a [f64]) -> Result<Self, NetworkError> {
        check_even(network, &roles, variances)?;
        let lines = Lines::new(network, &roles, variances);
        let equations = Equations::new(&lines, &roles);
        let factor = match equations.len() {
            0 => None,
            _ => match Factor::new(&equations) {
                None => return Err(too_uneven(network, &roles, variances)),
                factor => factor,
            },
        };
        Ok(Problem { network, roles, variances, lines, equations, factor })
    }

    /// Corrections and residuals for the observed rises.
    pub(super) fn solve(&self) -> Spread {
        let sections = self.network.sections.iter();
        let misfits: Vec<f64> = sections.map(|section| self.network.misfit(section).to_f64_m()).collect();
        let of_lines = self.lines.misfits(&misfits);
        let mut solution = self.equations.right_side(&self.lines, &self.roles, &of_lines);
        if let Some(factor) = &self.factor {
            factor.solve(&mut solution);
        }
        let correction = |(unknown, mark): (&Option<u32>, &MarkId)| match (unknown, self.roles[mark.index()]) {
            (Some(unknown), _) => solution[*unknown as usize],
            (None, Role::Fixed(correction)) => correction,
            (None, Role::Free | Role::Weighted(..)) => unreachable!("only a fixed junction is no unknown"),
        };
        let at_junctions: Vec<f64> = self.equations.unknown.iter().zip(&self.lines.junctions).map(correction).collect();
        let sections = SectionValues { misfits: &misfits, variances: self.variances };
        self.lines.spread(&at_junctions, &of_lines, &sections, self.roles.len())
    }
}

/// Variances may differ by this factor, standard deviations by a million: sums of weights then keep four digits of the
/// smallest, of the sixteen that a float has.
const UNEVEN_MAX: f64 = 1e12;

fn check_even(network: &Network, roles: &[Role], variances: &[f64]) -> Result<(), NetworkError> {
    let of_known =
        roles.iter().filter_map(|role| if let Role::Weighted(_, variance) = role { Some(variance) } else { None });
    let range = |(least, most): (f64, f64), variance: &f64| (least.min(*variance), most.max(*variance));
    let (least, most) = variances.iter().chain(of_known).fold((f64::INFINITY, 0.0), range);
    if most <= UNEVEN_MAX * least { Ok(()) } else { Err(too_uneven(network, roles, variances)) }
}

pub(super) fn too_uneven(network: &Network, roles: &[Role], variances: &[f64]) -> NetworkError {
    let of_section =
        |(at, variance): (usize, &f64)| (*variance, ObservationName::Section(network.section_name(SectionId::at(at))));
    let of_known = |(role, name): (&Role, &PointName)| match role {
        Role::Weighted(_, variance) => Some((*variance, ObservationName::Known(name.clone()))),
        Role::Free | Role::Fixed(_) => None,
    };
    let mut all: Vec<(f64, ObservationName)> = variances.iter().enumerate().map(of_section).collect();
    all.extend(roles.iter().zip(network.names()).filter_map(of_known));
    all.sort_by(|one, other| one.0.total_cmp(&other.0));
    match (all.first(), all.last()) {
        (Some((_, smallest)), Some((_, largest))) => {
            NetworkError::TooUneven { observations: [smallest.clone(), largest.clone()] }
        }
        _ => unreachable!("a network has a section"),
    }
}
