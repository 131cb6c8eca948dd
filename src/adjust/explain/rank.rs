//! The candidates in order: those that nothing tells apart taken together, each against plain noise and against the rest.

use std::collections::HashMap;
use std::mem::Discriminant;

use super::candidates::{Candidate, Footprint};
use super::conditions::{Conditions, length};
use super::{CAUSES_MAX, Cause, Mistake, Probe, Site};
use crate::book::event::Taken;

/// Larger odds are not told apart, so that they stay numbers.
const LN_ODDS_MAX: f64 = 600.0;

/// What is a million times less likely than the likeliest is counted, and not told.
const LN_BESIDE_BEST: f64 = -13.8;

/// Causes with their sites, the likeliest first: at most [`CAUSES_MAX`], the number of those left out, and the share that
/// plain noise has.
pub(super) fn rank(conditions: &Conditions<'_>, candidates: Vec<Candidate>) -> (Vec<Cause>, usize, f64) {
    let mut groups: Vec<Vec<Candidate>> = Vec::new();
    let mut numbers: HashMap<(Discriminant<Mistake>, Footprint), usize> = HashMap::new();
    for candidate in candidates.into_iter().filter(|candidate| candidate.ln_odds.is_finite()) {
        let fresh = groups.len();
        let number = match &candidate.footprint {
            Footprint::Alone => fresh,
            together => *numbers.entry((std::mem::discriminant(&candidate.mistake), together.clone())).or_insert(fresh),
        };
        if number == fresh {
            groups.push(Vec::new());
        }
        groups[number].push(candidate);
    }
    let ln_odds = |group: &[Candidate]| ln_sum(group.iter().map(|candidate| candidate.ln_odds));
    let mut groups: Vec<(f64, Vec<Candidate>)> = groups.into_iter().map(|group| (ln_odds(&group), group)).collect();
    groups.sort_by(|one, other| other.0.total_cmp(&one.0));
    // Plain noise is one of the hypotheses: its odds against itself are 1.
    let all = ln_sum(groups.iter().map(|(ln_odds, _)| *ln_odds).chain([0.0]));

    let count = groups.len();
    let best = groups.first().map_or(0.0, |(ln_odds, _)| *ln_odds);
    let mut kept = Vec::new();
    let mut tried = 0;
    for (ln_odds, group) in groups.into_iter().take_while(|(ln_odds, _)| *ln_odds >= best + LN_BESIDE_BEST) {
        tried += 1;
        kept.extend(cause(conditions, ln_odds, ln_odds - all, group));
        if kept.len() == CAUSES_MAX {
            break;
        }
    }
    (kept, count - tried, (-all).exp())
}

/// Logarithm of the sum of numbers whose logarithms are given.
fn ln_sum(logarithms: impl Iterator<Item = f64> + Clone) -> f64 {
    let largest = logarithms.clone().fold(f64::NEG_INFINITY, f64::max);
    if largest.is_finite() { largest + logarithms.map(|ln| (ln - largest).exp()).sum::<f64>().ln() } else { largest }
}

/// A group as one cause, its likeliest site first, with the closure that accepting it would give, to the last digit. None
/// if the book would not close then.
fn cause(conditions: &Conditions<'_>, ln_odds: f64, ln_share: f64, mut group: Vec<Candidate>) -> Option<Cause> {
    group.sort_by(|one, other| other.ln_odds.total_cmp(&one.ln_odds));
    let (mistake, after_mm) = (group[0].mistake.clone(), group[0].after_mm);
    let sites: Vec<Site> = group.into_iter().map(|candidate| candidate.site).collect();
    let after = match &sites[..] {
        [Site { taken: Taken::Booked, .. }] | [_, _, ..] => length(after_mm),
        [site] => conditions.supposed(&site.taken)?.0,
        [] => return None,
    };
    let probe = probe(conditions, &sites);
    Some(Cause { mistake, sites, after, odds: ln_odds.min(LN_ODDS_MAX).exp(), share: ln_share.exp(), probe })
}

/// A shot at the likeliest site, or at the middle one of several in one run.
fn probe(conditions: &Conditions<'_>, sites: &[Site]) -> Option<Probe> {
    match sites {
        [site] => site.probe(conditions),
        sites => {
            let mut setups: Vec<&Site> = sites.iter().filter(|site| site.run == conditions.run.number).collect();
            setups.sort_by_key(|site| site.setup);
            setups.get(setups.len() / 2)?.probe(conditions)
        }
    }
}
