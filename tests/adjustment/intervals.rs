//! Monte Carlo: intervals of 95 % hold the true value in 95 % of ten thousand networks, give or take 1 %.
//!
//! One mark and one section are looked at in each network, so that the cases are independent: the count then has a standard
//! deviation of 0.22 %, and 1 % is more than four of them. The seeds are fixed.

use closerun::adjust::outcome::Adjustment;
use closerun::adjust::significance::Sigma;
use closerun::adjust::{Network, Options, adjust};

use super::generate::{Generated, OPTIONS, Random, Shape, generate, number};

const CASES: u64 = 10_000;

#[test]
fn intervals_hold_the_truth_as_often_as_they_say() {
    // An a-priori interval has the same multiplier in every network.
    let prior_multiplier = {
        let network = Network::new(generate(shape(0, &mut Random(0))).given).unwrap();
        adjust(&network, &Options { sigma: Sigma::APriori, ..OPTIONS }).unwrap().last().interval_multiplier
    };
    let mut held = [0; 4];
    for seed in 0..CASES {
        let mut random = Random(!seed);
        let generated = generate(shape(seed, &mut random));
        let network = Network::new(generated.given.clone()).unwrap();
        let outcome = adjust(&network, &Options { sigma: Sigma::APosteriori, ..OPTIONS }).unwrap();
        let adjustment = outcome.last();
        assert_eq!(adjustment.sigma, Sigma::APosteriori);
        let case = Case { generated: &generated, network: &network, adjustment };
        let found = [case.elevation(&mut random), case.rise(&mut random)];
        for (at, Found { error_m, deviation_m }) in found.into_iter().enumerate() {
            held[at] += u64::from(error_m.abs() <= prior_multiplier * deviation_m / adjustment.sigma_value);
            held[2 + at] += u64::from(error_m.abs() <= adjustment.half_interval_m(deviation_m));
        }
    }
    for (sigma, held) in [(Sigma::APriori, &held[..2]), (Sigma::APosteriori, &held[2..])] {
        let percent = [held[0], held[1]].map(|held| 100.0 * held as f64 / CASES as f64);
        eprintln!("{sigma:?}: {percent:.2?} % of elevations and of adjusted rises are held");
        assert!(percent.iter().all(|percent| (94.0..=96.0).contains(percent)), "{sigma:?}: {percent:?} %");
    }
}

/// Five to nine marks with three to seven redundant sections.
fn shape(seed: u64, random: &mut Random) -> Shape {
    Shape {
        marks: 5 + random.below(5),
        extra: 3 + random.below(5),
        fixed: 1 + random.below(2),
        weighted: random.below(2),
        seed,
    }
}

/// An estimated quantity against its true value.
struct Found {
    error_m: f64,
    deviation_m: f64,
}

struct Case<'a> {
    generated: &'a Generated,
    network: &'a Network,
    adjustment: &'a Adjustment,
}

impl Case<'_> {
    /// One elevation that was not held.
    fn elevation(&self, random: &mut Random) -> Found {
        loop {
            let at = random.below(self.adjustment.marks.len());
            let mark = &self.adjustment.marks[at];
            if mark.deviation_m > 0.0 {
                return Found { error_m: mark.elevation.to_f64_m() - self.truth_m(at), deviation_m: mark.deviation_m };
            }
        }
    }

    /// One rise; a section between held marks, or from a mark to itself, has none to estimate.
    fn rise(&self, random: &mut Random) -> Found {
        loop {
            let at = random.below(self.adjustment.sections.len());
            let (section, adjusted) = (&self.network.sections()[at], &self.adjustment.sections[at]);
            let truth_m = self.truth_m(section.to.index()) - self.truth_m(section.from.index());
            if adjusted.redundancy < 1.0 - 1e-9 {
                return Found { error_m: adjusted.rise.to_f64_m() - truth_m, deviation_m: adjusted.deviation_m };
            }
        }
    }

    fn truth_m(&self, mark: usize) -> f64 {
        self.generated.truth_m[number(&self.network.names()[mark])]
    }
}
