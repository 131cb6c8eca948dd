//! Rounding for showing: once, in one place, ties to even, by the kind of the number.

use super::tree::{Figure, Shown};
use crate::book::Book;
use crate::book::finding::Amount;
use crate::book::wording::Wording;
use crate::units::{Length, Measured, Unit};

/// How the report says that it rounds.
pub(super) const ROUNDING: &str = "each number once, for showing, ties to even; limits are compared unrounded";

/// The most decimals that are shown: a micrometre, or a millionth of a foot.
const DECIMALS_MAX: u8 = 6;

/// The units and decimals that a book is shown in.
#[derive(Clone, Copy, Debug)]
pub(super) struct Scales {
    /// Of readings and elevations.
    pub(super) unit: Unit,
    pub(super) decimals: u8,
    /// Of sight lengths and of small heights.
    pub(super) say: Wording,
}

impl Scales {
    /// For a book shown in `unit`, or in its own. Elevations are never shown in millimetres.
    pub(super) fn of(book: &Book, unit: Option<Unit>) -> Self {
        let unit = match unit.unwrap_or(book.settings().unit) {
            Unit::Millimetre => Unit::Metre,
            unit => unit,
        };
        Scales { unit, decimals: decimals(book, unit), say: Wording::new(unit) }
    }

    /// As a field book says that it is shown.
    pub(super) fn from(shown: &Shown) -> Self {
        Scales { unit: shown.unit, decimals: shown.decimals, say: Wording::new(shown.unit) }
    }

    /// A booked mean, a height of instrument or an elevation.
    pub(super) fn level(self, length: Length) -> Figure {
        Figure { exact: length, shown: length.show(self.unit, self.decimals) }
    }

    /// A staff reading as it was read, with as many digits.
    pub(super) fn reading(self, staff: &Measured) -> Figure {
        let decimals = decimals_in(staff, self.unit).min(DECIMALS_MAX);
        Figure { exact: staff.value(), shown: staff.value().show(self.unit, decimals) }
    }

    /// A height with every digit that a length can have.
    pub(super) fn whole(self, length: Length) -> Figure {
        Figure { exact: length, shown: length.show(self.unit, 10) }
    }

    /// A sight length or a distance.
    pub(super) fn sight(self, length: Length) -> Figure {
        let (unit, decimals) = self.say.sight_scale();
        Figure { exact: length, shown: length.show(unit, decimals) }
    }

    /// A limit or an allowance of heights.
    pub(super) fn height(self, length: Length) -> Figure {
        let (unit, decimals) = self.say.height_scale();
        Figure { exact: length, shown: length.show(unit, decimals) }
    }

    /// A misclosure, with its sign.
    pub(super) fn misclosure(self, length: Length) -> Figure {
        let (unit, decimals) = self.say.height_scale();
        Figure { exact: length, shown: length.show_signed(unit, decimals) }
    }

    /// What is added to a reading or an elevation, with its sign: as finely as that is shown.
    pub(super) fn correction(self, length: Length) -> Figure {
        let (unit, decimals) = self.say.height_scale();
        let fine = if unit == Unit::Millimetre { self.decimals.saturating_sub(3) } else { self.decimals };
        Figure { exact: length, shown: length.show_signed(unit, decimals.max(fine)) }
    }

    /// A compared quantity with its unit.
    pub(super) fn amount(self, amount: Amount) -> String {
        self.say.amount(amount)
    }

    /// Whether a level is shown with all its digits.
    pub(super) fn shows_exactly(self, length: Length) -> bool {
        exact_in(length, self.unit, self.decimals)
    }
}

fn exact_in(length: Length, unit: Unit, decimals: u8) -> bool {
    Length::parse(&length.show(unit, decimals), unit) == Ok(length)
}

/// As many decimals as the readings and the given elevations came with, and one more if a mean of shots needs it.
fn decimals(book: &Book, unit: Unit) -> u8 {
    let readings = book.entries().iter().map(|entry| &entry.reading.staff);
    let known = book.known().values().map(|known| &known.elevation);
    let given = readings.chain(known).map(|measured| decimals_in(measured, unit)).max().unwrap_or(0);
    // Nobody levels more coarsely than to a millimetre, or a hundredth of a foot.
    let given = given.max(if unit.is_foot() { 2 } else { 3 });
    let finer = !has_corrections(book) && means(book).any(|mean| !exact_in(mean, unit, given));
    (given + u8::from(finer)).min(DECIMALS_MAX)
}

/// Booked means of several shots.
fn means(book: &Book) -> impl Iterator<Item = Length> {
    let setups = book.runs().iter().flat_map(|run| &run.setups);
    setups.flat_map(|setup| {
        let several = |shots: &[crate::book::run::Shot]| shots.iter().filter(|shot| shot.counts()).count() > 1;
        let back = setup.reduced.back.filter(|_| several(&setup.back));
        let fore = setup.reduced.fore.filter(|_| several(&setup.fore));
        back.into_iter().chain(fore)
    })
}

/// Whether any correction is on.
pub(super) fn has_corrections(book: &Book) -> bool {
    book.settings().corrections != Default::default() || book.amendments().collimations().any(|(_, c)| c.is_some())
}

/// The decimals in `unit` that lose none of a value's digits.
fn decimals_in(measured: &Measured, unit: Unit) -> u8 {
    let own = measured.digits().decimals();
    match (measured.unit(), unit) {
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
