//! The parts of a network, and an approximate elevation for each mark: exact sums along the shortest ways from the datum.
//!
//! The adjustment solves for corrections to these. Elevations of a hundred metres and corrections of a millimetre differ
//! by five digits; solving for the small ones keeps those digits (1e-8 m were lost on a million marks otherwise).

use super::given::{Hold, Section};
use super::incidence::{Incidence, across};
use super::network::MarkId;
use super::refusal::{NetworkError, Several};
use crate::book::reading::PointName;
use crate::units::Length;

/// Marks that sections join to one another, and to nothing else.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Part {
    /// The known mark that the free adjustment holds: the first fixed one, or the first weighted one.
    pub datum: MarkId,
    /// How many marks it has.
    pub marks: usize,
}

/// No approximate elevation may be larger than this, so that no sum can overflow: the two largest allowed heights.
pub(super) const SUM_MAX: Length = Length::from_mm(200_000_000);

/// What a walk through a network finds.
pub(super) struct Reached {
    pub parts: Vec<Part>,
    /// The part of each mark.
    pub part_of: Vec<u32>,
    /// The approximate elevation of each mark.
    pub elevations: Vec<Length>,
}

/// Walks out from the known marks, nearest marks first.
pub(super) fn spread_from_known(
    known: &[(MarkId, Length, Hold)],
    sections: &[Section<MarkId>],
    incidence: &Incidence,
    names: &[PointName],
) -> Result<Reached, NetworkError> {
    let mut elevations: Vec<Option<Length>> = vec![None; names.len()];
    let mut parts: Vec<Part> = Vec::new();
    let mut part_of = vec![0; names.len()];
    let mut reached: Vec<u32> = Vec::with_capacity(names.len());
    for &(datum, elevation, _) in known {
        if elevations[datum.index()].is_some() {
            continue;
        }
        let first = reached.len();
        elevations[datum.index()] = Some(elevation);
        part_of[datum.index()] = parts.len() as u32;
        reached.push(datum.0);
        let mut next = first;
        while let Some(&here) = reached.get(next) {
            next += 1;
            let Some(from) = elevations[here as usize] else { unreachable!("every reached mark has its elevation") };
            for &section in incidence.at(here) {
                let section = &sections[section as usize];
                let there = across(section.ends(), here);
                if elevations[there as usize].is_some() {
                    continue;
                }
                let elevation = if section.from.0 == here { from + section.rise } else { from - section.rise };
                if elevation.abs() > SUM_MAX {
                    return Err(NetworkError::TooHigh { mark: names[there as usize].clone(), most: SUM_MAX });
                }
                elevations[there as usize] = Some(elevation);
                part_of[there as usize] = parts.len() as u32;
                reached.push(there);
            }
        }
        parts.push(Part { datum, marks: reached.len() - first });
    }
    match elevations.iter().copied().collect() {
        Some(elevations) => Ok(Reached { parts, part_of, elevations }),
        None => {
            let adrift = names.iter().zip(&elevations).filter(|(_, elevation)| elevation.is_none());
            Err(NetworkError::Disconnected {
                marks: Several::of(adrift.map(|(name, _)| name)),
                known: names[known[0].0.index()].clone(),
            })
        }
    }
}
