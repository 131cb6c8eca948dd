//! Mistakes in the sequence of a setup: backsight and foresight exchanged, a repeat booked as the next sight.

use super::{Candidate, Footprint};
use crate::adjust::explain::conditions::Conditions;
use crate::adjust::explain::{Mistake, Site, priors};
use crate::book::event::{ReadingNumber, Taken};
use crate::book::run::{Run, Shot, ShotStanding};
use crate::book::{Entry, SpotState};
use crate::units::Length;

/// So many repeats at most are tried, those that agree best with the shot before: each places every reading anew.
const REPLAYS_MAX: usize = 24;

/// Sight lengths to one staff from one place agree within this. Common practice, no source.
const SAME_SIGHT: Length = Length::from_mm(300);

/// Two shots on one staff differ by no more than so many standard deviations of their difference.
const SAME_STAFF: f64 = 4.0;

/// Differences between sights are no denser than so many mm apart: floors are never so level.
const LEVEL_MM: f64 = 10.0;

/// Backsight and foresight exchanged: the rise has the other sign. Records that name their role cannot be.
pub(super) fn exchanged(conditions: &Conditions<'_>, found: &mut Vec<Candidate>) {
    for class in &conditions.classes {
        for (run, setup) in &class.setups {
            let Some(rise) = setup.reduced.rise() else { continue };
            let readings: Vec<ReadingNumber> = setup.back.iter().chain(&setup.fore).map(|shot| shot.reading).collect();
            if readings.iter().any(|reading| names_role(conditions, *reading)) {
                continue;
            }
            let change = -rise * 2;
            let Some((after_mm, gain)) = conditions.closes(&class.column, change.to_f64_mm()) else { continue };
            found.push(Candidate {
                mistake: Mistake::Exchanged,
                site: Site::of_setup(run, setup, Some(-rise), Taken::Exchanged { readings }),
                after_mm,
                ln_odds: gain + priors::EXCHANGED.ln(),
                footprint: class.column.footprint(change.to_f64_mm()),
            });
        }
    }
}

/// A repeat that was booked as the next sight, so that every later reading stands one place too far.
pub(super) fn repeat(conditions: &Conditions<'_>, found: &mut Vec<Candidate>) {
    let deviation_mm = conditions.book.settings().instrument.reading_sd.to_f64_mm() * 2f64.sqrt();
    let usual_mm = usual_difference_mm(conditions.run);
    let mut close: Vec<(f64, ReadingNumber)> = line_readings(conditions.run)
        .filter_map(|shot| Some((apart(conditions, shot)?.to_f64_mm(), shot.reading)))
        .filter(|(apart, _)| apart.abs() <= SAME_STAFF * deviation_mm)
        .collect();
    close.sort_by(|one, other| one.0.abs().total_cmp(&other.0.abs()));
    for (apart, reading) in close.into_iter().take(REPLAYS_MAX) {
        let taken = Taken::Repeat { reading };
        let Some((after, gain)) = conditions.supposed(&taken) else { continue };
        let alike = conditions.noise.ln_difference(apart, deviation_mm) - density_mm(apart, usual_mm).ln();
        let Some(site) = Site::of_reading(conditions, reading, None, taken) else { continue };
        found.push(Candidate {
            mistake: Mistake::Repeat,
            site,
            after_mm: after.to_f64_mm(),
            ln_odds: gain + alike + priors::REPEAT.ln(),
            footprint: Footprint::Alone,
        });
    }
}

/// Whether the record or a person said what the reading is for: then nothing was counted out wrongly.
fn names_role(conditions: &Conditions<'_>, reading: ReadingNumber) -> bool {
    let said = conditions.book.amendments().of(reading);
    let sent = conditions.book.entry(reading).is_some_and(|entry| entry.reading.role.is_some());
    sent || said.is_some_and(|said| said.role.is_some() || said.repeat || said.exchanged)
}

/// Shots of a run's line that count in a place of their own.
fn line_readings(run: &Run) -> impl Iterator<Item = &Shot> {
    let shots = run.setups.iter().flat_map(|setup| setup.back.iter().chain(&setup.fore));
    shots.filter(|shot| shot.standing == ShotStanding::Counted)
}

/// By how much a shot differs from the one before it, if it may be a repeat of that one.
fn apart(conditions: &Conditions<'_>, shot: &Shot) -> Option<Length> {
    let book = conditions.book;
    let (this, before) = (book.entry(shot.reading)?, book.entry(shot.reading.checked_sub(1)?)?);
    let spot = book.spot(shot.reading - 1)?;
    let stood = spot.run == conditions.run.number && matches!(spot.state, SpotState::Counted | SpotState::Extra);
    let sight = |entry: &Entry| entry.reading.sight.map(|sight| sight.value());
    let near = sight(this).zip(sight(before)).is_none_or(|(one, other)| (one - other).abs() <= SAME_SIGHT);
    let staff = |number| Some(book.amendments().staff(number, &book.entry(number)?.reading).value());
    let named = names_role(conditions, shot.reading);
    (stood && near && !named).then_some(staff(shot.reading)? - staff(shot.reading - 1)?)
}

/// Root mean square of the rises of a run, mm: how far apart two sights usually read.
fn usual_difference_mm(run: &Run) -> f64 {
    let rises = || run.setups.iter().filter_map(|setup| setup.reduced.rise());
    let mean = rises().map(|rise| rise.to_f64_mm().powi(2)).sum::<f64>() / rises().count().max(1) as f64;
    mean.sqrt().max(LEVEL_MM)
}

/// Density of the difference of two sights, normal about none, per mm.
fn density_mm(apart: f64, usual_mm: f64) -> f64 {
    (-(apart / usual_mm).powi(2) / 2.0).exp() / (usual_mm * std::f64::consts::TAU.sqrt())
}
