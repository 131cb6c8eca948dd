//! The adjustment of a job's runs, in figures and words.

use super::super::figure::Scales;
use super::tree::{AdjustedFigures, AdjustedLine, AdjustmentView, GlobalView, KnownCheckRow};
use crate::adjust::levelled::{LeftOut, Levelled, Origin, usual_words};
use crate::adjust::outcome::{AdjustedSection, Adjustment, KnownCheck};
use crate::adjust::significance::{Levels, Sigma, Verdict};
use crate::adjust::snoop::{Proposal, Suspect, propose};
use crate::adjust::{Effects, Network, Options, Outcome, WeightRule, adjust};
use crate::book::Book;
use crate::units::Length;

/// An adjustment as the report shows it, and as it came out.
pub(super) struct Adjusted {
    pub(super) view: AdjustmentView,
    pub(super) outcome: Option<(Network, Outcome)>,
}

const METHOD: &str = "least squares over all runs of the job, and what was carried up a tape or across a gap; lines as \
                      observed, between marks";

/// Adjusts what was levelled.
pub(super) fn adjusted(scales: Scales, book: &Book, levelled: &Levelled) -> Adjusted {
    let left_out = levelled.left_out.iter().map(left_out_words).collect();
    let view = |not_adjusted, figures| AdjustmentView {
        not_adjusted,
        method: METHOD.to_owned(),
        weights: usual_words(book.settings()),
        figures,
        left_out,
    };
    // A priori: with the few checks that a run has, what its residuals say of the noise is worth little.
    let options =
        Options { weights: WeightRule::Stated, sigma: Sigma::APriori, levels: Levels::USUAL, effects: Effects::OnEnds };
    let solved = Network::new(levelled.given.clone()).and_then(|network| {
        let outcome = adjust(&network, &options)?;
        Ok((network, outcome))
    });
    match solved {
        Ok((network, outcome)) => {
            let figures = figures(scales, levelled, &network, &outcome);
            Adjusted { view: view(None, Some(figures)), outcome: Some((network, outcome)) }
        }
        Err(error) => Adjusted { view: view(Some(error.to_string()), None), outcome: None },
    }
}

fn figures(scales: Scales, levelled: &Levelled, network: &Network, outcome: &Outcome) -> AdjustedFigures {
    let last = outcome.last();
    // Intermediate sights stand in the book, and not among the lines.
    let lines = levelled.origins.iter().zip(0..).filter(|(origin, _)| !matches!(origin, Origin::Side { .. }));
    AdjustedFigures {
        held_to_all: outcome.held.is_some(),
        observations: last.observations,
        unknowns: last.unknowns,
        degrees_of_freedom: last.degrees_of_freedom(),
        s0: last.variance_factor.map(f64::sqrt),
        global: global(last),
        confidence: last.levels.confidence * 100.0,
        sigma: match last.sigma {
            Sigma::APriori => "a priori: as the lines were taken to be".to_owned(),
            Sigma::APosteriori => "a posteriori: as the residuals show it".to_owned(),
        },
        critical_w: last.critical.w,
        critical_tau: last.critical.tau,
        levels: format!(
            "global test at {} %, single tests at {} % with {} % power",
            per_cent(last.levels.global),
            per_cent(last.levels.single),
            per_cent(last.levels.power)
        ),
        lines: lines.map(|(origin, at)| line(scales, network, last, *origin, at)).collect(),
        known: outcome.known.iter().map(|check| known(scales, network, check)).collect(),
        doubts: propose(last, Sigma::APriori).map(|proposal| doubts(scales, network, &proposal)).unwrap_or_default(),
    }
}

/// A chance as per cent, without the noise of floats: 0.001 is 0.1.
fn per_cent(chance: f64) -> f64 {
    (chance * 1e6).round() / 1e4
}

fn global(adjustment: &Adjustment) -> Option<GlobalView> {
    let test = adjustment.global?;
    let verdict = test.verdict();
    let words = match verdict {
        Verdict::Passed => "passed: the residuals are as large as the weights let expect",
        Verdict::TooLarge => {
            "failed: the residuals are larger than the weights let expect; a mistake, a moved mark, or too much trust"
        }
        Verdict::TooSmall => "failed on the good side: the residuals are smaller than the weights let expect",
    };
    Some(GlobalView {
        statistic: test.statistic,
        lower: test.lower,
        upper: test.upper,
        passed: verdict == Verdict::Passed,
        words: words.to_owned(),
    })
}

fn line(scales: Scales, network: &Network, adjustment: &Adjustment, origin: Origin, at: usize) -> AdjustedLine {
    let (section, adjusted): (_, &AdjustedSection) = (&network.sections()[at], &adjustment.sections[at]);
    let test = adjusted.test;
    let (run, setups, activity) = match origin {
        Origin::Line { run, first, last } => (Some(run), Some((first, last)), None),
        Origin::Side { run, setup } => (Some(run), Some((setup, setup)), None),
        Origin::Rise { activity } => (None, None, Some(activity)),
    };
    AdjustedLine {
        run,
        first_setup: setups.map(|(first, _)| first),
        last_setup: setups.map(|(_, last)| last),
        activity,
        from: network.name(section.from).to_string(),
        to: network.name(section.to).to_string(),
        length: section.length.map(|length| scales.sight(length)),
        setups: section.setups,
        observed: scales.level(section.rise),
        residual: scales.correction(adjusted.rise - section.rise),
        adjusted: scales.level(adjusted.rise),
        deviation: scales.deviation(metres(adjusted.deviation_m)),
        redundancy: adjusted.redundancy,
        w: test.map(|test| test.w),
        // With one degree of freedom every tau is one: it says nothing.
        tau: adjustment.critical.tau.and(test).and_then(|test| test.tau),
        detectable: test.map(|test| scales.height(metres(test.detectable_m))),
        doubtful: test.is_some_and(|test| test.w.abs() > adjustment.critical.w),
    }
}

fn known(scales: Scales, network: &Network, check: &KnownCheck) -> KnownCheckRow {
    KnownCheckRow {
        point: network.name(check.mark).to_string(),
        datum: network.name(check.datum).to_string(),
        difference: scales.misclosure(metres(check.difference_m)),
        deviation: scales.deviation(metres(check.deviation_m)),
        ratio: (check.deviation_m > 0.0).then(|| check.difference_m / check.deviation_m),
    }
}

fn doubts(scales: Scales, network: &Network, proposal: &Proposal) -> Vec<String> {
    let one = |(suspect, test): &(Suspect, crate::adjust::outcome::SingleTest)| {
        let name = match suspect {
            Suspect::Section(section) => {
                let section = &network.sections()[section.index()];
                format!("{} to {}", network.name(section.from), network.name(section.to))
            }
            Suspect::Known(mark) => format!("the elevation of {}", network.name(*mark)),
        };
        let mistake = scales.say.signed_height(metres(test.mistake_m));
        format!("{name}: a mistake of {mistake} would explain it (w {:.2} of {:.2})", test.w, proposal.critical)
    };
    let mut words: Vec<String> = proposal.suspects.iter().map(one).collect();
    if words.len() > 1 {
        words.push("the observations cannot tell which of these it is".to_owned());
    }
    words
}

fn left_out_words(left_out: &LeftOut) -> String {
    match left_out {
        LeftOut::Untied { marks } => {
            /// So many marks are named; more are counted.
            const NAMED: usize = 6;
            let names: Vec<String> = marks.iter().take(NAMED).map(ToString::to_string).collect();
            let more = match marks.len().saturating_sub(NAMED) {
                0 => String::new(),
                more => format!(" and {more} more"),
            };
            format!("not tied to any known point: {}{more}", names.join(", "))
        }
        LeftOut::OnItself { run, setup, point } => {
            format!("setup {setup} of run {run} has both staffs on {point}: it says nothing of heights")
        }
        LeftOut::Assumed { point } => {
            format!("the assumed elevation of {point}: points whose elevation was given hold the network")
        }
    }
}

/// A length that came out of an adjustment.
pub(super) fn metres(value: f64) -> Length {
    Length::from_f64_m(value).unwrap_or(Length::ZERO)
}
