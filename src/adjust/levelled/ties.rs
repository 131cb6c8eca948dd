//! Which of the lines are tied to a known point, and which known elevations hold them.

use std::collections::{BTreeMap, BTreeSet};

use super::{Found, Levelled};
use crate::adjust::given::{Given, Hold, KnownMark};
use crate::book::Book;
use crate::book::reading::PointName;

/// Something that stands in the job and not in the network.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum LeftOut {
    /// No way leads from these marks to a known point.
    Untied {
        /// The marks, in the order of their names.
        marks: Vec<PointName>,
    },
    /// A setup with both staffs on one point says nothing of heights.
    OnItself {
        /// The run, counted from 1.
        run: u32,
        /// The setup within it.
        setup: u32,
        /// The point.
        point: PointName,
    },
    /// An elevation that was made up, where one that somebody set rules.
    Assumed {
        /// The point.
        point: PointName,
    },
}

/// The network of what is tied to known points, each held at its elevation.
pub(super) fn tied(book: &Book, found: Found, turning: BTreeSet<PointName>) -> Levelled {
    let mut parts = Parts::default();
    for section in &found.sections {
        parts.join(&section.from, &section.to);
    }
    let part_of = |point: &PointName| parts.find(point);
    let given: BTreeSet<usize> =
        book.known().values().filter(|known| !known.assumed).filter_map(|known| part_of(&known.name)).collect();
    let mut left_out = found.left_out;
    let mut known = Vec::new();
    for point in book.known().values() {
        if point.assumed && part_of(&point.name).is_some_and(|part| given.contains(&part)) {
            left_out.push(LeftOut::Assumed { point: point.name.clone() });
            continue;
        }
        known.push(KnownMark { mark: point.name.clone(), elevation: point.elevation.value(), hold: Hold::Fixed });
    }
    let held: BTreeSet<usize> = known.iter().filter_map(|known| part_of(&known.mark)).collect();
    let mut untied: BTreeMap<usize, Vec<PointName>> = BTreeMap::new();
    for (point, _) in parts.marks.iter() {
        if let Some(part) = part_of(point).filter(|part| !held.contains(part)) {
            untied.entry(part).or_default().push(point.clone());
        }
    }
    left_out.extend(untied.into_values().map(|marks| LeftOut::Untied { marks }));
    let (sections, origins) = (found.sections.into_iter().zip(found.origins))
        .filter(|(section, _)| part_of(&section.from).is_some_and(|part| held.contains(&part)))
        .unzip();
    Levelled { given: Given { known, sections, ..Given::default() }, origins, turning, left_out }
}

/// Marks that lines join, as a forest: each mark with another of its part, or with itself.
#[derive(Default)]
struct Parts {
    marks: BTreeMap<PointName, usize>,
    above: Vec<usize>,
}

impl Parts {
    fn join(&mut self, one: &PointName, other: &PointName) {
        let (one, other) = (self.enter(one), self.enter(other));
        let (one, other) = (self.root(one), self.root(other));
        self.above[one.max(other)] = one.min(other);
    }

    fn enter(&mut self, point: &PointName) -> usize {
        let next = self.above.len();
        let number = *self.marks.entry(point.clone()).or_insert(next);
        if number == next {
            self.above.push(next);
        }
        number
    }

    fn root(&mut self, mut mark: usize) -> usize {
        while self.above[mark] != mark {
            // Each mark is moved to the one above the next, so that long chains do not stay long.
            self.above[mark] = self.above[self.above[mark]];
            mark = self.above[mark];
        }
        mark
    }

    /// The part of a mark, by its first mark; none for a mark that no line touches.
    fn find(&self, point: &PointName) -> Option<usize> {
        let mut mark = *self.marks.get(point)?;
        while self.above[mark] != mark {
            mark = self.above[mark];
        }
        Some(mark)
    }
}
