//! Names that are one mark: those that a person declared so, and those that a hurried hand may have written.
//!
//! Only declared names are merged. `BM 1`, `bm-1` and `BM1` in one network are refused, because a run booked to the
//! wrong one of them would hang in the air, or a loop would never close, and nothing would say why.

use std::collections::HashMap;

use crate::book::reading::PointName;

/// The one name that stands for each name of a mark with several.
pub(super) struct Aliases(HashMap<PointName, PointName>);

impl Aliases {
    /// Follows chains of pairs: of all names tied together, the one that came first stands for the mark.
    pub(super) fn new(same: &[[PointName; 2]]) -> Self {
        let mut groups: Vec<Vec<&PointName>> = Vec::new();
        for pair in same {
            let (tied, apart): (Vec<_>, Vec<_>) =
                groups.into_iter().partition(|group| pair.iter().any(|name| group.contains(&name)));
            let mut group: Vec<&PointName> = tied.into_iter().flatten().chain(pair).collect();
            let mut seen = Vec::new();
            group.retain(|name| {
                !seen.contains(name) && {
                    seen.push(*name);
                    true
                }
            });
            groups = apart;
            groups.push(group);
        }
        let stands_for =
            |group: &Vec<&PointName>| group.iter().map(|&name| (name.clone(), group[0].clone())).collect::<Vec<_>>();
        Aliases(groups.iter().flat_map(stands_for).collect())
    }

    /// The name by which the mark called `name` goes.
    pub(super) fn standing_for(&self, name: &PointName) -> PointName {
        self.0.get(name).unwrap_or(name).clone()
    }
}

/// What is left of a name when letter case is dropped, and what separates its parts no longer matters.
///
/// A separator between two digits stays, as `-`: point 1-1 and point 11 are two points. So does a leading `-`: floor -1
/// is not floor 1.
fn folded(name: &PointName) -> String {
    let mut folded = String::with_capacity(name.as_str().len());
    let mut separated = false;
    for c in name.as_str().chars().flat_map(char::to_lowercase) {
        if matches!(c, ' ' | '-' | '_' | '\u{a0}') && !(c == '-' && folded.is_empty()) {
            separated = true;
            continue;
        }
        if separated && c.is_ascii_digit() && folded.ends_with(|last: char| last.is_ascii_digit()) {
            folded.push('-');
        }
        separated = false;
        folded.push(c);
    }
    folded
}

/// The first two names that fold to the same text, in the order of the names.
pub(super) fn look_alikes<'a>(names: &[&'a PointName]) -> Option<[&'a PointName; 2]> {
    let mut by_fold: Vec<(String, usize)> = names.iter().enumerate().map(|(at, name)| (folded(name), at)).collect();
    by_fold.sort_unstable();
    let alike = by_fold.windows(2).map(|pair| (&pair[0], &pair[1])).filter(|(one, two)| one.0 == two.0);
    let different = alike.map(|(one, two)| [one.1, two.1]).filter(|pair| names[pair[0]] != names[pair[1]]);
    different.min().map(|pair| pair.map(|at| names[at]))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn names(texts: &[&str]) -> Vec<PointName> {
        texts.iter().map(|text| PointName::new(text).unwrap()).collect()
    }

    #[test]
    fn case_and_separators_are_what_a_hurried_hand_changes() {
        for other in ["bm1", "BM-1", "BM 1", "Bm_1", "bm - 1"] {
            let names = names(&["BM2", "BM1", other]);
            assert_eq!(look_alikes(&names.iter().collect::<Vec<_>>()), Some([&names[1], &names[2]]), "{other}");
        }
    }

    #[test]
    fn different_points_stay_different() {
        let names = names(&["1-1", "11", "1.1", "BM1", "BM1A", "BM10", "BM 1 0", "-1", "1", "BM1"]);
        assert_eq!(look_alikes(&names.iter().collect::<Vec<_>>()), None);
    }

    #[test]
    fn names_tied_in_a_chain_are_one_mark() {
        let names = names(&["A", "B", "C", "D", "E"]);
        let tie = |one: usize, two: usize| [names[one].clone(), names[two].clone()];
        let aliases = Aliases::new(&[tie(0, 1), tie(2, 3), tie(3, 1)]);
        let standing: Vec<_> = names.iter().map(|name| aliases.standing_for(name)).collect();
        assert_eq!(standing, ["A", "A", "A", "A", "E"].map(|text| PointName::new(text).unwrap()));
    }
}
