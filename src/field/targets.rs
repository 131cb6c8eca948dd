//! The targets that were set, as they stand now: re-stated after amendments, and after the run has closed and been
//! adjusted.
//!
//! ```text
//! elevation now      HI now - reading at the mark
//! adjusted           elevation now + correction of the setup
//! variance, open     n s^2 + s0^2
//! variance, closed   ((n - 1) (N - n + 1) / N + 1) s^2 + s0^2
//! ```
//!
//! | symbol | meaning | unit |
//! |---|---|---|
//! | n | setups from the point with a known elevation to the mark, that to the mark included | - |
//! | N | setups of the line that closed | - |
//! | s, s0 | standard deviation of a setup's rise, of the known elevation | mm |
//!
//! All points seen from one setup share the correction of its line of sight, which is that of its fore point.
//! Closing shares the misclosure out by setups: a point n - 1 setups into the line is known by both its ends; the way from
//! there to the mark is a backsight and the mark's own reading, unchecked.
//! Sign: as in `set_out`; too high is positive.
//! Source: propagation of variances, standard textbooks, from memory.

use std::collections::BTreeMap;

use super::guide::line_of_sight;
use super::marks::registered;
use super::set_out::{self, Stands};
use crate::book::Book;
use crate::book::activity::{Activity, DesignTarget, Done, Outcome, Task};
use crate::book::reading::PointName;
use crate::book::run::{ClosesOn, Closure, DatumOrigin, Run, Setup};
use crate::formula::guarded;
use crate::units::{Length, Unit};

/// What adjustment adds at the fore points of setups, by run and setup; only where a line has closed within its
/// allowance.
pub type Corrections = BTreeMap<(u32, u32), Length>;

/// A target that was set, as it stands now.
#[derive(Clone, Debug, PartialEq)]
pub struct TargetNow<'a> {
    /// The activity that set it; the latest where it was set more than once.
    pub activity: &'a Activity,
    /// What that came to.
    pub done: &'a Done,
    /// Its design.
    pub target: &'a DesignTarget,
    /// How near it had to be set.
    pub tolerance: Length,
    /// The run and setup from which it was set.
    pub from: (u32, u32),
    /// Its elevation from the line of sight as it is known now; none if that is gone.
    pub elevation: Option<Length>,
    /// The same adjusted; none as long as the run has not closed.
    pub adjusted: Option<Length>,
    /// What closed the line on which it hangs, within the allowance or over it.
    pub closure: Option<&'a Closure>,
    /// How well its elevation is known; none where the line of sight is gone.
    pub deviation: Option<Deviation>,
}

/// How well an elevation is known by the deviations of setups and marks that are stated.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Deviation {
    /// Standard deviation.
    pub sd: Length,
    /// The known point that it is counted from.
    pub start: PointName,
    /// That point's own deviation is not stated, so it was taken as exact.
    pub start_exact: bool,
}

impl TargetNow<'_> {
    /// The best elevation that there is.
    pub fn best(&self) -> Option<Length> {
        self.adjusted.or(self.elevation)
    }

    /// How it stands by that.
    pub fn stands(&self) -> Option<Stands> {
        Some(set_out::stands(self.best()?, self.target.design.value(), self.tolerance))
    }

    /// The same in words.
    pub fn words(&self) -> &'static str {
        match (self.stands(), self.adjusted.is_some()) {
            (None, _) => "its line of sight is gone: set it again",
            (Some(Stands::Within), true) => "within tolerance, adjusted",
            (Some(Stands::Within), false) => "within tolerance, provisional",
            (Some(Stands::SetAgain(_)), true) => "set it again",
            (Some(Stands::SetAgain(_)), false) => "set it again, provisional",
        }
    }
}

/// Every target that was set, the latest setting of each, in the order in which they were first set.
pub fn targets<'a>(book: &'a Book, corrections: &Corrections) -> Vec<TargetNow<'a>> {
    let mut all: Vec<TargetNow<'a>> = Vec::new();
    for (activity, done) in book.activities().outcomes() {
        let (Task::SetTarget { target, tolerance, run, setup, .. }, Outcome::Target { reading, .. }) =
            (&activity.task, &done.outcome)
        else {
            continue;
        };
        let elevation = line_of_sight(book, *run, *setup).map(|instrument| instrument - *reading);
        let correction = corrections.get(&(*run, *setup));
        let closure = closed_by(book, (*run, *setup));
        let now = TargetNow {
            activity,
            done,
            target,
            tolerance: *tolerance,
            from: (*run, *setup),
            elevation,
            adjusted: elevation.zip(correction).map(|(elevation, correction)| elevation + *correction),
            closure,
            deviation: deviation(book, (*run, *setup), closure.filter(|_| correction.is_some())),
        };
        match all.iter_mut().find(|held| held.target.name == target.name) {
            Some(held) => *held = now,
            None => all.push(now),
        }
    }
    all
}

/// What closed the line that goes through a setup: its end on a known point, or else on a point reached before.
fn closed_by(book: &Book, (run, setup): (u32, u32)) -> Option<&Closure> {
    let run = book.runs().get((run as usize).checked_sub(1)?)?;
    let chain = run.setups.get((setup as usize).checked_sub(1)?)?.before.level.chain;
    let after = run.setups.iter().filter(|later| later.number >= setup && later.before.level.chain == chain);
    let closures: Vec<&Closure> =
        after.flat_map(|later| &later.closures).filter(|closure| closure.from_setup < setup).collect();
    let known = closures.iter().find(|closure| closure.on == ClosesOn::Known);
    known.or(closures.last()).copied()
}

/// How well what is read from a setup is known; by `closed`, if its line was adjusted.
fn deviation(book: &Book, (run, setup): (u32, u32), closed: Option<&Closure>) -> Option<Deviation> {
    let run = book.runs().get((run as usize).checked_sub(1)?)?;
    let setup = run.setups.get((setup as usize).checked_sub(1)?)?;
    let datum = run.chains.get(setup.before.level.chain)?.datum.as_ref()?;
    let (before, at_datum) = (setup.before.setups, rises_to(run, datum.setup));
    // The datum may have been met behind this setup: then the way to it is counted from here.
    let open = if datum.setup < setup.number { before + 1 - at_datum + datum.setups_before } else { at_datum - before };
    let setups = match closed {
        None => f64::from(open),
        Some(closure) => {
            let carried = if closure.from_setup == 0 { datum.setups_before } else { 0 };
            let into = f64::from(before - rises_to(run, closure.from_setup) + carried);
            let whole = f64::from(closure.setups.max(1));
            into * (whole - into).max(0.0) / whole + 1.0
        }
    };
    let given = (datum.origin != DatumOrigin::Carried).then(|| registered(book, &datum.point)).flatten();
    let start = given.and_then(|mark| mark.sd);
    let start_mm = start.map_or(0.0, Length::to_f64_mm);
    let variance_mm2 = setups * book.settings().setup_sd_mm().powi(2) + start_mm.powi(2);
    let sd = Length::from_f64_m(variance_mm2.sqrt() / 1000.0)?;
    Some(Deviation { sd, start: datum.point.clone(), start_exact: start.is_none() })
}

/// Setups with a rise up to and including one; none at the start of the run.
fn rises_to(run: &Run, setup: u32) -> u32 {
    let index = (setup as usize).checked_sub(1);
    index.and_then(|index| run.setups.get(index)).map_or(0, Setup::setups)
}

/// Set targets as comma-separated values (RFC 4180): design, elevation and what it is off, all in `unit`.
pub fn write(targets: &[TargetNow<'_>], unit: Unit) -> String {
    const DECIMALS: u8 = 6;
    let mut rows = ::csv::Writer::from_writer(Vec::new());
    let mut put = |fields: [&str; 8]| rows.write_record(fields).expect("memory takes every row");
    put(["target", "design", "elevation", "off", "unit", "run", "setup", "stands"]);
    for target in targets {
        let design = target.target.design.value();
        let show = |length: Length| length.show(unit, DECIMALS);
        put([
            &guarded(target.target.name.as_str()),
            &show(design),
            &target.best().map(show).unwrap_or_default(),
            &target.best().map(|elevation| show(elevation - design)).unwrap_or_default(),
            unit.symbol(),
            &target.from.0.to_string(),
            &target.from.1.to_string(),
            target.words(),
        ]);
    }
    let bytes = rows.into_inner().expect("memory takes every row");
    String::from_utf8(bytes).expect("every field is text")
}
