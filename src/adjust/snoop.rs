//! Data snooping: which single observation is the likeliest to hold a mistake. Proposed, never applied.
//!
//! One at a time: a mistake spreads into the residuals of its neighbours, so the largest statistic is taken, a person
//! decides ([`Network::without`](super::Network::without)), and the network is adjusted anew.
//!
//! Source: Baarda 1968, from memory. Checked against: planted mistakes in generated networks.

use super::network::{MarkId, SectionId};
use super::outcome::{Adjustment, SingleTest};
use super::significance::Sigma;

/// Statistics that agree so closely are equal: they are so by geometry, and differ by rounding only. A redundancy number
/// keeps at least six digits where it is not lost altogether.
const SAME: f64 = 1e-6;

/// An observation that can be taken out.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Suspect {
    /// A section.
    Section(SectionId),
    /// A known elevation that is weighted.
    Known(MarkId),
}

/// What data snooping would take out.
#[derive(Clone, Debug, PartialEq)]
pub struct Proposal {
    /// Those with the largest statistic. More than one where the geometry cannot tell them apart: all sections of a line
    /// between two junctions, and all of a single loop.
    pub suspects: Vec<(Suspect, SingleTest)>,
    /// Their statistic, |w| or |tau|.
    pub statistic: f64,
    /// What it exceeds.
    pub critical: f64,
}

/// The observation to doubt first, by the test with that sigma; `None` where nothing exceeds its critical value.
pub fn propose(adjustment: &Adjustment, sigma: Sigma) -> Option<Proposal> {
    let critical = match sigma {
        Sigma::APriori => adjustment.critical.w,
        Sigma::APosteriori => adjustment.critical.tau?,
    };
    let size = |test: &SingleTest| match sigma {
        Sigma::APriori => Some(test.w.abs()),
        Sigma::APosteriori => test.tau.map(f64::abs),
    };
    let sections = adjustment.sections.iter().enumerate();
    let sections = sections.map(|(at, section)| (Suspect::Section(SectionId::at(at)), section.test));
    let known = adjustment.weighted.iter().map(|known| (Suspect::Known(known.mark), known.test));
    let tested =
        || sections.clone().chain(known.clone()).filter_map(|(suspect, test)| Some((suspect, test?, size(&test?)?)));

    let statistic = tested().map(|(.., size)| size).fold(0.0, f64::max);
    if statistic <= critical {
        return None;
    }
    let as_large = tested().filter(|(.., size)| *size >= statistic * (1.0 - SAME));
    Some(Proposal { suspects: as_large.map(|(suspect, test, _)| (suspect, test)).collect(), statistic, critical })
}

#[cfg(test)]
mod tests {
    use super::super::example::{OPTIONS, network};
    use super::super::{Network, adjust};
    use super::*;

    fn proposed(network: &Network) -> Option<(Vec<String>, f64)> {
        let outcome = adjust(network, &OPTIONS).unwrap();
        propose(outcome.last(), Sigma::APriori).map(|proposal| {
            let name = |suspect: &Suspect| match suspect {
                Suspect::Section(section) => network.section_name(*section).to_string(),
                Suspect::Known(mark) => network.name(*mark).to_string(),
            };
            let names = proposal.suspects.iter().map(|(suspect, _)| name(suspect)).collect();
            (names, proposal.suspects[0].1.mistake_m)
        })
    }

    #[test]
    fn a_planted_centimetre_is_found_where_geometry_can_tell() {
        let network = network(&["A 0"], &["A B 1", "B C 1", "C D 1", "D A -3", "A C 2", "B D 2.01"]).unwrap();
        let (names, mistake_m) = proposed(&network).unwrap();
        assert_eq!(names, ["section 6 (B to D)"]);
        assert!((mistake_m - 0.01).abs() < 1e-9, "{mistake_m}");
        let without = network.without(Suspect::Section(SectionId(5))).unwrap();
        assert_eq!(proposed(&without), None, "the rest agrees");
    }

    #[test]
    fn a_single_loop_cannot_tell_where() {
        let network = network(&["A 0"], &["A B 1", "B C 1", "C A -2.02"]).unwrap();
        let (names, _) = proposed(&network).unwrap();
        assert_eq!(names, ["section 1 (A to B)", "section 2 (B to C)", "section 3 (C to A)"]);
    }
}
