//! A network as it is handed in: known marks and observed sections, by name, with exact heights. [`Network`] checks it.
//!
//! [`Network`]: super::Network

use super::refusal::{NetworkError, Quantity, SectionName};
use crate::book::reading::PointName;
use crate::units::Length;

/// Elevations and rises beyond this are refused: no mark on land is so high, and sums of what is left cannot overflow.
pub(super) const HEIGHT_MAX: Length = Length::from_mm(100_000_000);

/// A network as it is handed in, names and all.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Given {
    /// Marks whose elevation somebody else set. One that no section touches is kept, and not used.
    pub known: Vec<KnownMark>,
    /// The observed rises that are to be adjusted.
    pub sections: Vec<Section<PointName>>,
    /// Sections that a person took out: kept for the record, not adjusted.
    pub set_aside: Vec<Section<PointName>>,
    /// Two names of one mark, for as many as have two.
    pub same: Vec<[PointName; 2]>,
}

/// A mark with a known elevation.
#[derive(Clone, Debug, PartialEq)]
pub struct KnownMark {
    /// Its name.
    pub mark: PointName,
    /// Its elevation.
    pub elevation: Length,
    /// How firmly it is held.
    pub hold: Hold,
}

/// How firmly a known elevation is held.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Hold {
    /// It is not moved.
    Fixed,
    /// It is an observation with this standard deviation, and may be moved by its share.
    Weighted(Length),
}

/// An observed rise from one mark to another, with what is known of how good it is.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Section<M> {
    /// Where it starts.
    pub from: M,
    /// Where it ends.
    pub to: M,
    /// How much higher `to` was found than `from`.
    pub rise: Length,
    /// How far it was levelled.
    pub length: Option<Length>,
    /// In how many setups.
    pub setups: Option<u32>,
    /// The standard deviation of the rise, stated or estimated. It wins over any rule.
    pub deviation: Option<Length>,
}

impl<M> Section<M> {
    /// A rise of which nothing more is known.
    pub fn new(from: M, to: M, rise: Length) -> Self {
        Section { from, to, rise, length: None, setups: None, deviation: None }
    }

    /// The same observation between other marks.
    pub(super) fn with_ends<N>(&self, from: N, to: N) -> Section<N> {
        let &Section { rise, length, setups, deviation, .. } = self;
        Section { from, to, rise, length, setups, deviation }
    }
}

impl Section<PointName> {
    /// Refuses numbers that no section can have; `at` is its place in the list, for the message.
    pub(super) fn check(&self, at: usize) -> Result<(), NetworkError> {
        let name = || SectionName { number: at + 1, from: self.from.clone(), to: self.to.clone() };
        let positive = |length: Option<Length>| length.is_none_or(|length| length > Length::ZERO);
        let sound = [
            (positive(self.length), Quantity::Length),
            (self.setups != Some(0), Quantity::Setups),
            (positive(self.deviation), Quantity::Deviation),
        ];
        if let Some((_, quantity)) = sound.into_iter().find(|(sound, _)| !sound) {
            return Err(NetworkError::NotPositive { section: name(), quantity });
        }
        if self.rise.abs() > HEIGHT_MAX {
            return Err(NetworkError::TooSteep { section: name(), rise: self.rise, most: HEIGHT_MAX });
        }
        Ok(())
    }
}
