//! From flags to a rule of weights, with the words that say where it comes from.

use super::sources::Sources;
use crate::adjust::csv::Intended;
use crate::adjust::observed::instrument_rule;
use crate::adjust::weights::{Growth, estimate_from_repeats};
use crate::adjust::{Network, WeightRule};
use crate::cli::Failure;
use crate::cli::arguments::{WeightFlags, Weights};

/// Deviation of a setup with one reading of 0.3 mm a sight, and of a kilometre of sights of 25 m, mm: what a plan is weighed
/// by that says nothing. Common practice, no source.
const USUAL_MM: (f64, f64) = (0.42, 1.9);

/// By what a flag wants deviations to grow; `None` where each section states its own.
pub(super) fn growth(weights: Weights) -> Option<Growth> {
    match weights {
        Weights::Length => Some(Growth::Length),
        Weights::Setups => Some(Growth::Setups),
        Weights::Stated => None,
    }
}

/// The rule for a network that was levelled.
pub(super) fn of_network(
    flags: WeightFlags,
    estimate: bool,
    sources: &Sources,
    network: &Network,
) -> Result<(WeightRule, String), Failure> {
    let Some(growth) = flags.weights.and_then(growth) else {
        if flags.rate.is_some() || estimate {
            return Err(Failure::input("--rate and --estimate go with --weights length or --weights setups"));
        }
        let words = "each section's own deviation: as its file states it, or what its instrument states for a reading, over \
                     its setups";
        return Ok((WeightRule::Stated, words.to_owned()));
    };
    if let Some(mm) = flags.rate {
        let rule = rule(growth, mm);
        return Ok((rule, format!("{}, as given", rule_words(rule))));
    }
    if estimate {
        let Some(estimate) = estimate_from_repeats(network, growth) else {
            return Err(Failure::outcome(
                "no section was levelled twice between the same marks: nothing to estimate a rate from, give one with --rate",
            ));
        };
        let differences = match estimate.degrees_of_freedom {
            1 => "1 difference".to_owned(),
            many => format!("{many} differences"),
        };
        let words = format!("{}, estimated from {differences} of sections levelled again", rule_words(estimate.rule));
        return Ok((estimate.rule, words));
    }
    match instrument_rule(&sources.jobs(), growth) {
        Some(rule) => Ok((rule, format!("{}, as the instruments of the jobs let expect", rule_words(rule)))),
        None => {
            Err(Failure::input("no job says how good its instrument is: give a rate in mm with --rate, or --estimate"))
        }
    }
}

/// The rule for runs that are intended.
pub(super) fn of_plan(flags: WeightFlags, plan: &Intended) -> Result<(WeightRule, String), Failure> {
    let runs = || plan.given.sections.iter().chain(&plan.extra);
    let weights = flags.weights.unwrap_or({
        if runs().all(|run| run.deviation.is_some()) {
            Weights::Stated
        } else if runs().all(|run| run.deviation.is_some() || run.setups.is_some()) {
            Weights::Setups
        } else {
            Weights::Length
        }
    });
    let Some(growth) = growth(weights) else {
        return match flags.rate {
            Some(_) => Err(Failure::input("--rate goes with --weights length or --weights setups")),
            None => Ok((WeightRule::Stated, "each run's own deviation, as the plan states it".to_owned())),
        };
    };
    let usual = if growth == Growth::Setups { USUAL_MM.0 } else { USUAL_MM.1 };
    let rule = rule(growth, flags.rate.unwrap_or(usual));
    let source = if flags.rate.is_some() { "as given" } else { "common practice, no source" };
    Ok((rule, format!("{}, {source}", rule_words(rule))))
}

fn rule(growth: Growth, mm: f64) -> WeightRule {
    match growth {
        Growth::Length => WeightRule::Length { mm_per_sqrt_km: mm },
        Growth::Setups => WeightRule::Setups { mm_per_sqrt_setup: mm },
    }
}

fn rule_words(rule: WeightRule) -> String {
    match rule {
        WeightRule::Length { mm_per_sqrt_km } => format!("{mm_per_sqrt_km:.3} mm per root km"),
        WeightRule::Setups { mm_per_sqrt_setup } => format!("{mm_per_sqrt_setup:.3} mm per root setup"),
        WeightRule::ProportionalToLength { mm_per_km } => format!("{mm_per_km:.3} mm per km"),
        WeightRule::Equal { mm } => format!("{mm:.3} mm for each"),
        WeightRule::Stated => "as stated".to_owned(),
    }
}
