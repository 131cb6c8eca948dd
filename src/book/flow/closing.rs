//! What the setup just placed comes to: heights, what ties them to the datum, and what closes at its fore point.

use super::begin::given;
use super::visits::{Visit, visit_of};
use super::{Flow, Ground};
use crate::book::closure::{self, LineKind};
use crate::book::reading::PointName;
use crate::book::reduce::reduce;
use crate::book::run::{ClosesOn, Closure, Run};
use crate::book::settings::KnownPoint;
use crate::units::Length;

impl Flow {
    /// Works out the setup just placed: means, heights, what ties to the datum, and what closes.
    pub(super) fn settle(&mut self, ground: Ground<'_>) {
        let Some((at_run, at_setup)) = self.current() else { return };
        let run = &mut self.runs[at_run];
        let setup = &mut run.setups[at_setup];
        setup.reduced = reduce(ground.settings.sequence, setup);
        setup.closures.clear();
        for side in &setup.sides {
            let (Some(known), Some(level)) = (ground.known.get(&side.point), setup.side_level(side)) else { continue };
            let chain = &mut run.chains[level.chain];
            if chain.datum.is_none() {
                chain.datum = Some(given(known, level, setup.number));
            }
        }
        if !setup.reduced.complete {
            return;
        }
        if !setup.fore_named {
            // A turning point that has only its number is reached for the first time: it closes on nothing.
            return;
        }
        let (Some(visit), Some(point)) = (visit_of(run.number, setup), setup.fore_point.clone()) else { return };
        let level = visit.level;
        let known = ground.known.get(&point);
        if let Some(known) = known
            && run.chains[level.chain].datum.is_none()
        {
            run.chains[level.chain].datum = Some(given(known, level, setup.number));
        }
        let visits = self.visits.entry(point.clone()).or_default();
        match visits.iter_mut().find(|held| (held.run, held.setup) == (visit.run, visit.setup)) {
            Some(held) => *held = visit,
            None => visits.push(visit),
        }
        let closure = self.close(ground, at_run, at_setup, &point, visit, known);
        self.runs[at_run].setups[at_setup].closures.extend(closure);
    }

    /// What the elevation of a point just reached says against the one it has.
    fn close(
        &self,
        ground: Ground<'_>,
        at_run: usize,
        at_setup: usize,
        point: &PointName,
        visit: Visit,
        known: Option<&KnownPoint>,
    ) -> Option<Closure> {
        let run = &self.runs[at_run];
        let setup = &run.setups[at_setup];
        let lacks = setup.before.distance_lacks || setup.reduced.length().is_none();
        let datum = run.chains[visit.level.chain].datum.as_ref()?;
        if let Some(known) = known {
            if datum.setup == setup.number {
                return None;
            }
            let misclosure = run.elevation(visit.level)? - known.elevation.value();
            let (from, from_setups) = distance_at(run, datum.setup);
            let kind = if datum.point == *point { LineKind::Loop } else { LineKind::BetweenKnown };
            return Some(closed(
                ground,
                kind,
                point,
                ClosesOn::Known,
                misclosure,
                (!lacks).then(|| visit.distance - from + datum.distance_before),
                visit.setups - from_setups + datum.setups_before,
                datum.setup,
            ));
        }
        let earlier = self.first_visit(point, visit.run, visit.setup)?;
        let on = ClosesOn::Earlier { run: earlier.run, setup: earlier.setup };
        if earlier.run == visit.run && earlier.level.chain == visit.level.chain {
            let misclosure = visit.level.height - earlier.level.height;
            let length = (!lacks).then(|| visit.distance - earlier.distance);
            let setups = visit.setups - earlier.setups;
            return Some(closed(ground, LineKind::Loop, point, on, misclosure, length, setups, earlier.setup));
        }
        let misclosure = run.elevation(visit.level)? - self.visit_elevation(&earlier)?;
        // There and back: the section is half of the way that both took.
        let length = (!lacks).then(|| (visit.distance + earlier.distance).divide(2));
        let setups = visit.setups + earlier.setups;
        Some(closed(ground, LineKind::Section, point, on, misclosure, length, setups, 0))
    }
}

/// Distance and setups from the start of a run to the end of a setup; 0 is the start itself.
pub(super) fn distance_at(run: &Run, setup: u32) -> (Length, u32) {
    match setup.checked_sub(1).and_then(|index| run.setups.get(index as usize)) {
        Some(setup) => (setup.distance(), setup.setups()),
        None => (Length::ZERO, 0),
    }
}

#[expect(clippy::too_many_arguments, reason = "one closure, each part once, from two callers in this file")]
fn closed(
    ground: Ground<'_>,
    kind: LineKind,
    point: &PointName,
    on: ClosesOn,
    misclosure: Length,
    length: Option<Length>,
    setups: u32,
    from_setup: u32,
) -> Closure {
    let allowance =
        closure::allowance(&ground.settings.class, kind, length, setups, None, ground.settings.setup_sd_mm());
    Closure { point: point.clone(), on, misclosure, length, setups, allowance, from_setup }
}
