//! Corrections to a staff reading: one function, each correction off until it is given its value.
//!
//! ```text
//! collimation               - c * S
//! curvature and refraction  - (1 - k) * S^2 / (2 R)
//! staff scale               + r * eps
//! staff temperature         + r * (1 + eps) * alpha * (T - T0)
//! ```
//!
//! | symbol | meaning | unit in the settings |
//! |---|---|---|
//! | S | sight length | - |
//! | c | inclination of the line of sight, positive where it climbs away from the instrument | mm/m |
//! | k | coefficient of refraction | - |
//! | R | mean radius of the earth, 6,371,000 m | - |
//! | r | the reading; negative on an inverted staff, which the scale stretches downwards all the same | - |
//! | eps | scale of the staff, positive where its true height is larger than read | ppm |
//! | alpha, T, T0 | expansion of the staff, its temperature, the temperature at which it is right | ppm/degree C, degree C |
//!
//! Sign: a part is added to the reading. The scale acts on readings, so that every height difference has it too.
//! Each part is computed as a float and taken to the nearest 0.1 nm; with all of them off the reading is untouched.
//!
//! Sources: textbook geometry; the sizes for `k = 0.14` and the coefficients in feet as in teaching pages, see the
//! tests. Checked against: `fixtures/field/two_peg_apply_correction_feet.toml` and
//! `curvature_refraction_combined.toml` beside it.

use super::settings::Corrections;
use crate::units::Length;

/// Mean radius of the earth in metres. From memory; a kilometre more or less shows nowhere.
pub const EARTH_RADIUS_M: f64 = 6_371_000.0;

/// The kinds of correction, in the order in which they are printed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Correction {
    /// Inclination of the line of sight.
    Collimation,
    /// Curvature of the earth and refraction of the air.
    CurvatureAndRefraction,
    /// Scale of the staff.
    StaffScale,
    /// Expansion of the staff with temperature.
    StaffTemperature,
}

impl Correction {
    /// All of them, in the order of [`Corrected::parts`].
    pub const ALL: [Correction; 4] = [
        Correction::Collimation,
        Correction::CurvatureAndRefraction,
        Correction::StaffScale,
        Correction::StaffTemperature,
    ];

    /// Its name in print.
    pub fn name(self) -> &'static str {
        match self {
            Correction::Collimation => "collimation",
            Correction::CurvatureAndRefraction => "curvature and refraction",
            Correction::StaffScale => "staff scale",
            Correction::StaffTemperature => "staff temperature",
        }
    }
}

/// What became of one correction.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Part {
    /// Not asked for.
    Off,
    /// This much was added.
    Added(Length),
    /// Asked for, and nothing was added.
    NotMade(NotMade),
}

/// Why a correction that was asked for could not be made.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum NotMade {
    /// The reading came without a sight length.
    NoSightLength,
    /// The staff's temperature is not known.
    NoTemperature,
    /// It would be beyond any length that can be booked.
    TooLarge,
}

impl NotMade {
    /// What is said behind the correction's name.
    pub fn words(self) -> &'static str {
        match self {
            NotMade::NoSightLength => "not applied: the reading has no sight length",
            NotMade::NoTemperature => "not applied: the temperature of the staff is not known",
            NotMade::TooLarge => "not applied: it is larger than any length that can be booked",
        }
    }
}

/// A corrected reading, with what was done to it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Corrected {
    /// The reading with all parts added.
    pub corrected: Length,
    /// What became of each correction, in the order of [`Correction::ALL`].
    pub parts: [Part; 4],
}

impl Corrected {
    /// The corrections that were asked for and could not be made.
    pub fn not_made(&self) -> impl Iterator<Item = (Correction, NotMade)> {
        Correction::ALL.into_iter().zip(self.parts).filter_map(|(correction, part)| match part {
            Part::NotMade(why) => Some((correction, why)),
            Part::Off | Part::Added(_) => None,
        })
    }
}

/// Corrects a reading. `temperature_c` is the one that came with it, and wins over the one in the settings.
///
/// A correction that lacks what it needs is not made, and is named in the result.
pub fn correct(raw: Length, sight: Option<Length>, temperature_c: Option<f64>, corrections: &Corrections) -> Corrected {
    let sight_m = sight.map(Length::to_f64_m).ok_or(NotMade::NoSightLength);
    let collimation = corrections.collimation_mm_per_m.map(|c| Ok(-c / 1000.0 * sight_m?));
    let curvature = corrections.refraction_k.map(|k| Ok(-curvature_and_refraction_m(k, sight_m?)));
    let stretch = corrections.staff_scale_ppm.map_or(0.0, |ppm| ppm / 1e6);
    let scale = corrections.staff_scale_ppm.map(|_| Ok(raw.to_f64_m() * stretch));
    let temperature = corrections.staff_expansion.map(|staff| {
        let celsius = temperature_c.or(staff.staff_c).ok_or(NotMade::NoTemperature)?;
        Ok(raw.to_f64_m() * (1.0 + stretch) * staff.ppm_per_c / 1e6 * (celsius - staff.standard_c))
    });
    let parts = [collimation, curvature, scale, temperature].map(part);
    let added = parts.iter().map(|part| if let Part::Added(length) = part { *length } else { Length::ZERO });
    Corrected { corrected: raw + added.sum(), parts }
}

/// How much too high a staff is read at this distance for curvature and refraction, in metres: `(1 - k) S^2 / 2R`.
pub fn curvature_and_refraction_m(k: f64, sight_m: f64) -> f64 {
    (1.0 - k) * sight_m.powi(2) / (2.0 * EARTH_RADIUS_M)
}

/// The part that so many metres are; `None` is a correction that nobody asked for.
fn part(metres: Option<Result<f64, NotMade>>) -> Part {
    match metres {
        None => Part::Off,
        Some(Err(why)) => Part::NotMade(why),
        Some(Ok(metres)) if metres.abs() <= CORRECTION_MAX_M => {
            Length::from_f64_m(metres).map_or(Part::NotMade(NotMade::TooLarge), Part::Added)
        }
        Some(Ok(_)) => Part::NotMade(NotMade::TooLarge),
    }
}

/// The largest correction that is made, in metres: no staff is as long, and sums stay inside a [`Length`].
const CORRECTION_MAX_M: f64 = 100.0;

#[cfg(test)]
mod tests {
    use super::*;
    use crate::book::settings::StaffExpansion;
    use crate::units::Unit;

    fn refraction(k: f64) -> Corrections {
        Corrections { refraction_k: Some(k), ..Corrections::default() }
    }

    /// The correction of a reading of nought, in metres.
    fn at(sight: Length, corrections: &Corrections) -> f64 {
        correct(Length::ZERO, Some(sight), None, corrections).corrected.to_f64_m()
    }

    fn fixture(text: &str) -> toml::Table {
        text.parse().unwrap()
    }

    /// The decimal that stands in the fixture, as a length.
    fn length(value: &toml::Value, unit: Unit) -> Length {
        let number = value.as_float().or_else(|| value.as_integer().map(|i| i as f64)).unwrap();
        Length::parse(&number.to_string(), unit).unwrap()
    }

    #[test]
    fn off_is_the_identity() {
        for um in [0, 1, 1_283_400, -2_015_001] {
            let raw = Length::from_um(um);
            let result = correct(raw, Some(Length::from_mm(90_000)), Some(35.0), &Corrections::default());
            assert_eq!(result, Corrected { corrected: raw, parts: [Part::Off; 4] });
        }
    }

    #[test]
    fn the_published_collimation_of_a_long_backsight() {
        let file = fixture(include_str!("../../fixtures/field/two_peg_apply_correction_feet.toml"));
        let rate = file["input"]["collimation_rate"].as_float().unwrap();
        let corrections = Corrections { collimation_mm_per_m: Some(rate * 1000.0), ..Corrections::default() };
        let raw = length(&file["input"]["reading"], Unit::Foot);
        let sight = length(&file["input"]["sight_length"], Unit::Foot);
        let result = correct(raw, Some(sight), None, &corrections);
        let printed = length(&file["published"]["corrected_reading"], Unit::Foot);
        let tolerance = length(&file["tolerance"]["corrected_reading"], Unit::Foot);
        assert!((result.corrected - printed).abs() <= tolerance, "{result:?}");
        // A falling line of sight reads too low: the error is negative, the correction positive.
        let error = length(&file["published"]["reading_error"], Unit::Foot);
        let Part::Added(added) = result.parts[0] else { panic!("{result:?}") };
        assert!((-added - error).abs() <= length(&file["tolerance"]["reading_error"], Unit::Foot), "{result:?}");
    }

    #[test]
    fn the_published_effect_of_curvature_and_refraction() {
        let file = fixture(include_str!("../../fixtures/field/curvature_refraction_combined.toml"));
        let items = file["input"]["item"].as_array().unwrap();
        let effects = file["published"]["effect"].as_array().unwrap();
        assert_eq!((items.len(), effects.len()), (2, 2));
        for (item, effect) in items.iter().zip(effects) {
            let coefficient = item["coefficient_m_per_km2"].as_float().unwrap();
            // The source gives the coefficient: the k that makes it is near 0.14.
            let k = 1.0 - coefficient * 2.0 * EARTH_RADIUS_M / 1e6;
            assert!((k - 0.14).abs() < 0.0005, "{k}");
            let sight = Length::from_f64_m(item["distance_km"].as_float().unwrap() * 1000.0).unwrap();
            let found = -at(sight, &refraction(k));
            let tolerance = file["tolerance"]["effect"].as_float().unwrap();
            assert!((found - effect.as_float().unwrap()).abs() <= tolerance, "{found}");
        }
    }

    #[test]
    fn curvature_and_refraction_at_usual_sights() {
        // mm too high at k = 0.14, in the last digit given.
        for (sight_m, mm, half_digit) in [
            (10, 0.007, 0.0005),
            (20, 0.03, 0.005),
            (30, 0.06, 0.005),
            (40, 0.11, 0.005),
            (50, 0.17, 0.005),
            (60, 0.24, 0.005),
            (70, 0.33, 0.005),
            (90, 0.55, 0.005),
        ] {
            let found = -1000.0 * at(Length::from_mm(sight_m * 1000), &refraction(0.14));
            assert!((found - mm).abs() <= half_digit, "{sight_m} m: {found} mm");
        }
    }

    #[test]
    fn curvature_and_refraction_by_the_coefficients_of_the_textbooks() {
        let (km, ft_1000, mile) = (Length::from_mm(1_000_000), "1000", "5280");
        let feet = |text: &str| Length::parse(text, Unit::Foot).unwrap();
        // Metres for a kilometre; feet for a thousand feet and for a mile: curvature alone, k = 0.14, k = 1/7.
        for (sight, per_unit, last_digit, coefficients) in [
            (km, 1.0, 0.0001, [0.0785, 0.0675, 0.0673]),
            (feet(ft_1000), 0.3048, 0.0001, [0.0239, 0.0206, 0.0205]),
            (feet(mile), 0.3048, 0.001, [0.667, 0.574, 0.572]),
        ] {
            for (k, coefficient) in [0.0, 0.14, 1.0 / 7.0].into_iter().zip(coefficients) {
                let found = -at(sight, &refraction(k)) / per_unit;
                assert!((found - coefficient).abs() <= last_digit / 2.0, "{k}: {found} for {coefficient}");
            }
        }
    }

    #[test]
    fn equal_sights_leave_the_height_difference_alone() {
        let corrections =
            Corrections { collimation_mm_per_m: Some(0.05), refraction_k: Some(0.14), ..Corrections::default() };
        let sight = Some(Length::from_mm(31_420));
        let (back, fore) = (Length::from_um(1_283_400), Length::from_um(912_150));
        let corrected = |raw| correct(raw, sight, None, &corrections).corrected;
        assert_eq!(corrected(back) - corrected(fore), back - fore);
        assert_ne!(corrected(back), back);
    }

    #[test]
    fn a_staff_that_is_too_long_or_warm_makes_heights_larger() {
        // 50 ppm on a climb of 10 m is 0.5 mm.
        let scale = Corrections { staff_scale_ppm: Some(50.0), ..Corrections::default() };
        let ten = Length::from_mm(10_000);
        let sight = None;
        assert_eq!(correct(ten, sight, None, &scale).corrected, ten + Length::from_um(500));
        assert_eq!(correct(-ten, sight, None, &scale).corrected, -ten - Length::from_um(500), "inverted");
        // Aluminium, 23 ppm a degree, 10 degrees too warm: 0.23 mm on a metre.
        let staff = StaffExpansion { ppm_per_c: 23.0, standard_c: 20.0, staff_c: Some(30.0) };
        let warm = Corrections { staff_expansion: Some(staff), ..Corrections::default() };
        let metre = Length::from_mm(1000);
        assert_eq!(correct(metre, sight, None, &warm).corrected, metre + Length::from_um(230));
        assert_eq!(correct(metre, sight, Some(20.0), &warm).corrected, metre, "the record's temperature wins");
        // Both: the parts stand apart and add up.
        let both = Corrections { staff_scale_ppm: Some(50.0), ..warm };
        let result = correct(metre, sight, None, &both);
        assert_eq!(result.parts[2], Part::Added(Length::from_um(50)));
        assert_eq!(result.parts[3], Part::Added(Length::from_tenth_nm(2_300_115)), "230 um and 50 ppm of it");
        assert_eq!(result.corrected, metre + Length::from_tenth_nm(2_800_115));
    }

    #[test]
    fn what_a_correction_lacks_is_named_and_nothing_is_made_up() {
        let corrections = Corrections {
            collimation_mm_per_m: Some(0.05),
            refraction_k: Some(0.14),
            staff_scale_ppm: None,
            staff_expansion: Some(StaffExpansion { ppm_per_c: 0.8, standard_c: 20.0, staff_c: None }),
        };
        let raw = Length::from_mm(1234);
        let result = correct(raw, None, None, &corrections);
        assert_eq!(result.corrected, raw);
        let said: Vec<_> = result.not_made().map(|(what, why)| format!("{} {}", what.name(), why.words())).collect();
        assert_eq!(
            said,
            [
                "collimation not applied: the reading has no sight length",
                "curvature and refraction not applied: the reading has no sight length",
                "staff temperature not applied: the temperature of the staff is not known",
            ]
        );
        let absurd = Corrections { collimation_mm_per_m: Some(f64::NAN), refraction_k: Some(1e300), ..corrections };
        let result = correct(raw, Some(Length::from_mm(20_000)), Some(20.0), &absurd);
        assert_eq!(result.corrected, raw);
        assert_eq!(result.not_made().count(), 2);
    }
}
