//! Published worked examples, `fixtures/levelling` and `fixtures/field`, with every number as the digits that stand in
//! the file.
//!
//! The files' keys are explained in `fixtures/README.md`.

use std::collections::BTreeMap;
use std::fs;
use std::ops::Range;
use std::path::Path;

use closerun::units::{Length, Measured, Unit};
use serde::de::DeserializeOwned;
use serde::{Deserialize, Deserializer};
use toml::Spanned;

/// A number, as the place of its digits in the file: no digit of it goes through a float.
#[derive(Clone, Debug)]
pub struct Number(Range<usize>);

impl<'de> Deserialize<'de> for Number {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        Spanned::<f64>::deserialize(deserializer).map(|number| Number(number.span()))
    }
}

/// One file.
pub struct Case<Input, Published> {
    /// The file's name without its ending.
    pub id: String,
    text: String,
    pub of: Example<Input, Published>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Example<Input, Published> {
    pub id: String,
    pub title: String,
    pub kind: String,
    pub units: Unit,
    pub from_memory: bool,
    pub from_memory_part: Option<String>,
    #[serde(default)]
    pub recovered_inputs: Vec<String>,
    pub authority: String,
    pub recompute_note: String,
    pub source: BTreeMap<String, String>,
    pub input: Input,
    pub published: Published,
    pub tolerance: BTreeMap<String, Number>,
    #[serde(default)]
    pub misprint: Vec<Misprint>,
}

/// A printed value that contradicts the source's own numbers.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Misprint {
    pub field: String,
    /// Counted from 1; 0 is no row.
    pub row: usize,
    pub printed: Number,
    pub consistent: Number,
}

/// `level_run`: what was booked.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub struct RunInput {
    pub reduction: Reduction,
    pub known_elevation: Vec<RowElevation>,
    pub closing_elevation: Option<RowElevation>,
    pub distribution: Option<Distribution>,
    pub row: Vec<InputRow>,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Reduction {
    HeightOfInstrument,
    RiseFall,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Distribution {
    Setups,
}

/// The known elevation of a row's point.
#[derive(Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct RowElevation {
    /// Counted from 1.
    pub row: usize,
    pub point: String,
    pub elevation: Number,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub struct InputRow {
    pub point: String,
    pub backsight: Option<Number>,
    pub intermediate_sight: Option<Number>,
    pub foresight: Option<Number>,
    #[serde(default)]
    pub inverted: bool,
}

/// `level_run`: what was printed.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub struct RunPublished {
    pub sum_backsight: Option<Number>,
    pub sum_foresight: Option<Number>,
    pub sum_rise: Option<Number>,
    pub sum_fall: Option<Number>,
    pub sum_backsight_minus_foresight: Option<Number>,
    pub misclosure: Option<Number>,
    pub misclosure_sense: Option<Sense>,
    pub correction_per_setup: Option<Number>,
    pub row: Vec<PublishedRow>,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Sense {
    ObservedMinusKnown,
    KnownMinusObserved,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub struct PublishedRow {
    pub point: String,
    pub height_of_instrument: Option<Number>,
    pub rise: Option<Number>,
    pub fall: Option<Number>,
    pub elevation: Option<Number>,
    pub correction: Option<Number>,
    pub adjusted_elevation: Option<Number>,
}

/// `double_observed_setup`: every setup at two instrument heights.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub struct DoubleInput {
    pub setup: Vec<DoubleSetup>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub struct DoubleSetup {
    pub setup: String,
    pub backsight: [Number; 2],
    pub foresight: [Number; 2],
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub struct DoublePublished {
    pub mean_backsight: Vec<Number>,
    pub mean_foresight: Vec<Number>,
    pub height_difference: Vec<Number>,
}

/// `misclosure`: a link run's misclosure against an allowance by setups.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub struct MisclosureInput {
    pub method: String,
    pub computed_elevation_m: Number,
    pub known_elevation_m: Number,
    pub allowance_per_root_setup: f64,
    pub setups: u32,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub struct MisclosurePublished {
    pub misclosure: Number,
    pub allowable_misclosure: Number,
    pub accepted: bool,
}

pub type RunCase = Case<RunInput, RunPublished>;
pub type DoubleCase = Case<DoubleInput, DoublePublished>;
pub type MisclosureCase = Case<MisclosureInput, MisclosurePublished>;

/// Every file by its name, as plain TOML.
pub fn files() -> Vec<(String, toml::Table)> {
    texts().into_iter().map(|(id, text)| (id, text.parse().unwrap())).collect()
}

/// Every file of this kind, so that one more file is one more case.
pub fn cases<Input: DeserializeOwned, Published: DeserializeOwned>(kind: &str) -> Vec<Case<Input, Published>> {
    let of_kind = |text: &str| text.parse::<toml::Table>().unwrap()["kind"].as_str() == Some(kind);
    let read = |(id, text): (String, String)| {
        let of: Example<Input, Published> = toml::from_str(&text).unwrap_or_else(|error| panic!("{id}: {error}"));
        assert_eq!(of.id, id, "a file is named after its example");
        Case { id, text, of }
    };
    let cases: Vec<_> = texts().into_iter().filter(|(_, text)| of_kind(text)).map(read).collect();
    assert!(!cases.is_empty(), "no example of the kind {kind}");
    cases
}

fn texts() -> Vec<(String, String)> {
    let folder = |name| Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures").join(name);
    let listed = |name| fs::read_dir(folder(name)).unwrap().map(|entry| entry.unwrap().path());
    let mut files: Vec<_> = listed("levelling").chain(listed("field")).collect();
    files.sort();
    let id = |file: &Path| file.file_stem().unwrap().to_string_lossy().into_owned();
    files.iter().map(|file| (id(file), fs::read_to_string(file).unwrap())).collect()
}

impl<Input, Published> Case<Input, Published> {
    /// The digits of a number as they stand in the file.
    pub fn digits(&self, number: &Number) -> &str {
        &self.text[number.0.clone()]
    }

    /// A number in the file's unit.
    pub fn length(&self, number: &Number) -> Length {
        self.length_in(number, self.of.units)
    }

    pub fn length_in(&self, number: &Number, unit: Unit) -> Length {
        Length::parse(self.digits(number), unit).unwrap_or_else(|error| panic!("{}: {error}", self.id))
    }

    /// A number in the file's unit, with its digits.
    pub fn measured(&self, number: &Number) -> Measured {
        Measured::parse(self.digits(number), self.of.units).unwrap_or_else(|error| panic!("{}: {error}", self.id))
    }

    /// The largest accepted difference of a quantity from what was printed.
    pub fn tolerance(&self, quantity: &str) -> Length {
        let stated = self.of.tolerance.get(quantity);
        self.length(stated.unwrap_or_else(|| panic!("{}: no tolerance of {quantity}", self.id)))
    }

    /// What a printed value should be: itself, unless the source contradicts itself there.
    pub fn wanted<'a>(&'a self, field: &str, row: usize, printed: &'a Number) -> &'a Number {
        let misprint = self.of.misprint.iter().find(|misprint| (misprint.field.as_str(), misprint.row) == (field, row));
        misprint.map_or(printed, |misprint| &misprint.consistent)
    }

    /// Asserts that a value is the printed one, within the tolerance that the file states.
    ///
    /// `field` and `row` (from 1; 0 is no row) are those of the file, `quantity` the name of the tolerance.
    pub fn agrees(&self, field: &str, row: usize, quantity: &str, printed: &Number, found: Length) {
        let wanted = self.wanted(field, row, printed);
        let off = found - self.length(wanted);
        assert!(
            off.abs() <= self.tolerance(quantity),
            "{}: {field} of row {row} is {} in the book, {} in print",
            self.id,
            found.show(self.of.units, 6),
            self.digits(wanted)
        );
    }
}
