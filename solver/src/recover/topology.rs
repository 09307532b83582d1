//! Who touches whom: triangles at a node, triangles at an edge.

use rayon::prelude::*;

/// An edge of the mesh.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Edge {
    /// Ends, in the direction in which the first triangle runs along it.
    pub nodes: [u32; 2],
    /// First triangle.
    pub first: u32,
    /// Triangle on the other side, if any.
    pub second: Option<u32>,
}

/// Triangles by node.
#[derive(Debug, Clone, Default)]
pub struct Around {
    start: Vec<u32>,
    touching: Vec<u32>,
}

impl Around {
    /// Sorts the given triangles to their nodes, `n_nodes` in all.
    #[must_use]
    pub fn new(n_nodes: usize, triangles: &[[u32; 3]]) -> Self {
        let mut start = vec![0_u32; n_nodes + 1];
        for &node in triangles.iter().flatten() {
            start[node as usize + 1] += 1;
        }
        for node in 0..n_nodes {
            start[node + 1] += start[node];
        }
        let mut fill = start.clone();
        let mut touching = vec![0_u32; triangles.len() * 3];
        for (triangle, corners) in (0_u32..).zip(triangles) {
            for &node in corners {
                touching[fill[node as usize] as usize] = triangle;
                fill[node as usize] += 1;
            }
        }
        Self { start, touching }
    }

    /// Triangles that touch a node, in increasing order.
    #[must_use]
    pub fn of(&self, node: u32) -> &[u32] {
        &self.touching[self.start[node as usize] as usize..self.start[node as usize + 1] as usize]
    }
}

/// Neighbours of a triangle mesh.
#[derive(Debug, Clone, Default)]
pub struct Topology {
    /// Triangles by node.
    pub around: Around,
    /// Every edge once, sorted by its lower and higher node.
    pub edges: Vec<Edge>,
}

impl Topology {
    /// Neighbours of the given triangles among `n_nodes` nodes.
    ///
    /// Limits: at an edge shared by more than two triangles only the first two are kept.
    #[must_use]
    pub fn new(n_nodes: usize, triangles: &[[u32; 3]]) -> Self {
        Self { around: Around::new(n_nodes, triangles), edges: edges(triangles) }
    }

    /// Triangles that touch a node, in increasing order.
    #[must_use]
    pub fn around(&self, node: u32) -> &[u32] {
        self.around.of(node)
    }
}

fn edges(triangles: &[[u32; 3]]) -> Vec<Edge> {
    let mut halves: Vec<([u32; 2], u32, [u32; 2])> = Vec::with_capacity(triangles.len() * 3);
    for (triangle, &[a, b, c]) in (0_u32..).zip(triangles) {
        for [p, q] in [[a, b], [b, c], [c, a]] {
            halves.push(([p.min(q), p.max(q)], triangle, [p, q]));
        }
    }
    halves.par_sort_unstable();
    halves
        .chunk_by(|one, other| one.0 == other.0)
        .map(|same| Edge { nodes: same[0].2, first: same[0].1, second: same.get(1).map(|half| half.1) })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn square_of_two_triangles_has_one_inner_edge() {
        let topology = Topology::new(4, &[[0, 1, 2], [0, 2, 3]]);
        assert_eq!(topology.edges.len(), 5, "edges {:?}", topology.edges);
        let inner: Vec<&Edge> = topology.edges.iter().filter(|edge| edge.second.is_some()).collect();
        assert_eq!(inner, [&Edge { nodes: [2, 0], first: 0, second: Some(1) }], "inner edges");
        assert_eq!(topology.around(2), [0, 1], "triangles at node 2");
        assert_eq!(topology.around(1), [0], "triangles at node 1");
    }
}
