//! Every published example in `fixtures/adjustment`, to the tolerance that its file states. Where a source misprints, the
//! value that is consistent with its own numbers is wanted. Every published key must be compared, or the test fails.

use std::collections::BTreeMap;
use std::path::Path;

use closerun::adjust::significance::{Levels, Sigma};
use closerun::adjust::weights::variances_m2;
use closerun::adjust::{Effects, Given, Hold, KnownMark, Network, Options, Outcome, Section, WeightRule, adjust};
use closerun::units::{Length, Unit};
use toml::Table;

use crate::example::{Example, length, name, number};

#[test]
fn every_published_example_comes_out_as_printed() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/adjustment");
    let mut kinds: BTreeMap<String, usize> = BTreeMap::new();
    for entry in std::fs::read_dir(&folder).unwrap() {
        let path = entry.unwrap().path();
        if path.extension().is_some_and(|extension| extension == "toml") {
            let table: Table = std::fs::read_to_string(&path).unwrap().parse().unwrap();
            *kinds.entry(check(&Example(table))).or_default() += 1;
        }
    }
    let wanted = [("level_network", 5), ("misclosure", 1), ("observation_weights", 1)];
    assert_eq!(kinds, wanted.map(|(kind, count)| (kind.to_owned(), count)).into(), "examples by kind");
}

fn check(example: &Example) -> String {
    let kind = example.0["kind"].as_str().unwrap();
    match kind {
        "level_network" => check_network(example),
        "observation_weights" => check_weights(example),
        "misclosure" => check_misclosure(example),
        other => panic!("{}: no check for kind {other}", example.id()),
    }
    kind.to_owned()
}

fn check_network(example: &Example) {
    let network = example.network();
    let options = Options {
        weights: example.rule(),
        sigma: Sigma::APosteriori,
        levels: Levels::USUAL,
        effects: Effects::OnEveryMark,
    };
    let outcome = adjust(&network, &options).unwrap();
    let adjustment = outcome.last();
    let unit_m = example.unit_m();
    let sections = &adjustment.sections;
    let s0 = adjustment.variance_factor.unwrap().sqrt();
    for (key, published) in example.published() {
        let marks = |value: fn(&Outcome, usize, f64) -> f64, scale: f64| {
            example.compare_marks(&key, &published, |mark| {
                value(&outcome, network.find(&name(mark)).unwrap().index(), scale)
            })
        };
        let rows = |values: Vec<f64>| example.compare_rows(&key, &published, &values);
        match key.as_str() {
            "residual_sense" => assert_eq!(published.as_str(), Some("adjusted_minus_observed"), "our own sense"),
            "adjusted_elevation" => {
                marks(|outcome, mark, unit_m| outcome.last().marks[mark].elevation.to_f64_m() / unit_m, unit_m)
            }
            "standard_deviation_elevation" => {
                marks(|outcome, mark, unit_m| outcome.last().marks[mark].deviation_m / unit_m, unit_m)
            }
            "standard_deviation_elevation_mm" => {
                marks(|outcome, mark, unit_m| outcome.last().marks[mark].deviation_m / unit_m, 0.001)
            }
            "residual" => rows(sections.iter().map(|section| section.residual_m / unit_m).collect()),
            "residual_mm" => rows(sections.iter().map(|section| section.residual_m * 1000.0).collect()),
            "adjusted_height_difference" => {
                rows(sections.iter().map(|section| section.rise.to_f64_m() / unit_m).collect())
            }
            "standard_deviation_height_difference" => {
                rows(sections.iter().map(|section| section.deviation_m / unit_m).collect())
            }
            "standard_deviation_height_difference_mm" => {
                rows(sections.iter().map(|section| section.deviation_m * 1000.0).collect())
            }
            "redundancy_number" => rows(sections.iter().map(|section| section.redundancy).collect()),
            "test_t_a_posteriori" => {
                rows(sections.iter().map(|section| section.test.unwrap().tau.unwrap().abs()).collect())
            }
            "test_u_a_priori" => rows(sections.iter().map(|section| section.test.unwrap().w.abs()).collect()),
            "sigma_0" => example.compare(&key, number(&published), s0),
            "sum_weighted_squared_residuals" => example.compare(&key, number(&published), adjustment.weighted_squares),
            "degrees_of_freedom" => assert_eq!(published.as_integer(), Some(adjustment.degrees_of_freedom() as i64)),
            "number_of_observations" => assert_eq!(published.as_integer(), Some(adjustment.observations as i64)),
            "number_of_unknowns" => assert_eq!(published.as_integer(), Some(adjustment.unknowns as i64)),
            other => panic!("{}: nothing compares {other}", example.id()),
        }
    }
}

fn check_weights(example: &Example) {
    let network = example.network();
    let unit_m = example.unit_m();
    for (key, published) in example.published() {
        match key.as_str() {
            "weight" => {
                let variances = variances_m2(&network, WeightRule::Stated).unwrap();
                let weights: Vec<f64> = variances.iter().map(|variance| unit_m * unit_m / variance).collect();
                example.compare_rows(&key, &published, &weights);
            }
            other => panic!("{}: nothing compares {other}", example.id()),
        }
    }
}

/// A link run between two known marks: its misclosure is what the free adjustment says of the second one, and the allowance
/// a root of setups times the rate, which is how the standard deviation by setups grows.
fn check_misclosure(example: &Example) {
    let input = example.input();
    assert_eq!(input["method"].as_str(), Some("allowable_by_setups"));
    let [computed, known] = ["computed_elevation_m", "known_elevation_m"].map(|key| length(&input[key], Unit::Metre));
    let mut section = Section::new(name("start"), name("end"), computed);
    section.setups = Some(input["setups"].as_integer().unwrap() as u32);
    let mark = |text, elevation| KnownMark { mark: name(text), elevation, hold: Hold::Fixed };
    let given = Given {
        known: vec![mark("start", Length::ZERO), mark("end", known)],
        sections: vec![section],
        ..Given::default()
    };
    let weights = WeightRule::Setups { mm_per_sqrt_setup: number(&input["allowance_per_root_setup"]) };
    let outcome = adjust(
        &Network::new(given).unwrap(),
        &Options { weights, sigma: Sigma::APriori, levels: Levels::USUAL, effects: Effects::OnEveryMark },
    )
    .unwrap();
    let [against] = outcome.known[..] else { panic!("one known mark is compared: {:?}", outcome.known) };
    let [misclosure_mm, allowable_mm] = [against.difference_m, against.deviation_m].map(|metres| metres * 1000.0);
    for (key, published) in example.published() {
        match key.as_str() {
            "misclosure" => example.compare(&key, number(&published), misclosure_mm),
            "allowable_misclosure" => example.compare(&key, number(&published), allowable_mm),
            "accepted" => assert_eq!(published.as_bool(), Some(misclosure_mm.abs() <= allowable_mm)),
            other => panic!("{}: nothing compares {other}", example.id()),
        }
    }
}
