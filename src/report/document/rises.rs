//! What was carried up a tape and across gaps, line by line: conditions, readings, corrections, the rise and how good it
//! is.
//!
//! The rise is the one that the crew was told. Its steps are reckoned again from the readings, by the same computation.

use super::Source;
use super::figure::Scales;
use super::readings::{came, sent};
use super::tree::{RiseMethod, RiseReading, RiseStep, RiseView, StepKind};
use crate::book::activity::{Activity, ObservedRise, TakenShot, TapeSettings, Task};
use crate::field::reciprocal::{SdFrom, reciprocal};
use crate::field::rises::{self, Standing};
use crate::field::tape;
use crate::units::Length;

/// Every rise that was observed otherwise than by a run, in order.
pub(super) fn rises(source: &Source<'_>) -> Vec<RiseView> {
    let all: Vec<ObservedRise<'_>> = source.book.activities().rises().collect();
    (0..all.len()).filter_map(|at| rise(source, &all, at)).collect()
}

fn rise(source: &Source<'_>, all: &[ObservedRise<'_>], at: usize) -> Option<RiseView> {
    let ObservedRise { activity, rise, sd } = all[at];
    let ((from, to), done) = (activity.task.ends()?, activity.done()?);
    let scales = source.scales;
    let worked = match &activity.task {
        Task::TapeTransfer { tape, reading_sd, .. } => taped(scales, activity, tape, *reading_sd),
        Task::Reciprocal { distance, reading_sd, .. } => crossed(scales, activity, *distance, *reading_sd),
        _ => None,
    }?;
    let standing = rises::standing(all, at);
    Some(RiseView {
        activity: activity.number,
        event: done.event,
        at: done.at.to_string(),
        method: worked.method,
        from: from.to_string(),
        to: to.to_string(),
        conditions: worked.conditions,
        readings: (1..).zip(&activity.shots).map(|(number, shot)| reading(scales, activity, number, shot)).collect(),
        steps: worked.steps,
        rise: scales.level(rise),
        deviation: scales.deviation(sd),
        checked: standing == Standing::Agrees,
        standing: standing.words().trim_start_matches("is ").to_owned(),
    })
}

/// What an activity came to, line by line.
struct Worked {
    method: RiseMethod,
    conditions: Vec<String>,
    steps: Vec<RiseStep>,
}

fn taped(scales: Scales, activity: &Activity, tape: &TapeSettings, reading_sd: Length) -> Option<Worked> {
    let observed = rises::observed(activity)?;
    let found = tape::transfer(&observed, tape, reading_sd).ok()?;
    let correction = |what: &str, added: Length, sd_m: f64| RiseStep {
        deviation: Some(scales.part_size(metres(sd_m))),
        ..small(scales, what, StepKind::Correction, added)
    };
    let mut steps = vec![level(scales, "tape between the lines of sight", found.taped)];
    steps.extend(found.parts.iter().map(|part| correction(part.what.name(), metres(part.added_m), part.sd_m)));
    steps.push(correction("readings of staffs and tape", Length::ZERO, found.readings_sd_m));
    steps.push(level(scales, "height between the lines of sight", found.height));
    steps.push(level(scales, "staff below, added", observed.staff_below));
    steps.push(level(scales, "staff above, taken off", observed.staff_above));
    Some(Worked { method: RiseMethod::TapeTransfer, conditions: hung(scales, tape, reading_sd), steps })
}

/// The tape, its certificate and how it hung: all that the corrections are reckoned from.
fn hung(scales: Scales, tape: &TapeSettings, reading_sd: Length) -> Vec<String> {
    let long = |length: Length| format!("{} {}", length.show(scales.unit, scales.decimals.max(4)), scales.unit);
    let supported = match tape.certified_spans {
        None => "supported throughout".to_owned(),
        Some(1) => "hung in 1 span".to_owned(),
        Some(spans) => format!("hung in {spans} spans"),
    };
    let given =
        |value: Option<f64>, unit: &str| value.map_or("not known".to_owned(), |value| format!("{value} {unit}"));
    vec![
        format!(
            "tape of {}, by its certificate {} at {} C under {} N, {supported}, good to {} ppm",
            long(tape.nominal),
            long(tape.certified),
            tape.standard_c,
            tape.standard_pull_n,
            tape.certificate_sd_ppm
        ),
        format!(
            "expansion {} ppm per C, cross-section {} mm2, modulus {} GPa, weight {} N/m",
            tape.expansion_ppm_per_c, tape.cross_section_mm2, tape.modulus_gpa, tape.weight_n_per_m
        ),
        format!(
            "clamped at {}, {} of it hung under a plummet of {}, good to {} N, at {}, good to {} C",
            long(tape.clamped_at),
            long(tape.hung),
            given(tape.plummet_n, "N"),
            tape.pull_sd_n,
            given(tape.temperature_c, "C"),
            tape.temperature_sd_c
        ),
        format!(
            "one staff reading good to {}, one tape reading to {}",
            scales.say.height(reading_sd),
            scales.say.height(tape.reading_sd)
        ),
    ]
}

fn crossed(scales: Scales, activity: &Activity, distance: Length, reading_sd: Length) -> Option<Worked> {
    let sets = rises::sets(activity);
    let found = reciprocal(&sets, reading_sd)?;
    let too_high = |what: &str, error| small(scales, what, StepKind::SightError, error);
    let mut steps = Vec::new();
    for (number, set) in (1..).zip(&sets) {
        steps.push(level(scales, &format!("set {number}: rise"), set.rise()));
        steps.push(too_high(&format!("set {number}: far staff reads too high by"), set.long_sight_error()));
    }
    steps.push(too_high("mean: far staff reads too high by", found.long_sight_error));
    let known = match found.from {
        SdFrom::Sets(sets) => format!("standard deviation by how {sets} sets scatter"),
        SdFrom::OneReading => {
            format!("standard deviation by that of one reading, {}: a single set", scales.say.height(reading_sd))
        }
    };
    let conditions = vec![format!("gap of {}, the rise is the mean of its sets", scales.say.distance(distance)), known];
    Some(Worked { method: RiseMethod::ReciprocalLevelling, conditions, steps })
}

/// A length on the way.
fn level(scales: Scales, what: &str, length: Length) -> RiseStep {
    let value = scales.level(length);
    RiseStep { what: what.to_owned(), kind: StepKind::Length, value, unit: scales.unit, deviation: None }
}

/// The size of a correction or of an error.
fn small(scales: Scales, what: &str, kind: StepKind, size: Length) -> RiseStep {
    let (unit, _) = scales.say.height_scale();
    RiseStep { what: what.to_owned(), kind, value: scales.part(size), unit, deviation: None }
}

fn reading(scales: Scales, activity: &Activity, shot: u32, taken: &TakenShot) -> RiseReading {
    RiseReading {
        shot,
        what: what(&activity.task, taken.slot),
        sent: sent(&taken.reading.staff),
        reading: scales.reading(&taken.reading.staff),
        came: came(taken.came),
        struck: taken.struck,
    }
}

/// What is read at a place of an activity.
fn what(task: &Task, slot: u32) -> String {
    match (task, slot % 4) {
        (Task::TapeTransfer { from, .. }, 0) => format!("staff on {from}"),
        (Task::TapeTransfer { .. }, 1) => "tape, at the lower level".to_owned(),
        (Task::TapeTransfer { .. }, 2) => "tape, at the upper level".to_owned(),
        (Task::TapeTransfer { to, .. }, _) => format!("staff on {to}"),
        (Task::Reciprocal { from, to, .. }, place) => {
            let (distance, on) = match place {
                0 => ("near", from),
                1 => ("far", to),
                2 => ("near", to),
                _ => ("far", from),
            };
            format!("set {}: {distance} staff, on {on}", slot / 4 + 1)
        }
        _ => String::new(),
    }
}

fn metres(value: f64) -> Length {
    Length::from_f64_m(value).unwrap_or(Length::ZERO)
}
