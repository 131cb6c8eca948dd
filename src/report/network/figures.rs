//! Numbers of a network in the unit that they are shown in: elevations and rises exactly, deviations as computed.

use schemars::JsonSchema;
use serde::Serialize;

use crate::book::wording::Wording;
use crate::report::document::tree::Figure;
use crate::units::{Length, Unit};

/// How numbers are shown.
#[derive(Clone, Copy, Debug)]
pub struct Figures {
    unit: Unit,
}

/// Units and decimals of what is shown.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, JsonSchema)]
pub struct Shown {
    /// Of elevations and rises.
    pub unit: Unit,
    /// Their decimals.
    pub decimals: u8,
    /// Of deviations, residuals and mistakes.
    pub size_unit: Unit,
    /// Their decimals.
    pub size_decimals: u8,
}

/// A deviation, a residual or a mistake.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct Size {
    /// In metres, as computed.
    pub m: f64,
    /// As shown.
    pub shown: String,
}

/// Decimals of elevations and rises: a tenth of a millimetre, or as near to it in feet as four decimals go.
const DECIMALS: u8 = 4;

impl Figures {
    /// In `unit`: metres or one of the feet.
    pub fn new(unit: Unit) -> Self {
        Figures { unit: if unit.is_foot() { unit } else { Unit::Metre } }
    }

    /// Units and decimals.
    pub fn shown(self) -> Shown {
        let (size_unit, size_decimals) = if self.unit.is_foot() { (self.unit, 5) } else { (Unit::Millimetre, 2) };
        Shown { unit: self.unit, decimals: DECIMALS, size_unit, size_decimals }
    }

    pub(crate) fn elevation(self, exact: Length) -> Figure {
        Figure { exact, shown: exact.show(self.unit, DECIMALS) }
    }

    pub(crate) fn rise(self, exact: Length) -> Figure {
        Figure { exact, shown: exact.show_signed(self.unit, DECIMALS) }
    }

    /// A size without a sign of its own.
    pub(crate) fn size(self, metres: f64) -> Size {
        let Shown { size_unit, size_decimals, .. } = self.shown();
        Size { m: metres, shown: length(metres).show(size_unit, size_decimals) }
    }

    pub(crate) fn signed_size(self, metres: f64) -> Size {
        let Shown { size_unit, size_decimals, .. } = self.shown();
        Size { m: metres, shown: length(metres).show_signed(size_unit, size_decimals) }
    }

    /// A size with its sign and unit, for a sentence.
    pub(crate) fn signed_size_words(self, metres: f64) -> String {
        format!("{} {}", self.signed_size(metres).shown, self.shown().size_unit)
    }

    /// The length of a section, for a column.
    pub(crate) fn distance(self, length: Length) -> String {
        length.show(self.unit, 0)
    }

    /// The same with its unit, for a sentence.
    pub(crate) fn distance_words(self, length: Length) -> String {
        Wording::new(self.unit).distance(length)
    }
}

/// Nothing in a network is beyond the range of lengths; what is, is shown as the longest.
fn length(metres: f64) -> Length {
    let longest = Length::from_tenth_nm(if metres < 0.0 { i64::MIN } else { i64::MAX });
    Length::from_f64_m(metres).unwrap_or(longest)
}
