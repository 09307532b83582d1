//! Which columns form a front, and in which order the fronts are worked off.
//!
//! In: an order and its elimination tree. Out: the order renumbered, columns of one front side by side. Columns with one
//! pattern form a front; small fronts join the one above where a few zeros more cost less than the update handed up
//! (Ashcraft and Grimes 1989, from memory); children come in the order that leaves most memory free (Liu 1986, from
//! memory).

use super::factor::as_u32;
use super::fronts::{children, front_work};
use super::tree::{NONE, Tree};

/// What handing up an update costs per square of the front's rows, in multiplications: it is written, read and added
/// where a multiplication of a dense kernel needs no memory.
const TRAFFIC: f64 = 24.0;

/// The same per front, whatever its size.
const EACH: f64 = 2e4;

/// Fronts as runs of block positions, before their rows are known.
#[derive(Debug)]
pub(super) struct Grouped {
    /// First block position of each front; one more than fronts.
    pub(super) block: Vec<u32>,
    /// Front above each, [`NONE`] at roots.
    pub(super) parent: Vec<u32>,
    /// Unknowns in the rows below each.
    pub(super) below: Vec<u32>,
}

impl Grouped {
    /// Joins a block to the one before it when that is its only child and has the same rows.
    fn alike(sizes: &[u8], tree: &Tree) -> Self {
        let n = sizes.len();
        let mut n_children = vec![0u32; n];
        for &p in tree.parent.iter().filter(|&&p| p != NONE) {
            n_children[p as usize] += 1;
        }
        let mut front = Vec::with_capacity(n);
        let mut block = Vec::new();
        for (p, position) in (0u32..).zip(0..n) {
            let joins = position > 0
                && tree.parent[position - 1] == p
                && n_children[position] == 1
                && tree.below[position - 1] == tree.below[position] + u32::from(sizes[position]);
            if !joins {
                block.push(p);
            }
            front.push(as_u32(block.len()) - 1);
        }
        block.push(as_u32(n));
        let last = |f: &[u32]| f[1] as usize - 1;
        let parent = block.windows(2).map(|f| match tree.parent[last(f)] {
            NONE => NONE,
            p => front[p as usize],
        });
        let (parent, below) = (parent.collect(), block.windows(2).map(|f| tree.below[last(f)]).collect());
        Self { block, parent, below }
    }

    /// The front that each one becomes part of: itself, or one above it.
    fn joined(&self, sizes: &[u8]) -> Vec<u32> {
        let n = self.parent.len();
        let cost = |pivots: usize, below: u32| {
            let rows = pivots + below as usize;
            front_work(pivots, rows) + TRAFFIC * f64::from(as_u32(rows)).powi(2) + EACH
        };
        let mut pivots: Vec<usize> = self
            .block
            .windows(2)
            .map(|b| sizes[b[0] as usize..b[1] as usize].iter().map(|&s| usize::from(s)).sum())
            .collect();
        let (start, mut below_each) = children(&self.parent);
        let mut into: Vec<u32> = (0..as_u32(n)).collect();
        for f in 0..n {
            let own = &mut below_each[start[f] as usize..start[f + 1] as usize];
            // The fullest first: it shares most rows.
            own.sort_by_key(|&c| {
                (std::cmp::Reverse(pivots[c as usize] + self.below[c as usize] as usize), c)
            });
            for &c in own.iter() {
                let (child, below) = (pivots[c as usize], self.below[f]);
                let apart = cost(child, self.below[c as usize]) + cost(pivots[f], below);
                if cost(child + pivots[f], below) < apart {
                    into[c as usize] = as_u32(f);
                    pivots[f] += child;
                }
            }
        }
        for f in (0..n).rev() {
            into[f] = into[into[f] as usize];
        }
        into
    }
}

/// Renumbers an ordered tree front by front, small ones joined, and such that the children which leave most
/// memory free come first, among children the one whose peak exceeds its own update by most.
pub(super) fn fronts(sizes: &[u8], order: &[u32], tree: Tree) -> (Vec<u32>, Tree, Grouped) {
    let by_position: Vec<u8> = order.iter().map(|&b| sizes[b as usize]).collect();
    let alike = Grouped::alike(&by_position, &tree);
    let into = alike.joined(&by_position);
    // Fronts by number of their topmost part; parts ascending, so a part comes after all below it.
    let heads: Vec<u32> = (0u32..).zip(&into).filter(|(f, i)| f == *i).map(|(f, _)| f).collect();
    let mut number = vec![NONE; into.len()];
    for (i, &head) in (0u32..).zip(&heads) {
        number[head as usize] = i;
    }
    let of: Vec<u32> = into.iter().map(|&head| number[head as usize]).collect();
    let above = |head: &u32| match alike.parent[*head as usize] {
        NONE => NONE,
        p => of[p as usize],
    };
    let parent: Vec<u32> = heads.iter().map(above).collect();
    let below: Vec<u32> = heads.iter().map(|&head| alike.below[head as usize]).collect();
    let (part_start, parts) = children(&of);
    let turn = by_memory(&parent, &below);
    let mut blocks = Vec::with_capacity(order.len());
    let mut own = Grouped { block: vec![0], parent: Vec::new(), below: Vec::new() };
    let mut place = vec![NONE; heads.len()];
    for (i, &f) in (0u32..).zip(&turn) {
        let f = f as usize;
        place[f] = i;
        for &part in &parts[part_start[f] as usize..part_start[f + 1] as usize] {
            blocks.extend(alike.block[part as usize]..alike.block[part as usize + 1]);
        }
        own.block.push(as_u32(blocks.len()));
        own.below.push(below[f]);
    }
    own.parent = turn
        .iter()
        .map(|&f| match parent[f as usize] {
            NONE => NONE,
            p => place[p as usize],
        })
        .collect();
    let (order, tree) = tree.renumbered(order, &blocks);
    (order, tree, own)
}

/// Postorder of fronts in which the peak of memory is least: depth first, the most sparing child last.
fn by_memory(parent: &[u32], below: &[u32]) -> Vec<u32> {
    let (start, mut children) = children(parent);
    let n = parent.len();
    let mut peak = vec![0u64; n];
    let update = |f: usize| u64::from(below[f]).pow(2);
    for f in 0..n {
        let own = &mut children[start[f] as usize..start[f + 1] as usize];
        let spare = |c: u32| peak[c as usize] - update(c as usize);
        own.sort_by(|&a, &b| spare(b).cmp(&spare(a)).then(a.cmp(&b)));
        let (mut held, mut most) = (0, 0);
        for &c in own.iter() {
            most = most.max(held + peak[c as usize]);
            held += update(c as usize);
        }
        peak[f] = most.max(held + update(f));
    }
    // From the last root backwards, filled from the end: a front comes after all its children.
    let mut turn = Vec::with_capacity(n);
    let mut open: Vec<u32> = (0u32..).zip(parent).filter(|(_, p)| **p == NONE).map(|(f, _)| f).collect();
    while let Some(f) = open.pop() {
        turn.push(f);
        open.extend(&children[start[f as usize] as usize..start[f as usize + 1] as usize]);
    }
    turn.reverse();
    turn
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::linear::order::Graph;

    /// A grid of nodes with diagonals, in an order without sense.
    fn grid(side: u32) -> (Graph, Vec<u32>) {
        let n = side * side;
        let mut graph = Graph { start: vec![0], neighbours: Vec::new() };
        for i in 0..n {
            let (x, y) = (i % side, i / side);
            for (u, v) in (y.saturating_sub(1)..=(y + 1).min(side - 1))
                .flat_map(|v| (x.saturating_sub(1)..=(x + 1).min(side - 1)).map(move |u| (u, v)))
            {
                if (u, v) != (x, y) {
                    graph.neighbours.push(v * side + u);
                }
            }
            graph.start.push(as_u32(graph.neighbours.len()));
        }
        (graph, (0..n).map(|i| (i * 7 + 3) % n).collect())
    }

    /// Every block once, children before parents and whole branches side by side; joined, the fronts are fewer and hold
    /// at least the entries of the tree, the zeros they add kept small.
    #[test]
    fn joined_fronts_hold_every_column_once_in_postorder() {
        let (graph, order) = grid(20);
        let sizes: Vec<u8> = (0..400u16).map(|i| if i % 9 == 0 { 3 } else { 6 }).collect();
        let (order, tree) = Tree::postordered(&graph, &sizes, order);
        let by_position: Vec<u8> = order.iter().map(|&b| sizes[b as usize]).collect();
        let apart = Grouped::alike(&by_position, &tree).parent.len();
        let entries = |order: &[u32], block: &[u32], below: &[u32]| -> u64 {
            let of = |(b, &below): (&[u32], &u32)| {
                let k: u64 = (b[0]..b[1]).map(|p| u64::from(sizes[order[p as usize] as usize])).sum();
                k * (k + 1) / 2 + k * u64::from(below)
            };
            block.windows(2).zip(below).map(of).sum()
        };
        let single: Vec<u32> = (0..=400).collect();
        let least = entries(&order, &single, &tree.below);
        let (order, tree, own) = fronts(&sizes, &order, tree);
        let mut sorted = order.clone();
        sorted.sort_unstable();
        assert!(sorted.iter().enumerate().all(|(i, &b)| i == b as usize), "a permutation");
        assert!(own.parent.len() < apart, "{} fronts of {apart}", own.parent.len());
        let most = entries(&order, &own.block, &own.below);
        assert!(least <= most && most < 2 * least, "{most} entries instead of {least}");
        let (start, children) = children(&own.parent);
        let mut size = vec![1usize; own.parent.len()];
        for f in 0..own.parent.len() {
            let p = own.parent[f];
            assert!(p == NONE || p as usize > f, "front {f} below {p}");
            // Branches of the children lie side by side right before their parent.
            let mut at = f;
            for &c in children[start[f] as usize..start[f + 1] as usize].iter().rev() {
                assert_eq!(c as usize + 1, at, "branches below front {f}");
                at -= size[c as usize];
                size[f] += size[c as usize];
            }
        }
        for (position, &p) in tree.parent.iter().enumerate() {
            assert!(p == NONE || p as usize > position, "parent {p} of {position} comes later");
        }
    }
}
