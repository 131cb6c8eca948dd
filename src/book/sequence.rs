//! In which order the staffs are sighted at a setup, in the trade's letters.

use std::fmt;
use std::str::FromStr;

use serde::{Deserialize, Deserializer, Serialize, Serializer};

use super::reading::Role;

/// The most shots on one staff before the next: beyond this a person would have lost count.
pub const SHOTS_MAX: u8 = 20;

/// An observing sequence: `BF`, `BBFF` or `BFFB`, perhaps alternating (`aBF`: even setups begin with the foresight),
/// perhaps with several shots a sight (`BFx3`).
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Sequence {
    /// The order of the sights.
    pub order: Order,
    /// Even setups begin with the foresight.
    pub alternating: bool,
    /// Shots on each staff before the next is sighted; at least 1.
    pub shots: u8,
}

/// The order of the sights at a setup.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Order {
    /// Backsight, foresight.
    Bf,
    /// Two backsights, two foresights.
    Bbff,
    /// Backsight, two foresights, backsight.
    Bffb,
}

impl Sequence {
    /// The sequence that crews use when nobody says otherwise.
    pub const BF: Sequence = Sequence { order: Order::Bf, alternating: false, shots: 1 };

    /// How many readings a setup takes.
    pub fn readings(self) -> usize {
        self.order.sights().len() * usize::from(self.shots)
    }

    /// The roles of the sights of setup `setup` (from 1), in order; each takes [`Sequence::shots`] readings.
    pub fn sights(self, setup: u32) -> impl Iterator<Item = Role> {
        let swapped = self.alternating && setup.is_multiple_of(2);
        self.order.sights().iter().map(move |role| match (role, swapped) {
            (Role::Back, true) => Role::Fore,
            (Role::Fore, true) => Role::Back,
            (role, _) => *role,
        })
    }

    /// The roles of the readings of setup `setup` (from 1), in order.
    pub fn roles(self, setup: u32) -> impl Iterator<Item = Role> {
        self.sights(setup).flat_map(move |role| std::iter::repeat_n(role, self.shots.into()))
    }

    /// The role of the first reading of setup `setup` (from 1).
    pub fn first(self, setup: u32) -> Role {
        self.sights(setup).next().expect("a sequence has a first place")
    }

    /// How many readings of each role a setup takes.
    pub fn wanted(self) -> usize {
        self.readings() / 2
    }

    /// Whether a setup gives two height differences that can be compared.
    pub fn two_differences(self) -> bool {
        self.order != Order::Bf
    }

    /// Whether it does at least what another asks for.
    pub fn meets(self, asked: Sequence) -> bool {
        self.order == asked.order && self.shots >= asked.shots && (self.alternating || !asked.alternating)
    }
}

impl Order {
    fn sights(self) -> &'static [Role] {
        use Role::{Back, Fore};
        match self {
            Order::Bf => &[Back, Fore],
            Order::Bbff => &[Back, Back, Fore, Fore],
            Order::Bffb => &[Back, Fore, Fore, Back],
        }
    }
}

impl fmt::Display for Sequence {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let order = match self.order {
            Order::Bf => "BF",
            Order::Bbff => "BBFF",
            Order::Bffb => "BFFB",
        };
        write!(f, "{}{order}", if self.alternating { "a" } else { "" })?;
        if self.shots > 1 { write!(f, "x{}", self.shots) } else { Ok(()) }
    }
}

impl FromStr for Sequence {
    type Err = SequenceError;

    fn from_str(text: &str) -> Result<Self, SequenceError> {
        let refused = || SequenceError { found: text.to_owned() };
        let (alternating, rest) = match text.strip_prefix('a') {
            Some(rest) => (true, rest),
            None => (false, text),
        };
        let (order, shots) = match rest.split_once('x') {
            Some((order, shots)) => (order, shots.parse().map_err(|_| refused())?),
            None => (rest, 1),
        };
        let order = match order {
            "BF" => Order::Bf,
            "BBFF" => Order::Bbff,
            "BFFB" => Order::Bffb,
            _ => return Err(refused()),
        };
        if (1..=SHOTS_MAX).contains(&shots) { Ok(Sequence { order, alternating, shots }) } else { Err(refused()) }
    }
}

impl Serialize for Sequence {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.collect_str(self)
    }
}

impl<'de> Deserialize<'de> for Sequence {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        let text = std::borrow::Cow::<'de, str>::deserialize(deserializer)?;
        text.parse().map_err(serde::de::Error::custom)
    }
}

/// A text that is no observing sequence.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct SequenceError {
    /// What was found.
    pub found: String,
}

impl fmt::Display for SequenceError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(
            f,
            "unknown observing sequence {:?}, one of BF, BBFF, BFFB was wanted, with a before it to alternate (aBF) and \
             x2 to x{SHOTS_MAX} behind it for several shots a sight (BFx3)",
            self.found
        )
    }
}

impl std::error::Error for SequenceError {}

#[cfg(test)]
mod tests {
    use super::*;

    fn letters(text: &str, setup: u32) -> String {
        let sequence: Sequence = text.parse().unwrap();
        sequence.roles(setup).map(|role| if role == Role::Back { 'B' } else { 'F' }).collect()
    }

    #[test]
    fn even_setups_begin_with_the_foresight_when_alternating() {
        for (text, odd, even) in [
            ("BF", "BF", "BF"),
            ("aBF", "BF", "FB"),
            ("BBFF", "BBFF", "BBFF"),
            ("aBFFB", "BFFB", "FBBF"),
            ("aBBFF", "BBFF", "FFBB"),
            ("BFx3", "BBBFFF", "BBBFFF"),
        ] {
            assert_eq!((letters(text, 1).as_str(), letters(text, 2).as_str()), (odd, even), "{text}");
            assert_eq!(text.parse::<Sequence>().unwrap().to_string(), text);
        }
    }

    #[test]
    fn more_shots_and_alternating_do_what_is_asked_and_another_order_does_not() {
        let meets = |text: &str, asked: &str| text.parse::<Sequence>().unwrap().meets(asked.parse().unwrap());
        assert!(meets("BFFB", "BFFB") && meets("aBFFB", "BFFB") && meets("BFFBx2", "BFFB"));
        assert!(!meets("BF", "BFFB") && !meets("BBFF", "BFFB") && !meets("BFFB", "aBFFB") && !meets("BF", "BFx2"));
    }

    #[test]
    fn refuses_what_is_no_sequence() {
        for text in ["", "FB", "bf", "BFx0", "BFx21", "BFx", "aa", "BFBF"] {
            assert!(text.parse::<Sequence>().is_err(), "{text:?}");
        }
    }
}
