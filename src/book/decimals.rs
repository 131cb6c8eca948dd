//! With how many decimals a book is shown: one rule for the terminal, the page and the reports.
//!
//! A reading has those that it came with. Elevations and means have as many as the readings and the given elevations
//! came with, and one more if the mean of several shots needs it.

use super::Book;
use super::run::Shot;
use crate::units::{Length, Measured, Unit};

/// The most decimals that are shown: a micrometre, or a millionth of a foot.
const DECIMALS_MAX: u8 = 6;

/// A staff reading as it was read, in `unit`.
pub fn reading_shown(staff: &Measured, unit: Unit) -> String {
    staff.value().show(unit, decimals_in(staff, unit).min(DECIMALS_MAX))
}

/// The decimals of elevations and means of a book shown in `unit`.
pub fn decimals(book: &Book, unit: Unit) -> u8 {
    let known = book.known().values().map(|known| decimals_in(&known.elevation, unit));
    let given = known.chain(book.finest.in_unit(unit)).max().unwrap_or(0);
    // Nobody levels more coarsely than to a millimetre, or a hundredth of a foot.
    let given = given.max(if unit.is_foot() { 2 } else { 3 }).min(DECIMALS_MAX);
    // A corrected reading has as many digits as a float has: no decimal more would show it whole.
    let corrected = book.settings().corrections != Default::default();
    let finer = !corrected && means(book).any(|mean| !is_whole(mean, unit, given));
    (given + u8::from(finer)).min(DECIMALS_MAX)
}

/// The most decimals that readings came with, by the unit that they came in: the readings themselves are too many to be
/// asked for each line that is shown.
#[derive(Clone, Debug, Default, PartialEq)]
pub(super) struct Finest(Vec<(Unit, u8)>);

impl Finest {
    /// Takes one more reading in.
    pub(super) fn take(&mut self, staff: &Measured) {
        let own = staff.digits().decimals();
        match self.0.iter_mut().find(|(unit, _)| *unit == staff.unit()) {
            Some((_, most)) => *most = own.max(*most),
            None => self.0.push((staff.unit(), own)),
        }
    }

    fn in_unit(&self, unit: Unit) -> Option<u8> {
        self.0.iter().map(|(from, own)| converted(*own, *from, unit)).max()
    }
}

/// The decimals in `unit` that lose none of a value's digits.
fn decimals_in(measured: &Measured, unit: Unit) -> u8 {
    converted(measured.digits().decimals(), measured.unit(), unit)
}

fn converted(own: u8, from: Unit, to: Unit) -> u8 {
    match (from, to) {
        (from, to) if from == to => own,
        (Unit::Millimetre, Unit::Metre) => own + 3,
        // 0.1 mm is 0.0003 ft.
        (Unit::Millimetre, _) => own + 3,
        (Unit::Metre, _) => own,
        // 0.001 ft is 0.3 mm.
        (_, Unit::Metre) => own + 1,
        (_, _) => own,
    }
}

/// Booked means of several shots.
fn means(book: &Book) -> impl Iterator<Item = Length> {
    let several = |shots: &[Shot]| shots.len() > 1 && shots.iter().filter(|shot| shot.counts()).count() > 1;
    book.runs().iter().flat_map(|run| &run.setups).flat_map(move |setup| {
        let back = setup.reduced.back.filter(|_| several(&setup.back));
        let fore = setup.reduced.fore.filter(|_| several(&setup.fore));
        back.into_iter().chain(fore)
    })
}

/// Whether so many decimals show all of a length.
pub fn is_whole(length: Length, unit: Unit, decimals: u8) -> bool {
    Length::parse(&length.show(unit, decimals), unit) == Ok(length)
}
