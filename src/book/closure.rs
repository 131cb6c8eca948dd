//! How large a misclosure may be, and how one is shared out along a line.
//!
//! ```text
//! by length     c * sqrt(K)               c of the class in mm per root km; K in km
//! by setups     q * sqrt(n)               q of the class in mm per root setup,
//!                                         or, where no length is known, K = n * 2 S in the line above
//! by noise      z * sigma_setup * sqrt(n) sigma_setup = sigma_r * sqrt(2 / m)
//! shared out    v_i = -w * d_i / D
//! ```
//!
//! | symbol | meaning | unit |
//! |---|---|---|
//! | K | length of a loop or of a line between known points; one-way length of a section run both ways | km |
//! | n | setups whose readings enter the misclosure: a section's both ways | - |
//! | S | mean sight length | m |
//! | sigma_r, m | standard deviation of one staff reading; readings meaned for a sight | mm, - |
//! | w | misclosure, observed less known | m |
//! | d_i, D | length or setups from the start to point i, and in all | - |
//!
//! The largest of those that can be computed rules, because a class's root of length falls below what readings can
//! carry once a line is a few tens of metres. Noise alone never allows anything: without a class's constant there is
//! no allowance. Roots, because independent errors add in quadrature.
//!
//! A class that states only one of section and loop serves the other too: a section of length D run both ways is a
//! loop of 2 D, and a line between known points counts as a loop. That is arithmetic, not the class's own word, and is
//! said so.
//!
//! Sources: by length, read in teaching pages and in the classes' own; by setups and the sharing, textbook practice
//! from memory. Checked against: `fixtures/levelling/misclosure_allowable_setups.toml`.

use super::classes::{Class, Rate};
use crate::units::{Length, Unit};

/// How many standard deviations of reading noise are left room for: 95 % of good work stays inside. Common practice,
/// no source; 3 is met too.
pub const NOISE_Z: f64 = 2.0;

/// The largest misclosure that is accepted.
#[derive(Clone, Debug, PartialEq)]
pub struct Allowance {
    /// The misclosure may be this large, either way; equal to it is inside.
    pub value: Length,
    /// Which rule gave it.
    pub rule: Rule,
    /// The rule in words, with its numbers and where they come from.
    pub words: String,
}

/// What an allowance is reckoned by.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Rule {
    /// The root of the length.
    ByLength,
    /// The root of the number of setups.
    BySetups,
    /// What the readings themselves can carry.
    ReadingNoise,
}

/// What closes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum LineKind {
    /// Forward against back between the same two points.
    Section,
    /// A run that returns to its start.
    Loop,
    /// A run from one known point to another.
    BetweenKnown,
}

/// Standard deviation in mm of a setup's height difference, from that of one reading and the readings meaned for each
/// of its two sights. `BFFB` has two a sight.
///
/// # Panics
/// If no reading is meaned.
pub fn setup_sd_mm(reading_sd: Length, readings_a_sight: usize) -> f64 {
    assert!(readings_a_sight > 0, "a sight has readings");
    reading_sd.to_f64_mm() * (2.0 / readings_a_sight as f64).sqrt()
}

/// The allowance for a misclosure; `None` if the class has no constant that these facts can be put into.
///
/// `length` is a section's one-way length, `setups` are those of both ways; `mean_sight` is used only where `length`
/// is not known.
pub fn allowance(
    class: &Class,
    line: LineKind,
    length: Option<Length>,
    setups: u32,
    mean_sight: Option<Length>,
    sigma_setup_mm: f64,
) -> Option<Allowance> {
    let by_class = [by_length(class, line, length, setups, mean_sight), by_setups(class, setups)];
    let by_noise = reading_noise(setups, sigma_setup_mm);
    let ruling = by_class.into_iter().flatten().reduce(larger)?;
    Some(match by_noise {
        Some(noise) => larger(ruling, noise),
        None => ruling,
    })
}

/// The larger of two; of equal ones the first.
fn larger(first: Allowance, second: Allowance) -> Allowance {
    if second.value > first.value { second } else { first }
}

fn by_length(
    class: &Class,
    line: LineKind,
    length: Option<Length>,
    setups: u32,
    mean_sight: Option<Length>,
) -> Option<Allowance> {
    let ways = if line == LineKind::Section { 2.0 } else { 1.0 };
    let (km, rule, over) = match (length, mean_sight) {
        (Some(length), _) => {
            let km = length.to_f64_m() / 1000.0;
            (km, Rule::ByLength, format!("{km:.3} km"))
        }
        (None, Some(sight)) => (
            f64::from(setups) * 2.0 * sight.to_f64_m() / 1000.0 / ways,
            Rule::BySetups,
            format!("{} of sights of {} m", count(setups), sight.show(Unit::Metre, 2)),
        ),
        (None, None) => return None,
    };
    let (section, closed) = (class.section_mm_per_sqrt_km, class.loop_mm_per_sqrt_km);
    let (rate, km, turned) = match (line, section, closed) {
        (LineKind::Section, Some(rate), _) | (LineKind::Loop | LineKind::BetweenKnown, _, Some(rate)) => (rate, km, ""),
        (LineKind::Section, None, Some(rate)) => (rate, km * 2.0, ", the section taken as a loop of twice its length"),
        (_, Some(rate), None) => (rate, km / 2.0, ", the line taken as a section of half its length run both ways"),
        (_, None, None) => return None,
    };
    let words = format!("{} mm per root km over {over}: {}{turned}", rate.mm, source(class, rate));
    of_mm(rate.mm * km.sqrt(), rule, words)
}

fn by_setups(class: &Class, setups: u32) -> Option<Allowance> {
    let rate = class.mm_per_sqrt_setup?;
    let words = format!("{} mm per root setup over {}: {}", rate.mm, count(setups), source(class, rate));
    of_mm(rate.mm * f64::from(setups).sqrt(), Rule::BySetups, words)
}

fn reading_noise(setups: u32, sigma_setup_mm: f64) -> Option<Allowance> {
    let words = format!("reading noise: {NOISE_Z} times {sigma_setup_mm:.2} mm a setup over {}", count(setups));
    of_mm(NOISE_Z * sigma_setup_mm * f64::from(setups).sqrt(), Rule::ReadingNoise, words)
}

fn of_mm(mm: f64, rule: Rule, words: String) -> Option<Allowance> {
    (mm > 0.0).then_some(())?;
    Some(Allowance { value: Length::from_f64_m(mm / 1000.0)?, rule, words })
}

fn source(class: &Class, rate: Rate) -> String {
    format!("{}{}", class.title, rate.basis.remark())
}

fn count(setups: u32) -> String {
    if setups == 1 { "1 setup".to_owned() } else { format!("{setups} setups") }
}

/// The corrections that take a misclosure out, at points whose distance from the start (in length or in setups, in any
/// one unit) is given in order, the last being the closing point.
///
/// Each is taken to the nearest 0.1 nm, ties to even, from the whole and not from the one before, so that they do not
/// drift; the last is the whole misclosure with its sign turned. If the line has no length, the last takes it alone.
pub fn distribute(misclosure: Length, cumulative: &[i64]) -> Vec<Length> {
    let Some((&whole, before)) = cumulative.split_last() else { return Vec::new() };
    let share = |&part: &i64| if whole == 0 { Length::ZERO } else { -misclosure.share(part, whole) };
    before.iter().map(share).chain([-misclosure]).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::book::classes::{self, Basis};
    use proptest::prelude::*;

    /// A class of one's own with these constants and nothing else.
    fn own(section: Option<f64>, closed: Option<f64>, setup: Option<f64>) -> Class {
        let rate = |mm: Option<f64>| mm.map(|mm| Rate { mm, basis: Basis::Own });
        Class {
            id: "own".to_owned(),
            title: "the job's own".to_owned(),
            source: String::new(),
            section_mm_per_sqrt_km: rate(section),
            loop_mm_per_sqrt_km: rate(closed),
            mm_per_sqrt_setup: rate(setup),
            sight_max: None,
            setup_imbalance_max: None,
            sum_imbalance_max: None,
            line_of_sight_min: None,
            spread_max: None,
            two_differences_max: None,
            even_setups: None,
            collimation_max: None,
            collimation_interval: None,
            sequence: None,
        }
    }

    fn mm(allowance: &Option<Allowance>) -> f64 {
        allowance.as_ref().expect("an allowance").value.to_f64_mm()
    }

    fn m(metres: i64) -> Option<Length> {
        Some(Length::from_mm(metres * 1000))
    }

    #[test]
    fn the_published_test_of_a_misclosure_by_setups() {
        let text = include_str!("../../fixtures/levelling/misclosure_allowable_setups.toml");
        let file: toml::Table = text.parse().unwrap();
        let number = |part: &str, key: &str| {
            let value = &file[part][key];
            value.as_float().or_else(|| value.as_integer().map(|i| i as f64)).unwrap()
        };
        let class = own(None, None, Some(number("input", "allowance_per_root_setup")));
        let setups = number("input", "setups") as u32;
        let allowed = allowance(&class, LineKind::BetweenKnown, None, setups, None, 0.0);
        let printed = number("published", "allowable_misclosure");
        assert!((mm(&allowed) - printed).abs() <= number("tolerance", "allowable_misclosure"), "{allowed:?}");
        assert_eq!(allowed.as_ref().unwrap().rule, Rule::BySetups);
        assert_eq!(allowed.as_ref().unwrap().words, "5 mm per root setup over 3 setups: the job's own");

        let elevation = |key: &str| Length::parse(&format!("{:.3}", number("input", key)), Unit::Metre).unwrap();
        let misclosure = elevation("computed_elevation_m") - elevation("known_elevation_m");
        assert_eq!(misclosure, Length::from_mm(number("published", "misclosure") as i64));
        let accepted = misclosure.abs() <= allowed.unwrap().value;
        assert_eq!(Some(accepted), file["published"]["accepted"].as_bool());
    }

    #[test]
    fn by_setups_from_the_mean_sight_length() {
        // q = c sqrt(2 S / 1000), to a tenth of a millimetre.
        for (sight, c, q) in [(20, 8.0, 1.6), (20, 12.0, 2.4), (20, 24.0, 4.8), (30, 8.0, 2.0), (30, 12.0, 2.9)] {
            let class = own(None, Some(c), None);
            let one = allowance(&class, LineKind::Loop, None, 1, m(sight), 0.0);
            assert!((mm(&one) - q).abs() < 0.05, "{sight} m, {c}: {one:?}");
            assert_eq!(one.as_ref().unwrap().rule, Rule::BySetups);
            let nine = allowance(&class, LineKind::Loop, None, 9, m(sight), 0.0);
            assert!((mm(&nine) - 3.0 * mm(&one)).abs() < 1e-6, "nine setups are allowed three times one");
        }
        assert!((mm(&allowance(&own(None, Some(24.0), None), LineKind::Loop, None, 1, m(30), 0.0)) - 5.9).abs() < 0.05);
    }

    #[test]
    fn length_rules_a_long_line_setups_a_short_one_and_noise_the_shortest() {
        let class = classes::find("building").unwrap();
        // 25 setups of 20 m: 1 km, 12 mm by length against 5 mm by setups.
        let long = allowance(class, LineKind::Loop, m(1000), 25, m(20), 0.1).unwrap();
        assert_eq!((long.value, long.rule), (Length::from_mm(12), Rule::ByLength));
        assert_eq!(long.words, "12 mm per root km over 1.000 km: building work, common practice, no source");
        // 9 setups within 24 m: 1.86 mm by length against 3 mm by setups.
        let short = allowance(class, LineKind::Loop, m(24), 9, None, 0.1).unwrap();
        assert_eq!((short.value, short.rule), (Length::from_mm(3), Rule::BySetups));
        assert_eq!(short.words, "1 mm per root setup over 9 setups: building work, common practice, no source");
        // The same with coarse readings: 2 * 0.8 * 3 = 4.8 mm.
        let coarse = allowance(class, LineKind::Loop, m(24), 9, None, 0.8).unwrap();
        assert_eq!((coarse.value, coarse.rule), (Length::from_um(4800), Rule::ReadingNoise));
        assert_eq!(coarse.words, "reading noise: 2 times 0.80 mm a setup over 9 setups");
    }

    #[test]
    fn a_remembered_constant_is_said_to_be_one() {
        let class = classes::find("fgcc1984-second-order-class-I").unwrap();
        let words = allowance(class, LineKind::Section, m(4000), 200, None, 0.1).unwrap().words;
        assert_eq!(words, "6 mm per root km over 4.000 km: FGCC 1984 second order class I, from memory");
    }

    #[test]
    fn a_class_that_states_only_one_of_section_and_loop_serves_the_other() {
        let (section, closed) = (own(Some(6.0), None, None), own(None, Some(6.0), None));
        let root_2 = 2f64.sqrt();
        for (class, line, wanted) in [
            (&section, LineKind::Section, 6.0),
            (&closed, LineKind::Loop, 6.0),
            (&closed, LineKind::BetweenKnown, 6.0),
            (&closed, LineKind::Section, 6.0 * root_2),
            (&section, LineKind::Loop, 6.0 / root_2),
            (&section, LineKind::BetweenKnown, 6.0 / root_2),
        ] {
            let found = allowance(class, line, m(1000), 20, None, 0.0);
            assert!((mm(&found) - wanted).abs() < 1e-6, "{line:?}: {found:?}");
        }
        let words = allowance(&closed, LineKind::Section, m(1000), 20, None, 0.0).unwrap().words;
        assert!(words.ends_with("the job's own, the section taken as a loop of twice its length"), "{words}");
        // A section's setups are those of both ways: 20 of them at 25 m are 500 m one way.
        let by_length = allowance(&section, LineKind::Section, m(500), 20, None, 0.0);
        let by_setups = allowance(&section, LineKind::Section, None, 20, m(25), 0.0);
        assert!((mm(&by_length) - mm(&by_setups)).abs() < 1e-6);
    }

    #[test]
    fn without_a_constant_or_the_facts_for_it_nothing_is_allowed() {
        let silent = own(None, None, None);
        assert_eq!(allowance(&silent, LineKind::Loop, m(1000), 20, m(25), 0.4), None);
        let by_length_only = own(Some(6.0), Some(6.0), None);
        assert_eq!(allowance(&by_length_only, LineKind::Loop, None, 20, None, 0.4), None);
        assert_eq!(allowance(&by_length_only, LineKind::Loop, None, 0, m(20), 0.4), None);
    }

    #[test]
    fn readings_meaned_for_a_sight_quieten_the_setup() {
        let reading = Length::from_um(300);
        assert!((setup_sd_mm(reading, 1) - 0.3 * 2f64.sqrt()).abs() < 1e-12);
        assert!((setup_sd_mm(reading, 2) - 0.3).abs() < 1e-12, "BFFB has the deviation of one reading");
    }

    #[test]
    fn thirds_that_do_not_come_out_still_close() {
        let nm = Length::from_tenth_nm;
        assert_eq!(distribute(nm(10), &[0, 1, 2, 3]), [nm(0), nm(-3), nm(-7), nm(-10)]);
        assert_eq!(distribute(nm(-5), &[1, 2]), [nm(2), nm(5)], "2.5 goes to the even 2");
        assert_eq!(distribute(nm(7), &[]), []);
        assert_eq!(distribute(nm(7), &[0, 0]), [nm(0), nm(-7)]);
    }

    proptest! {
        #[test]
        fn parts_are_never_off_by_more_than_half_a_unit_and_sum_to_the_misclosure(
            misclosure in -1_000_000_000_000i64..1_000_000_000_000,
            legs in prop::collection::vec(1i64..10_000_000_000_000, 1..60),
        ) {
            let cumulative: Vec<i64> =
                legs.iter().scan(0, |sum, leg| { *sum += leg; Some(*sum) }).collect();
            let shared = distribute(Length::from_tenth_nm(misclosure), &cumulative);
            prop_assert_eq!(*shared.last().unwrap(), Length::from_tenth_nm(-misclosure));
            let whole = i128::from(*cumulative.last().unwrap());
            for (correction, part) in shared.iter().zip(&cumulative) {
                // | v D + w d | <= D / 2
                let off = i128::from(correction.tenth_nm()) * whole + i128::from(misclosure) * i128::from(*part);
                prop_assert!(2 * off.abs() <= whole);
            }
        }
    }
}
