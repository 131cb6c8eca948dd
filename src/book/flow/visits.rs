//! When points were reached, and with which elevation.

use super::closing::distance_at;
use super::{Flow, TURNING};
use crate::book::reading::PointName;
use crate::book::run::{Datum, DatumOrigin, Level, Setup};
use crate::units::Length;

/// One time that a point was reached.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(in crate::book) struct Visit {
    pub(in crate::book) run: u32,
    /// 0 for the start of the run.
    pub(in crate::book) setup: u32,
    pub(super) level: Level,
    pub(super) distance: Length,
    pub(super) setups: u32,
}

impl Flow {
    /// The earliest time that a point was reached, before this setup.
    pub(in crate::book) fn first_visit(&self, point: &PointName, run: u32, setup: u32) -> Option<Visit> {
        let named = self.visits.get(point).into_iter().flatten().copied();
        self.turning_visit(point)
            .into_iter()
            .chain(named)
            .filter(|visit| (visit.run, visit.setup) < (run, setup))
            .min_by_key(|visit| (visit.run, visit.setup))
    }

    /// The latest elevation with which a point was reached.
    pub(in crate::book) fn latest_elevation(&self, point: &PointName) -> Option<Length> {
        let named = self.visits.get(point).into_iter().flatten().rev().find_map(|visit| self.visit_elevation(visit));
        named.or_else(|| self.turning_visit(point).and_then(|visit| self.visit_elevation(&visit)))
    }

    /// The datum that an earlier run carried to a point, for a run that starts there.
    pub(super) fn carried_to(&self, point: &PointName) -> Option<Datum> {
        let named = self.visits.get(point).into_iter().flatten().rev().copied();
        let visit = named.chain(self.turning_visit(point)).find(|visit| self.visit_elevation(visit).is_some())?;
        let run = &self.runs[visit.run as usize - 1];
        let datum = run.chains[visit.level.chain].datum.as_ref()?;
        let (from, from_setups) = distance_at(run, datum.setup);
        Some(Datum {
            point: point.clone(),
            setup: 0,
            offset: self.visit_elevation(&visit)?,
            origin: DatumOrigin::Carried,
            carried_by: Some((visit.run, visit.setup)),
            // A run that met its datum late carried it back over the part before.
            distance_before: (visit.distance - from).abs() + datum.distance_before,
            setups_before: visit.setups.abs_diff(from_setups) + datum.setups_before,
        })
    }

    /// When a turning point that has only its number was reached.
    fn turning_visit(&self, point: &PointName) -> Option<Visit> {
        let number: usize = point.as_str().strip_prefix(TURNING)?.parse().ok()?;
        let &(at_run, at_setup) = self.begun.get(number.checked_sub(1)?)?;
        let run = self.runs.get(at_run as usize - 1)?;
        let setup = run.setups.get(at_setup as usize - 1)?;
        if setup.fore_named || setup.fore_point.as_ref() != Some(point) || !setup.reduced.complete {
            return None;
        }
        visit_of(run.number, setup)
    }

    pub(super) fn visit_elevation(&self, visit: &Visit) -> Option<Length> {
        self.runs[visit.run as usize - 1].elevation(visit.level)
    }

    pub(super) fn forget_visit(&mut self, point: Option<PointName>, run: u32, setup: u32) {
        if let Some(point) = point
            && let Some(visits) = self.visits.get_mut(&point)
        {
            visits.retain(|visit| (visit.run, visit.setup) != (run, setup));
        }
    }
}

/// A visit to the fore point of a setup.
pub(super) fn visit_of(run: u32, setup: &Setup) -> Option<Visit> {
    Some(Visit {
        run,
        setup: setup.number,
        level: setup.fore_level()?,
        distance: setup.distance(),
        setups: setup.setups(),
    })
}
