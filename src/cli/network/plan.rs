//! `closerun plan`: what intended runs would give, before anybody goes out.

use super::sources::intended;
use super::{figures, print_as, weights};
use crate::adjust::plan::plan;
use crate::adjust::significance::{Levels, Sigma};
use crate::adjust::{Effects, Options};
use crate::cli::Failure;
use crate::cli::arguments::Plan;
use crate::cli::job::name;
use crate::report::plan as report;
use crate::report::plan::Planned;
use crate::units::Unit;

pub(in crate::cli) fn run(arguments: &Plan) -> Result<(), Failure> {
    let intended = intended(&arguments.file)?;
    let (rule, words) = weights::of_plan(arguments.weights, &intended)?;
    let levels = Levels::USUAL;
    let options = Options { weights: rule, sigma: Sigma::APriori, levels, effects: Effects::OnEveryMark };
    let outcome = plan(intended.given.clone(), &intended.extra, &options).map_err(Failure::outcome)?;
    let planned = Planned {
        file: &name(&arguments.file),
        weights: words,
        confidence: levels.confidence,
        power: levels.power,
        asked: &intended.extra,
    };
    let document = report::document(&outcome, &planned, figures(arguments.shown, Unit::Metre));
    print_as(arguments.shown, &document, report::text, report::csv)
}
