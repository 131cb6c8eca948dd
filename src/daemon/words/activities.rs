//! The words of what is done beside the run: tests, marks, targets, gaps, tapes, wires.
//!
//! What may stand in any order is named: `within 0.003`, `plummet 50N`. Lengths are in the job's unit unless they carry
//! their own: `0.5mm`.

use super::{Misunderstood, explained, point_name, reading, role, wrong};
use crate::book::Book;
use crate::book::activity::{DesignTarget, LineMarks, PegLayout, Procedure, StatedLimit, TapeSettings, Task};
use crate::book::event::Command;
use crate::book::marks::Mark;
use crate::book::reading::{PointName, Reading};
use crate::field::tape::{NEWTONS_IN_KGF, NEWTONS_IN_LBF};
use crate::field::{curvature, height_match, set_out, three_wire, two_peg};
use crate::nearest::nearest;
use crate::units::{Length, Measured, Unit, parse_feet_inches};

/// What a line of sight is judged by where the class states no limit: 1 mm in 20 m, as quoted in teaching slides
/// (slideplayer.com/slide/14841960) from a textbook.
const USUAL_LIMIT: (f64, &str) = (0.05, "1 mm in 20 m, textbook practice, as quoted elsewhere");

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
        "mark" => match rest {
            [] => Command::MarkHere { shot: None },
            [shot] => Command::MarkHere { shot: Some(reading(verb, shot)?) },
            _ => return Err(wrong(verb, rest)),
        },
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

impl<'a> Said<'a> {
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

    fn test(self, rest: &[&str]) -> Result<Task, Misunderstood> {
        match rest {
            ["two-peg", rest @ ..] => self.two_peg(rest),
            ["field", procedure, rest @ ..] => self.field_test(procedure, rest),
            _ => Err(self.wrong(rest)),
        }
    }

    fn two_peg(self, rest: &[&str]) -> Result<Task, Misunderstood> {
        let (rest, shots) = self.times(rest)?;
        let (rest, refraction_k) = match rest {
            [before @ .., "k", "none"] => (before, None),
            [before @ .., "k", k] => (before, Some(self.number("k", k)?)),
            _ => {
                let of_job = self.book.settings().corrections.refraction_k;
                (rest, Some(of_job.unwrap_or(curvature::USUAL_K)))
            }
        };
        let [word, lengths @ ..] = rest else { return Err(self.wrong(rest)) };
        let words = PegLayout::ALL.map(PegLayout::word);
        let layout = PegLayout::ALL.into_iter().find(|layout| layout.word() == *word).ok_or_else(|| {
            self.why(match nearest(word, words) {
                Some(meant) => format!("unknown layout {word:?}, {meant} was probably meant"),
                None => format!("unknown layout {word:?}, one of {} was wanted", words.join(", ")),
            })
        })?;
        let [length, beyond] = match (layout, lengths) {
            (PegLayout::Twenty, []) => [Length::ZERO; 2],
            (PegLayout::MidOutside, [length, beyond]) => [self.length(length)?, self.length(beyond)?],
            (PegLayout::MidNear | PegLayout::ThirdsInside | PegLayout::ThirdsOutside, [length]) => {
                [self.length(length)?, Length::ZERO]
            }
            (PegLayout::Twenty, _) => return Err(self.why("twenty has its own distances, none were wanted".to_owned())),
            (PegLayout::MidOutside, _) => {
                return Err(self.why("the distance between the pegs and that beyond B were wanted".to_owned()));
            }
            (PegLayout::MidNear, _) => return Err(self.why("the distance between the pegs was wanted".to_owned())),
            (PegLayout::ThirdsInside | PegLayout::ThirdsOutside, _) => {
                return Err(self.why("the length of a third was wanted".to_owned()));
            }
        };
        let settings = self.book.settings();
        let limit = match settings.class.collimation_max {
            Some(rate) => StatedLimit {
                mm_per_m: rate.mm,
                basis: format!("{}{}", settings.class.title, rate.basis.remark()),
            },
            None => StatedLimit { mm_per_m: USUAL_LIMIT.0, basis: USUAL_LIMIT.1.to_owned() },
        };
        Ok(Task::TwoPeg {
            layout,
            distances: two_peg::distances(layout, length, beyond, settings.instrument.sight_min),
            shots,
            reading_sd: settings.instrument.reading_sd,
            refraction_k,
            limit,
            instrument: settings.instrument.name.clone(),
        })
    }

    fn field_test(self, procedure: &str, rest: &[&str]) -> Result<Task, Misunderstood> {
        let procedure = match procedure {
            "simplified" => Procedure::Simplified,
            "full" => Procedure::Full,
            other => return Err(self.why(format!("unknown field test {other:?}, simplified or full was wanted"))),
        };
        let named = match procedure {
            Procedure::Simplified => self.named(rest, &["permitted"])?,
            Procedure::Full => self.named(rest, &["stated"])?,
        };
        Ok(Task::FieldTest {
            procedure,
            permitted: named.length("permitted", self)?,
            stated: named.length("stated", self)?,
            instrument: self.book.settings().instrument.name.clone(),
        })
    }

    fn correct(self, rest: &[&str]) -> Result<Command, Misunderstood> {
        let ["collimation", how] = rest else { return Err(self.wrong(rest)) };
        let mm_per_m = match *how {
            "off" => None,
            "on" => {
                let found = self.book.activities().collimation(u64::MAX);
                let nothing = || self.why("no two-peg test in this job: make one, or give the inclination".to_owned());
                Some(found.ok_or_else(nothing)?.0)
            }
            number => {
                let mm_per_m = self.number("an inclination in mm per m", number)?;
                if mm_per_m.abs() > INCLINATION_MAX_MM_PER_M {
                    let most = INCLINATION_MAX_MM_PER_M;
                    return Err(self.why(format!("{number} mm/m found, at most {most} was wanted: have it adjusted")));
                }
                Some(mm_per_m)
            }
        };
        Ok(Command::Collimation { from: None, mm_per_m })
    }

    fn register(self, rest: &[&str]) -> Result<Command, Misunderstood> {
        let [known, rest @ ..] = rest else { return Err(self.wrong(rest)) };
        let (name, elevation) = known.rsplit_once('=').ok_or_else(|| self.wrong(&[known]))?;
        let named = self.named(rest, &["sd", "date", "datum", "origin", "photo", "description"])?;
        let text = |key| named.get(key).map(|text: &str| text.to_owned());
        let sd = named.length("sd", self)?;
        if let Some(sd) = sd.filter(|sd| *sd <= Length::ZERO) {
            return Err(self.why(format!("an uncertainty of {} m found, more than nought was wanted", sd.show(Unit::Metre, 4))));
        }
        let elevation = self.measured(elevation)?;
        if !self.book.settings().takes(elevation.unit()) {
            let (found, wanted) = (elevation.unit(), self.unit);
            return Err(self.why(format!("{name} is given in {found}, the job is in {wanted}: one unit was wanted")));
        }
        let mark = Mark {
            sd,
            date: text("date"),
            datum: text("datum"),
            origin: text("origin"),
            photo: text("photo"),
            description: text("description"),
            ..Mark::of(self.name(name)?, elevation)
        };
        Ok(Command::Register { mark: Box::new(mark) })
    }

    fn check(self, rest: &[&str]) -> Result<Task, Misunderstood> {
        let [mark, "against", against] = rest else { return Err(self.wrong(rest)) };
        let reading_sd = self.book.settings().instrument.reading_sd;
        Ok(Task::CheckMark { against: self.name(against)?, mark: self.name(mark)?, reading_sd })
    }

    fn match_height(self, rest: &[&str]) -> Result<Task, Misunderstood> {
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

    fn target(self, rest: &[&str]) -> Result<DesignTarget, Misunderstood> {
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

    fn set(self, rest: &[&str]) -> Result<Task, Misunderstood> {
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
            (None, Some(_)) => return Err(self.why("how far the marks are apart was wanted: line 3 width 1".to_owned())),
        };
        let (run, setup) = self.book.current().map_or((0, 0), |(run, setup)| (run.number, setup.number));
        let tolerance = named.length("within", self)?.or(target.tolerance).unwrap_or(set_out::USUAL_TOLERANCE);
        Ok(Task::SetTarget { target, tolerance, run, setup, line })
    }

    fn reciprocal(self, rest: &[&str]) -> Result<Task, Misunderstood> {
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

    fn tape(self, rest: &[&str]) -> Result<Task, Misunderstood> {
        let [from, to, rest @ ..] = rest else { return Err(self.wrong(rest)) };
        let named = self.named(rest, TAPE_WORDS)?;
        let needed = |key: &'static str| {
            let missing = || self.why(format!("the tape's certificate is missing: {key} was wanted, such as {key} 50.002m"));
            named.get(key).ok_or_else(missing).and_then(|text| self.length(text))
        };
        let (nominal, certified) = (needed("nominal")?, needed("certified")?);
        let number = |key: &str, usual: f64| named.get(key).map_or(Ok(usual), |text| self.number(key, text));
        let force = |key: &str| named.get(key).map(|text| self.newtons(key, text)).transpose();
        let celsius = |key: &str| named.get(key).map(|text| self.celsius(key, text)).transpose();
        let length = |key: &str, usual: Length| named.length(key, self).map(|length| length.unwrap_or(usual));
        let cross_section_mm2 = number("section", CROSS_SECTION_MM2)?;
        let usual_weight = cross_section_mm2 / 1e6 * STEEL_KG_PER_M3 * NEWTONS_IN_KGF;
        let tape = TapeSettings {
            nominal,
            certified,
            standard_c: celsius("standard")?.unwrap_or(STANDARD_C),
            standard_pull_n: force("pull")?.unwrap_or(STANDARD_PULL_N),
            expansion_ppm_per_c: number("expansion", STEEL_PPM_PER_C)?,
            cross_section_mm2,
            modulus_gpa: number("modulus", STEEL_GPA)?,
            weight_n_per_m: number("weight", usual_weight)?,
            plummet_n: force("plummet")?,
            temperature_c: celsius("temperature")?,
            clamped_at: length("clamp", Length::ZERO)?,
            hung: length("hung", nominal)?,
            reading_sd: length("reading-sd", TAPE_READING_SD)?,
            certificate_sd_ppm: number("certificate-sd", CERTIFICATE_SD_PPM)?,
            temperature_sd_c: number("temperature-sd", TEMPERATURE_SD_C)?,
            pull_sd_n: number("pull-sd", PULL_SD_N)?,
        };
        let reading_sd = self.book.settings().instrument.reading_sd;
        Ok(Task::TapeTransfer { from: self.name(from)?, to: self.name(to)?, tape: Box::new(tape), reading_sd })
    }

    /// A force with its unit: 50N, 5kgf, 10lbf. None is assumed, because 5 may be any of them.
    fn newtons(self, what: &str, text: &str) -> Result<f64, Misunderstood> {
        let units = [("kgf", NEWTONS_IN_KGF), ("lbf", NEWTONS_IN_LBF), ("N", 1.0)];
        match units.into_iter().find_map(|(unit, newtons)| Some((text.strip_suffix(unit)?, newtons))) {
            Some((digits, newtons)) => Ok(self.number(what, digits.trim())? * newtons),
            None => Err(self.why(format!("{text:?} found as {what}, a force with its unit was wanted: 50N, 5kgf or 10lbf"))),
        }
    }

    /// A temperature: 12, 12C, 54F.
    fn celsius(self, what: &str, text: &str) -> Result<f64, Misunderstood> {
        match text.strip_suffix('F') {
            Some(fahrenheit) => Ok((self.number(what, fahrenheit)? - 32.0) / 1.8),
            None => self.number(what, text.strip_suffix('C').unwrap_or(text)),
        }
    }
}

/// Sixteenths of an inch end as a decimal of a foot after this many digits: 1/192 ft does not, so it is taken to the
/// nearest 1e-6 ft, a third of a micrometre.
const FEET_INCHES_DECIMALS: u8 = 6;

/// Largest inclination that is taken out: an instrument that is out by a tenth of it is adjusted, not corrected.
const INCLINATION_MAX_MM_PER_M: f64 = 10.0;

/// What can be said of a tape.
const TAPE_WORDS: &[&str] = &[
    "nominal",
    "certified",
    "plummet",
    "temperature",
    "standard",
    "pull",
    "expansion",
    "section",
    "modulus",
    "weight",
    "clamp",
    "hung",
    "reading-sd",
    "certificate-sd",
    "temperature-sd",
    "pull-sd",
];

/// A steel tape of which nothing else was said: expansion and modulus of steel from memory, the rest common practice,
/// no source.
const STEEL_PPM_PER_C: f64 = 11.6;
const STEEL_GPA: f64 = 200.0;
const STEEL_KG_PER_M3: f64 = 7850.0;
const CROSS_SECTION_MM2: f64 = 2.5;
const STANDARD_C: f64 = 20.0;
const STANDARD_PULL_N: f64 = 50.0;
const TAPE_READING_SD: Length = Length::from_um(300);
const CERTIFICATE_SD_PPM: f64 = 10.0;
const TEMPERATURE_SD_C: f64 = 1.0;
const PULL_SD_N: f64 = 1.0;

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
