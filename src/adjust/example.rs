//! Small networks for the tests of these modules, written as short as a sketch.

use super::given::{Given, Hold, KnownMark, Section};
use super::network::Network;
use super::significance::{Levels, Sigma};
use super::weights::WeightRule;
use super::{Effects, NetworkError, Options};
use crate::book::reading::PointName;
use crate::units::{Length, Unit};

/// One millimetre a root kilometre, a-priori sigma.
pub(super) const OPTIONS: Options = Options {
    weights: WeightRule::Length { mm_per_sqrt_km: 1.0 },
    sigma: Sigma::APriori,
    levels: Levels::USUAL,
    effects: Effects::OnEveryMark,
};

pub(super) fn name(text: &str) -> PointName {
    PointName::new(text).unwrap()
}

pub(super) fn metres(text: &str) -> Length {
    Length::parse(text, Unit::Metre).unwrap()
}

/// `from to rise` with a length of one kilometre.
pub(super) fn section(text: &str) -> Section<PointName> {
    let words: Vec<&str> = text.split(' ').collect();
    let [from, to, rise] = words[..] else { panic!("{text:?}") };
    Section { length: Some(metres("1000")), ..Section::new(name(from), name(to), metres(rise)) }
}

/// `mark elevation`, fixed.
pub(super) fn known(text: &str) -> KnownMark {
    let (mark, elevation) = text.split_once(' ').unwrap();
    KnownMark { mark: name(mark), elevation: metres(elevation), hold: Hold::Fixed }
}

/// Both, as handed in.
pub(super) fn given(marks: &[&str], sections: &[&str]) -> Given {
    Given {
        known: marks.iter().map(|text| known(text)).collect(),
        sections: sections.iter().map(|text| section(text)).collect(),
        ..Given::default()
    }
}

pub(super) fn network(marks: &[&str], sections: &[&str]) -> Result<Network, NetworkError> {
    Network::new(given(marks, sections))
}

/// Everything that can happen in one network: two known marks, a long line between them, loops that hang on one mark,
/// parallel sections, a section from a mark to itself, a spur of two, a loop behind a spur.
pub(super) fn tangle() -> Network {
    let sections = [
        "A B 1.001",
        "B C 1.002",
        "C D 0.997",
        "D E 2.001", // a line from A ...
        "E F -1.001",
        "F A -4.003", // ... and back
        "C X 3.001",
        "X Y 1.003",
        "Y E -0.999", // a second way
        "C X 3.004",  // a parallel section
        "Y Y 0.002",  // to itself
        "D P 0.5",
        "P Q 0.25", // a spur
        "F R 1.0",
        "R S 1.0",
        "S T 1.001",
        "T R -2.003", // a loop behind a spur
        "E U 1.0",
        "U V 1.0",
        "V E -1.998", // a loop on one mark
        "X K 1.005",
    ];
    let mut given = given(&["A 100", "K 106"], &sections);
    given.known[1].hold = Hold::Weighted(metres("0.0015"));
    for (section, kilometres) in
        given.sections.iter_mut().zip([3, 1, 4, 1, 5, 9, 2, 6, 5, 3, 5, 8, 9, 7, 9, 3, 2, 3, 8, 4, 6])
    {
        section.length = Some(Length::from_mm(kilometres * 1_000_000));
    }
    Network::new(given).unwrap()
}
