//! The settings of the job: what of the given settings goes into the job file.

use super::check::{Check, one_of, within};
use super::class::class;
use super::given::{CorrectionsGiven, Given, LevelGiven, Said, StaffsGiven};
use super::measures::{length, positive_length};
use super::points::points;
use crate::book::sequence::{Sequence, SequenceError};
use crate::book::settings::{Booking, Corrections, Instrument, Settings, StaffExpansion, Staffs, StaffsInUse};
use crate::nearest::nearest;
use crate::units::{Length, LengthError, Unit};

/// The longest staff that is believed: telescopic ones end at half of it, so more is a slip of the unit.
const STAFF_LENGTH_MAX: Length = Length::from_mm(12_000);
/// Longest sight that is believed: beyond it no staff is read.
const SIGHT_MAX: Length = Length::from_mm(1_000_000);
/// Largest deviation that is believed: what scatters more is no staff reading.
const READING_SD_MAX: Length = Length::from_mm(10);
/// The longest name of an instrument, in characters: what fits on its case.
const INSTRUMENT_NAME_MAX: usize = 64;
/// Largest inclination of a line of sight that is corrected, mm per m: an instrument that is out by a tenth of this
/// is adjusted, not corrected.
const COLLIMATION_MAX_MM_PER_M: f64 = 10.0;
/// Largest coefficient of refraction, either way: over hot concrete about -3 is met.
const REFRACTION_MAX: f64 = 10.0;
/// Largest scale of a staff, in parts per million, either way: 1 %, a staff for the fire.
const STAFF_SCALE_MAX_PPM: f64 = 10_000.0;
/// Largest expansion of a staff, in parts per million per degree: four times that of aluminium.
const EXPANSION_MAX_PPM: f64 = 100.0;
/// Temperature at which a staff is right, where its certificate's is not given. Common practice, no source.
const STANDARD_C: f64 = 20.0;
/// Temperatures at which somebody still levels.
const TEMPERATURE_C: (f64, f64) = (-60.0, 80.0);

/// The settings of the job; defaults stand where something was wrong, which is noted.
pub(super) fn settings(check: &mut Check<'_>, given: &Given) -> Settings {
    let unit = check.read(given.unit.as_ref(), |text| unit(text)).unwrap_or(Unit::Metre);
    let class = class(check, given.class.as_ref());
    let sequence = check.read(given.sequence.as_ref(), |text| sequence(text));
    let (start, known) = points(check, given, unit);
    Settings {
        unit,
        also_units: also_units(check, given, unit),
        sequence: sequence.or(class.sequence).unwrap_or(Sequence::BF),
        class,
        start,
        known,
        staffs: staffs(check, &given.staffs),
        instrument: instrument(check, &given.level),
        corrections: corrections(check, &given.corrections),
        booking: check.read(given.booking.as_ref(), |text| booking(text)).unwrap_or(Booking::HeightOfInstrument),
    }
}

fn unit(text: &str) -> Result<Unit, String> {
    match text.parse() {
        Ok(Unit::Millimetre) => Err("mm found, one of m, ft, sft was wanted: elevations are not kept in mm".to_owned()),
        Ok(unit) => Ok(unit),
        Err(_) => Err(match nearest(text, ["m", "metres", "ft", "feet", "sft", "survey-feet"]) {
            Some(meant) => format!("unknown unit {text:?}, {meant} was probably meant"),
            None => format!("unknown unit {text:?}, one of m, ft, sft was wanted"),
        }),
    }
}

/// The units that the instrument may send beside the job's, each once.
fn also_units(check: &mut Check<'_>, given: &Given, job: Unit) -> Vec<Unit> {
    let mut units = Vec::new();
    for said in &given.also_units {
        let read = |text: &String| text.parse().map_err(|error: LengthError| error.to_string());
        if let Some(unit) = check.read(Some(said), read).filter(|unit| *unit != job && !units.contains(unit)) {
            units.push(unit);
        }
    }
    units
}

fn sequence(text: &str) -> Result<Sequence, String> {
    text.parse().map_err(|error: SequenceError| match nearest(text, ["BF", "BBFF", "BFFB", "aBF", "aBBFF", "aBFFB"]) {
        Some(meant) => format!("unknown observing sequence {text:?}, {meant} was probably meant"),
        None => error.to_string(),
    })
}

fn booking(text: &str) -> Result<Booking, String> {
    let words = [("height-of-instrument", Booking::HeightOfInstrument), ("rise-and-fall", Booking::RiseAndFall)];
    one_of("form of booking", text, &words)
}

fn staffs(check: &mut Check<'_>, given: &StaffsGiven) -> Staffs {
    let usual = Staffs::default();
    let in_use = check.read(given.in_use.as_ref(), |text| {
        one_of("number of staffs", text, &[("one", StaffsInUse::One), ("pair", StaffsInUse::Pair)])
    });
    let most = |text: &String| at_most(positive_length(text)?, STAFF_LENGTH_MAX, text);
    let long = check.read(given.length.as_ref(), most).unwrap_or(usual.length);
    let margin = check.read(given.margin.as_ref(), |text| match length(text)? {
        margin if margin < Length::ZERO => Err(format!("{text:?} found, a length of nought or more was wanted")),
        margin => Ok(margin),
    });
    let margin = margin.unwrap_or(usual.margin);
    if let Some(said) = given.margin.as_ref().or(given.length.as_ref()).filter(|_| margin * 2 >= long) {
        let message = format!(
            "a margin of {} m at either end leaves nothing of a staff of {} m, a smaller one was wanted",
            margin.show(Unit::Metre, 3),
            long.show(Unit::Metre, 3)
        );
        check.refuse(&said.place, message);
    }
    Staffs { in_use: in_use.unwrap_or(usual.in_use), length: long, margin }
}

fn instrument(check: &mut Check<'_>, given: &LevelGiven) -> Instrument {
    let usual = Instrument::default();
    let sight = |text: &String| at_most(positive_length(text)?, SIGHT_MAX, text);
    let sight_min = check.read(given.sight_min.as_ref(), sight).unwrap_or(usual.sight_min);
    let sight_max = check.read(given.sight_max.as_ref(), sight).unwrap_or(usual.sight_max);
    if let Some(said) = given.sight_max.as_ref().or(given.sight_min.as_ref()).filter(|_| sight_min >= sight_max) {
        let message = format!(
            "sights from {} m to {} m found, a longest beyond the shortest was wanted",
            sight_min.show(Unit::Metre, 2),
            sight_max.show(Unit::Metre, 2)
        );
        check.refuse(&said.place, message);
    }
    let reading = |text: &String| at_most(positive_length(text)?, READING_SD_MAX, text);
    let reading_sd = check.read(given.reading_sd.as_ref(), reading).unwrap_or(usual.reading_sd);
    let name = check.read(given.name.as_ref(), |text| match text.trim() {
        "" => Err("an empty name found, one such as \"L-2\" was wanted".to_owned()),
        name if name.chars().count() > INSTRUMENT_NAME_MAX => {
            Err(format!("a name of more than {INSTRUMENT_NAME_MAX} characters found, a shorter one was wanted"))
        }
        name => Ok(name.to_owned()),
    });
    Instrument { sight_min, sight_max, name, reading_sd }
}

fn at_most(length: Length, most: Length, text: &str) -> Result<Length, String> {
    if length <= most {
        Ok(length)
    } else {
        Err(format!("{text:?} found, a length of at most {} m was wanted", most.show(Unit::Metre, 2)))
    }
}

fn corrections(check: &mut Check<'_>, given: &CorrectionsGiven) -> Corrections {
    let mut number = |said: &Option<Said<f64>>, least: f64, most: f64| {
        check.read(said.as_ref(), |&value| within(value, least, most))
    };
    let collimation = number(&given.collimation_mm_per_m, -COLLIMATION_MAX_MM_PER_M, COLLIMATION_MAX_MM_PER_M);
    let refraction = number(&given.refraction_k, -REFRACTION_MAX, REFRACTION_MAX);
    let scale = number(&given.staff_scale_ppm, -STAFF_SCALE_MAX_PPM, STAFF_SCALE_MAX_PPM);
    let expansion = number(&given.staff_expansion_ppm_per_c, -EXPANSION_MAX_PPM, EXPANSION_MAX_PPM);
    let standard = number(&given.staff_standard_c, TEMPERATURE_C.0, TEMPERATURE_C.1);
    let staff_c = number(&given.staff_temperature_c, TEMPERATURE_C.0, TEMPERATURE_C.1);
    if given.staff_expansion_ppm_per_c.is_none() {
        for said in [&given.staff_standard_c, &given.staff_temperature_c].into_iter().flatten() {
            check.refuse(
                &said.place,
                "a temperature of the staff found without its expansion, staff-expansion-ppm-per-c was wanted with it",
            );
        }
    }
    Corrections {
        collimation_mm_per_m: collimation,
        refraction_k: refraction,
        staff_scale_ppm: scale,
        staff_expansion: expansion.map(|ppm_per_c| StaffExpansion {
            ppm_per_c,
            standard_c: standard.unwrap_or(STANDARD_C),
            staff_c,
        }),
    }
}
