//! The words of heights: the instrument matched to one, targets listed and set, a gap crossed.

use super::{Misunderstood, Said, explained, reading};
use crate::book::activity::{DesignTarget, LineMarks, Task};
use crate::book::event::Command;
use crate::book::reading::PointName;
use crate::field::{height_match, set_out};
use crate::nearest::nearest;
use crate::units::Measured;

impl Said<'_> {
    pub(super) fn match_height(self, rest: &[&str]) -> Result<Task, Misunderstood> {
        let [elevation, rest @ ..] = rest else { return Err(self.wrong(rest)) };
        let named = self.named(rest, &["on", "within"])?;
        let target = self.measured(elevation)?;
        let on = match named.get("on") {
            Some(name) => self.name(name)?,
            None => self.reached().ok_or_else(|| self.why("no mark to match it from: name one with on".to_owned()))?,
        };
        let known = self.book.known().get(&on).map(|known| known.elevation.value());
        let elevation = known.or_else(|| self.book.elevation(&on));
        let elevation = elevation.ok_or_else(|| self.why(format!("{on} has no elevation: register it first")))?;
        let tolerance = named.length("within", self)?.unwrap_or(height_match::USUAL_TOLERANCE);
        Ok(Task::MatchHeight { on, elevation, target, tolerance })
    }

    /// The point that the run has reached, or where it will start.
    fn reached(self) -> Option<PointName> {
        let run = self.book.runs().last().map(|run| run.last_point().clone());
        run.or_else(|| self.book.settings().start.clone())
    }

    pub(super) fn target(self, rest: &[&str]) -> Result<DesignTarget, Misunderstood> {
        let [name, elevation, rest @ ..] = rest else { return Err(self.wrong(rest)) };
        let named = self.named(rest, &["offset", "within", "means"])?;
        let base = self.measured(elevation)?;
        let offset = named.get("offset").map(|text| self.measured(text)).transpose()?;
        let design = match offset {
            None => base,
            Some(offset) => {
                let decimals = base.digits().decimals().max(offset.digits().decimals());
                Measured::from_length(base.value() + offset.value(), base.unit(), decimals)
                    .map_err(|error| explained(self.verb, error))?
            }
        };
        Ok(DesignTarget {
            name: self.name(name)?,
            design,
            offset,
            tolerance: named.length("within", self)?,
            means: named.get("means").map(str::to_owned),
        })
    }

    pub(super) fn set(self, rest: &[&str]) -> Result<Task, Misunderstood> {
        let [name, rest @ ..] = rest else { return Err(self.wrong(rest)) };
        let (elevation, rest) = match rest {
            [first, after @ ..] if first.starts_with(|c: char| c.is_ascii_digit() || c == '-') => (Some(first), after),
            _ => (None, rest),
        };
        let named = self.named(rest, &["within", "line", "width"])?;
        let listed = self.book.amendments().designs().iter().find(|listed| listed.name.as_str() == *name);
        let target = match (elevation, listed) {
            (Some(elevation), _) => self.target(&[name, elevation])?,
            (None, Some(listed)) => listed.clone(),
            (None, None) => {
                let names = self.book.amendments().designs().iter().map(|listed| listed.name.as_str());
                return Err(self.why(match nearest(name, names) {
                    Some(meant) => format!("no target {name} on the list, {meant} was probably meant"),
                    None => format!("no target {name} on the list: give its elevation"),
                }));
            }
        };
        let line = match (named.length("line", self)?, named.length("width", self)?) {
            (Some(apart), Some(width)) => Some(LineMarks { apart, width }),
            (None, None) => None,
            (Some(_), None) => return Err(self.why("the width of the target was wanted: line 3 width 1".to_owned())),
            (None, Some(_)) => {
                return Err(self.why("how far the marks are apart was wanted: line 3 width 1".to_owned()));
            }
        };
        let (run, setup) = self.book.current().map_or((0, 0), |(run, setup)| (run.number, setup.number));
        let tolerance = named.length("within", self)?.or(target.tolerance).unwrap_or(set_out::USUAL_TOLERANCE);
        Ok(Task::SetTarget { target, tolerance, run, setup, line })
    }

    pub(super) fn mark(self, rest: &[&str]) -> Result<Command, Misunderstood> {
        let (shot, rest) = match rest {
            [first, after @ ..] if first.starts_with(|c: char| c.is_ascii_digit()) => {
                (Some(reading(self.verb, first)?), after)
            }
            _ => (None, rest),
        };
        let by = self.named(rest, &["by"])?.get("by").map(str::to_owned);
        Ok(Command::MarkHere { shot, by })
    }

    pub(super) fn reciprocal(self, rest: &[&str]) -> Result<Task, Misunderstood> {
        let (rest, sets) = self.times(rest)?;
        let [from, to, distance] = rest else { return Err(self.wrong(rest)) };
        Ok(Task::Reciprocal {
            from: self.name(from)?,
            to: self.name(to)?,
            distance: self.length(distance)?,
            sets,
            reading_sd: self.book.settings().instrument.reading_sd,
        })
    }
}
