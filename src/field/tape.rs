//! Carrying a height up on a suspended steel tape: correction by correction, with its doubt.
//!
//! ```text
//! l             | g_low - g_up |                    tape between the two lines of sight
//! standard      l (L_cert - L_nom) / L_nom
//! temperature   l alpha (T - T0)
//! sag of the certificate    l / L_nom * n w^2 (L_nom / n)^3 / (24 P0^2)    only where it was certified over n spans
//! pull, weight  (x2 - x1) / (A E) [ W + w ( H - (x1 + x2) / 2 ) - P0 ]
//! rise          staff below + true height of l - staff above
//! ```
//!
//! | symbol | meaning | unit |
//! |---|---|---|
//! | g_low, g_up | tape readings at the lower and the upper level | 1e-10 m |
//! | x1, x2 | depths of them below the clamp | m |
//! | H | length that hangs, from the clamp to the plummet | m |
//! | W, P0 | weight of the plummet; pull of the certificate | N |
//! | w | weight of the tape by length | N/m |
//! | A, E | cross-section, modulus of elasticity | mm^2, GPa |
//! | alpha, T, T0 | expansion, temperature, temperature at which the tape is right | 1/degree C, degree C |
//! | n | spans that the tape was hung in when it was certified; supported throughout if none | - |
//!
//! Sign: a correction is added to `l`. A tape that is longer than it says measures too short: positive.
//! A hung tape does not sag: what it was certified with less for its sag is given back. A plummet of about `P0 - w H / 2` makes pull and own weight vanish for its full length.
//! Which way the graduations run does not matter: depths are counted from the clamp's graduation.
//!
//! The doubt: readings of tape and staffs, the certificate, the temperature, the pull, in quadrature (independent).
//! Source: temperature, pull and standard, vermessungsseiten.de and NPTEL course 105107122, read; own weight derived by
//! integrating the pull over the depth; sag, textbook. Checked against: the `tape_correction` files of `fixtures/field`.

use std::fmt;

use super::quantiles::Z_95;
use crate::book::activity::TapeSettings;
use crate::units::{Length, Unit};

/// Standard gravity: a kilogram-force is so many newtons (exact by definition).
pub const NEWTONS_IN_KGF: f64 = 9.806_65;
/// A pound-force is so many newtons (0.45359237 kg, exact).
pub const NEWTONS_IN_LBF: f64 = 4.448_221_615_260_5;

/// A correction to a taped length.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Part {
    /// Which.
    pub what: What,
    /// What is added.
    pub added_m: f64,
    /// Standard deviation of it, m.
    pub sd_m: f64,
}

/// The corrections of a tape.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum What {
    /// Its length by certificate.
    Standard,
    /// Its temperature.
    Temperature,
    /// The pull on it.
    Pull,
    /// The stretch by its own weight, beyond that by the plummet.
    OwnWeight,
    /// The sag that its certificate has in it.
    Sag,
}

impl What {
    /// Its name in print.
    pub fn name(self) -> &'static str {
        match self {
            What::Standard => "standard",
            What::Temperature => "temperature",
            What::Pull => "pull",
            What::OwnWeight => "own weight",
            What::Sag => "sag of the certificate",
        }
    }
}

/// Stretch by a pull beyond the standard one, m.
pub fn pull_m(length_m: f64, beyond_n: f64, cross_section_mm2: f64, modulus_gpa: f64) -> f64 {
    length_m * beyond_n / stiffness_n(cross_section_mm2, modulus_gpa)
}

/// Stretch by the weight of the tape that hangs below, between two depths, m.
pub fn own_weight_m(depths_m: [f64; 2], hung_m: f64, weight_n_per_m: f64, stiffness_n: f64) -> f64 {
    let [x1, x2] = depths_m;
    (x2 - x1) / stiffness_n * weight_n_per_m * (hung_m - (x1 + x2) / 2.0)
}

/// Shortening by sag between supports, m: negative.
pub fn sag_m(span_m: f64, spans: u32, weight_n_per_m: f64, pull_n: f64) -> f64 {
    -f64::from(spans) * weight_n_per_m.powi(2) * span_m.powi(3) / (24.0 * pull_n.powi(2))
}

/// Pull that would stretch the tape to twice its length, N: cross-section times modulus.
pub fn stiffness_n(cross_section_mm2: f64, modulus_gpa: f64) -> f64 {
    cross_section_mm2 * modulus_gpa * 1000.0
}

/// The corrections to the length between two depths below the clamp.
pub fn corrections(depths: [Length; 2], tape: &TapeSettings, conditions: Conditions) -> Vec<Part> {
    let [near, far] = depths.map(Length::to_f64_m);
    let m = far - near;
    let nominal_m = tape.nominal.to_f64_m();
    let standard = (tape.certified - tape.nominal).to_f64_m() / nominal_m;
    let stiff = stiffness_n(tape.cross_section_mm2, tape.modulus_gpa);
    let alpha = tape.expansion_ppm_per_c / 1e6;
    let part = |what, added_m, sd_m| Part { what, added_m, sd_m };
    let beyond_n = conditions.pull_n - tape.standard_pull_n;
    let mut parts = vec![
        part(What::Standard, m * standard, m * tape.certificate_sd_ppm / 1e6),
        part(
            What::Temperature,
            m * alpha * (conditions.temperature_c - tape.standard_c),
            m * alpha * tape.temperature_sd_c,
        ),
        part(What::Pull, pull_m(m, beyond_n, tape.cross_section_mm2, tape.modulus_gpa), m * tape.pull_sd_n / stiff),
        part(What::OwnWeight, own_weight_m([near, far], tape.hung.to_f64_m(), tape.weight_n_per_m, stiff), 0.0),
    ];
    if let Some(spans) = tape.certified_spans {
        let span_m = nominal_m / f64::from(spans);
        let sag = sag_m(span_m, spans, tape.weight_n_per_m, tape.standard_pull_n);
        parts.push(part(What::Sag, -sag * m / nominal_m, 0.0));
    }
    parts
}

/// What was read at one transfer.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Observed {
    /// On the staff on the lower mark.
    pub staff_below: Length,
    /// On the tape at the lower level.
    pub tape_below: Length,
    /// On the tape at the upper level.
    pub tape_above: Length,
    /// On the staff on the upper mark.
    pub staff_above: Length,
}

/// One transfer, reduced.
#[derive(Clone, Debug, PartialEq)]
pub struct Transfer {
    /// Tape between the lines of sight, as it was read.
    pub taped: Length,
    /// The corrections to it.
    pub parts: Vec<Part>,
    /// True height between the lines of sight.
    pub height: Length,
    /// Rise from the lower mark to the upper.
    pub rise: Length,
    /// Standard deviation of what the four readings come to, m.
    pub readings_sd_m: f64,
    /// Standard deviation of the rise.
    pub sd: Length,
}

/// Reduces one transfer up a hung tape.
///
/// # Errors
/// What is missing or cannot be: each with what would do.
pub fn transfer(observed: &Observed, tape: &TapeSettings, reading_sd: Length) -> Result<Transfer, NotATransfer> {
    let conditions = check(tape)?;
    let depth = |graduation: Length| (graduation - tape.clamped_at).abs();
    let depths = [depth(observed.tape_above), depth(observed.tape_below)];
    let taped = depths[1] - depths[0];
    if taped <= Length::ZERO {
        return Err(NotATransfer::UpsideDown { above: observed.tape_above, below: observed.tape_below });
    }
    if depths[1] > tape.hung {
        return Err(NotATransfer::BelowThePlummet { depth: depths[1], hung: tape.hung });
    }
    let parts = corrections(depths, tape, conditions);
    let added: f64 = parts.iter().map(|part| part.added_m).sum();
    let height = taped + Length::from_f64_m(added).ok_or(NotATransfer::TooLarge)?;
    let readings_sd_m = (2.0 * reading_sd.to_f64_m().powi(2) + 2.0 * tape.reading_sd.to_f64_m().powi(2)).sqrt();
    let variance = parts.iter().map(|part| part.sd_m.powi(2)).sum::<f64>() + readings_sd_m.powi(2);
    Ok(Transfer {
        taped,
        height,
        rise: observed.staff_below + height - observed.staff_above,
        readings_sd_m,
        sd: Length::from_f64_m(variance.sqrt()).ok_or(NotATransfer::TooLarge)?,
        parts,
    })
}

/// Conditions without which nothing can be reduced.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Conditions {
    /// Weight of the plummet, N.
    pub pull_n: f64,
    /// Temperature of the tape, degrees C.
    pub temperature_c: f64,
}

/// Looks at what was said of a tape before anything is read on it.
///
/// # Errors
/// What is missing or cannot be.
pub fn check(tape: &TapeSettings) -> Result<Conditions, NotATransfer> {
    let pull_n = tape.plummet_n.ok_or(NotATransfer::Missing { what: "tension", say: "plummet 50N" })?;
    let temperature_c =
        tape.temperature_c.ok_or(NotATransfer::Missing { what: "temperature", say: "temperature 12" })?;
    for (what, value) in [
        ("the plummet's weight", pull_n),
        ("the cross-section", tape.cross_section_mm2),
        ("the modulus", tape.modulus_gpa),
        ("the pull of the certificate", tape.standard_pull_n),
        ("the number of spans of the certificate", tape.certified_spans.map_or(1.0, f64::from)),
    ] {
        if value <= 0.0 || !value.is_finite() {
            return Err(NotATransfer::NotPositive { what, value });
        }
    }
    let scale = (tape.certified - tape.nominal).to_f64_m().abs() / tape.nominal.to_f64_m();
    if tape.nominal <= Length::ZERO || scale > SCALE_MAX {
        return Err(NotATransfer::Certificate { nominal: tape.nominal, certified: tape.certified });
    }
    Ok(Conditions { pull_n, temperature_c })
}

/// No tape is as wrong as this part of its length: a slip of the unit or of a digit.
const SCALE_MAX: f64 = 0.01;

/// Whether two transfers of the same rise agree: how far apart they are, and what chance allows at 95 %.
pub fn agree(first: (Length, Length), second: (Length, Length)) -> (Length, Length) {
    let variance = first.1.to_f64_m().powi(2) + second.1.to_f64_m().powi(2);
    let allowed = Length::from_f64_m(Z_95 * variance.sqrt()).unwrap_or(Length::ZERO);
    ((first.0 - second.0).abs(), allowed)
}

/// Why readings make no transfer.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum NotATransfer {
    /// Something that the corrections need was not given.
    Missing {
        /// What.
        what: &'static str,
        /// How it is said.
        say: &'static str,
    },
    /// A quantity that must be more than nought is not.
    NotPositive {
        /// Which.
        what: &'static str,
        /// What it is.
        value: f64,
    },
    /// The certified length cannot be that of the nominal one.
    Certificate {
        /// Nominal length.
        nominal: Length,
        /// Certified length.
        certified: Length,
    },
    /// The upper reading is the deeper one.
    UpsideDown {
        /// The upper reading.
        above: Length,
        /// The lower reading.
        below: Length,
    },
    /// The lower reading is below the plummet.
    BelowThePlummet {
        /// Its depth.
        depth: Length,
        /// What hangs.
        hung: Length,
    },
    /// Beyond any length that can be booked.
    TooLarge,
}

impl fmt::Display for NotATransfer {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let m = |length: &Length| length.show(Unit::Metre, 3);
        match self {
            NotATransfer::Missing { what, say } => {
                write!(f, "the tape's {what} is missing, it was wanted in words such as \"{say}\"")
            }
            NotATransfer::NotPositive { what, value } => write!(f, "{what} is {value}, more than nought was wanted"),
            NotATransfer::Certificate { nominal, certified } => write!(
                f,
                "a certified length of {} m for a tape of {} m found, one within a hundredth of it was wanted",
                m(certified),
                m(nominal)
            ),
            NotATransfer::UpsideDown { above, below } => write!(
                f,
                "the tape reads {} m at the upper level and {} m at the lower, which lies nearer the clamp: exchange them, or \
                 say where the tape is clamped",
                m(above),
                m(below)
            ),
            NotATransfer::BelowThePlummet { depth, hung } => write!(
                f,
                "the lower tape reading lies {} m below the clamp, and only {} m hang: say how much hangs",
                m(depth),
                m(hung)
            ),
            NotATransfer::TooLarge => write!(f, "the corrections are larger than any length that can be booked"),
        }
    }
}

impl std::error::Error for NotATransfer {}

#[cfg(test)]
mod tests {
    use super::*;

    fn tape() -> TapeSettings {
        TapeSettings {
            nominal: Length::from_mm(50_000),
            certified: Length::from_um(50_002_000),
            standard_c: 20.0,
            standard_pull_n: 50.0,
            expansion_ppm_per_c: 11.6,
            cross_section_mm2: 2.5,
            modulus_gpa: 200.0,
            weight_n_per_m: 0.2,
            plummet_n: Some(50.0),
            temperature_c: Some(10.0),
            clamped_at: Length::ZERO,
            hung: Length::from_mm(50_000),
            certified_spans: None,
            reading_sd: Length::from_um(300),
            certificate_sd_ppm: 10.0,
            temperature_sd_c: 1.0,
            pull_sd_n: 1.0,
        }
    }

    fn observed() -> Observed {
        let mm = Length::from_mm;
        Observed { staff_below: mm(1_500), tape_below: mm(22_000), tape_above: mm(2_000), staff_above: mm(1_400) }
    }

    #[test]
    fn own_weight_of_a_whole_tape_is_the_stated_size() {
        // Steel, 7850 kg/m3: 0.17 mm at 30 m, 0.48 mm at 50 m, 1.9 mm at 100 m.
        for (metres, mm, half_digit) in [(30.0, 0.17, 0.005), (50.0, 0.48, 0.005), (100.0, 1.9, 0.05)] {
            let (area_mm2, weight) = (2.5, 7850.0 * 9.81 * 2.5e-6);
            let stretch = 1000.0 * own_weight_m([0.0, metres], metres, weight, stiffness_n(area_mm2, 200.0));
            assert!((stretch - mm).abs() <= half_digit, "{metres} m: {stretch} mm");
        }
    }

    #[test]
    fn the_plummet_of_the_rule_makes_pull_and_weight_vanish() {
        let tape = tape();
        let plummet_n = tape.standard_pull_n - tape.weight_n_per_m * 50.0 / 2.0;
        let conditions = Conditions { pull_n: plummet_n, temperature_c: 20.0 };
        let parts = corrections([Length::ZERO, tape.hung], &tape, conditions);
        let of = |what| parts.iter().find(|part| part.what == what).unwrap().added_m;
        assert!((of(What::Pull) + of(What::OwnWeight)).abs() < 1e-12);
        assert!(of(What::OwnWeight) > 0.0);
    }

    #[test]
    fn a_transfer_by_hand() {
        let found = transfer(&observed(), &tape(), Length::from_um(300)).unwrap();
        assert_eq!(found.taped, Length::from_mm(20_000));
        let of = |what| 1000.0 * found.parts.iter().find(|part| part.what == what).unwrap().added_m;
        // 20 m of a tape that is 2 mm in 50 m too long; ten degrees too cold; the standard pull; and
        // 20 m / 500,000 N * 0.2 N/m * (50 m - 12 m).
        assert!((of(What::Standard) - 0.8).abs() < 1e-9);
        assert!((of(What::Temperature) + 2.32).abs() < 1e-9);
        assert!(of(What::Pull).abs() < 1e-9);
        assert!((of(What::OwnWeight) - 0.304).abs() < 1e-9);
        assert_eq!(found.height, Length::from_um(19_998_784));
        assert_eq!(found.rise, Length::from_um(20_098_784));
        // 2 * 0.3^2 twice, 0.2, 0.232 and 0.04 mm.
        let wanted = (0.36f64 + 0.04 + 0.232f64.powi(2) + 0.0016).sqrt();
        assert!((found.sd.to_f64_mm() - wanted).abs() < 1e-6, "{}", found.sd.to_f64_mm());
    }

    #[test]
    fn what_a_certificate_lost_to_sag_is_given_back() {
        // 50 m in one span at 50 N with 0.2 N/m: 0.04 * 125000 / (24 * 2500) = 83.3 mm; of 20 m two fifths.
        let sagged = TapeSettings { certified_spans: Some(1), ..tape() };
        let found = transfer(&observed(), &sagged, Length::from_um(300)).unwrap();
        let sag = found.parts.iter().find(|part| part.what == What::Sag).unwrap();
        assert!((1000.0 * sag.added_m - 83.333_333_333 * 0.4).abs() < 1e-6, "{sag:?}");
        assert!(transfer(&observed(), &tape(), Length::from_um(300)).unwrap().parts.len() == 4, "supported throughout");
    }

    #[test]
    fn graduations_that_run_upwards_give_the_same() {
        let upwards = TapeSettings { clamped_at: Length::from_mm(50_000), ..tape() };
        let mm = Length::from_mm;
        let other = Observed { tape_below: mm(28_000), tape_above: mm(48_000), ..observed() };
        let reading_sd = Length::from_um(300);
        assert_eq!(transfer(&other, &upwards, reading_sd), transfer(&observed(), &tape(), reading_sd));
    }

    #[test]
    fn two_transfers_agree_within_what_chance_allows() {
        let (um, mm) = (Length::from_um, Length::from_mm);
        let (apart, allowed) = agree((mm(20_000), um(600)), (um(20_001_500), um(800)));
        assert_eq!(apart, um(1_500));
        assert!((allowed.to_f64_mm() - 1.96).abs() < 0.001);
    }

    #[test]
    fn what_is_missing_or_cannot_be_is_named() {
        let error = |tape: TapeSettings, observed: Observed| {
            transfer(&observed, &tape, Length::from_um(300)).unwrap_err().to_string()
        };
        assert_eq!(
            error(TapeSettings { plummet_n: None, ..tape() }, observed()),
            "the tape's tension is missing, it was wanted in words such as \"plummet 50N\""
        );
        assert_eq!(
            error(TapeSettings { temperature_c: None, ..tape() }, observed()),
            "the tape's temperature is missing, it was wanted in words such as \"temperature 12\""
        );
        assert_eq!(
            error(TapeSettings { certified: Length::from_mm(15_240), ..tape() }, observed()),
            "a certified length of 15.240 m for a tape of 50.000 m found, one within a hundredth of it was wanted"
        );
        assert_eq!(
            error(TapeSettings { plummet_n: Some(0.0), ..tape() }, observed()),
            "the plummet's weight is 0, more than nought was wanted"
        );
        let swapped =
            Observed { tape_below: Length::from_mm(2_000), tape_above: Length::from_mm(22_000), ..observed() };
        assert!(error(tape(), swapped).starts_with("the tape reads 22.000 m at the upper level"));
        let short = TapeSettings { hung: Length::from_mm(20_000), ..tape() };
        assert!(error(short, observed()).ends_with("only 20.000 m hang: say how much hangs"));
    }
}
