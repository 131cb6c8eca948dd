//! The words of what is done beside the run: tests, marks, targets, gaps, tapes, wires.
//!
//! What may stand in any order is named: `within 0.003`, `plummet 50N`. Lengths are in the job's unit unless they carry
//! their own: `0.5mm`.

mod heights;
mod instrument;
mod marks;
mod tape;

use super::{Misunderstood, explained, point_name, reading, role, wrong};
use crate::book::Book;
use crate::book::activity::Task;
use crate::book::event::Command;
use crate::book::reading::{PointName, Reading};
use crate::field::three_wire;
use crate::nearest::nearest;
use crate::units::{Length, Measured, Unit, parse_feet_inches};

/// The most shots on a peg, and sets over a gap, that anybody takes.
const TIMES_MAX: u32 = 20;

/// Understands a command about an activity, a target, a mark or the line of sight.
pub(super) fn understand(verb: &str, rest: &[&str], book: &Book) -> Result<Command, Misunderstood> {
    let said = Said { verb, unit: book.settings().unit, book };
    Ok(match verb {
        "wires" => said.wires(rest)?,
        "test" => begin(said.test(rest)?),
        "correct" => said.correct(rest)?,
        "register" => said.register(rest)?,
        "check" => begin(said.check(rest)?),
        "match" => begin(said.match_height(rest)?),
        "target" => Command::Design { target: said.target(rest)? },
        "set" => begin(said.set(rest)?),
        "mark" => said.mark(rest)?,
        "reciprocal" => begin(said.reciprocal(rest)?),
        "tape" => begin(said.tape(rest)?),
        "leave" if rest.is_empty() => Command::LeaveActivity,
        "leave" => return Err(wrong(verb, rest)),
        _ => return Err(Misunderstood::NoSuchVerb { found: verb.to_owned() }),
    })
}

fn begin(task: Task) -> Command {
    Command::BeginActivity { task: Box::new(task) }
}

/// Whether `strike` is about a shot of an activity: it says so, or an activity is under way and no reading is named.
pub(super) fn strikes_shot(rest: &[&str], book: &Book) -> bool {
    match rest {
        ["shot", ..] => true,
        [] => book.activities().under_way().is_some(),
        _ => false,
    }
}

/// The shot that is struck; the latest if none is named.
pub(super) fn strike_shot(rest: &[&str], book: &Book) -> Result<Command, Misunderstood> {
    match rest {
        ["shot", number] => Ok(Command::StrikeShot { shot: reading("strike", number)? }),
        [] | ["shot"] => {
            let shots = book.activities().latest().map_or(&[][..], |latest| &latest.shots);
            let latest = shots.iter().rposition(|shot| !shot.struck).map_or(0, |index| index as u32 + 1);
            Ok(Command::StrikeShot { shot: latest })
        }
        _ => Err(wrong("strike", rest)),
    }
}

/// A command that is being understood.
#[derive(Clone, Copy)]
struct Said<'a> {
    verb: &'a str,
    unit: Unit,
    book: &'a Book,
}

impl Said<'_> {
    fn measured(self, text: &str) -> Result<Measured, Misunderstood> {
        // A drawing's 5'-0 3/8" is a length too.
        if text.contains(['\'', '"']) {
            let length = parse_feet_inches(text).map_err(|error| explained(self.verb, error))?;
            return Measured::from_length(length, Unit::Foot, FEET_INCHES_DECIMALS)
                .map_err(|error| explained(self.verb, error));
        }
        Measured::said(text, self.unit).map_err(|error| explained(self.verb, error))
    }

    fn length(self, text: &str) -> Result<Length, Misunderstood> {
        self.measured(text).map(|measured| measured.value())
    }

    fn number(self, what: &str, text: &str) -> Result<f64, Misunderstood> {
        let number: Option<f64> = text.parse().ok().filter(|number: &f64| number.is_finite());
        number.ok_or_else(|| self.why(format!("{text:?} found as {what}, a number was wanted")))
    }

    fn why(self, why: String) -> Misunderstood {
        explained(self.verb, why)
    }

    fn wrong(self, rest: &[&str]) -> Misunderstood {
        wrong(self.verb, rest)
    }

    fn name(self, text: &str) -> Result<PointName, Misunderstood> {
        point_name(self.verb, text)
    }

    /// Named values behind the rest: `within 0.003 width 0.5`.
    fn named<'w>(self, rest: &[&'w str], keys: &'static [&'static str]) -> Result<Named<'w>, Misunderstood> {
        let mut named = Named(Vec::new());
        let mut rest = rest;
        while let [key, after @ ..] = rest {
            let Some(known) = keys.iter().find(|known| *known == key) else {
                return Err(self.why(match nearest(key, keys.iter().copied()) {
                    Some(meant) => format!("unknown word {key:?}, {meant} was probably meant"),
                    None => format!("unknown word {key:?}, one of {} was wanted", keys.join(", ")),
                }));
            };
            let [value, after @ ..] = after else {
                return Err(self.why(format!("nothing found after {known}, a value was wanted")));
            };
            if named.get(known).is_some() {
                return Err(self.why(format!("{known} found twice, once was wanted")));
            }
            named.0.push((known, value));
            rest = after;
        }
        Ok(named)
    }

    /// `x3` at the end: so many times.
    fn times<'w, 's>(self, rest: &'s [&'w str]) -> Result<(&'s [&'w str], u32), Misunderstood> {
        let Some((last, before)) = rest.split_last() else { return Ok((rest, 1)) };
        let Some(times) = last.strip_prefix('x').and_then(|times| times.parse().ok()) else { return Ok((rest, 1)) };
        if (1..=TIMES_MAX).contains(&times) {
            Ok((before, times))
        } else {
            Err(self.why(format!("{last:?} found, x1 to x{TIMES_MAX} was wanted")))
        }
    }

    fn wires(self, rest: &[&str]) -> Result<Command, Misunderstood> {
        let [upper, middle, lower, said_role @ ..] = rest else { return Err(self.wrong(rest)) };
        let wires = [self.measured(upper)?, self.measured(middle)?, self.measured(lower)?];
        let found = three_wire::three_wire(&wires, Length::ZERO).map_err(|error| self.why(error.to_string()))?;
        let mut reading = Reading::of(found.mean);
        reading.sight = Some(found.sight);
        reading.role = match said_role {
            [] => None,
            [said] => Some(role(self.verb, said)?),
            _ => return Err(self.wrong(rest)),
        };
        Ok(Command::KeyInWires { wires: Box::new(wires), reading: Box::new(reading) })
    }
}

/// Sixteenths of an inch end as a decimal of a foot after this many digits: 1/192 ft does not, so it is taken to the
/// nearest 1e-6 ft, a third of a micrometre.
const FEET_INCHES_DECIMALS: u8 = 6;

/// Named values.
struct Named<'w>(Vec<(&'static str, &'w str)>);

impl<'w> Named<'w> {
    fn get(&self, key: &str) -> Option<&'w str> {
        self.0.iter().find(|(held, _)| *held == key).map(|(_, value)| *value)
    }

    fn length(&self, key: &str, said: Said<'_>) -> Result<Option<Length>, Misunderstood> {
        self.get(key).map(|text| said.length(text)).transpose()
    }
}
