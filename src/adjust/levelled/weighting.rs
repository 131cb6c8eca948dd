//! How good a line is, as the class of its job says: half of what is allowed.
//!
//! ```text
//! sigma = allowance / z
//! ```
//!
//! | symbol | meaning | unit |
//! |---|---|---|
//! | allowance | of a loop, by the rule that rules for the job as a whole: `c sqrt(K)`, `q sqrt(n)` or reading noise | mm |
//! | z | standard deviations that an allowance leaves room for, [`NOISE_Z`] | - |
//!
//! All rules grow with the root of the job's extent, so that one of them rules for every line of like setups. A class
//! without a constant for misclosures leaves the noise of the readings.
//! Source: that an allowance stands for two standard deviations is common practice, without a source.

use super::Levelled;
use crate::adjust::weights::WeightRule;
use crate::book::Book;
use crate::book::closure::{self, LineKind, NOISE_Z, Rule};
use crate::book::reading::Role;
use crate::units::Length;

/// The standard deviations of a job's lines.
#[derive(Clone, Debug, PartialEq)]
pub struct Weighting {
    /// The rule, for [`super::super::Options`].
    pub rule: WeightRule,
    /// The rule in words, with its numbers and where they come from.
    pub words: String,
}

/// How good the lines of a job are.
pub fn weighting(book: &Book, levelled: &Levelled) -> Weighting {
    let lines = || {
        let sections = levelled.given.sections.iter().zip(&levelled.origins);
        sections.filter(|(_, origin)| origin.sight == Role::Fore).map(|(section, _)| section)
    };
    let all = levelled.given.sections.iter();
    let every_length = all.into_iter().all(|section| section.length.is_some());
    let length: Option<Length> = every_length.then(|| lines().filter_map(|section| section.length).sum());
    let setups: u32 = lines().filter_map(|section| section.setups).sum();
    let settings = book.settings();
    let sigma_setup = closure::setup_sd_mm(settings.instrument.reading_sd, settings.sequence.wanted());
    let allowance = closure::allowance(&settings.class, LineKind::Loop, length, setups, None, sigma_setup);
    let Some(allowance) = allowance else { return of_readings(sigma_setup) };
    let sigma_mm = allowance.value.to_f64_mm() / NOISE_Z;
    let allowed = &allowance.words;
    match (allowance.rule, length) {
        (Rule::ByLength, Some(length)) => {
            let of_one = sigma_mm / (length.to_f64_m() / 1000.0).sqrt();
            Weighting {
                rule: WeightRule::Length { mm_per_sqrt_km: of_one },
                words: format!("{of_one:.2} mm per root km, half of what is allowed; allowed: {allowed}"),
            }
        }
        (Rule::BySetups, _) => {
            let of_one = sigma_mm / f64::from(setups).sqrt();
            Weighting {
                rule: WeightRule::Setups { mm_per_sqrt_setup: of_one },
                words: format!("{of_one:.2} mm per root setup, half of what is allowed; allowed: {allowed}"),
            }
        }
        (Rule::ByLength | Rule::ReadingNoise, _) => of_readings(sigma_setup),
    }
}

fn of_readings(sigma_setup_mm: f64) -> Weighting {
    Weighting {
        rule: WeightRule::Setups { mm_per_sqrt_setup: sigma_setup_mm },
        words: format!("{sigma_setup_mm:.2} mm per root setup, as one reading is said to be good"),
    }
}
