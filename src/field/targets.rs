//! The targets that were set, as they stand now: re-stated after amendments, and after the run has closed and been
//! adjusted.
//!
//! ```text
//! elevation now      HI now - reading at the mark
//! adjusted           elevation now + correction of the setup
//! ```
//!
//! All points seen from one setup share the correction of its line of sight, which is that of its fore point.
//! Sign: as in `set_out`; too high is positive.

use std::collections::BTreeMap;

use super::guide::line_of_sight;
use super::set_out::{self, Stands};
use crate::book::Book;
use crate::book::activity::{Activity, DesignTarget, Outcome, Task};
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
        let now = TargetNow {
            activity,
            target,
            tolerance: *tolerance,
            from: (*run, *setup),
            elevation,
            adjusted: elevation.zip(correction).map(|(elevation, correction)| elevation + *correction),
        };
        match all.iter_mut().find(|held| held.target.name == target.name) {
            Some(held) => *held = now,
            None => all.push(now),
        }
    }
    all
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
