//! Before going out: what the intended runs would give, and which extra run would help most.
//!
//! Nothing here needs a reading. Variances, redundancy numbers and smallest detectable mistakes follow from who is joined
//! to whom and how well.
//!
//! An extra run helps more if it puts more marks under check, which so far hang on a single line; among equals, if it takes
//! more off the sum of all variances (`trials`). What it costs is for the reader to weigh: its own standard deviation, and
//! length or setups where they are known, are told with it.

use super::adjustment::{Effects, Options, held_roles, solve};
use super::given::{Given, KnownMark, Section};
use super::network::{MarkId, Network};
use super::outcome::{Exposure, Standing};
use super::refusal::{NetworkError, SectionName};
use super::significance::Sigma;
use super::trials::{Trial, Trials};
use super::weights::{deviation_of, variances_m2};
use crate::book::reading::PointName;
use crate::units::Length;

/// So many extra runs are told, the best first: as many as one would read.
pub const EXTRA_MAX: usize = 10;

/// What the intended runs would give.
#[derive(Clone, Debug, PartialEq)]
pub struct Plan {
    /// The network, which has the names; its heights say nothing.
    pub network: Network,
    /// Redundant observations.
    pub degrees_of_freedom: usize,
    /// Half an interval over the standard deviation.
    pub interval_multiplier: f64,
    /// Of each mark of the network.
    pub marks: Vec<PlannedMark>,
    /// Of each run, in the order of the network's sections.
    pub runs: Vec<PlannedRun>,
    /// Extra runs, the most helpful first, at most [`EXTRA_MAX`].
    pub extra: Vec<ExtraRun>,
}

/// What a mark would have.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PlannedMark {
    /// Standard deviation of its elevation, m.
    pub deviation_m: f64,
    /// What would stand behind it.
    pub standing: Standing,
    /// The worst that a mistake in a single run, too small to be found, could do to it. `None` where it is held, where
    /// nothing is checked, and for networks beyond [`super::EXPOSURE_MAX`].
    pub exposure: Option<Exposure>,
}

/// What a run would have.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PlannedRun {
    /// The share of a mistake that would show in its residual.
    pub redundancy: f64,
    /// The smallest mistake that would be found with the stated power, m; `None` where nothing checks the run.
    pub detectable_m: Option<f64>,
}

/// A run that could be added.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ExtraRun {
    /// From here.
    pub from: MarkId,
    /// To here.
    pub to: MarkId,
    /// Where it comes from.
    pub origin: Origin,
    /// Its own standard deviation, m.
    pub run_deviation_m: f64,
    /// How many marks it would put under check.
    pub newly_checked: usize,
    /// The largest standard deviation of any mark with it, m.
    pub worst_m: f64,
    /// Root of the mean variance of the marks with it, m.
    pub mean_m: f64,
}

/// Where an extra run comes from.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Origin {
    /// It was handed in, in this place of the list.
    Asked(usize),
    /// It goes again over intended runs, by the way with the least variance, of this length and number of setups where all
    /// of them say so.
    Again {
        /// How far.
        length: Option<Length>,
        /// In how many setups.
        setups: Option<u32>,
    },
}

/// Works out what the intended runs would give. `extra` are runs that could be added; if there are none, pairs of marks are
/// tried, along the intended runs.
///
/// # Errors
/// As [`Network::new`] and [`super::adjust`]; an extra run must join two marks of the network.
pub fn plan(given: Given, extra: &[Section<PointName>], options: &Options) -> Result<Plan, NetworkError> {
    let network = Network::new(flat(given))?;
    let options = Options { sigma: Sigma::APriori, effects: Effects::OnEveryMark, ..*options };
    let variances = variances_m2(&network, options.weights)?;
    let adjustment = solve(&network, held_roles(&network), &variances, &options)?;
    let mut trials = Trials::new(&network, &variances, &adjustment)?;
    let trials = match extra {
        [] => trials.of_pairs(),
        asked => trials.of(&asked_for(&network, asked, &options)?),
    };
    let exposure = |mark: usize| adjustment.exposure.as_ref().and_then(|exposure| exposure[mark]);
    let marks = adjustment.marks.iter().enumerate().map(|(at, mark)| PlannedMark {
        deviation_m: mark.deviation_m,
        standing: mark.standing,
        exposure: exposure(at),
    });
    let runs = adjustment
        .sections
        .iter()
        .map(|run| PlannedRun { redundancy: run.redundancy, detectable_m: run.test.map(|test| test.detectable_m) });
    Ok(Plan {
        degrees_of_freedom: adjustment.degrees_of_freedom(),
        interval_multiplier: adjustment.interval_multiplier,
        marks: marks.collect(),
        runs: runs.collect(),
        extra: trials,
        network,
    })
}

/// The same network with every height zero: in a plan they say nothing, and half of them may be made up.
fn flat(given: Given) -> Given {
    let known = given.known.into_iter().map(|known| KnownMark { elevation: Length::ZERO, ..known });
    let sections = given.sections.into_iter().map(|section| Section { rise: Length::ZERO, ..section });
    Given { known: known.collect(), sections: sections.collect(), ..given }
}

/// The runs that were handed in, between marks of the network, with their variances.
fn asked_for(network: &Network, extra: &[Section<PointName>], options: &Options) -> Result<Vec<Trial>, NetworkError> {
    let trial = |(at, run): (usize, &Section<PointName>)| {
        let find =
            |name: &PointName| network.find(name).ok_or_else(|| NetworkError::UnknownMark { mark: name.clone() });
        let (from, to) = (find(&run.from)?, find(&run.to)?);
        let deviation = deviation_of(run, options.weights).map_err(|quantity| NetworkError::Unweighted {
            section: SectionName { number: at + 1, from: run.from.clone(), to: run.to.clone() },
            quantity,
        })?;
        Ok(Trial { from, to, variance: deviation * deviation, origin: Origin::Asked(at) })
    };
    extra.iter().enumerate().map(trial).collect()
}

#[cfg(test)]
mod tests {
    use super::super::adjust;
    use super::super::example::{OPTIONS, given, name, section};
    use super::*;

    /// A loop A B C, a spur C D E.
    fn spur() -> Given {
        given(&["A 7"], &["A B 0", "B C 0", "C A 0", "C D 0", "D E 0"])
    }

    #[test]
    fn the_best_extra_run_checks_the_marks_that_hang() {
        let plan = plan(spur(), &[], &OPTIONS).unwrap();
        let standing: Vec<_> = plan.marks.iter().map(|mark| mark.standing).collect();
        let hangs_on = |section| Standing::HangsOn(crate::adjust::SectionId::at(section));
        assert_eq!(standing, [Standing::Held, Standing::Checked, Standing::Checked, hangs_on(3), hangs_on(4)]);
        assert_eq!(plan.runs[4].detectable_m, None, "nothing checks the spur");
        let best = plan.extra[0];
        assert_eq!(plan.network.name(best.to), &name("E"));
        assert_eq!(best.newly_checked, 2, "{best:?}");
    }

    #[test]
    fn an_extra_run_does_what_was_foretold() {
        let asked = [section("B E 0"), section("D E 0"), section("A B 0")];
        let plan = plan(spur(), &asked, &OPTIONS).unwrap();
        assert_eq!(plan.extra.len(), 3);
        for extra in &plan.extra {
            let Origin::Asked(at) = extra.origin else { panic!("{extra:?}") };
            let mut with = spur();
            with.sections.push(asked[at].clone());
            let outcome = adjust(&Network::new(with).unwrap(), &OPTIONS).unwrap();
            let marks = &outcome.last().marks;
            let worst = marks.iter().map(|mark| mark.deviation_m).fold(0.0, f64::max);
            let mean = (marks.iter().map(|mark| mark.deviation_m.powi(2)).sum::<f64>() / 4.0).sqrt();
            assert!(
                (extra.worst_m - worst).abs() < 1e-12 && (extra.mean_m - mean).abs() < 1e-12,
                "{extra:?} {worst} {mean}"
            );
            let unchecked = |standing: Standing| matches!(standing, Standing::HangsOn(_));
            let before = plan.marks.iter().filter(|mark| unchecked(mark.standing)).count();
            let after = marks.iter().filter(|mark| unchecked(mark.standing)).count();
            assert_eq!(extra.newly_checked, before - after, "{extra:?}");
        }
    }

    #[test]
    fn an_extra_run_joins_marks_of_the_plan() {
        let error = plan(spur(), &[section("A Z 0")], &OPTIONS).unwrap_err();
        assert_eq!(
            error.to_string(),
            "no intended run touches Z, an extra run between two marks of the plan was wanted"
        );
    }
}
