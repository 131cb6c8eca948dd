//! A published worked example of a network: what goes in, what is printed, and how closely it must be met.

use closerun::adjust::{Given, Hold, KnownMark, Network, Section, WeightRule};
use closerun::book::reading::PointName;
use closerun::units::{Length, Unit};
use toml::{Table, Value};

/// One file of the folder.
pub(crate) struct Example(pub(crate) Table);

impl Example {
    pub(crate) fn id(&self) -> &str {
        self.0["id"].as_str().unwrap()
    }

    pub(crate) fn input(&self) -> &Table {
        self.0["input"].as_table().unwrap()
    }

    pub(crate) fn unit(&self) -> Unit {
        self.0["units"].as_str().unwrap().parse().unwrap()
    }

    pub(crate) fn unit_m(&self) -> f64 {
        Length::parse("1", self.unit()).unwrap().to_f64_m()
    }

    /// What is printed, misprints replaced by what the source's own numbers give.
    pub(crate) fn published(&self) -> Table {
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

    pub(crate) fn network(&self) -> Network {
        Network::new(self.given()).unwrap()
    }

    /// The network as it would be handed in.
    pub(crate) fn given(&self) -> Given {
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
        Given { known: known.collect(), sections, ..Given::default() }
    }

    pub(crate) fn rule(&self) -> WeightRule {
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
    pub(crate) fn tolerance(&self, key: &str) -> f64 {
        let tolerance = self.0["tolerance"].as_table().unwrap();
        let shared = if key.starts_with("test_") { "test" } else { key };
        number(tolerance.get(shared).unwrap_or_else(|| panic!("{}: no tolerance for {key}", self.id())))
    }

    pub(crate) fn compare(&self, key: &str, printed: f64, found: f64) {
        let tolerance = self.tolerance(key);
        assert!(
            (printed - found).abs() <= tolerance,
            "{}: {key} printed {printed}, found {found}, tolerance {tolerance}",
            self.id()
        );
    }

    pub(crate) fn compare_rows(&self, key: &str, printed: &Value, found: &[f64]) {
        let printed = printed.as_array().unwrap();
        assert_eq!(printed.len(), found.len(), "{}: rows of {key}", self.id());
        printed.iter().zip(found).for_each(|(printed, found)| self.compare(key, number(printed), *found));
    }

    pub(crate) fn compare_marks(&self, key: &str, printed: &Value, found: impl Fn(&str) -> f64) {
        printed.as_table().unwrap().iter().for_each(|(mark, printed)| self.compare(key, number(printed), found(mark)));
    }
}

pub(crate) fn name(text: &str) -> PointName {
    PointName::new(text).unwrap()
}

pub(crate) fn number(value: &Value) -> f64 {
    value.as_float().or_else(|| value.as_integer().map(|whole| whole as f64)).unwrap()
}

/// The digits that were written: the shortest that give the same float.
pub(crate) fn length(value: &Value, unit: Unit) -> Length {
    Length::parse(&number(value).to_string(), unit).unwrap()
}
