//! A run as the trade's page: one line a point, its sights in their columns, rise or fall from the sight before.
//!
//! ```text
//! point   back   inter   fore      the foresight that ends a setup and the backsight that begins the next
//! TP1     1.400          1.200     stand in one line
//! ```
//!
//! Readings of a setup that was broken off stand on the line on which it was begun.

use super::readings::named;
use super::tree::{Figure, Line, ReadingRow, Sight};
use super::{Placed, Source};
use crate::book::reading::PointName;
use crate::book::run::{ClosesOn, Level, Run, Setup, Side};
use crate::units::Length;

/// The lines of a run.
pub(super) fn lines(source: &Source<'_>, run: &Run, readings: &[ReadingRow]) -> Vec<Line> {
    let mut page = Page { source, run, readings, lines: Vec::new(), open: false };
    page.begin(&run.start, Level { chain: 0, height: Length::ZERO });
    let placed = source.places.range((run.number, 0)..=(run.number, u32::MAX)).map(|((_, setup), _)| *setup);
    let last = placed.chain([run.setups.len() as u32]).max().unwrap_or(0);
    for number in 1..=last {
        page.setup(number);
    }
    page.lines
}

struct Page<'a> {
    source: &'a Source<'a>,
    run: &'a Run,
    readings: &'a [ReadingRow],
    lines: Vec<Line>,
    /// The last line may be the first of the next setup.
    open: bool,
}

impl Page<'_> {
    fn setup(&mut self, number: u32) {
        let none = Placed::default();
        let placed = self.source.places.get(&(self.run.number, number)).unwrap_or(&none);
        let setup = self.run.setups.get(number as usize - 1);
        if let Some(setup) = setup.filter(|_| !self.open) {
            self.begin(&setup.back_point, setup.before.level);
        }
        self.leave(setup, placed, number);
        let mut before = setup.and_then(|setup| setup.reduced.back);
        for &side in &placed.sides {
            self.side(setup, number, side, &mut before);
        }
        if !placed.fore.is_empty() {
            self.arrive(setup, placed, number, before);
        }
    }

    /// A line for the point on which the next setup is begun.
    fn begin(&mut self, point: &PointName, level: Level) {
        let elevation = self.elevation(Some(level));
        let remarks = self.known(Some(point), elevation.as_ref());
        self.lines.push(Line {
            point: Some(point.to_string()),
            elevation,
            tie: tie_of(level),
            remarks,
            ..Line::default()
        });
        self.open = true;
    }

    /// The backsights of a setup, on the line that is there already.
    fn leave(&mut self, setup: Option<&Setup>, placed: &Placed, number: u32) {
        let booked = setup.and_then(|setup| setup.reduced.back);
        let backsight = self.sight(number, &placed.back, booked, setup.and_then(|setup| setup.reduced.back_sight));
        let height = self.elevation(setup.and_then(Setup::instrument));
        let elevation = setup.and_then(|setup| self.elevation(Some(setup.before.level)));
        let line = self.lines.last_mut().expect("a run has the line of its start");
        line.broken.clone_from(&placed.broken);
        line.backsight = backsight;
        line.height_of_instrument = height;
        line.elevation = elevation.or(line.elevation.take());
        line.tie = setup.map_or(line.tie, |setup| tie_of(setup.before.level));
        let Some(setup) = setup else { return };
        if line.elevation.is_none() {
            line.remarks.push("no elevation: not tied to a known point".to_owned());
        }
        if !setup.reduced.complete && setup.reduced.rise().is_some() {
            let wanted = self.source.book.settings().sequence.readings();
            line.remarks.push(format!("setup {number} not complete: {wanted} readings are due"));
        } else if setup.reduced.rise().is_none() {
            let lacks = if setup.reduced.back.is_none() { "backsight" } else { "foresight" };
            let latest = self.run.setups.last().is_some_and(|last| last.number == number);
            line.remarks.push(match latest {
                true => format!("setup {number} is open: no {lacks} yet"),
                false => format!("setup {number} has lost its {lacks}"),
            });
        }
        self.open = false;
    }

    fn side(&mut self, setup: Option<&Setup>, number: u32, reading: u32, before: &mut Option<Length>) {
        let side: Option<&Side> = setup.and_then(|setup| setup.sides.iter().find(|side| side.shot.reading == reading));
        let counted = side.filter(|side| side.shot.counts());
        let value = counted.map(|side| side.shot.value);
        let level = setup.zip(counted).and_then(|(setup, side)| setup.side_level(side));
        let elevation = self.elevation(level);
        let point = side.map(|side| side.point.clone()).or_else(|| named(self.source, reading));
        let mut remarks = vec!["single, unchecked".to_owned()];
        remarks.extend(self.known(point.as_ref(), elevation.as_ref()));
        let (rise, fall) = self.climb(*before, value);
        self.lines.push(Line {
            point: point.map(|point| point.to_string()),
            intermediate: self.sight(number, &[reading], value, counted.and_then(|side| side.shot.sight)),
            rise,
            fall,
            elevation,
            tie: setup.map_or(1, |setup| tie_of(setup.before.level)),
            remarks,
            ..Line::default()
        });
        *before = value.or(*before);
    }

    /// The foresights of a setup, on a line of their own: the next setup's backsight joins it.
    fn arrive(&mut self, setup: Option<&Setup>, placed: &Placed, number: u32, before: Option<Length>) {
        let booked = setup.and_then(|setup| setup.reduced.fore);
        let point = setup.and_then(|setup| setup.fore_point.clone());
        let point = point.or_else(|| named(self.source, *placed.fore.last()?));
        let elevation = self.elevation(setup.and_then(Setup::fore_level));
        let mut remarks = self.known(point.as_ref(), elevation.as_ref());
        let earlier = setup.into_iter().flat_map(|setup| &setup.closures);
        for closure in earlier {
            if let ClosesOn::Earlier { run, setup } = closure.on {
                let say = self.source.scales.say;
                let apart = say.signed_height(closure.misclosure);
                remarks.push(match setup {
                    0 => format!("{apart} against the start of run {run}"),
                    _ => format!("{apart} against setup {setup} of run {run}"),
                });
            }
        }
        let (rise, fall) = self.climb(before, booked);
        self.lines.push(Line {
            point: point.map(|point| point.to_string()),
            foresight: self.sight(number, &placed.fore, booked, setup.and_then(|setup| setup.reduced.fore_sight)),
            rise,
            fall,
            elevation,
            tie: setup.map_or(1, |setup| tie_of(setup.before.level)),
            remarks,
            ..Line::default()
        });
        self.open = true;
    }

    fn sight(&self, setup: u32, shots: &[u32], booked: Option<Length>, length: Option<Length>) -> Option<Sight> {
        let readings = shots.iter().filter_map(|&number| self.readings.get((number as usize).checked_sub(1)?));
        let counted: Vec<&ReadingRow> = readings.filter(|reading| reading.state.counts()).collect();
        let booked = booked.map(|booked| match counted[..] {
            // One reading that stands as read is booked with its own digits.
            [one] if one.reading.exact == booked => one.reading.clone(),
            _ => self.source.scales.level(booked),
        });
        (!shots.is_empty()).then(|| Sight {
            setup,
            booked,
            sight_length: length.map(|length| self.source.scales.sight(length)),
            counted: counted.len() as u32,
            shots: shots.to_vec(),
        })
    }

    fn elevation(&self, level: Option<Level>) -> Option<Figure> {
        Some(self.source.scales.level(self.run.elevation(level?)?))
    }

    /// Rise or fall from the sight before; level is a rise of nought.
    fn climb(&self, before: Option<Length>, now: Option<Length>) -> (Option<Figure>, Option<Figure>) {
        let Some((before, now)) = before.zip(now) else { return (None, None) };
        let climb = before - now;
        let figure = self.source.scales.level(climb.abs());
        if climb < Length::ZERO { (None, Some(figure)) } else { (Some(figure), None) }
    }

    /// That a point's elevation is given, and by how much this one differs.
    fn known(&self, point: Option<&PointName>, elevation: Option<&Figure>) -> Vec<String> {
        let Some(known) = point.and_then(|point| self.source.book.known().get(point)) else { return Vec::new() };
        let scales = self.source.scales;
        let given = scales.level(known.elevation.value());
        let how = if known.assumed { "assumed" } else { "known" };
        let apart = elevation.map(|elevation| elevation.exact - given.exact);
        vec![match apart {
            Some(Length::ZERO) => how.to_owned(),
            Some(apart) => {
                let unit = scales.say.height_scale().0;
                format!("{how} {}, off by {} {unit}", given.shown, scales.correction(apart).shown)
            }
            None => format!("{how} {}", given.shown),
        }]
    }
}

/// The tie on which a level rests, counted from 1.
fn tie_of(level: Level) -> u32 {
    level.chain as u32 + 1
}
