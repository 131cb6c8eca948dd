//! The words of tests of the level, and of what is taken out of readings by them.

use super::{Misunderstood, Said};
use crate::book::activity::{PegLayout, Procedure, StatedLimit, Task};
use crate::book::event::Command;
use crate::field::{curvature, two_peg};
use crate::nearest::nearest;
use crate::units::Length;

/// What a line of sight is judged by where the class states no limit: 1 mm in 20 m, as quoted in teaching slides
/// (slideplayer.com/slide/14841960) from a textbook.
const USUAL_LIMIT: (f64, &str) = (0.05, "1 mm in 20 m, textbook practice, as quoted elsewhere");

/// Largest inclination that is taken out: an instrument that is out by a tenth of it is adjusted, not corrected.
const INCLINATION_MAX_MM_PER_M: f64 = 10.0;

impl Said<'_> {
    pub(super) fn test(self, rest: &[&str]) -> Result<Task, Misunderstood> {
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
        // The shots may be said before the coefficient too.
        let (rest, shots) = match self.times(rest)? {
            (rest, 1) => (rest, shots),
            said => said,
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
            Some(rate) => {
                StatedLimit { mm_per_m: rate.mm, basis: format!("{}{}", settings.class.title, rate.basis.remark()) }
            }
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

    pub(super) fn correct(self, rest: &[&str]) -> Result<Command, Misunderstood> {
        let ["collimation", how] = rest else { return Err(self.wrong(rest)) };
        let mm_per_m = match *how {
            "off" => None,
            "on" => {
                let instrument = self.book.settings().instrument.name.as_deref();
                let found = self.book.activities().collimation(instrument, u64::MAX);
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
}
