//! Which edges meet at each node of a graph, held in two flat lists so that a million marks cost two allocations.

/// The edges at each node. An edge from a node to itself is listed there twice.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Incidence {
    starts: Vec<u32>,
    edges: Vec<u32>,
}

impl Incidence {
    /// From the two ends of each edge, in the order of the edges.
    pub(super) fn new(nodes: usize, ends: impl Iterator<Item = [u32; 2]> + Clone) -> Self {
        // Counting sort: starts[k + 1] first counts the edges of node k, then is where its list goes on being filled.
        let mut starts = vec![0u32; nodes + 2];
        for node in ends.clone().flatten() {
            starts[node as usize + 2] += 1;
        }
        for at in 2..starts.len() {
            starts[at] += starts[at - 1];
        }
        let mut edges = vec![0u32; starts[nodes + 1] as usize];
        for (edge, pair) in (0u32..).zip(ends) {
            for node in pair {
                let next = &mut starts[node as usize + 1];
                edges[*next as usize] = edge;
                *next += 1;
            }
        }
        starts.pop();
        Incidence { starts, edges }
    }

    /// The edges at `node`, in ascending order.
    pub(super) fn at(&self, node: u32) -> &[u32] {
        let [start, end] = [self.starts[node as usize], self.starts[node as usize + 1]];
        &self.edges[start as usize..end as usize]
    }
}

/// The other end of an edge, seen from one of its ends.
pub(super) fn across([one, other]: [u32; 2], from: u32) -> u32 {
    if one == from { other } else { one }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn each_node_lists_its_edges_and_a_loop_twice() {
        let ends = [[0, 1], [1, 2], [1, 1], [0, 1]];
        let incidence = Incidence::new(4, ends.iter().copied());
        let lists: Vec<&[u32]> = (0..4).map(|node| incidence.at(node)).collect();
        assert_eq!(lists, [&[0, 3][..], &[0, 1, 2, 2, 3], &[1], &[]]);
        assert_eq!((across([1, 2], 1), across([1, 2], 2), across([1, 1], 1)), (2, 1, 1));
    }
}
