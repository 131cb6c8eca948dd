//! What nothing checks: lines without which a part of the network would come off, and the marks that hang on them.
//!
//! A mistake on such a line (a *bridge*, in the words of graphs) shows in no residual. It is found by walking the network,
//! not by comparing a redundancy number with zero, so that rounding decides nothing.
//!
//! The known marks, fixed or weighted, are one node, the ground.
//! Source: Tarjan 1974 (from memory), the walk written without recursion. Cost: linear.

use super::incidence::{Incidence, across};
use super::lines::{Lines, Role};
use super::network::SectionId;

/// What is checked and what is not.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Control {
    /// Of each line: nothing checks it.
    pub bridges: Vec<bool>,
    /// Of each weighted mark, by its place among the junctions: nothing checks its known elevation.
    pub bare_known: Vec<u32>,
    /// Of each mark: the unchecked section it hangs on, the nearest of several.
    pub hangs_on: Vec<Option<SectionId>>,
}

impl Control {
    /// Walks the lines out from the ground.
    pub(super) fn new(lines: &Lines, roles: &[Role]) -> Self {
        let ground = lines.junctions.len() as u32;
        let role_of = |junction: u32| roles[lines.junctions[junction as usize].index()];
        let node = |junction: u32| if matches!(role_of(junction), Role::Fixed(_)) { ground } else { junction };
        let mut ends: Vec<[u32; 2]> = lines.lines.iter().map(|line| [node(line.from), node(line.to)]).collect();
        ends.extend(
            (0..ground)
                .filter(|&junction| matches!(role_of(junction), Role::Weighted(..)))
                .map(|junction| [ground, junction]),
        );
        let tree = Tree::new(&ends, ground);

        let mut control = Control {
            bridges: vec![false; lines.lines.len()],
            bare_known: Vec::new(),
            hangs_on: vec![None; roles.len()],
        };
        let hangs_on = |control: &Control, node: u32| match lines.junctions.get(node as usize) {
            Some(mark) => control.hangs_on[mark.index()],
            None => None,
        };
        for &node in &tree.order {
            let Some(edge) = tree.edge_to[node as usize] else { continue };
            let inner = across(ends[edge as usize], node);
            let mark = lines.junctions[node as usize].index();
            control.hangs_on[mark] = hangs_on(&control, inner);
            if !tree.is_bridge(node) {
                continue;
            }
            match lines.lines.get(edge as usize) {
                None => control.bare_known.push(node),
                Some(line) => {
                    control.bridges[edge as usize] = true;
                    // Each mark of the line, and the junction at its end, hangs on the section that leads to it.
                    let steps = &lines.steps[line.steps.clone()];
                    let outward = line.to == node;
                    for step in steps {
                        let outer = if outward { step.to } else { step.from };
                        control.hangs_on[outer as usize] = Some(SectionId(step.section));
                    }
                }
            }
        }
        for (line, is_bridge) in lines.lines.iter().zip(control.bridges.clone()) {
            let Some((_, inner)) = lines.steps[line.steps.clone()].split_last() else { continue };
            if !is_bridge {
                let hangs_on = hangs_on(&control, node(line.from));
                inner.iter().for_each(|step| control.hangs_on[step.to as usize] = hangs_on);
            }
        }
        for spur in &lines.spurs {
            control.hangs_on[spur.to as usize] = Some(SectionId(spur.section));
        }
        control
    }
}

/// A depth-first tree of a connected graph.
struct Tree {
    /// Nodes in the order in which they were reached.
    order: Vec<u32>,
    /// The edge by which each node was reached; `None` for the root.
    edge_to: Vec<Option<u32>>,
    /// The number of each node in that order.
    reached: Vec<u32>,
    /// The smallest number that can be reached from a node's subtree by one edge outside of the tree.
    low: Vec<u32>,
}

impl Tree {
    fn new(ends: &[[u32; 2]], root: u32) -> Self {
        let nodes = root as usize + 1;
        let incidence = Incidence::new(nodes, ends.iter().copied());
        let mut tree =
            Tree { order: vec![root], edge_to: vec![None; nodes], reached: vec![u32::MAX; nodes], low: vec![0; nodes] };
        tree.reached[root as usize] = 0;
        let mut path: Vec<(u32, usize)> = vec![(root, 0)];
        while let Some((node, next)) = path.last_mut() {
            let here = *node;
            let Some(&edge) = incidence.at(here).get(*next) else {
                path.pop();
                if let Some(&(inner, _)) = path.last() {
                    tree.low[inner as usize] = tree.low[inner as usize].min(tree.low[here as usize]);
                }
                continue;
            };
            *next += 1;
            let there = across(ends[edge as usize], here);
            if tree.reached[there as usize] == u32::MAX {
                let number = tree.order.len() as u32;
                tree.order.push(there);
                tree.edge_to[there as usize] = Some(edge);
                tree.reached[there as usize] = number;
                tree.low[there as usize] = number;
                path.push((there, 0));
            } else if tree.edge_to[here as usize] != Some(edge) {
                tree.low[here as usize] = tree.low[here as usize].min(tree.reached[there as usize]);
            }
        }
        tree
    }

    /// Whether the edge to this node is the only way to it.
    fn is_bridge(&self, node: u32) -> bool {
        self.low[node as usize] == self.reached[node as usize]
    }
}

#[cfg(test)]
mod tests {
    use super::super::adjustment::held_roles;
    use super::super::example::{OPTIONS, tangle};
    use super::super::weights::variances_m2;
    use super::*;

    #[test]
    fn what_hangs_hangs_on_the_nearest_unchecked_section() {
        let network = tangle();
        let roles = held_roles(&network);
        let lines = Lines::new(&network, &roles, &variances_m2(&network, OPTIONS.weights).unwrap());
        let control = Control::new(&lines, &roles);
        let hanging = network.names().iter().zip(&control.hangs_on).filter_map(|(mark, section)| {
            section.map(|section| format!("{mark} on {}", network.section_name(section)))
        });
        assert_eq!(
            hanging.collect::<Vec<_>>(),
            [
                "P on section 12 (D to P)",
                "Q on section 13 (P to Q)",
                "R on section 14 (F to R)",
                "S on section 14 (F to R)",
                "T on section 14 (F to R)",
            ]
        );
        assert_eq!(control.bridges.iter().filter(|is_bridge| **is_bridge).count(), 1);
        assert!(control.bare_known.is_empty(), "the weighted mark is checked against the fixed one");
    }

    #[test]
    fn a_weighted_mark_that_alone_holds_its_part_is_not_checked() {
        let roles = [Role::Weighted(0.0, 1.0), Role::Free, Role::Free];
        let network = super::super::example::network(&["A 1"], &["A B 1", "B C 1", "C A -2"]).unwrap();
        let lines = Lines::new(&network, &roles, &[1.0; 3]);
        let control = Control::new(&lines, &roles);
        assert_eq!((control.bare_known, control.hangs_on), (vec![0], vec![None; 3]));
    }
}
