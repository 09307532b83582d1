//! The last touch: points moved and sides turned where that makes the smallest angle around larger, never otherwise.

use super::Rules;
use super::net::{NONE, Net};
use crate::region::Point;
use crate::triangulate::shape::smallest_angle;

/// Rounds over all bad triangles.
const ROUNDS: u32 = 12;

/// A point moves only when the smallest angle around it grows by at least this, rad.
const WORTH_RAD: f64 = 1e-4;

/// Moves points of bad triangles and turns their sides, for better only.
pub(in super::super) fn smooth(net: &mut Net, rules: &Rules<'_>) {
    let mut suspects: Vec<u32> = (0_u32..).take(net.corners.len()).collect();
    for _ in 0..ROUNDS {
        let mut bad: Vec<(f64, u32)> = suspects
            .iter()
            .filter(|&&t| rules.fault(net, t).is_some())
            .map(|&t| (smallest_angle(net.places(t)), t))
            .collect();
        if bad.is_empty() {
            return;
        }
        bad.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)));
        net.changed.clear();
        for &(_, t) in &bad {
            if rules.fault(net, t).is_some() {
                better(net, rules, t);
            }
        }
        if net.changed.is_empty() {
            return;
        }
        suspects = std::mem::take(&mut net.changed);
        suspects.extend(bad.into_iter().map(|b| b.1));
        suspects.sort_unstable();
        suspects.dedup();
    }
}

/// Turns sides or moves corners of one triangle while that helps.
fn better(net: &mut Net, rules: &Rules<'_>, t: u32) {
    for k in 0..3 {
        if turn_if_better(net, t, k) {
            return;
        }
    }
    for v in net.corners[t as usize] {
        if move_if_better(net, rules, v) && rules.fault(net, t).is_none() {
            return;
        }
    }
}

/// Turns side `k` of `t` if the smaller angle of the two triangles grows.
fn turn_if_better(net: &mut Net, t: u32, k: usize) -> bool {
    let Some((u, j)) = net.across(t, k) else { return false };
    if net.edge[t as usize][k] != NONE {
        return false;
    }
    let before = smallest_angle(net.places(t)).min(smallest_angle(net.places(u)));
    let [a, b, c] = [k, k + 1, k + 2].map(|i| net.places(t)[i % 3]);
    let d = net.places(u)[(j + 2) % 3];
    let after = smallest_angle([a, d, c]).min(smallest_angle([d, b, c]));
    after > before + WORTH_RAD && net.turn_side(t, k)
}

/// Where a point may go.
enum Freedom {
    /// Anywhere.
    Free,
    /// On the segment between two points.
    Along(Point, Point),
    /// On an arc between two points.
    Arc(u32, Point, Point),
    Fixed,
}

fn freedom(net: &Net, rules: &Rules<'_>, v: u32, star: &[u32]) -> Freedom {
    if rules.fixed.get(v as usize).copied().unwrap_or(false) {
        return Freedom::Fixed;
    }
    let mut ends: Vec<(u32, u32)> = Vec::new();
    for &t in star {
        let Some(i) = net.corner_of(t, v) else { continue };
        for (side, end) in [(i, (i + 1) % 3), ((i + 2) % 3, (i + 2) % 3)] {
            let e = net.edge[t as usize][side];
            let end = net.corners[t as usize][end];
            if e != NONE && !ends.iter().any(|x| x.0 == end) {
                ends.push((end, e));
            } else if e == NONE && net.beyond[t as usize][side] == NONE {
                return Freedom::Fixed;
            }
        }
    }
    let edge = |i: usize| rules.edges[ends[i].1 as usize];
    match ends.len() {
        0 => Freedom::Free,
        2 if !edge(0).whole && !edge(1).whole => {
            let [a, b] = [0, 1].map(|i| net.points[ends[i].0 as usize]);
            let p = net.points[v as usize];
            let length = |x: Point, y: Point| (x[0] - y[0]).hypot(x[1] - y[1]);
            match (edge(0).arc, edge(1).arc) {
                (Some(k), Some(l)) if k == l && rules.arcs.on(k, p, 1e-6).is_some() => Freedom::Arc(k, a, b),
                (None, None) if length(a, p) + length(p, b) < length(a, b) * (1.0 + 1e-12) => {
                    Freedom::Along(a, b)
                }
                _ => Freedom::Fixed,
            }
        }
        _ => Freedom::Fixed,
    }
}

fn worst(net: &Net, star: &[u32]) -> f64 {
    star.iter().map(|&t| smallest_angle(net.places(t))).fold(f64::INFINITY, f64::min)
}

/// Moves one point to where the smallest angle around it is largest, by a search with shrinking steps.
pub(super) fn move_if_better(net: &mut Net, rules: &Rules<'_>, v: u32) -> bool {
    let star = net.star(v);
    let room = freedom(net, rules, v, &star);
    let start = net.points[v as usize];
    let before = worst(net, &star);
    let mut best = (before, start);
    let mut step = reach(net, v, &star) * 0.3;
    for _ in 0..24 {
        let tries: Vec<Point> = match room {
            Freedom::Fixed => return false,
            Freedom::Free => (0..8_u8)
                .map(|k| {
                    let (s, c) = (f64::from(k) * std::f64::consts::FRAC_PI_4).sin_cos();
                    [best.1[0] + step * c, best.1[1] + step * s]
                })
                .collect(),
            Freedom::Along(a, b) => along(best.1, (a, b), step),
            Freedom::Arc(k, a, b) => {
                along(best.1, (a, b), step).into_iter().filter_map(|p| rules.arcs.on(k, p, step)).collect()
            }
        };
        let mut found = false;
        for p in tries {
            net.points[v as usize] = p;
            let here = worst(net, &star);
            if here > best.0 + 1e-9 {
                best = (here, p);
                found = true;
            }
        }
        if !found {
            step *= 0.5;
        }
    }
    if best.0 > before + WORTH_RAD {
        net.points[v as usize] = best.1;
        net.changed.extend(star);
        return true;
    }
    net.points[v as usize] = start;
    false
}

/// The two places a step away between two points that stay.
fn along(p: Point, (a, b): (Point, Point), step: f64) -> Vec<Point> {
    let d = [b[0] - a[0], b[1] - a[1]];
    let length2 = d[0] * d[0] + d[1] * d[1];
    let t = ((p[0] - a[0]) * d[0] + (p[1] - a[1]) * d[1]) / length2;
    let dt = step / length2.sqrt();
    [t - dt, t + dt]
        .into_iter()
        .filter(|t| (0.05..=0.95).contains(t))
        .map(|t| [a[0] + t * d[0], a[1] + t * d[1]])
        .collect()
}

/// Longest side at a point.
fn reach(net: &Net, v: u32, star: &[u32]) -> f64 {
    let p = net.points[v as usize];
    star.iter().flat_map(|&t| net.places(t)).map(|q| (q[0] - p[0]).hypot(q[1] - p[1])).fold(0.0, f64::max)
}
