//! Numbers in the job's unit, for sentences: one place for how a quantity is said.

use super::finding::Amount;
use crate::units::{Length, Unit};

/// How quantities are said in a job.
#[derive(Clone, Copy, Debug)]
pub struct Wording {
    unit: Unit,
}

impl Wording {
    /// For a job shown in `unit`.
    pub fn new(unit: Unit) -> Self {
        Wording { unit }
    }

    /// A sight length or a difference of them: to a centimetre, or a tenth of a foot.
    pub fn sight(self, length: Length) -> String {
        format!("{} {}", self.bare_sight(length), self.unit)
    }

    /// As [`Wording::sight`] without the unit, for a column that names it.
    pub fn bare_sight(self, length: Length) -> String {
        let (unit, decimals) = self.sight_scale();
        length.show(unit, decimals)
    }

    /// The unit and decimals of sight lengths and their differences.
    pub fn sight_scale(self) -> (Unit, u8) {
        (self.unit, if self.unit.is_foot() { 1 } else { 2 })
    }

    /// The unit and decimals of small heights, corrections and misclosures.
    pub fn height_scale(self) -> (Unit, u8) {
        if self.unit.is_foot() { (self.unit, 4) } else { (Unit::Millimetre, 1) }
    }

    /// A difference of sight lengths, with its sign.
    pub fn signed_sight(self, length: Length) -> String {
        let mut out = String::new();
        self.push_signed_sight(&mut out, length);
        out
    }

    /// As [`Wording::sight`], at the end of a text.
    pub fn push_sight(self, out: &mut String, length: Length) {
        let (unit, decimals) = self.sight_scale();
        length.push(out, unit, decimals);
        out.push(' ');
        out.push_str(unit.symbol());
    }

    /// As [`Wording::signed_sight`], at the end of a text.
    pub fn push_signed_sight(self, out: &mut String, length: Length) {
        let (unit, decimals) = self.sight_scale();
        length.push_signed(out, unit, decimals);
        out.push(' ');
        out.push_str(unit.symbol());
    }

    /// A small height or a misclosure without sign: in tenths of a millimetre, or ten-thousandths of a foot.
    pub fn height(self, length: Length) -> String {
        let (unit, decimals) = self.height_scale();
        format!("{} {unit}", length.show(unit, decimals))
    }

    /// As [`Wording::height`], with its sign.
    pub fn signed_height(self, length: Length) -> String {
        let (unit, decimals) = self.height_scale();
        format!("{} {unit}", length.show_signed(unit, decimals))
    }

    /// A staff reading or an elevation, with so many decimals.
    pub fn elevation(self, length: Length, decimals: u8) -> String {
        format!("{} {}", length.show(self.unit, decimals), self.unit)
    }

    /// A length of the whole run.
    pub fn distance(self, length: Length) -> String {
        format!("{} {}", length.show(self.unit, 0), self.unit)
    }

    /// A compared quantity.
    pub fn amount(self, amount: Amount) -> String {
        match amount {
            Amount::Sight(length) => self.sight(length),
            Amount::Height(length) => self.height(length),
            Amount::Count(count) => count.to_string(),
        }
    }

    /// A value with its limit and its share of it: `-0.8 mm of 3.1 mm (26 %)`.
    pub fn share(self, value: Length, limit: Length) -> String {
        let percent = if limit == Length::ZERO { 0.0 } else { 100.0 * value.abs().to_f64_m() / limit.to_f64_m() };
        format!("{} of {} ({percent:.0} %)", self.signed_height(value), self.height(limit))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn quantities_carry_their_unit() {
        let (metres, feet) = (Wording::new(Unit::Metre), Wording::new(Unit::Foot));
        assert_eq!(metres.sight(Length::from_mm(4_218)), "4.22 m");
        assert_eq!(feet.sight(Length::from_mm(4_218)), "13.8 ft");
        assert_eq!(metres.share(Length::from_um(-800), Length::from_um(3_100)), "-0.8 mm of 3.1 mm (26 %)");
        assert_eq!(feet.height(Length::from_um(3_048)), "0.0100 ft");
    }
}
