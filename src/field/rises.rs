//! Rises that were observed otherwise than by a run: their readings in the order of the computation, and whether one
//! checks another.
//!
//! What the readings come to is the affair of [`super::tape`] and [`super::reciprocal`].

use super::reciprocal::{Bank, Set};
use super::tape::{Observed, agree};
use crate::book::activity::{Activity, ObservedRise};
use crate::units::Length;

/// The readings of a tape transfer, once all four are there.
pub fn observed(activity: &Activity) -> Option<Observed> {
    let [staff_below, tape_below, tape_above, staff_above] = staffs(activity, 0);
    Some(Observed {
        staff_below: staff_below?,
        tape_below: tape_below?,
        tape_above: tape_above?,
        staff_above: staff_above?,
    })
}

/// The sets of a gap that are all there: on the near bank near and far staff, then on the far bank near and far.
pub fn sets(activity: &Activity) -> Vec<Set> {
    let set = |at: u32| {
        let [a1, b1, b2, a2] = staffs(activity, 4 * at);
        Some(Set { at_a: Bank { a: a1?, b: b1? }, at_b: Bank { a: a2?, b: b2? } })
    };
    (0..).map_while(set).collect()
}

/// What was read at four places of an activity, from this one on.
fn staffs(activity: &Activity, first: u32) -> [Option<Length>; 4] {
    [0, 1, 2, 3].map(|place| Some(activity.at_slot(first + place)?.reading.staff.value()))
}

/// How a rise stands to others between the same two marks.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Standing {
    /// There is no other.
    Single,
    /// It agrees with another within what chance allows at 95 %.
    Agrees,
    /// It agrees with none of the others.
    Disagrees,
}

impl Standing {
    /// In words, behind the name of the rise.
    pub fn words(self) -> &'static str {
        match self {
            Standing::Single => "is single, unchecked: a second one is wanted",
            Standing::Agrees => "agrees with a second one",
            Standing::Disagrees => "agrees with no other: once more",
        }
    }
}

/// How one of these rises stands to the rest.
pub fn standing(all: &[ObservedRise<'_>], at: usize) -> Standing {
    let this = &all[at];
    let others = all[..at].iter().chain(&all[at + 1..]).filter_map(|other| turned(this, other));
    let compared: Vec<bool> = others
        .map(|other| {
            let (apart, allowed) = agree(other, (this.rise, this.sd));
            apart <= allowed
        })
        .collect();
    match (compared.is_empty(), compared.contains(&true)) {
        (true, _) => Standing::Single,
        (false, true) => Standing::Agrees,
        (false, false) => Standing::Disagrees,
    }
}

/// Another rise between the same two marks, in the direction of this one, with its deviation; none if the marks are
/// others.
pub(super) fn turned(this: &ObservedRise<'_>, other: &ObservedRise<'_>) -> Option<(Length, Length)> {
    let (wanted, found) = (this.activity.task.ends()?, other.activity.task.ends()?);
    match found {
        _ if found == wanted => Some((other.rise, other.sd)),
        (from, to) if (to, from) == wanted => Some((-other.rise, other.sd)),
        _ => None,
    }
}
