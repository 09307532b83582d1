//! Elimination tree and column counts of an ordered block graph (Liu 1990), and the work they imply.

use super::order::Graph;

/// No parent.
pub(super) const NONE: u32 = u32::MAX;

/// Elimination tree by position.
#[derive(Debug, Clone)]
pub(super) struct Tree {
    /// Parent position, [`NONE`] at roots.
    pub(super) parent: Vec<u32>,
    /// Unknowns below the diagonal block in the factor's block column.
    pub(super) below: Vec<u32>,
    /// Multiplications of the factorisation, roughly: sum of squared column lengths.
    pub(super) work: f64,
}

impl Tree {
    /// Tree of `order` after renumbering it in postorder, which changes neither fill nor work.
    pub(super) fn postordered(graph: &Graph, sizes: &[u8], order: Vec<u32>) -> (Vec<u32>, Self) {
        let parent = parents(graph, &order);
        let post = postorder(&parent);
        let order: Vec<u32> = post.iter().map(|&p| order[p as usize]).collect();
        let parent = relabel(&parent, &post);
        let below = counts(graph, sizes, &order, &parent);
        let work = order.iter().zip(&below).map(|(&b, &below)| column_work(sizes[b as usize], below)).sum();
        (order, Self { parent, below, work })
    }

    /// The same tree and order after moving position `post[i]` to position i, for a postorder `post`.
    pub(super) fn renumbered(self, order: &[u32], post: &[u32]) -> (Vec<u32>, Self) {
        let parent = relabel(&self.parent, post);
        let below = post.iter().map(|&old| self.below[old as usize]).collect();
        (post.iter().map(|&old| order[old as usize]).collect(), Self { parent, below, work: self.work })
    }
}

/// Sum of squared lengths of the columns of one block column.
fn column_work(size: u8, below: u32) -> f64 {
    (0..size).map(|k| f64::from(below) + f64::from(size - k)).map(|length| length * length).sum()
}

/// Position of each block.
pub(super) fn positions(order: &[u32]) -> Vec<u32> {
    let mut position = vec![0; order.len()];
    for (p, &block) in (0u32..).zip(order) {
        position[block as usize] = p;
    }
    position
}

fn parents(graph: &Graph, order: &[u32]) -> Vec<u32> {
    let position = positions(order);
    let mut parent = vec![NONE; order.len()];
    let mut ancestor = vec![NONE; order.len()];
    for (j, &block) in (0u32..).zip(order) {
        for &neighbour in graph.of(block as usize) {
            let mut i = position[neighbour as usize];
            // Climbs from i to its root below j, pointing everything on the way at j.
            while i < j {
                let next = std::mem::replace(&mut ancestor[i as usize], j);
                if next == NONE {
                    parent[i as usize] = j;
                }
                if next == NONE || next == j {
                    break;
                }
                i = next;
            }
        }
    }
    parent
}

/// Postorder of a forest whose parents have larger numbers than their children; children keep their order.
fn postorder(parent: &[u32]) -> Vec<u32> {
    let n = parent.len();
    let mut first_child = vec![NONE; n];
    let mut next_sibling = vec![NONE; n];
    let mut root = NONE;
    for child in (0..super::factor::as_u32(n)).rev() {
        let head = match parent[child as usize] {
            NONE => &mut root,
            p => &mut first_child[p as usize],
        };
        next_sibling[child as usize] = std::mem::replace(head, child);
    }
    let mut post = Vec::with_capacity(n);
    let mut path = Vec::new();
    let mut at = root;
    loop {
        while at != NONE {
            path.push(at);
            at = first_child[at as usize];
        }
        let Some(done) = path.pop() else { return post };
        post.push(done);
        at = next_sibling[done as usize];
    }
}

fn relabel(parent: &[u32], post: &[u32]) -> Vec<u32> {
    let new = positions(post);
    let of = |p: u32| if p == NONE { NONE } else { new[p as usize] };
    post.iter().map(|&old| of(parent[old as usize])).collect()
}

/// Unknowns below the diagonal block per column: walks each row's subtree once.
fn counts(graph: &Graph, sizes: &[u8], order: &[u32], parent: &[u32]) -> Vec<u32> {
    let position = positions(order);
    let mut below = vec![0; order.len()];
    let mut mark = vec![NONE; order.len()];
    for (j, &block) in (0u32..).zip(order) {
        mark[j as usize] = j;
        let size = u32::from(sizes[block as usize]);
        for &neighbour in graph.of(block as usize) {
            let mut i = position[neighbour as usize];
            while i < j && mark[i as usize] != j {
                mark[i as usize] = j;
                below[i as usize] += size;
                i = parent[i as usize];
            }
        }
    }
    below
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Fill by eliminating a dense copy: the definition itself.
    fn dense_below(graph: &Graph, sizes: &[u8], order: &[u32]) -> Vec<u32> {
        let n = order.len();
        let position = positions(order);
        let mut filled = vec![vec![false; n]; n];
        for i in 0..n {
            for &j in graph.of(i) {
                filled[position[i] as usize][position[j as usize] as usize] = true;
            }
        }
        for k in 0..n {
            let rows: Vec<usize> = (k + 1..n).filter(|&i| filled[i][k]).collect();
            for &i in &rows {
                for &j in &rows {
                    filled[i][j] |= i != j;
                }
            }
        }
        let size = |p: usize| u32::from(sizes[order[p] as usize]);
        (0..n).map(|k| (k + 1..n).filter(|&i| filled[i][k]).map(size).sum()).collect()
    }

    #[test]
    fn counts_agree_with_dense_elimination() {
        let n = 40usize;
        let mut edges = Vec::new();
        let mut seed = 12345u32;
        for _ in 0..70 {
            let mut draw = || {
                seed = seed.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
                (seed >> 16) as usize % n
            };
            let (a, b) = (draw(), draw());
            if a != b {
                edges.extend([(a, b), (b, a)]);
            }
        }
        edges.sort_unstable();
        edges.dedup();
        let start: Vec<u32> =
            (0..=n).map(|i| u32::try_from(edges.iter().filter(|e| e.0 < i).count()).unwrap()).collect();
        let neighbours = edges.iter().map(|e| u32::try_from(e.1).unwrap()).collect();
        let graph = Graph { start, neighbours };
        let sizes: Vec<u8> = (0u8..40).map(|i| 1 + i % 6).collect();
        let order: Vec<u32> = (0..40).map(|i| (i * 7) % 40).collect();
        let (order, tree) = Tree::postordered(&graph, &sizes, order);
        assert_eq!(tree.below, dense_below(&graph, &sizes, &order), "rows below each block");
        for (i, &p) in tree.parent.iter().enumerate() {
            assert!(p == NONE || p as usize > i, "parent {p} of {i} comes later");
        }
    }
}
