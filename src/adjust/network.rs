//! A network of levelled sections between named marks, checked once: what a [`Network`] holds can be adjusted.
//!
//! Every mark is joined to a known point by some way, no mark has two elevations, and each has an approximate elevation,
//! summed exactly along a spanning tree. No float here: the equations start from exact differences.
//!
//! Not here: weights (`weights`), which need a rule; reading and writing (`csv`).

use std::collections::HashMap;

use super::approximate::{Part, Reached, spread_from_known};
use super::given::{Given, HEIGHT_MAX, Hold, KnownMark, Section};
use super::incidence::Incidence;
use super::names::{Aliases, look_alikes};
use super::refusal::{NetworkError, SectionName, Several};
use super::snoop::Suspect;
use crate::book::reading::PointName;
use crate::units::Length;

/// So many sections at most, so that both ends of each can be counted in 32 bits.
const SECTIONS_MAX: usize = 1 << 30;

/// A mark by its number, counted in the order in which the sections name them.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct MarkId(pub(super) u32);

/// A section by its number, counted as handed in.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct SectionId(pub(super) u32);

impl MarkId {
    /// Its place in every list of marks.
    pub fn index(self) -> usize {
        self.0 as usize
    }
}

impl SectionId {
    /// Its place in every list of sections.
    pub fn index(self) -> usize {
        self.0 as usize
    }

    /// The section in that place of the list that was handed in.
    pub fn at(index: usize) -> Self {
        assert!(index < SECTIONS_MAX, "no network has a section {index}");
        SectionId(index as u32)
    }
}

/// A checked network.
#[derive(Clone, Debug, PartialEq)]
pub struct Network {
    pub(super) names: Vec<PointName>,
    pub(super) sections: Vec<Section<MarkId>>,
    /// Known marks that some section touches, each once, fixed ones first.
    pub(super) known: Vec<(MarkId, Length, Hold)>,
    pub(super) parts: Vec<Part>,
    part_of: Vec<u32>,
    /// Elevation by the shortest way from the datum of the mark's part: exact, but with the mistakes of that way.
    pub(super) approximate: Vec<Length>,
    pub(super) incidence: Incidence,
    unused: Vec<KnownMark>,
    set_aside: Vec<Section<PointName>>,
    same: Vec<[PointName; 2]>,
}

impl Network {
    /// Checks a network.
    ///
    /// # Errors
    /// Everything that leaves a height undetermined or contradicts itself; each [`NetworkError`] names the marks.
    pub fn new(given: Given) -> Result<Self, NetworkError> {
        for (at, section) in given.sections.iter().enumerate() {
            section.check(at)?;
        }
        if given.sections.is_empty() {
            return Err(NetworkError::NoSections);
        }
        if given.sections.len() > SECTIONS_MAX {
            return Err(NetworkError::TooMany { found: given.sections.len(), most: SECTIONS_MAX });
        }
        let aliases = Aliases::new(&given.same);
        let merged = merge_known(&given.known, &aliases)?;
        let (names, sections) = number_marks(&given.sections, &aliases);
        let all_names: Vec<&PointName> = names.iter().chain(merged.iter().map(|known| &known.mark)).collect();
        if let Some([first, second]) = look_alikes(&all_names) {
            return Err(NetworkError::LookAlike { names: [first.clone(), second.clone()] });
        }

        let numbers: HashMap<&PointName, MarkId> =
            (0u32..).map(MarkId).zip(&names).map(|(id, name)| (name, id)).collect();
        let (mut known, mut unused) = (Vec::new(), Vec::new());
        for entry in merged {
            match numbers.get(&entry.mark) {
                Some(&id) => known.push((id, entry.elevation, entry.hold)),
                None => unused.push(entry),
            }
        }
        known.sort_by_key(|(_, _, hold)| *hold != Hold::Fixed);
        if known.is_empty() {
            return Err(NetworkError::NoKnown {
                marks: Several::of(&names),
                unused: unused.into_iter().next().map(|known| known.mark),
            });
        }
        let incidence = Incidence::new(names.len(), sections.iter().map(Section::ends));
        let Reached { parts, part_of, elevations: approximate } =
            spread_from_known(&known, &sections, &incidence, &names)?;
        let Given { set_aside, same, .. } = given;
        Ok(Network { names, sections, known, parts, part_of, approximate, incidence, unused, set_aside, same })
    }

    /// How many marks there are.
    pub fn mark_count(&self) -> usize {
        self.names.len()
    }

    /// The names of all marks, in the order of their numbers.
    pub fn names(&self) -> &[PointName] {
        &self.names
    }

    /// The mark of that name, or of which it is another name; by a walk through all of them.
    pub fn find(&self, name: &PointName) -> Option<MarkId> {
        let name = Aliases::new(&self.same).standing_for(name);
        self.names.iter().position(|held| *held == name).map(|at| MarkId(at as u32))
    }

    /// The name of a mark of this network.
    pub fn name(&self, mark: MarkId) -> &PointName {
        &self.names[mark.index()]
    }

    /// All sections, in the order in which they were handed in.
    pub fn sections(&self) -> &[Section<MarkId>] {
        &self.sections
    }

    /// The known marks that sections touch, fixed ones first.
    pub fn known(&self) -> &[(MarkId, Length, Hold)] {
        &self.known
    }

    /// The approximate elevation of each mark: the exact sum of the rises on the shortest way from the datum.
    pub fn approximate(&self) -> &[Length] {
        &self.approximate
    }

    /// The parts that nothing joins; each has its own datum.
    pub fn parts(&self) -> &[Part] {
        &self.parts
    }

    /// The known mark from which the free adjustment carries the elevation of `mark`.
    pub fn datum_of(&self, mark: MarkId) -> MarkId {
        self.parts[self.part_of[mark.index()] as usize].datum
    }

    /// Known marks that no section touches.
    pub fn unused(&self) -> &[KnownMark] {
        &self.unused
    }

    /// Sections that were taken out.
    pub fn set_aside(&self) -> &[Section<PointName>] {
        &self.set_aside
    }

    /// By how much a rise differs from that of the approximate elevations: zero along the spanning tree.
    pub(super) fn misfit(&self, section: &Section<MarkId>) -> Length {
        section.rise - (self.approximate[section.to.index()] - self.approximate[section.from.index()])
    }

    /// What a message calls a section.
    pub fn section_name(&self, section: SectionId) -> SectionName {
        let Section { from, to, .. } = &self.sections[section.index()];
        SectionName { number: section.index() + 1, from: self.name(*from).clone(), to: self.name(*to).clone() }
    }

    /// This network with one observation set aside, as a person decided. The sections after it move up by one.
    ///
    /// # Errors
    /// When that leaves marks hanging on nothing.
    pub fn without(&self, suspect: Suspect) -> Result<Self, NetworkError> {
        let mut given = self.given();
        match suspect {
            Suspect::Section(section) => {
                let taken = given.sections.remove(section.index());
                given.set_aside.push(taken);
            }
            Suspect::Known(mark) => given.known.retain(|known| known.mark != *self.name(mark)),
        }
        Network::new(given)
    }

    /// The network as it could be handed in again. A mark with two names has its first one everywhere.
    pub fn given(&self) -> Given {
        let known = self.known.iter().map(|&(mark, elevation, hold)| KnownMark {
            mark: self.name(mark).clone(),
            elevation,
            hold,
        });
        Given {
            known: known.chain(self.unused.iter().cloned()).collect(),
            sections: self
                .sections
                .iter()
                .map(|section| section.with_ends(self.name(section.from).clone(), self.name(section.to).clone()))
                .collect(),
            set_aside: self.set_aside.clone(),
            same: self.same.clone(),
        }
    }
}

impl Section<MarkId> {
    pub(super) fn ends(&self) -> [u32; 2] {
        [self.from.0, self.to.0]
    }
}

/// One entry for each known mark, by the name that stands for it; two entries that disagree are an error.
fn merge_known(known: &[KnownMark], aliases: &Aliases) -> Result<Vec<KnownMark>, NetworkError> {
    let mut merged: Vec<KnownMark> = Vec::new();
    let mut seen: HashMap<PointName, &KnownMark> = HashMap::new();
    for entry in known {
        if entry.elevation.abs() > HEIGHT_MAX {
            return Err(NetworkError::TooHigh { mark: entry.mark.clone(), most: HEIGHT_MAX });
        }
        if matches!(entry.hold, Hold::Weighted(deviation) if deviation <= Length::ZERO) {
            return Err(NetworkError::WeightNotPositive { mark: entry.mark.clone() });
        }
        let name = aliases.standing_for(&entry.mark);
        match seen.get(&name) {
            None => {
                seen.insert(name.clone(), entry);
                merged.push(KnownMark { mark: name, ..entry.clone() });
            }
            Some(first) if first.elevation != entry.elevation => {
                return Err(NetworkError::TwoElevations {
                    names: [first.mark.clone(), entry.mark.clone()],
                    elevations: [first.elevation, entry.elevation],
                });
            }
            Some(first) if first.hold != entry.hold => {
                return Err(NetworkError::TwoHolds { names: [first.mark.clone(), entry.mark.clone()] });
            }
            Some(_) => {}
        }
    }
    Ok(merged)
}

/// Marks numbered as the sections name them, and the sections between those numbers.
fn number_marks(given: &[Section<PointName>], aliases: &Aliases) -> (Vec<PointName>, Vec<Section<MarkId>>) {
    let mut numbers: HashMap<PointName, MarkId> = HashMap::new();
    let mut names = Vec::new();
    let mut number = |name: &PointName| {
        *numbers.entry(aliases.standing_for(name)).or_insert_with_key(|name| {
            names.push(name.clone());
            MarkId(names.len() as u32 - 1)
        })
    };
    let sections = given.iter().map(|section| section.with_ends(number(&section.from), number(&section.to))).collect();
    (names, sections)
}

#[cfg(test)]
mod tests {
    use super::super::example::{given, known, metres, name, network, section};
    use super::*;

    /// The words of the refusal.
    fn refusal(marks: &[&str], sections: &[&str]) -> String {
        network(marks, sections).unwrap_err().to_string()
    }

    #[test]
    fn a_network_without_datum_names_its_marks() {
        assert_eq!(
            refusal(&[], &["A B 1", "B C 1"]),
            "3 marks (A, B, C) and no known elevation among them: give one of them an elevation, assumed if need be"
        );
        assert_eq!(refusal(&["BM5 10"], &[]), "the network holds no section, at least one observed rise was wanted");
        assert!(refusal(&["BM5 10"], &["BM6 B 1"]).contains("BM5 is known, but no section touches it"));
    }

    #[test]
    fn parts_that_hang_in_the_air_are_named() {
        let many: Vec<String> = (1..12).map(|at| format!("X{at} Y 1")).collect();
        let sections: Vec<&str> = ["A B 1"].into_iter().chain(many.iter().map(String::as_str)).collect();
        assert_eq!(
            refusal(&["A 10"], &sections),
            "no section joins 12 marks (X1, Y, X2, X3, X4, X5, X6, X7 and 4 more) to A or to any other known mark: level a \
             section to them, or give one of them an elevation"
        );
    }

    #[test]
    fn parts_with_a_datum_each_are_adjusted_side_by_side() {
        let network = network(&["A 10", "X 20"], &["A B 1", "X Y 2", "Y Z 3"]).unwrap();
        let datums: Vec<_> =
            network.parts().iter().map(|part| (network.name(part.datum).as_str(), part.marks)).collect();
        assert_eq!(datums, [("A", 2), ("X", 3)]);
        let z = network.find(&name("Z")).unwrap();
        assert_eq!(
            (network.datum_of(z), network.approximate[z.index()]),
            (network.find(&name("X")).unwrap(), metres("25"))
        );
    }

    #[test]
    fn one_mark_under_two_names_has_one_elevation() {
        let mut two = given(&["A 10", "K 10.002"], &["A B 1", "K B 1"]);
        two.same = vec![[name("A"), name("K")]];
        assert_eq!(
            Network::new(two.clone()).unwrap_err().to_string(),
            "A and K are one mark, known at 10 m and at 10.002 m: keep one of the elevations, or do not call them the same"
        );
        two.known.pop();
        let network = Network::new(two).unwrap();
        assert_eq!(network.names(), [name("A"), name("B")], "both sections meet at the mark");
        assert_eq!(network.find(&name("K")), network.find(&name("A")));
        assert_eq!(refusal(&["A 10", "A 11"], &["A B 1"]), "A is known twice, at 10 m and at 11 m: keep one of them");
        assert!(network_of_look_alikes().contains("BM 1 and bm-1 differ only by letter case or separators"));
    }

    fn network_of_look_alikes() -> String {
        let mut look_alikes = given(&["A 10"], &["A B 1"]);
        look_alikes.sections.push(Section::new(name("B"), name("BM 1"), metres("1")));
        look_alikes.known.push(KnownMark { mark: name("bm-1"), ..known("x 12") });
        Network::new(look_alikes).unwrap_err().to_string()
    }

    #[test]
    fn one_mark_is_held_in_one_way() {
        let mut two = given(&["A 10", "A 10"], &["A B 1"]);
        assert!(Network::new(two.clone()).is_ok(), "the same said twice is no contradiction");
        two.known[1].hold = Hold::Weighted(metres("0.001"));
        assert_eq!(
            Network::new(two).unwrap_err().to_string(),
            "A is held in two ways: keep one entry, fixed or with one standard deviation"
        );
    }

    #[test]
    fn numbers_beyond_reason_are_refused() {
        let with = |change: fn(&mut Section<PointName>)| {
            let mut given = given(&["A 10"], &["A B 1"]);
            change(&mut given.sections[0]);
            Network::new(given).unwrap_err().to_string()
        };
        let wanted = |what| format!("section 1 (A to B) has a {what} of zero or less, one above zero was wanted");
        assert_eq!(with(|section| section.length = Some(Length::ZERO)), wanted("length"));
        assert_eq!(with(|section| section.setups = Some(0)), wanted("number of setups"));
        assert_eq!(with(|section| section.deviation = Some(metres("-0.001"))), wanted("standard deviation"));
        assert_eq!(
            with(|section| section.rise = metres("100001")),
            "section 1 (A to B) rises by 100001 m, at most 100000 m were wanted"
        );
        assert!(
            refusal(&["A 99999"], &["A B 99999", "B C 99999"]).starts_with("C would lie beyond 200000 m from zero")
        );
        let mut soft = given(&["A 10"], &["A B 1"]);
        soft.known[0].hold = Hold::Weighted(Length::ZERO);
        assert!(
            Network::new(soft)
                .unwrap_err()
                .to_string()
                .starts_with("known mark A has a standard deviation of zero or less")
        );
    }

    #[test]
    fn a_section_set_aside_is_kept_for_the_record() {
        let network = network(&["A 10", "Q 1"], &["A B 1", "A B 2", "B C 1"]).unwrap();
        let without = network.without(Suspect::Section(SectionId(1))).unwrap();
        assert_eq!((without.sections().len(), without.set_aside()), (2, &[section("A B 2")][..]));
        assert_eq!(without.unused()[0].mark, name("Q"));
        assert_eq!(Network::new(without.given()), Ok(without.clone()), "handed in again it is the same");
        assert!(without.without(Suspect::Section(SectionId(0))).unwrap_err().to_string().contains("(B, C)"));
    }
}
