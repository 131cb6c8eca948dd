//! The program's own table of classes, `book/classes.toml`, as [`Class`]es.
//!
//! The table is part of the program: a fault in it is a bug, found by the tests below, so reading it may panic.

use std::collections::BTreeMap;
use std::fmt;
use std::sync::LazyLock;

use serde::Deserialize;
use toml::{Table, Value};

use super::{Basis, Class, Interval, Limit, Rate};
use crate::nearest::nearest;
use crate::units::{Length, Unit};

/// The id of the class that holds where nobody names another.
pub const DEFAULT: &str = "building";

static CLASSES: LazyLock<Vec<Class>> = LazyLock::new(|| read(include_str!("../classes.toml")));

/// Every class of the table, in its order; the default one first.
pub fn all() -> &'static [Class] {
    &CLASSES
}

/// The class of this id.
///
/// # Errors
/// [`UnknownClass`] with the nearest id.
pub fn find(id: &str) -> Result<&'static Class, UnknownClass> {
    all().iter().find(|class| class.id == id).ok_or_else(|| UnknownClass { found: id.to_owned() })
}

/// An id that no class has.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct UnknownClass {
    /// What was found.
    pub found: String,
}

impl fmt::Display for UnknownClass {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let ids = || all().iter().map(|class| class.id.as_str());
        write!(f, "unknown accuracy class {:?}", self.found)?;
        match nearest(&self.found, ids()) {
            Some(meant) => write!(f, ", {meant} was probably meant"),
            None => write!(f, "; the classes are {}", ids().collect::<Vec<_>>().join(", ")),
        }
    }
}

impl std::error::Error for UnknownClass {}

/// The file, as far as it is read here: site rules and limits of other things are kept in it as data.
#[derive(Deserialize)]
struct File {
    class: Vec<Entry>,
}

/// One class as it stands in the file.
#[derive(Deserialize)]
struct Entry {
    id: String,
    title: String,
    source: String,
    inherits_unless_stated: Option<String>,
    #[serde(default)]
    from_memory: Vec<String>,
    #[serde(default)]
    secondary: Vec<String>,
    #[serde(default)]
    common_practice: Vec<String>,
    /// The key of a computed value, and the key that it was computed from, or from what in words.
    #[serde(default)]
    converted: BTreeMap<String, String>,
    /// The values by their keys.
    #[serde(flatten)]
    values: Table,
}

impl Entry {
    /// How this class knows the value of `key`.
    fn basis(&self, key: &str) -> Basis {
        let lists = [
            (&self.from_memory, Basis::FromMemory),
            (&self.secondary, Basis::Secondary),
            (&self.common_practice, Basis::CommonPractice),
        ];
        let listed = |key: &str| lists.iter().find(|(keys, _)| keys.iter().any(|k| k == key)).map(|&(_, basis)| basis);
        match self.converted.get(key) {
            // A computed value is known no better than what it was computed from.
            Some(origin) => listed(origin).unwrap_or(Basis::Derived),
            None => listed(key).unwrap_or(Basis::Published),
        }
    }
}

fn read(text: &str) -> Vec<Class> {
    let file: File = toml::from_str(text).expect("the class table is checked by the tests");
    let entries: BTreeMap<&str, &Entry> = file.class.iter().map(|entry| (entry.id.as_str(), entry)).collect();
    file.class
        .iter()
        .map(|entry| Lookup { entry, base: entry.inherits_unless_stated.as_deref().map(|id| entries[id]) }.class())
        .collect()
}

/// A class's entry and the one whose values hold where it is silent.
struct Lookup<'a> {
    entry: &'a Entry,
    base: Option<&'a Entry>,
}

impl Lookup<'_> {
    fn class(&self) -> Class {
        Class {
            id: self.entry.id.clone(),
            title: self.entry.title.clone(),
            source: self.entry.source.clone(),
            section_mm_per_sqrt_km: self.closing("section_misclosure_mm_per_sqrt_km"),
            loop_mm_per_sqrt_km: self.closing("loop_misclosure_mm_per_sqrt_km"),
            mm_per_sqrt_setup: self.rate("misclosure_mm_per_sqrt_setup"),
            sight_max: self.limit("max_sight_length_m", Unit::Metre),
            setup_imbalance_max: self.limit("max_setup_imbalance_m", Unit::Metre),
            sum_imbalance_max: self.limit("max_cumulative_imbalance_m", Unit::Metre),
            line_of_sight_min: self.limit("min_line_of_sight_m", Unit::Metre),
            spread_max: self.limit("max_spread_mm", Unit::Millimetre),
            two_differences_max: self.limit("max_setup_repeat_diff_mm", Unit::Millimetre),
            even_setups: self.value("even_number_of_setups").and_then(|(value, basis)| {
                let must = value.as_bool().expect("a class's even_number_of_setups is true or false");
                must.then_some(basis)
            }),
            collimation_max: self.rate("max_collimation_mm_per_m"),
            collimation_interval: self.value("collimation_check_interval_days").map(|(value, basis)| {
                let days = value.as_integer().and_then(|days| u32::try_from(days).ok());
                Interval { days: days.expect("a class's collimation_check_interval_days is a number"), basis }
            }),
            sequence: self.value("required_sequence").map(|(value, _)| {
                value.as_str().and_then(|text| text.parse().ok()).expect("a class's required_sequence is one of ours")
            }),
        }
    }

    fn value(&self, key: &str) -> Option<(&Value, Basis)> {
        [Some(self.entry), self.base]
            .into_iter()
            .flatten()
            .find_map(|entry| Some((entry.values.get(key)?, entry.basis(key))))
    }

    fn rate(&self, key: &str) -> Option<Rate> {
        self.value(key).map(|(value, basis)| Rate { mm: number(key, value), basis })
    }

    /// The rate under `key`, or the one that serves section and loop alike.
    fn closing(&self, key: &str) -> Option<Rate> {
        self.rate(key).or_else(|| self.rate("misclosure_mm_per_sqrt_km"))
    }

    fn limit(&self, key: &str, unit: Unit) -> Option<Limit> {
        self.value(key).map(|(value, basis)| {
            // The shortest decimal of a float is what was typed, up to fifteen digits, and is taken as digits.
            let typed = number(key, value).to_string();
            Limit { value: Length::parse(&typed, unit).expect("a class's limit is a length"), basis }
        })
    }
}

fn number(key: &str, value: &Value) -> f64 {
    value.as_float().unwrap_or_else(|| panic!("the class table's {key} is {value}, a number such as 2.0 was wanted"))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::book::sequence::{Order, Sequence};

    /// Keys that a check uses, with a float or `true` behind them.
    const USED: &[&str] = &[
        "section_misclosure_mm_per_sqrt_km",
        "loop_misclosure_mm_per_sqrt_km",
        "misclosure_mm_per_sqrt_setup",
        "max_sight_length_m",
        "max_setup_imbalance_m",
        "max_cumulative_imbalance_m",
        "min_line_of_sight_m",
        "max_spread_mm",
        "max_setup_repeat_diff_mm",
        "even_number_of_setups",
        "max_collimation_mm_per_m",
        "collimation_check_interval_days",
    ];

    fn table() -> Vec<Table> {
        let file: Table = include_str!("../classes.toml").parse().unwrap();
        file["class"].as_array().unwrap().iter().map(|class| class.as_table().unwrap().clone()).collect()
    }

    fn names(class: &Table, list: &str) -> Vec<String> {
        let Some(list) = class.get(list) else { return Vec::new() };
        list.as_array().unwrap().iter().map(|name| name.as_str().unwrap().to_owned()).collect()
    }

    /// The limits of a class as (key in the file, shown in the key's unit, basis).
    fn limits(class: &Class) -> Vec<(&'static str, f64, Basis)> {
        let rate = |key, rate: Option<Rate>| rate.map(|r| (key, r.mm, r.basis));
        let m = |key, limit: &Option<Limit>| limit.as_ref().map(|l| (key, l.value.to_f64_m(), l.basis));
        let mm = |key, limit: &Option<Limit>| limit.as_ref().map(|l| (key, l.value.to_f64_mm(), l.basis));
        [
            rate("section_misclosure_mm_per_sqrt_km", class.section_mm_per_sqrt_km),
            rate("loop_misclosure_mm_per_sqrt_km", class.loop_mm_per_sqrt_km),
            rate("misclosure_mm_per_sqrt_setup", class.mm_per_sqrt_setup),
            m("max_sight_length_m", &class.sight_max),
            m("max_setup_imbalance_m", &class.setup_imbalance_max),
            m("max_cumulative_imbalance_m", &class.sum_imbalance_max),
            m("min_line_of_sight_m", &class.line_of_sight_min),
            mm("max_spread_mm", &class.spread_max),
            mm("max_setup_repeat_diff_mm", &class.two_differences_max),
            class.even_setups.map(|basis| ("even_number_of_setups", 1.0, basis)),
            rate("max_collimation_mm_per_m", class.collimation_max),
            class
                .collimation_interval
                .map(|interval| ("collimation_check_interval_days", f64::from(interval.days), interval.basis)),
        ]
        .into_iter()
        .flatten()
        .collect()
    }

    #[test]
    fn every_class_of_the_file_is_there_under_its_id() {
        let ids: Vec<&str> = all().iter().map(|class| class.id.as_str()).collect();
        let filed = table();
        assert_eq!(ids, filed.iter().map(|class| class["id"].as_str().unwrap()).collect::<Vec<_>>());
        assert_eq!(ids[0], DEFAULT);
        for id in &ids {
            assert_eq!(find(id).unwrap().id, *id);
            assert_eq!(ids.iter().filter(|other| *other == id).count(), 1, "{id} stands twice");
        }
    }

    #[test]
    fn every_value_of_the_file_is_the_classes_own_with_the_basis_that_the_file_states() {
        let mut seen = 0;
        for (filed, class) in table().iter().zip(all()) {
            for (key, value) in filed {
                for used in USED.iter().filter(|used| *used == key || used.split_once('_').is_some_and(|u| u.1 == key))
                {
                    if *used != key && filed.contains_key(*used) {
                        continue; // Its own value wins over the one that serves section and loop alike.
                    }
                    let whole = value.as_integer().map(|whole| whole as f64);
                    let stated = value.as_float().or(whole).unwrap_or(1.0);
                    let converted = filed.get("converted").and_then(|c| c.get(key)).and_then(Value::as_str);
                    let origin = converted.unwrap_or(key).to_owned();
                    let listed = |list| names(filed, list).contains(&origin);
                    let basis = match () {
                        () if listed("from_memory") => Basis::FromMemory,
                        () if listed("secondary") => Basis::Secondary,
                        () if listed("common_practice") => Basis::CommonPractice,
                        () if converted.is_some() => Basis::Derived,
                        () => Basis::Published,
                    };
                    let wanted = (*used, stated, basis);
                    let close = |found: &(&str, f64, Basis)| {
                        (found.0, found.2) == (wanted.0, wanted.2) && (found.1 - wanted.1).abs() < 1e-12
                    };
                    assert!(limits(class).iter().any(close), "{} {wanted:?} {:?}", class.id, limits(class));
                    seen += 1;
                }
            }
        }
        assert!(seen > 80, "only {seen} values were compared");
    }

    #[test]
    fn the_federal_classes_have_their_constants() {
        // FGCC 1984, section 3.5, as the file carries them: section and loop in mm per root km, longest sight,
        // imbalance of a setup and of a section in m, disagreement of two differences in mm.
        for (id, section, closed, sight, setup, sum, repeat) in [
            ("fgcc1984-first-order-class-I", 3.0, 4.0, 50, 2, 4, 300),
            ("fgcc1984-first-order-class-II", 4.0, 5.0, 60, 5, 10, 300),
            ("fgcc1984-second-order-class-I", 6.0, 6.0, 60, 5, 10, 600),
            ("fgcc1984-second-order-class-II", 8.0, 8.0, 70, 10, 10, 700),
            ("fgcc1984-third-order", 12.0, 12.0, 90, 10, 10, 1300),
        ] {
            let class = find(id).unwrap();
            assert_eq!(class.section_mm_per_sqrt_km, Some(Rate { mm: section, basis: Basis::FromMemory }), "{id}");
            assert_eq!(class.loop_mm_per_sqrt_km, Some(Rate { mm: closed, basis: Basis::FromMemory }), "{id}");
            let value = |limit: &Option<Limit>| limit.as_ref().unwrap().value;
            assert_eq!(value(&class.sight_max), Length::from_mm(sight * 1000), "{id}");
            assert_eq!(value(&class.setup_imbalance_max), Length::from_mm(setup * 1000), "{id}");
            assert_eq!(value(&class.sum_imbalance_max), Length::from_mm(sum * 1000), "{id}");
            assert_eq!(value(&class.line_of_sight_min), Length::from_mm(500), "{id}");
            assert_eq!(value(&class.two_differences_max), Length::from_um(repeat), "{id}");
        }
        let first = find("fgcc1984-first-order-class-I").unwrap();
        assert_eq!(first.sequence, Some(Sequence { order: Order::Bffb, alternating: false, shots: 1 }));
        assert_eq!(first.even_setups, Some(Basis::FromMemory));
        assert_eq!(find("fgcc1984-third-order").unwrap().even_setups, None);
    }

    #[test]
    fn what_a_class_does_not_state_it_inherits_with_the_basis_that_it_has_there() {
        let (base, child) =
            (find("fgcc1984-second-order-class-I").unwrap(), find("fgcs-digital-second-order-class-I").unwrap());
        assert_eq!(child.section_mm_per_sqrt_km, base.section_mm_per_sqrt_km);
        assert_eq!(child.line_of_sight_min, Some(Limit { value: Length::from_mm(500), basis: Basis::FromMemory }));
        assert_eq!(child.sight_max, Some(Limit { value: Length::from_mm(60_000), basis: Basis::Secondary }));
        assert_ne!(child.source, base.source);
    }

    #[test]
    fn a_value_converted_from_a_remembered_one_is_from_memory() {
        let army = find("usace-third-order").unwrap();
        assert_eq!(army.loop_mm_per_sqrt_km, Some(Rate { mm: 12.0, basis: Basis::FromMemory }));
        assert_eq!(army.section_mm_per_sqrt_km, army.loop_mm_per_sqrt_km);
        assert_eq!(find("ahd-natmap-first-order").unwrap().two_differences_max.as_ref().unwrap().basis, Basis::Derived);
    }

    #[test]
    fn feet_per_root_mile_agree_with_millimetres_per_root_kilometre() {
        let mut seen = 0;
        for class in table() {
            let Some(feet) = class.get("misclosure_ft_per_sqrt_mile").and_then(Value::as_float) else { continue };
            // 304.8 mm to the foot, 1.609344 km to the mile; printed to a tenth, and rounded before that in places.
            let mm = feet * 304.8 / 1.609_344_f64.sqrt();
            let printed = class["misclosure_mm_per_sqrt_km"].as_float().unwrap();
            assert!((mm - printed).abs() < 0.1, "{}: {mm}", class["id"]);
            seen += 1;
        }
        assert_eq!(seen, 7);
    }

    #[test]
    fn the_lists_name_only_what_the_class_states() {
        for class in table() {
            let listed = ["from_memory", "secondary", "common_practice"].iter().flat_map(|list| names(&class, list));
            let converted = class.get("converted").and_then(Value::as_table).into_iter().flatten().map(|(k, _)| k);
            for key in listed.chain(converted.cloned()) {
                assert!(class.contains_key(&key), "{}: {key} is listed and not stated", class["id"]);
            }
        }
    }

    #[test]
    fn no_key_is_misspelt() {
        /// Keys that no check uses yet.
        const DATA: &[&str] = &[
            "accuracy_url",
            "avg_benchmark_spacing_km",
            "class",
            "compensator_check_interval_days",
            "distance_loop",
            "distance_section",
            "elevation_difference_accuracy_mm_per_sqrt_km",
            "least_count_mm",
            "max_benchmark_spacing_km",
            "max_line_length_between_control_km",
            "max_sight_length_ft",
            "max_three_wire_half_interval_diff_mm",
            "min_line_of_sight_ft",
            "min_network_benchmark_ties",
            "misclosure_ft_per_sqrt_mile",
            "misclosure_mm_per_sqrt_km",
            "note",
            "observing_method",
            "order",
            "required_sequence",
            "required_sequence_detail",
            "rod_bubble_verticality_arcmin",
            "rod_material",
            "secondary_urls",
            "section_running",
            "source_url",
            "standard",
            "temperature_gradient_each_setup",
        ];
        let file: File = toml::from_str(include_str!("../classes.toml")).unwrap();
        for entry in &file.class {
            for key in entry.values.keys() {
                assert!(DATA.contains(&key.as_str()) || USED.contains(&key.as_str()), "{}: {key}", entry.id);
            }
        }
    }

    #[test]
    fn the_class_for_building_work_is_common_practice_throughout() {
        let class = find(DEFAULT).unwrap();
        for (key, _, basis) in limits(class) {
            assert_eq!(basis, Basis::CommonPractice, "{key}");
        }
        let numbers: Vec<f64> = limits(class).into_iter().map(|(_, value, _)| value).collect();
        assert_eq!(numbers, [12.0, 12.0, 1.0, 40.0, 2.0, 10.0, 0.3, 0.5, 1.0, 0.05]);
    }

    #[test]
    fn an_unknown_class_is_told_what_was_probably_meant() {
        let message = find("bilding").unwrap_err().to_string();
        assert_eq!(message, "unknown accuracy class \"bilding\", building was probably meant");
        let far = find("perfect").unwrap_err().to_string();
        assert!(far.starts_with("unknown accuracy class \"perfect\"; the classes are building, "), "{far}");
        assert!(far.ends_with("textbook-precise"), "{far}");
    }
}
