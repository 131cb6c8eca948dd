//! Mistakes about points: the wrong mark, digits exchanged in a known elevation, a known point that has moved.

use super::{Candidate, Footprint};
use crate::adjust::explain::conditions::{Column, Conditions, length};
use crate::adjust::explain::digits::neighbours_exchanged;
use crate::adjust::explain::{Mistake, Site, priors};
use crate::book::event::{ReadingNumber, Taken};
use crate::book::reading::PointName;
use crate::book::run::{ClosesOn, Shot};
use crate::book::settings::KnownPoint;

/// Another known point fits where the run closes, or where it started.
pub(super) fn wrong_mark(conditions: &Conditions<'_>, found: &mut Vec<Candidate>) {
    let counted = |shots: &[Shot]| shots.iter().rfind(|shot| shot.counts()).map(|shot| shot.reading);
    if conditions.closure.on == ClosesOn::Known
        && let Some(reading) = counted(&conditions.setup.fore)
    {
        let column = conditions.of_sighting(conditions.run.number, conditions.setup.number);
        taken_for_other(conditions, &conditions.closure.point, &column, reading, found);
    }
    let first = conditions.run.setups.first().and_then(|setup| counted(&setup.back));
    if let Some(reading) = first {
        let column = conditions.of_sighting(conditions.run.number, 0);
        taken_for_other(conditions, &conditions.run.start, &column, reading, found);
    }
}

fn taken_for_other(
    conditions: &Conditions<'_>,
    named: &PointName,
    column: &Column,
    reading: ReadingNumber,
    found: &mut Vec<Candidate>,
) {
    let Some(given) = conditions.book.known().get(named) else { return };
    for other in conditions.book.known().values().filter(|other| other.name != *named) {
        let change = (other.elevation.value() - given.elevation.value()).to_f64_mm();
        let Some((after_mm, gain)) = conditions.closes(column, change) else { continue };
        let taken = Taken::Point { reading, point: other.name.clone() };
        let Some(site) = Site::of_reading(conditions, reading, None, taken) else { continue };
        found.push(Candidate {
            mistake: Mistake::WrongMark { named: named.clone(), fits: other.name.clone() },
            site,
            after_mm,
            ln_odds: gain + priors::WRONG_MARK.ln(),
            footprint: Footprint::Alone,
        });
    }
}

/// Two neighbouring digits exchanged in a known elevation.
pub(super) fn turned_elevation(conditions: &Conditions<'_>, found: &mut Vec<Candidate>) {
    for known in conditions.known().filter_map(|point| conditions.book.known().get(point)) {
        let column = conditions.of_known(&known.name);
        for elevation in neighbours_exchanged(&known.elevation) {
            let change = (elevation.value() - known.elevation.value()).to_f64_mm();
            let Some((after_mm, gain)) = conditions.closes(&column, change) else { continue };
            let taken = Taken::Known { known: KnownPoint { elevation, ..known.clone() } };
            found.push(Candidate {
                mistake: Mistake::ElevationTurned { point: known.name.clone() },
                site: Site::of_point(conditions, &known.name, taken),
                after_mm,
                ln_odds: gain + priors::TURNED_ELEVATION.ln(),
                footprint: Footprint::Alone,
            });
        }
    }
}

/// A known point that has moved by any size.
pub(super) fn moved(conditions: &Conditions<'_>, found: &mut Vec<Candidate>) {
    for point in conditions.known() {
        let column = conditions.of_known(point);
        let by_mm = column.effect().size();
        let Some((after_mm, _)) = conditions.closes(&column, by_mm) else { continue };
        found.push(Candidate {
            mistake: Mistake::KnownMoved { point: point.clone(), by: length(by_mm) },
            site: Site::of_point(conditions, point, Taken::Booked),
            after_mm,
            ln_odds: conditions.noise.ln_gain_of_any_size(column.effect()) + priors::KNOWN_MOVED.ln(),
            footprint: column.footprint(by_mm),
        });
    }
}
