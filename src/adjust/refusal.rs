//! Why a network cannot be adjusted, in words that name the marks.

use std::fmt;

use crate::book::reading::PointName;
use crate::units::{Length, Unit};

/// Why a network cannot be adjusted.
#[derive(Clone, Debug, PartialEq)]
pub enum NetworkError {
    /// Nothing was observed.
    NoSections,
    /// More sections than can be counted.
    TooMany {
        /// How many were handed in.
        found: usize,
        /// How many there may be.
        most: usize,
    },
    /// No mark of the sections has a known elevation.
    NoKnown {
        /// The marks of the sections.
        marks: Several,
        /// A known mark that no section touches, if there is one: perhaps its name is spelt differently.
        unused: Option<PointName>,
    },
    /// No way leads from these marks to a known one.
    Disconnected {
        /// The marks that hang in the air.
        marks: Several,
        /// A known mark of the rest.
        known: PointName,
    },
    /// A run to be tried starts or ends at a mark that no intended run touches.
    UnknownMark {
        /// The mark.
        mark: PointName,
    },
    /// One mark, under one name or two, has two known elevations.
    TwoElevations {
        /// The name in either entry.
        names: [PointName; 2],
        /// The elevation in either entry.
        elevations: [Length; 2],
    },
    /// One mark is held in two ways.
    TwoHolds {
        /// The name in either entry.
        names: [PointName; 2],
    },
    /// Two names that differ only by letter case or separators.
    LookAlike {
        /// Both.
        names: [PointName; 2],
    },
    /// A length, number of setups or deviation that is not above zero.
    NotPositive {
        /// Of which section.
        section: SectionName,
        /// Which of the three.
        quantity: Quantity,
    },
    /// A known elevation whose standard deviation is not above zero.
    WeightNotPositive {
        /// Of which mark.
        mark: PointName,
    },
    /// A rise beyond anything on land.
    TooSteep {
        /// Of which section.
        section: SectionName,
        /// The rise.
        rise: Length,
        /// The largest allowed.
        most: Length,
    },
    /// An elevation beyond anything on land.
    TooHigh {
        /// Of which mark.
        mark: PointName,
        /// The largest allowed.
        most: Length,
    },
    /// The rule of weights needs something that the section does not say.
    Unweighted {
        /// Which section.
        section: SectionName,
        /// What it would need.
        quantity: Quantity,
    },
    /// The rule of weights itself is no standard deviation that a level could have.
    BadRule {
        /// What was found, mm.
        found: f64,
    },
    /// The standard deviations lie so far apart that the equations cannot be solved in 64-bit floats.
    TooUneven {
        /// Those with the smallest and with the largest.
        observations: [ObservationName; 2],
    },
}

/// What a section can say of how good it is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Quantity {
    /// How far it was levelled.
    Length,
    /// In how many setups.
    Setups,
    /// The standard deviation of its rise.
    Deviation,
}

/// A section as a message names it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct SectionName {
    /// Counted from 1.
    pub number: usize,
    /// Where it starts.
    pub from: PointName,
    /// Where it ends.
    pub to: PointName,
}

/// An observation as a message names it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum ObservationName {
    /// An observed rise.
    Section(SectionName),
    /// A known elevation with a standard deviation.
    Known(PointName),
}

/// The first few of several marks, and how many there are.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Several {
    /// The first of them, at most [`NAMED_MAX`].
    pub first: Vec<PointName>,
    /// How many there are in all.
    pub count: usize,
}

/// So many marks a message names before it counts the rest: what fits two lines of a terminal.
pub const NAMED_MAX: usize = 8;

impl Several {
    pub(super) fn of<'a>(names: impl IntoIterator<Item = &'a PointName>) -> Self {
        let mut several = Several { first: Vec::new(), count: 0 };
        for name in names {
            if several.count < NAMED_MAX {
                several.first.push(name.clone());
            }
            several.count += 1;
        }
        several
    }
}

impl fmt::Display for Several {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let noun = if self.count == 1 { "mark" } else { "marks" };
        write!(f, "{} {noun} (", self.count)?;
        for (at, name) in self.first.iter().enumerate() {
            write!(f, "{}{name}", if at == 0 { "" } else { ", " })?;
        }
        let rest = self.count - self.first.len();
        if rest > 0 { write!(f, " and {rest} more)") } else { write!(f, ")") }
    }
}

impl fmt::Display for SectionName {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "section {} ({} to {})", self.number, self.from, self.to)
    }
}

impl fmt::Display for ObservationName {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            ObservationName::Section(section) => section.fmt(f),
            ObservationName::Known(mark) => write!(f, "known mark {mark}"),
        }
    }
}

impl fmt::Display for Quantity {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Quantity::Length => "length",
            Quantity::Setups => "number of setups",
            Quantity::Deviation => "standard deviation",
        })
    }
}

impl fmt::Display for NetworkError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            NetworkError::NoSections => {
                write!(f, "the network holds no section, at least one observed rise was wanted")
            }
            NetworkError::TooMany { found, most } => {
                write!(f, "the network holds {found} sections, at most {most} were wanted")
            }
            NetworkError::NoKnown { marks, unused: None } => {
                write!(
                    f,
                    "{marks} and no known elevation among them: give one of them an elevation, assumed if need be"
                )
            }
            NetworkError::NoKnown { marks, unused: Some(unused) } => write!(
                f,
                "{marks} and no known elevation among them; {unused} is known, but no section touches it: is it spelt as \
                 in the sections"
            ),
            NetworkError::Disconnected { marks, known } => write!(
                f,
                "no section joins {marks} to {known} or to any other known mark: level a section to them, or give one of \
                 them an elevation"
            ),
            NetworkError::UnknownMark { mark } => {
                write!(f, "no intended run touches {mark}, an extra run between two marks of the plan was wanted")
            }
            NetworkError::TwoElevations { names: [one, two], elevations } => {
                let [first, second] = elevations.map(shown);
                if one == two {
                    write!(f, "{one} is known twice, at {first} m and at {second} m: keep one of them")
                } else {
                    write!(
                        f,
                        "{one} and {two} are one mark, known at {first} m and at {second} m: keep one of the elevations, \
                         or do not call them the same"
                    )
                }
            }
            NetworkError::TwoHolds { names: [one, two] } => write!(
                f,
                "{one} is held in two ways{}: keep one entry, fixed or with one standard deviation",
                if one == two { String::new() } else { format!(", once as {two}") }
            ),
            NetworkError::LookAlike { names: [one, two] } => write!(
                f,
                "{one} and {two} differ only by letter case or separators, and may be one mark under two names: write one \
                 name for one mark, or clearly different names for two"
            ),
            NetworkError::NotPositive { section, quantity } => {
                write!(f, "{section} has a {quantity} of zero or less, one above zero was wanted")
            }
            NetworkError::WeightNotPositive { mark } => write!(
                f,
                "known mark {mark} has a standard deviation of zero or less, one above zero was wanted, or none to hold \
                 it fixed"
            ),
            NetworkError::TooSteep { section, rise, most } => {
                write!(f, "{section} rises by {} m, at most {} m were wanted", shown(*rise), shown(*most))
            }
            NetworkError::TooHigh { mark, most } => {
                write!(f, "{mark} would lie beyond {} m from zero: look for a slipped decimal point", shown(*most))
            }
            NetworkError::Unweighted { section, quantity: Quantity::Deviation } => {
                write!(f, "{section} states no standard deviation: give it one, or choose a rule by length or setups")
            }
            NetworkError::Unweighted { section, quantity } => write!(
                f,
                "{section} has no {quantity}, which the rule of weights needs: give it one, or its standard deviation"
            ),
            NetworkError::BadRule { found } => {
                write!(
                    f,
                    "the rule of weights has a standard deviation of {found} mm, one between a nanometre and a kilometre was wanted"
                )
            }
            NetworkError::TooUneven { observations: [smallest, largest] } => write!(
                f,
                "the standard deviations of {smallest} and {largest} lie too far apart to be adjusted together: look for \
                 one in the wrong unit"
            ),
        }
    }
}

impl std::error::Error for NetworkError {}

/// Metres with as many decimals as it takes, and no more.
fn shown(length: Length) -> String {
    let text = length.show(Unit::Metre, 10);
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
}
