//! `closerun adjust`: runs of any number of jobs, and plain networks, adjusted together by least squares.

use std::fs::OpenOptions;
use std::io::Write;
use std::path::Path;

use super::sources::Sources;
use super::{figures, known, print_as, weights};
use crate::adjust::csv as plain;
use crate::adjust::given::Given;
use crate::adjust::observed::{Detail, Deviations};
use crate::adjust::significance::{Levels, Sigma};
use crate::adjust::{Effects, Network, NetworkError, Options, adjust};
use crate::cli::Failure;
use crate::cli::arguments::{Adjust, SigmaFlag, Weights};
use crate::report::network::{self, Origin};
use crate::units::Unit;

pub(in crate::cli) fn run(arguments: &Adjust) -> Result<(), Failure> {
    let sources = Sources::read(&arguments.files)?;
    let detail = if arguments.turning_points { Detail::TurningPoints } else { Detail::Marks };
    let deviations = match arguments.weights.weights {
        None | Some(Weights::Stated) => Deviations::Stated,
        Some(Weights::Length | Weights::Setups) => Deviations::LeftOut,
    };
    let (mut given, came) = sources.given(detail, deviations);
    known::apply(&mut given, arguments, sources.unit())?;
    let numbers = set_aside(&mut given, &arguments.set_aside)?;
    if let Some(file) = &arguments.network {
        write(file, &given, sources.unit())?;
    }
    let network = Network::new(given).map_err(|error| refused(&error))?;
    let (rule, words) = weights::of_network(arguments.weights, arguments.estimate, &sources, &network)?;
    let sigma = match arguments.sigma {
        SigmaFlag::APriori => Sigma::APriori,
        SigmaFlag::APosteriori => Sigma::APosteriori,
    };
    let options = Options { weights: rule, sigma, levels: Levels::USUAL, effects: Effects::OnEveryMark };
    let outcome = adjust(&network, &options).map_err(|error| refused(&error))?;
    let origin = Origin {
        files: sources.files.clone(),
        simulated: sources.simulated(),
        numbers,
        came,
        set_aside: arguments.set_aside.clone(),
        weights: words,
    };
    let shown = arguments.shown;
    let document = network::document(&network, &outcome, &origin, figures(shown, sources.unit()));
    print_as(shown, &document, network::text, network::csv)
}

/// Takes sections out by their numbers; gives the numbers of those that are left.
fn set_aside(given: &mut Given, wanted: &[usize]) -> Result<Vec<usize>, Failure> {
    let held = given.sections.len();
    for (at, number) in wanted.iter().enumerate() {
        if !(1..=held).contains(number) {
            return Err(Failure::input(format!("--set-aside: no section {number}: there are sections 1 to {held}")));
        }
        if wanted[..at].contains(number) {
            return Err(Failure::input(format!("--set-aside: section {number} found twice, once was wanted")));
        }
        given.set_aside.push(given.sections[number - 1].clone());
    }
    let numbers: Vec<usize> = (1..=held).filter(|number| !wanted.contains(number)).collect();
    given.sections = numbers.iter().map(|number| given.sections[number - 1].clone()).collect();
    Ok(numbers)
}

/// A refusal, with the flag that would help where there is one.
fn refused(error: &NetworkError) -> Failure {
    let flag = match error {
        NetworkError::NoKnown { .. } | NetworkError::Disconnected { .. } => " (--known MARK=ELEVATION)",
        NetworkError::LookAlike { .. } => " (--same MARK=MARK says that they are one)",
        NetworkError::Unweighted { .. } => " (--weights length --rate MM, or setups)",
        NetworkError::TwoElevations { .. } | NetworkError::TwoHolds { .. } => " (--known MARK=ELEVATION decides)",
        _ => "",
    };
    Failure::outcome(format!("{error}{flag}"))
}

fn write(file: &Path, given: &Given, unit: Unit) -> Result<(), Failure> {
    let failed = |error| Failure::outcome(format!("{}: {error}", file.display()));
    let mut opened = OpenOptions::new().write(true).create_new(true).open(file).map_err(failed)?;
    opened.write_all(plain::write(given, unit).as_bytes()).map_err(failed)
}
