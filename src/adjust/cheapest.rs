//! The ways over intended runs that add up the least variance, from one mark to all others.
//!
//! Source: Dijkstra 1959, from memory.

use std::cmp::{Ordering, Reverse};
use std::collections::BinaryHeap;

use super::incidence::across;
use super::network::{MarkId, Network};
use crate::units::Length;

/// A way over intended runs.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Way {
    /// The sum of the variances, m^2.
    pub variance: f64,
    /// The sum of the lengths; `None` if one of them is not known.
    pub length: Option<Length>,
    /// The sum of the setups; `None` if one of them is not known.
    pub setups: Option<u32>,
}

/// The way to each mark; `None` to one in another part of the network.
pub(super) fn cheapest_ways(network: &Network, variances: &[f64], from: MarkId) -> Vec<Option<Way>> {
    let mut ways: Vec<Option<Way>> = vec![None; network.mark_count()];
    let start = Way { variance: 0.0, length: Some(Length::ZERO), setups: Some(0) };
    let mut open = BinaryHeap::from([Reverse(Reached { way: start, mark: from.0 })]);
    while let Some(Reverse(Reached { way, mark })) = open.pop() {
        let held = &mut ways[mark as usize];
        if held.is_some() {
            continue;
        }
        *held = Some(way);
        for &section in network.incidence.at(mark) {
            let observed = &network.sections[section as usize];
            let there = across(observed.ends(), mark);
            if ways[there as usize].is_none() {
                let way = Way {
                    variance: way.variance + variances[section as usize],
                    length: way.length.zip(observed.length).map(|(sum, length)| sum + length),
                    setups: way.setups.zip(observed.setups).and_then(|(sum, setups)| sum.checked_add(setups)),
                };
                open.push(Reverse(Reached { way, mark: there }));
            }
        }
    }
    ways
}

/// A mark with a way to it, ordered by variance.
struct Reached {
    way: Way,
    mark: u32,
}

impl Ord for Reached {
    fn cmp(&self, other: &Self) -> Ordering {
        self.way.variance.total_cmp(&other.way.variance).then(self.mark.cmp(&other.mark))
    }
}

impl PartialOrd for Reached {
    fn partial_cmp(&self, other: &Self) -> Option<Ordering> {
        Some(self.cmp(other))
    }
}

impl PartialEq for Reached {
    fn eq(&self, other: &Self) -> bool {
        self.cmp(other) == Ordering::Equal
    }
}

impl Eq for Reached {}
