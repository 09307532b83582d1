//! Points added until no angle is too small.
//!
//! A triangle with too small an angle gets a point on the bisector of its shortest side, at the centre of its circle
//! or nearer (Ungor 2004, "off-centre"). When a piece of a plan edge is in the way, or the point would lie close
//! in front of it, that piece is split instead (Ruppert 1995, Chew 1993), on its true arc if it follows one.
//! The tips of narrow corners (see the room next door, `corners`) are never touched: both their sides have the same
//! length and stay whole, so that what is left of the plan has no narrow corner and the refinement ends.

mod net;
mod smooth;

use std::cmp::Reverse;
use std::collections::BinaryHeap;

use super::outline_edges::Arcs;
use crate::region::Point;
use net::{Walk, square, turn};

pub(super) use net::{NONE, Net};
pub(super) use smooth::smooth;

/// Pieces of plan edges shorter than this are not split, grid steps.
const SHORTEST_SPLIT: f64 = 2.0;

/// A point that sees a piece of a plan edge under a larger angle than this splits it instead: cosine of 120 degrees.
const LENS: f64 = -0.5;

/// A plan edge, or the base of a tip.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct PlanEdge {
    /// The arc it follows.
    pub(super) arc: Option<u32>,
    /// Never split: a side or the base of a tip.
    pub(super) whole: bool,
    /// The base of a tip: keeps points out of the tip, but is no edge of the plan.
    pub(super) base: bool,
}

/// What the refinement must know besides the net.
#[derive(Debug)]
pub(super) struct Rules<'a> {
    /// Plan edges by number.
    pub(super) edges: &'a [PlanEdge],
    /// True arcs.
    pub(super) arcs: &'a Arcs,
    /// Smallest angle asked for, rad.
    pub(super) limit_rad: f64,
    /// Points that must not move.
    pub(super) fixed: &'a [bool],
}

/// A bad triangle in the queue: square of its shortest side (as sortable bits), number, corners when it was entered.
type Bad = Reverse<(u64, u32, [u32; 3])>;

impl Rules<'_> {
    /// The shortest side of a triangle, if the angle opposite is below the limit and not a narrow corner's own.
    fn fault(&self, net: &Net, t: u32) -> Option<usize> {
        let p = net.places(t);
        let sides = [square(p[0], p[1]), square(p[1], p[2]), square(p[2], p[0])];
        let k = (0..3).min_by(|&i, &j| sides[i].total_cmp(&sides[j])).unwrap_or(0);
        let (c, a, b) = (sides[k], sides[(k + 1) % 3], sides[(k + 2) % 3]);
        let cos = (a + b - c) / (2.0 * (a * b).sqrt());
        (cos > self.limit_rad.cos() && !self.is_tip(net, t, k)).then_some(k)
    }

    /// Whether the two sides that meet opposite side `k` are plan edges.
    fn is_tip(&self, net: &Net, t: u32, k: usize) -> bool {
        [1, 2].iter().all(|d| {
            let e = net.edge[t as usize][(k + d) % 3];
            e != NONE && !self.edges[e as usize].base
        })
    }

    fn is_whole(&self, net: &Net, t: u32, k: usize) -> bool {
        let e = net.edge[t as usize][k];
        let p = net.places(t);
        e == NONE
            || self.edges[e as usize].whole
            || square(p[k], p[(k + 1) % 3]) < SHORTEST_SPLIT * SHORTEST_SPLIT
    }

    /// Splits side `k` of `t`, a piece of a plan edge, in the middle.
    fn split(&self, net: &mut Net, t: u32, k: usize) -> bool {
        let p = net.places(t);
        let (a, b) = (p[k], p[(k + 1) % 3]);
        let middle = [0, 1].map(|i| 0.5 * (a[i] + b[i]));
        let arc = self.edges[net.edge[t as usize][k] as usize].arc;
        let reach = 0.25 * square(a, b).sqrt();
        let on = arc.and_then(|k| self.arcs.on(k, middle, reach));
        on.is_some_and(|q| net.split_side(t, k, q).is_some()) || net.split_side(t, k, middle).is_some()
    }
}

/// Place of the new point for a triangle whose shortest side is `k`.
fn new_place(p: [Point; 3], k: usize, limit_rad: f64) -> Point {
    let (a, b, c) = (p[k], p[(k + 1) % 3], p[(k + 2) % 3]);
    let middle = [0, 1].map(|i| 0.5 * (a[i] + b[i]));
    let (x, y) = (b[0] - a[0], b[1] - a[1]);
    let base2 = x * x + y * y;
    // Height of the circle's centre over the side, in sides: from the angle opposite.
    let (u, v) = ([a[0] - c[0], a[1] - c[1]], [b[0] - c[0], b[1] - c[1]]);
    let cross = u[0] * v[1] - u[1] * v[0];
    let centre = 0.5 * (u[0] * v[0] + u[1] * v[1]) / cross;
    // A triangle over the side with this height has a little more than the wished angle at its top.
    let most = 0.475 / (0.5 * limit_rad).tan();
    let height = if base2 > 0.0 { centre.min(most) } else { 0.0 };
    [middle[0] - height * y, middle[1] + height * x]
}

/// Adds points until every angle is as large as asked, tips apart; false when `most` points did not suffice.
pub(super) fn refine(net: &mut Net, rules: &Rules<'_>, most: usize) -> bool {
    let mut queue: BinaryHeap<Bad> = BinaryHeap::new();
    net.changed = (0_u32..).take(net.corners.len()).collect();
    enter(net, rules, &mut queue);
    while let Some(Reverse((_, t, corners))) = queue.pop() {
        if net.corners[t as usize] != corners {
            continue;
        }
        if net.points.len() >= most {
            return false;
        }
        let Some(k) = rules.fault(net, t) else { continue };
        let changed = mend(net, rules, t, k);
        enter(net, rules, &mut queue);
        if changed && net.corners[t as usize] == corners && !net.changed.contains(&t) {
            push(net, rules, &mut queue, t);
        }
    }
    true
}

fn push(net: &Net, rules: &Rules<'_>, queue: &mut BinaryHeap<Bad>, t: u32) {
    if let Some(k) = rules.fault(net, t) {
        let p = net.places(t);
        queue.push(Reverse((square(p[k], p[(k + 1) % 3]).to_bits(), t, net.corners[t as usize])));
    }
}

/// Enters all changed triangles that are bad.
fn enter(net: &mut Net, rules: &Rules<'_>, queue: &mut BinaryHeap<Bad>) {
    let mut changed = std::mem::take(&mut net.changed);
    changed.sort_unstable();
    changed.dedup();
    for t in changed {
        push(net, rules, queue, t);
    }
}

/// One point for a bad triangle; false when there is no good place for one.
fn mend(net: &mut Net, rules: &Rules<'_>, t: u32, k: usize) -> bool {
    let target = new_place(net.places(t), k, rules.limit_rad);
    if !target.iter().all(|v| v.is_finite()) {
        return false;
    }
    match net.walk(t, target) {
        Walk::At(u, j) => !rules.is_whole(net, u, j) && rules.split(net, u, j),
        Walk::In(u) => {
            let close = too_close(net, u, target);
            if close.is_empty() {
                if smallest_new(net, u, target) <= 0.0 {
                    return false;
                }
                net.split_triangle(u, target);
                return true;
            }
            let splits = close.into_iter().find(|&(u, j)| !rules.is_whole(net, u, j));
            splits.is_some_and(|(u, j)| rules.split(net, u, j))
        }
    }
}

/// Least (twice) area of the triangles that `p` would make of triangle `t`, in its own measure.
fn smallest_new(net: &Net, t: u32, p: Point) -> f64 {
    let q = net.places(t);
    (0..3)
        .map(|k| turn(q[k], q[(k + 1) % 3], p) - 1e-9 * square(q[k], q[(k + 1) % 3]))
        .fold(f64::INFINITY, f64::min)
}

/// Pieces of plan edges close in front of which a new point in triangle `t` would lie, longest first.
fn too_close(net: &Net, t: u32, p: Point) -> Vec<(u32, usize)> {
    // All triangles whose circle holds the new point would change.
    let (mut hole, mut i) = (vec![t], 0);
    let mut found: Vec<(f64, u32, usize)> = Vec::new();
    while i < hole.len() {
        let here = hole[i];
        i += 1;
        for k in 0..3 {
            let q = net.places(here);
            let (a, b) = (q[k], q[(k + 1) % 3]);
            if net.edge[here as usize][k] != NONE {
                let (u, v) = ([a[0] - p[0], a[1] - p[1]], [b[0] - p[0], b[1] - p[1]]);
                let cos = (u[0] * v[0] + u[1] * v[1]) / (square(a, p) * square(b, p)).sqrt();
                if cos < LENS {
                    found.push((square(a, b), here, k));
                }
                continue;
            }
            let next = net.beyond[here as usize][k];
            if next != NONE && !hole.contains(&next) && net::in_circle(net.places(next), p) {
                hole.push(next);
            }
        }
    }
    found.sort_by(|x, y| y.0.total_cmp(&x.0).then(x.1.cmp(&y.1)).then(x.2.cmp(&y.2)));
    found.into_iter().map(|f| (f.1, f.2)).collect()
}
