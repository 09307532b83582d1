//! Nested dissection by geometry: cut a part in two by few blocks, order the halves, put the cut last.
//!
//! Several straight cuts are tried; around the best ones a band of blocks is left free and the smallest set of
//! blocks that separates its two sides is found as a maximum flow (Menger: disjoint paths).
//! Source: George 1973 (nested dissection), from memory.

use super::LinearError;
use super::flow::Band;
use super::order::{Graph, minimum_degree};
use rayon::prelude::*;

/// Parts up to this size are ordered by minimum degree.
const LEAF: usize = 80;
/// Directions of straight cuts in axes scaled by the part's spreads; two more are the diagonals of the mesh.
const DIRECTIONS: u32 = 4;
/// Straight cuts that are refined at most, and how much dearer than the cheapest they may be.
const REFINED: usize = 3;
const DEARER: f64 = 1.2;
/// Share of the blocks on either side of the median that the flow may move the cut through, at most.
const BAND: f64 = 0.1;
/// Weight of unequal halves in the cost of a cut: 2 takes a sixth more work on square grids.
const UNEQUAL: f64 = 0.5;
/// Power of a cut's density in its cost: 0.05 to 1 order regular grids alike, 0 takes 1.7 times the work.
const DENSITY: f64 = 0.3;
/// Shortest length of a cut, in spreads of its part.
const SHORT: f64 = 0.1;
/// Parts above this size are ordered by two threads.
const FORK: usize = 1000;

/// A connected or loose piece of the graph with its own numbering.
struct Part {
    ids: Vec<u32>,
    /// Mean length of the graph's edges along each axis.
    steps: [f64; 3],
    places: Vec<[f64; 3]>,
    graph: Graph,
}

/// Side of each block of a part.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Side {
    Left,
    Right,
    Cut,
}

/// Order of all blocks, position to block. `places`: position of each block.
pub(super) fn order(graph: &Graph, places: &[[f64; 3]]) -> Result<Vec<u32>, LinearError> {
    let ids = (0..super::factor::as_u32(graph.len())).collect();
    dissect(Part { ids, steps: steps(graph, places), places: places.to_vec(), graph: graph.clone() })
}

fn dissect(part: Part) -> Result<Vec<u32>, LinearError> {
    let n = part.ids.len();
    if n <= LEAF {
        return Ok(minimum_degree(&part.graph)?.iter().map(|&i| part.ids[i as usize]).collect());
    }
    let (flat, steps) = flattened(&part.places, part.steps);
    let sides = separate(&part.graph, &flat, steps);
    let mut cut: Vec<u32> = (0u32..).zip(&sides).filter(|(_, s)| **s == Side::Cut).map(|(i, _)| i).collect();
    sort_along(&mut cut, &flat);
    let (left, right) = (part.half(&sides, Side::Left), part.half(&sides, Side::Right));
    let ids = part.ids;
    drop((part.places, part.graph, flat, sides));
    let (first, second) = if n > FORK {
        rayon::join(|| dissect(left), || dissect(right))
    } else {
        (dissect(left), dissect(right))
    };
    let mut order = first?;
    order.extend(second?);
    order.extend(cut.iter().map(|&i| ids[i as usize]));
    Ok(order)
}

impl Part {
    fn half(&self, sides: &[Side], side: Side) -> Self {
        let mut new = vec![u32::MAX; sides.len()];
        let mut kept = Vec::new();
        for (i, _) in sides.iter().enumerate().filter(|(_, s)| **s == side) {
            new[i] = super::factor::as_u32(kept.len());
            kept.push(i);
        }
        let mut start = Vec::with_capacity(kept.len() + 1);
        let mut neighbours = Vec::with_capacity(self.graph.neighbours.len() / 2);
        start.push(0);
        for &i in &kept {
            neighbours.extend(self.graph.of(i).iter().map(|&j| new[j as usize]).filter(|&j| j != u32::MAX));
            start.push(super::factor::as_u32(neighbours.len()));
        }
        Self {
            ids: kept.iter().map(|&i| self.ids[i]).collect(),
            steps: self.steps,
            places: kept.iter().map(|&i| self.places[i]).collect(),
            graph: Graph { start, neighbours },
        }
    }
}

/// The two axes along which the part is largest, each scaled by the part's spread along it.
///
/// Axes stay those of the board: on regular grids the cuts along rows and diagonals are the cheap ones, and
/// principal axes of a part would miss them.
fn flattened(places: &[[f64; 3]], steps: [f64; 3]) -> (Vec<[f64; 2]>, [f64; 2]) {
    #[expect(clippy::cast_precision_loss, reason = "counts are far below 2^52")]
    let count = places.len() as f64;
    let spread: [(f64, f64); 3] = std::array::from_fn(|k| {
        let mean = places.iter().map(|p| p[k]).sum::<f64>() / count;
        (mean, (places.iter().map(|p| (p[k] - mean).powi(2)).sum::<f64>() / count).sqrt())
    });
    let mut axes = [0, 1, 2];
    axes.sort_by(|&a, &b| spread[b].1.total_cmp(&spread[a].1).then(a.cmp(&b)));
    let along = |p: &[f64; 3], k: usize| {
        let (mean, size) = spread[k];
        if size > 0.0 { (p[k] - mean) / size } else { 0.0 }
    };
    let scaled = |k: usize| if spread[k].1 > 0.0 { steps[k] / spread[k].1 } else { 0.0 };
    let flat = places.iter().map(|p| [along(p, axes[0]), along(p, axes[1])]).collect();
    (flat, [scaled(axes[0]), scaled(axes[1])])
}

/// Mean length of the edges along each axis.
fn steps(graph: &Graph, places: &[[f64; 3]]) -> [f64; 3] {
    let mut sums = [0.0; 3];
    for (i, p) in places.iter().enumerate() {
        for &j in graph.of(i) {
            let q = &places[j as usize];
            (0..3).for_each(|k| sums[k] += (p[k] - q[k]).abs());
        }
    }
    sums
}

/// Blocks of a cut in order along its longer extent, so that they meet long runs of the rows above.
fn sort_along(cut: &mut [u32], flat: &[[f64; 2]]) {
    let extent = |k: usize| {
        let values = cut.iter().map(|&i| flat[i as usize][k]);
        let (low, high) = values.fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), x| (l.min(x), h.max(x)));
        high - low
    };
    let k = usize::from(extent(1) > extent(0));
    cut.sort_by(|&a, &b| flat[a as usize][k].total_cmp(&flat[b as usize][k]).then(a.cmp(&b)));
}

/// Assigns every block of a part to a half or the cut between them.
fn separate(graph: &Graph, flat: &[[f64; 2]], steps: [f64; 2]) -> Vec<Side> {
    let n = flat.len();
    let straight = |k: u32| {
        let height = heights(flat, steps, k);
        let mut sides = vec![Side::Right; n];
        let [middle] = thresholds(&height, [n / 2]);
        lowest(&height, middle, n / 2, |i| sides[i] = Side::Left);
        mark_boundary(graph, &mut sides);
        (cost(&sides, flat), k, sides, height)
    };
    let all = DIRECTIONS + 2;
    let mut cuts: Vec<_> = if n > FORK {
        (0..all).into_par_iter().map(straight).collect()
    } else {
        (0..all).map(straight).collect()
    };
    cuts.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)));
    cuts.truncate(REFINED);
    let limit = DEARER * cuts[0].0;
    cuts.retain(|cut| cut.0 <= limit);
    let refined = |(raw, _, sides, height): &(f64, u32, Vec<Side>, Vec<f64>)| {
        let mut best = (*raw, sides.clone());
        for candidate in Band::new(graph, &banded(height)).into_iter().flat_map(Band::cuts) {
            let price = cost(&candidate, flat);
            if price < best.0 {
                best = (price, candidate);
            }
        }
        best
    };
    let candidates: Vec<(f64, Vec<Side>)> =
        if n > FORK { cuts.par_iter().map(refined).collect() } else { cuts.iter().map(refined).collect() };
    let best = candidates.into_iter().min_by(|a, b| a.0.total_cmp(&b.0));
    best.map_or_else(Vec::new, |(_, sides)| sides)
}

/// Places of all blocks across the k-th direction of cuts.
fn heights(flat: &[[f64; 2]], steps: [f64; 2], k: u32) -> Vec<f64> {
    let [a, b] = if k < DIRECTIONS {
        let (sin, cos) = (std::f64::consts::PI * f64::from(k) / f64::from(DIRECTIONS)).sin_cos();
        [cos, sin]
    } else {
        let sign = if k == DIRECTIONS { 1.0 } else { -1.0 };
        [steps[1], sign * steps[0]]
    };
    flat.iter().map(|p| a * p[0] + b * p[1]).collect()
}

/// The values of rank `ranks`, ascending ranks.
fn thresholds<const N: usize>(height: &[f64], ranks: [usize; N]) -> [f64; N] {
    let mut sorted = height.to_vec();
    let mut from = 0;
    ranks.map(|rank| {
        if rank >= sorted.len() {
            return f64::INFINITY;
        }
        let (_, value, _) = sorted[from..].select_nth_unstable_by(rank - from, f64::total_cmp);
        let value = *value;
        from = rank;
        value
    })
}

/// Visits the `count` lowest blocks, of equal ones the first; `limit`: the height of that rank.
fn lowest(height: &[f64], limit: f64, count: usize, mut visit: impl FnMut(usize)) {
    let below = height.iter().filter(|h| h.total_cmp(&limit).is_lt()).count();
    let mut ties = count.saturating_sub(below);
    for (i, h) in height.iter().enumerate() {
        match h.total_cmp(&limit) {
            std::cmp::Ordering::Less => visit(i),
            std::cmp::Ordering::Equal if ties > 0 => {
                ties -= 1;
                visit(i);
            }
            _ => {}
        }
    }
}

/// Moves the blocks of one half that touch the other into the cut, from the half where they are fewer.
fn mark_boundary(graph: &Graph, sides: &mut [Side]) {
    let touching = |own: Side, other: Side| -> Vec<usize> {
        let touches = |i: &usize| graph.of(*i).iter().any(|&j| sides[j as usize] == other);
        (0..sides.len()).filter(|&i| sides[i] == own).filter(touches).collect()
    };
    let (left, right) = (touching(Side::Left, Side::Right), touching(Side::Right, Side::Left));
    for i in if right.len() < left.len() { right } else { left } {
        sides[i] = Side::Cut;
    }
}

/// Lowest and highest blocks fixed to the halves, the middle left to the flow.
fn banded(height: &[f64]) -> Vec<Side> {
    let n = height.len();
    #[expect(clippy::cast_precision_loss, reason = "counts are far below 2^52")]
    let width = (25.0 / (n as f64).sqrt()).clamp(0.02, BAND);
    #[expect(
        clippy::cast_precision_loss,
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        reason = "a share of a count is a count"
    )]
    let fixed = ((n as f64) * (0.5 - width)) as usize;
    let [low, high] = thresholds(height, [fixed, n - fixed]);
    let mut sides = vec![Side::Right; n];
    lowest(height, high, n - fixed, |i| sides[i] = Side::Cut);
    lowest(height, low, fixed, |i| sides[i] = Side::Left);
    sides
}

/// Size of the cut, dearer the more the halves differ and the denser it is.
///
/// Density (blocks per length) counts because cuts are the later parts' boundaries, and those with few blocks
/// for their length bound more at equal size. It decides between ties, which regular grids are full of.
#[expect(clippy::cast_precision_loss, reason = "counts are far below 2^52")]
fn cost(sides: &[Side], flat: &[[f64; 2]]) -> f64 {
    let mut counts = [0usize; 3];
    let mut corners = [[f64::INFINITY, f64::NEG_INFINITY]; 2];
    for (side, p) in sides.iter().zip(flat) {
        counts[*side as usize] += 1;
        if *side == Side::Cut {
            for k in 0..2 {
                corners[k] = [corners[k][0].min(p[k]), corners[k][1].max(p[k])];
            }
        }
    }
    let [left, right, cut] = counts.map(|c| c as f64);
    if left.min(right) == 0.0 {
        return f64::INFINITY;
    }
    let extent = |k: usize| corners[k][1] - corners[k][0];
    // Lengths are in spreads of the part; a cut of one block has none.
    let length = extent(0).hypot(extent(1)).clamp(SHORT, 1.0 / SHORT);
    cut * (cut / length).powf(DENSITY) * (1.0 + UNEQUAL * (left.max(right) / (left + right) - 0.5))
}
