//! Every published example in `fixtures/adjustment`, to the tolerance that its file states. Where a source misprints, the
//! value that is consistent with its own numbers is wanted. Every published key must be compared, or the test fails.

use std::collections::BTreeMap;
use std::path::Path;

use closerun::adjust::significance::{Levels, Sigma};
use closerun::adjust::weights::variances_m2;
use closerun::adjust::{Effects, Given, Hold, KnownMark, Network, Options, Outcome, Section, WeightRule, adjust};
use closerun::book::reading::PointName;
use closerun::units::{Length, Unit};
use toml::{Table, Value};

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

/// One file of the folder.
struct Example(Table);

impl Example {
    fn id(&self) -> &str {
        self.0["id"].as_str().unwrap()
    }

    fn input(&self) -> &Table {
        self.0["input"].as_table().unwrap()
    }

    fn unit(&self) -> Unit {
        self.0["units"].as_str().unwrap().parse().unwrap()
    }

    fn unit_m(&self) -> f64 {
        Length::parse("1", self.unit()).unwrap().to_f64_m()
    }

    /// What is printed, misprints replaced by what the source's own numbers give.
    fn published(&self) -> Table {
        let mut published = self.0["published"].as_table().unwrap().clone();
        for misprint in self.0.get("misprint").and_then(Value::as_array).into_iter().flatten() {
            let value = published.get_mut(misprint["field"].as_str().unwrap()).unwrap();
            match misprint["row"].as_integer().unwrap() {
                0 => *value = misprint["consistent"].clone(),
                row => value.as_array_mut().unwrap()[row as usize - 1] = misprint["consistent"].clone(),
            }
        }
        published
    }

    fn network(&self) -> Network {
        let input = self.input();
        let known = input["fixed_elevation"].as_table().unwrap().iter();
        let known = known.map(|(mark, elevation)| KnownMark {
            mark: name(mark),
            elevation: length(elevation, self.unit()),
            hold: Hold::Fixed,
        });
        let section = |row: &Value| Section {
            length: row.get("length_km").map(|km| Length::from_f64_m(number(km) * 1000.0).unwrap()),
            setups: row.get("setups").map(|setups| setups.as_integer().unwrap() as u32),
            deviation: row.get("standard_deviation").map(|deviation| length(deviation, self.unit())),
            ..Section::new(
                name(row["from"].as_str().unwrap()),
                name(row["to"].as_str().unwrap()),
                length(&row["height_difference"], self.unit()),
            )
        };
        let sections = input["observation"].as_array().unwrap().iter().map(section).collect();
        Network::new(Given { known: known.collect(), sections, ..Given::default() }).unwrap()
    }

    fn rule(&self) -> WeightRule {
        let input = self.input();
        // A source without units weighs by numbers: weight 1 stands for a standard deviation of one of its length units.
        let unit_mm = self.unit_m() * 1000.0;
        let scale = || number(&input["weight_scale"]).sqrt();
        match input["weight_rule"].as_str().unwrap() {
            "equal" => WeightRule::Equal { mm: unit_mm },
            "inverse_setups" => WeightRule::Setups { mm_per_sqrt_setup: unit_mm / scale() },
            "inverse_length" => WeightRule::Length { mm_per_sqrt_km: unit_mm / scale() },
            "standard_deviation" => WeightRule::Stated,
            "standard_deviation_proportional_to_length" => {
                WeightRule::ProportionalToLength { mm_per_km: number(&input["standard_deviation_mm_per_km"]) }
            }
            other => panic!("{}: unknown rule of weights {other}", self.id()),
        }
    }

    /// The tolerance for a published key; all test statistics share one.
    fn tolerance(&self, key: &str) -> f64 {
        let tolerance = self.0["tolerance"].as_table().unwrap();
        let shared = if key.starts_with("test_") { "test" } else { key };
        number(tolerance.get(shared).unwrap_or_else(|| panic!("{}: no tolerance for {key}", self.id())))
    }

    fn compare(&self, key: &str, printed: f64, found: f64) {
        let tolerance = self.tolerance(key);
        assert!(
            (printed - found).abs() <= tolerance,
            "{}: {key} printed {printed}, found {found}, tolerance {tolerance}",
            self.id()
        );
    }

    fn compare_rows(&self, key: &str, printed: &Value, found: &[f64]) {
        let printed = printed.as_array().unwrap();
        assert_eq!(printed.len(), found.len(), "{}: rows of {key}", self.id());
        printed.iter().zip(found).for_each(|(printed, found)| self.compare(key, number(printed), *found));
    }

    fn compare_marks(&self, key: &str, printed: &Value, found: impl Fn(&str) -> f64) {
        printed.as_table().unwrap().iter().for_each(|(mark, printed)| self.compare(key, number(printed), found(mark)));
    }
}

fn name(text: &str) -> PointName {
    PointName::new(text).unwrap()
}

fn number(value: &Value) -> f64 {
    value.as_float().or_else(|| value.as_integer().map(|whole| whole as f64)).unwrap()
}

/// The digits that were written: the shortest that give the same float.
fn length(value: &Value, unit: Unit) -> Length {
    Length::parse(&number(value).to_string(), unit).unwrap()
}
