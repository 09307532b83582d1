//! Nested dissection by geometry: cut a part in two by few blocks, order the halves, put the cut last.
//!
//! Several straight cuts are tried; around the best ones a band of blocks is left free and the smallest set of
//! blocks that separates its two sides is found as a maximum flow (Menger: disjoint paths).
//! Sources: George 1973 (nested dissection), Dinic 1970 (flow), both from memory.

use super::LinearError;
use super::flow::Band;
use super::order::{Graph, minimum_degree};
use rayon::prelude::*;

/// Parts up to this size are ordered by minimum degree.
const LEAF: usize = 40;
/// Directions of straight cuts.
const DIRECTIONS: u32 = 8;
/// Straight cuts that are refined.
const REFINED: usize = 3;
/// Power of a cut's density in its cost: 0.05 to 1 order regular grids alike, 0 takes 1.7 times the work.
const DENSITY: f64 = 0.3;
/// Shortest length of a cut, in spreads of its part.
const SHORT: f64 = 0.1;
/// Parts above this size are ordered by two threads.
const FORK: usize = 1000;

/// A connected or loose piece of the graph with its own numbering.
struct Part {
    ids: Vec<u32>,
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
    dissect(Part { ids, places: places.to_vec(), graph: graph.clone() })
}

fn dissect(part: Part) -> Result<Vec<u32>, LinearError> {
    let n = part.ids.len();
    if n <= LEAF {
        return Ok(minimum_degree(&part.graph)?.iter().map(|&i| part.ids[i as usize]).collect());
    }
    let flat = flattened(&part.places);
    let sides = separate(&part.graph, &flat);
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
            places: kept.iter().map(|&i| self.places[i]).collect(),
            graph: Graph { start, neighbours },
        }
    }
}

/// The two axes along which the part is largest, each scaled by the part's spread along it.
///
/// Axes stay those of the board: on regular grids the cuts along rows and diagonals are the cheap ones, and
/// principal axes of a part would miss them.
fn flattened(places: &[[f64; 3]]) -> Vec<[f64; 2]> {
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
    places.iter().map(|p| [along(p, axes[0]), along(p, axes[1])]).collect()
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
fn separate(graph: &Graph, flat: &[[f64; 2]]) -> Vec<Side> {
    let n = flat.len();
    let straight = |k: u32| {
        let (sin, cos) = (std::f64::consts::PI * f64::from(k) / f64::from(DIRECTIONS)).sin_cos();
        let height: Vec<f64> = flat.iter().map(|p| cos * p[0] + sin * p[1]).collect();
        let mut rank: Vec<u32> = (0..super::factor::as_u32(n)).collect();
        let by_height = |a: &u32, b: &u32| height[*a as usize].total_cmp(&height[*b as usize]).then(a.cmp(b));
        rank.select_nth_unstable_by(n / 2, by_height);
        let mut sides = vec![Side::Right; n];
        for &i in &rank[..n / 2] {
            sides[i as usize] = Side::Left;
        }
        mark_boundary(graph, &mut sides);
        (cost(&sides, flat), k, sides, height)
    };
    let mut cuts: Vec<_> = if n > FORK {
        (0..DIRECTIONS).into_par_iter().map(straight).collect()
    } else {
        (0..DIRECTIONS).map(straight).collect()
    };
    cuts.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)));
    cuts.truncate(REFINED);
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
    let width = (25.0 / (n as f64).sqrt()).clamp(0.02, 0.15);
    #[expect(
        clippy::cast_precision_loss,
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        reason = "a share of a count is a count"
    )]
    let fixed = ((n as f64) * (0.5 - width)) as usize;
    let mut rank: Vec<u32> = (0..super::factor::as_u32(n)).collect();
    let by_height = |a: &u32, b: &u32| height[*a as usize].total_cmp(&height[*b as usize]).then(a.cmp(b));
    rank.select_nth_unstable_by(fixed, by_height);
    let mut sides = vec![Side::Cut; n];
    for &i in &rank[..fixed] {
        sides[i as usize] = Side::Left;
    }
    let above = n - 2 * fixed;
    rank[fixed..].select_nth_unstable_by(above, by_height);
    for &i in &rank[fixed + above..] {
        sides[i as usize] = Side::Right;
    }
    sides
}

/// Size of the cut, dearer the more the halves differ and the denser it is.
///
/// Density (blocks per length) counts because cuts are the later parts' boundaries, and those with few blocks
/// for their length bound more at equal size. It decides between ties, which regular grids are full of.
#[expect(clippy::cast_precision_loss, reason = "counts are far below 2^52")]
fn cost(sides: &[Side], flat: &[[f64; 2]]) -> f64 {
    let count = |side: Side| sides.iter().filter(|s| **s == side).count() as f64;
    let (left, right, cut) = (count(Side::Left), count(Side::Right), count(Side::Cut));
    if left.min(right) == 0.0 {
        return f64::INFINITY;
    }
    let extent = |k: usize| {
        let places = flat.iter().zip(sides).filter(|(_, s)| **s == Side::Cut).map(|(p, _)| p[k]);
        let (low, high) = places.fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), x| (l.min(x), h.max(x)));
        high - low
    };
    // Lengths are in spreads of the part; a cut of one block has none.
    let length = extent(0).hypot(extent(1)).clamp(SHORT, 1.0 / SHORT);
    cut * (cut / length).powf(DENSITY) * (1.0 + 2.0 * (left.max(right) / (left + right) - 0.5))
}
