//! Where a mistake may be, and what in the field would confirm it.

use super::conditions::Conditions;
use crate::book::event::{ReadingNumber, Taken};
use crate::book::reading::PointName;
use crate::book::run::{Run, Setup};
use crate::units::Length;

/// Where a mistake may be.
#[derive(Clone, Debug, PartialEq)]
pub struct Site {
    /// The run.
    pub run: u32,
    /// The setup, where it is at one.
    pub setup: Option<u32>,
    /// The reading, where it is in one.
    pub reading: Option<ReadingNumber>,
    /// The points that the setup stands between, or the one point that it is about.
    pub points: Vec<PointName>,
    /// The rise of the setup as booked, and as it would be.
    pub rises: Option<[Length; 2]>,
    /// What accepting it takes the record for.
    pub taken: Taken,
}

/// One shot from where the instrument stands that would tell.
#[derive(Clone, Debug, PartialEq)]
pub struct Probe {
    /// On this point.
    pub point: PointName,
    /// It reads this if all is as booked.
    pub booked: Length,
    /// It reads this if the cause is the true one.
    pub if_so: Length,
}

impl Site {
    pub(super) fn of_setup(run: &Run, setup: &Setup, rise_then: Option<Length>, taken: Taken) -> Self {
        let points = [Some(setup.back_point.clone()), setup.fore_point.clone()];
        Site {
            run: run.number,
            setup: Some(setup.number),
            reading: None,
            points: points.into_iter().flatten().collect(),
            rises: setup.reduced.rise().zip(rise_then).map(|(booked, then)| [booked, then]),
            taken,
        }
    }

    /// At the setup of a reading.
    pub(super) fn of_reading(
        conditions: &Conditions<'_>,
        reading: ReadingNumber,
        rise_then: Option<Length>,
        taken: Taken,
    ) -> Option<Self> {
        let spot = conditions.book.spot(reading)?;
        let run = conditions.book.runs().get(spot.run as usize - 1)?;
        let setup = run.setups.get((spot.setup as usize).checked_sub(1)?)?;
        Some(Site { reading: Some(reading), ..Site::of_setup(run, setup, rise_then, taken) })
    }

    /// About a known point.
    pub(super) fn of_point(conditions: &Conditions<'_>, point: &PointName, taken: Taken) -> Self {
        Site { points: vec![point.clone()], taken, ..Site::of_run(conditions) }
    }

    /// In the whole run.
    pub(super) fn of_run(conditions: &Conditions<'_>) -> Self {
        Site {
            run: conditions.run.number,
            setup: None,
            reading: None,
            points: Vec::new(),
            rises: None,
            taken: Taken::Booked,
        }
    }

    /// One shot from where the instrument stands, if it still does, that would tell whether this is so.
    ///
    /// From there to any point before the mistake the rise is as wrong as the mistake; to the staffs of the setup itself the
    /// shot is simply taken again.
    pub(super) fn probe(&self, conditions: &Conditions<'_>) -> Option<Probe> {
        let (book, here) = (conditions.book, conditions.setup);
        let (run, setup) = book.current()?;
        if (run.number, setup.number) != (conditions.run.number, here.number) || self.run != run.number {
            return None;
        }
        let staffs = book.settings().staffs.length;
        let probe = if let Taken::Point { point, .. } = &self.taken {
            // On the mark that was named, if the staff stood on the other one.
            let named = here.fore_point.as_ref()?;
            let elevation = |point| Some(book.known().get(point)?.elevation.value());
            let booked = here.reduced.fore?;
            Probe { point: named.clone(), booked, if_so: booked + elevation(point)? - elevation(named)? }
        } else if self.setup == Some(here.number) {
            let (booked, if_so) = match &self.taken {
                Taken::Exchanged { .. } => (here.reduced.fore?, here.reduced.back?),
                Taken::Read { reading, staff } => {
                    (book.amendments().staff(*reading, &book.entry(*reading)?.reading).value(), staff.value())
                }
                _ => return None,
            };
            let back = self.reading.is_some_and(|reading| here.back.iter().any(|shot| shot.reading == reading));
            let point = if back { self.points.first()? } else { self.points.last()? };
            Probe { point: point.clone(), booked, if_so }
        } else {
            let there = run.setups.get((self.setup? as usize).checked_sub(1)?)?;
            let [rise, rise_then] = self.rises?;
            let instrument = here.instrument().filter(|level| level.chain == there.before.level.chain)?;
            let booked = instrument.height - there.before.level.height;
            Probe { point: there.back_point.clone(), booked, if_so: booked + rise_then - rise }
        };
        let on_staff = |reading: Length| (Length::ZERO..=staffs).contains(&reading);
        (on_staff(probe.booked) && on_staff(probe.if_so)).then_some(probe)
    }

    /// Whether it is about that reading.
    pub fn is_at(&self, reading: ReadingNumber) -> bool {
        self.reading == Some(reading) || self.taken.readings().contains(&reading)
    }
}
