//! The words of the register of marks, and of the check of one against another.

use super::{Misunderstood, Said};
use crate::book::activity::Task;
use crate::book::event::Command;
use crate::book::marks::Mark;
use crate::units::{Length, Unit};

impl Said<'_> {
    pub(super) fn register(self, rest: &[&str]) -> Result<Command, Misunderstood> {
        let [known, rest @ ..] = rest else { return Err(self.wrong(rest)) };
        let (name, elevation) = known.rsplit_once('=').ok_or_else(|| self.wrong(&[known]))?;
        let named = self.named(rest, &["sd", "date", "datum", "origin", "photo", "description"])?;
        let text = |key| named.get(key).map(|text: &str| text.to_owned());
        let sd = named.length("sd", self)?;
        if let Some(sd) = sd.filter(|sd| *sd <= Length::ZERO) {
            return Err(
                self.why(format!("an uncertainty of {} m found, more than nought was wanted", sd.show(Unit::Metre, 4)))
            );
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

    pub(super) fn check(self, rest: &[&str]) -> Result<Task, Misunderstood> {
        let [mark, "against", against] = rest else { return Err(self.wrong(rest)) };
        let reading_sd = self.book.settings().instrument.reading_sd;
        Ok(Task::CheckMark { against: self.name(against)?, mark: self.name(mark)?, reading_sd })
    }
}
