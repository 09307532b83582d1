//! Sharp corners left whole for the refinement.
//!
//! No triangle in a corner sharper than the wished angle can be good. The refinement excuses such a triangle when its
//! short side spans two edges that meet in the corner, and splits both edges at the same distances from it (rings of
//! powers of two, Ruppert 1995). It must see both edges whole for that: points set on them beforehand would be taken
//! for corners of their own, and the triangles would shrink towards the corner without end.

use super::outline_edges::Split;
use super::size::SizeTree;
use crate::region::Point;

/// Corners sharper than this are left whole, rad (35 degrees).
const SHARP_RAD: f64 = 0.61;

/// Edges are left whole while closer together than this share of the wished side.
const APART_SHARE: f64 = 0.8;

/// Points on a straight edge: the way over the point is longer by at most this share.
const STRAIGHT: f64 = 1e-9;

/// The edges with the points inside sharp corners left out; `kept`: points that must stay.
pub(super) fn whole_corners(split: &Split, size: &SizeTree, kept: &[Point]) -> Split {
    let around = neighbours(split);
    let mut gone = vec![false; split.points.len()];
    let mut ends = vec![false; split.points.len()];
    let mut joined: Vec<([u32; 2], bool)> = Vec::new();
    for v in 0..split.points.len() {
        for (a, angle) in sharp_sides(split, &around, v) {
            let run = straight_run(split, &around, (v, a), |p, walked| {
                !kept.contains(&p) && walked * angle < APART_SHARE * size.at(p)
            });
            let (inner, last) = (&run[..run.len() - 1], run[run.len() - 1]);
            // A line may run from one sharp corner to another: its points go only once, its ends stay.
            let taken = inner.iter().any(|&i| gone[i as usize] || ends[i as usize]);
            if inner.is_empty() || taken || gone[last as usize] {
                continue;
            }
            (ends[v], ends[last as usize]) = (true, true);
            inner.iter().for_each(|&i| gone[i as usize] = true);
            let firm = around[v].iter().any(|&(n, edge)| n == a && split.firm[edge]);
            joined.push(([number(v), last], firm));
        }
    }
    without(split, &gone, &joined)
}

/// Corners where edges meet at a sharp angle, grid steps.
pub(super) fn sharp_corners(split: &Split) -> Vec<Point> {
    let around = neighbours(split);
    let sharp = (0..split.points.len()).filter(|&v| !sharp_sides(split, &around, v).is_empty());
    sharp.map(|v| split.points[v]).collect()
}

/// For every point its neighbours with the edge between.
fn neighbours(split: &Split) -> Vec<Vec<(u32, usize)>> {
    let mut around = vec![Vec::new(); split.points.len()];
    for (i, &[a, b]) in split.edges.iter().enumerate() {
        around[a as usize].push((b, i));
        around[b as usize].push((a, i));
    }
    around
}

/// Neighbours of `v` whose edge meets another one at a sharp angle, with that angle.
fn sharp_sides(split: &Split, around: &[Vec<(u32, usize)>], v: usize) -> Vec<(u32, f64)> {
    let p = split.points[v];
    let mut fan: Vec<(f64, u32)> = around[v]
        .iter()
        .map(|&(n, _)| (split.points[n as usize], n))
        .map(|(q, n)| ((q[1] - p[1]).atan2(q[0] - p[0]), n))
        .collect();
    fan.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)));
    let n = fan.len();
    if n < 2 {
        return Vec::new();
    }
    let to_next = |i: usize| (fan[(i + 1) % n].0 - fan[i].0).rem_euclid(std::f64::consts::TAU);
    (0..n)
        .map(|i| (fan[i].1, to_next(i).min(to_next((i + n - 1) % n))))
        .filter(|&(_, angle)| angle > 0.0 && angle < SHARP_RAD)
        .collect()
}

/// Points from `v` through `first` along a straight line, up to and including the first that must stay.
fn straight_run(
    split: &Split,
    around: &[Vec<(u32, usize)>],
    (v, first): (usize, u32),
    may_go: impl Fn(Point, f64) -> bool,
) -> Vec<u32> {
    let distance = |i: u32, j: u32| {
        let (p, q) = (split.points[i as usize], split.points[j as usize]);
        (p[0] - q[0]).hypot(p[1] - q[1])
    };
    let v = number(v);
    let (mut before, mut run) = (v, vec![first]);
    let mut walked = distance(v, first);
    loop {
        let here = run[run.len() - 1];
        let onward: Vec<u32> = around[here as usize].iter().map(|n| n.0).filter(|&n| n != before).collect();
        let &[next] = onward.as_slice() else { break };
        let step = distance(here, next);
        let bent = walked + step - distance(v, next) > STRAIGHT * (walked + step);
        if bent || next == v || !may_go(split.points[here as usize], walked) {
            break;
        }
        walked += step;
        before = here;
        run.push(next);
    }
    run
}

/// The split without some points; edges at them give way to the joined ones.
fn without(split: &Split, gone: &[bool], joined: &[([u32; 2], bool)]) -> Split {
    let mut out = Split::default();
    let mut new_of = vec![0; split.points.len()];
    for (i, &p) in split.points.iter().enumerate().filter(|(i, _)| !gone[*i]) {
        new_of[i] = number(out.points.len());
        out.points.push(p);
        out.direction.push(split.direction[i]);
    }
    for ((&[a, b], &arc), &firm) in split.edges.iter().zip(&split.arc_of_edge).zip(&split.firm) {
        if !gone[a as usize] && !gone[b as usize] {
            out.edges.push([new_of[a as usize], new_of[b as usize]]);
            out.arc_of_edge.push(arc);
            out.firm.push(firm);
        }
    }
    for &([a, b], firm) in joined {
        out.edges.push([new_of[a as usize], new_of[b as usize]]);
        out.arc_of_edge.push(None);
        out.firm.push(firm);
    }
    out
}

#[expect(clippy::cast_possible_truncation, reason = "points are capped far below 2^32")]
fn number(i: usize) -> u32 {
    i as u32
}
