//! Rounding for showing: once, in one place, ties to even, by the kind of the number.

use super::tree::{Figure, Shown};
use crate::book::Book;
use crate::book::decimals::{decimals, is_whole, reading_shown};
use crate::book::finding::Amount;
use crate::book::wording::Wording;
use crate::units::{Length, Measured, Unit};

/// How the report says that it rounds.
pub(super) const ROUNDING: &str = "each number once, for showing, ties to even; limits are compared unrounded";

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
        Figure { exact: staff.value(), shown: reading_shown(staff, self.unit) }
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

    /// A standard deviation or half an interval: a digit finer than what it belongs to is judged by.
    pub(super) fn deviation(self, length: Length) -> Figure {
        let (unit, decimals) = self.say.height_scale();
        let decimals = if unit == Unit::Millimetre { decimals + 1 } else { decimals };
        Figure { exact: length, shown: length.show(unit, decimals) }
    }

    /// What is added to a reading or an elevation, with its sign: as finely as that is shown.
    pub(super) fn correction(self, length: Length) -> Figure {
        let (unit, decimals) = self.say.height_scale();
        let fine = if unit == Unit::Millimetre { self.decimals.saturating_sub(3) } else { self.decimals };
        Figure { exact: length, shown: length.show_signed(unit, decimals.max(fine)) }
    }

    /// A part of a correction or of an error, with its sign: a digit finer than its sum is shown.
    pub(super) fn part(self, length: Length) -> Figure {
        let (unit, decimals) = self.say.height_scale();
        Figure { exact: length, shown: length.show_signed(unit, decimals + 1) }
    }

    /// The size of one, without a sign.
    pub(super) fn part_size(self, length: Length) -> Figure {
        let (unit, decimals) = self.say.height_scale();
        Figure { exact: length, shown: length.show(unit, decimals + 1) }
    }

    /// A compared quantity with its unit.
    pub(super) fn amount(self, amount: Amount) -> String {
        self.say.amount(amount)
    }

    /// Whether a level is shown with all its digits.
    pub(super) fn shows_exactly(self, length: Length) -> bool {
        is_whole(length, self.unit, self.decimals)
    }
}

/// Whether any correction is on.
pub(super) fn has_corrections(book: &Book) -> bool {
    book.settings().corrections != Default::default() || book.amendments().collimations().any(|(_, c)| c.is_some())
}
