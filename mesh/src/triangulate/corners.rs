//! Narrow corners made ready for the refinement.
//!
//! No refinement ends at a corner narrower than 60 degrees when the sides of the corner may be split freely: a point
//! on one side asks for one on the other, nearer to the corner, and so on. So both sides get a point at the same
//! distance from the corner, and the triangle between (the tip) is left as it is from then on: its own smallest angle
//! is the corner's, and beyond its base no corner is narrow (Ruppert 1995; Pav and Walkington 2005).

use super::outline_edges::{Arcs, Split};
use super::size::SizeTree;
use super::web::{Web, number};
use crate::region::buckets::Buckets;
use crate::region::{Point, to_segment};

/// Corners narrower than this get a tip, rad (60 degrees).
const NARROW_RAD: f64 = std::f64::consts::FRAC_PI_3;

/// Sides of a tip: at most this share of the stretch of edge they lie on, so that two tips on one edge keep apart ...
const OF_EDGE: f64 = 0.38;

/// ... and at most this share of the distance to anything else.
const OF_ROOM: f64 = 0.6;

/// Points on an edge nearer to the corner than this, in sides of the tip, give way.
const CLEARED: f64 = 1.3;

/// Shortest side of a tip, grid steps.
const SHORTEST: f64 = 1.5;

/// Points on a straight edge: the way over the point is longer by at most this share.
const STRAIGHT: f64 = 1e-9;

/// Edges with the points of all tips on them.
#[derive(Debug, Default)]
pub(super) struct Seated {
    /// The edges.
    pub(super) split: Split,
    /// Tips: corner, then the ends of the base, counter-clockwise.
    pub(super) tips: Vec<[u32; 3]>,
}

/// One edge at a corner.
struct Side {
    /// Points along the straight stretch, up to and including the first that must stay.
    run: Vec<u32>,
    length: f64,
}

/// Sides of one corner, joined by narrow angles.
struct Corner {
    at: u32,
    sides: Vec<Side>,
    /// Pairs of sides with the part between them, counter-clockwise.
    wedges: Vec<[usize; 2]>,
}

/// Gives every narrow corner its tips; `kept`: points that must stay; `inside`: whether a place belongs to the part.
pub(super) fn seat(
    split: &Split,
    (size, arcs): (&SizeTree, &Arcs),
    kept: &[Point],
    inside: impl Fn(Point) -> bool,
) -> Seated {
    let mut web = Web::new(split, arcs, kept);
    let corners: Vec<Corner> =
        (0..number(split.points.len())).flat_map(|v| corners_at(&web, v, size, &inside)).collect();
    let lines: Vec<[Point; 2]> = split.edges.iter().map(|e| e.map(|i| split.points[i as usize])).collect();
    let index = Buckets::of_segments(&lines, 0.0);
    let ready: Vec<(Corner, f64)> = corners
        .into_iter()
        .map(|c| {
            let radius = radius(&web, &c, size, (split, &lines, &index));
            (c, radius)
        })
        .filter(|&(_, radius)| radius >= SHORTEST)
        .collect();
    for (corner, radius) in &ready {
        clear(&mut web, corner, *radius);
    }
    let mut tips = Vec::new();
    for (corner, radius) in &ready {
        let ends: Option<Vec<u32>> =
            corner.sides.iter().map(|side| seat_side(&mut web, corner.at, side, *radius)).collect();
        if let Some(ends) = ends {
            tips.extend(corner.wedges.iter().map(|w| [corner.at, ends[w[0]], ends[w[1]]]));
        }
    }
    let (split, new_of) = web.finish();
    let tips = tips.into_iter().map(|t| t.map(|i| new_of[i as usize])).collect();
    Seated { split, tips }
}

/// Narrow corners at a point: groups of neighbouring edges less than 60 degrees apart, inside the part.
fn corners_at(web: &Web<'_>, v: u32, size: &SizeTree, inside: &impl Fn(Point) -> bool) -> Vec<Corner> {
    let (p, fan) = (web.at(v), web.fan(v));
    let n = fan.len();
    if n < 2 {
        return Vec::new();
    }
    let narrow = |i: usize| {
        let (a, b) = (fan[i], fan[(i + 1) % n]);
        let angle = (b.0 - a.0).rem_euclid(std::f64::consts::TAU);
        let near = 0.5 * web.length(v, a.1).min(web.length(v, b.1));
        let (s, c) = (a.0 + 0.5 * angle).sin_cos();
        angle > 0.0 && angle < NARROW_RAD && inside([p[0] + near * c, p[1] + near * s])
    };
    let wedge: Vec<bool> = (0..n).map(narrow).collect();
    let Some(gap) = (0..n).find(|&i| !wedge[i]) else { return Vec::new() };
    let mut out: Vec<Corner> = Vec::new();
    for i in (1..n).map(|d| (gap + d) % n).filter(|&i| wedge[i]) {
        let joins = out.last().is_some_and(|c| c.sides.last().is_some_and(|s| s.run[0] == fan[i].1));
        if !joins {
            out.push(Corner { at: v, sides: vec![side(web, v, fan[i].1, size)], wedges: vec![] });
        }
        if let Some(c) = out.last_mut() {
            c.wedges.push([c.sides.len() - 1, c.sides.len()]);
            c.sides.push(side(web, v, fan[(i + 1) % n].1, size));
        }
    }
    out
}

/// The straight stretch from `v` through `first`, no further than three triangle sides.
fn side(web: &Web<'_>, v: u32, first: u32, size: &SizeTree) -> Side {
    let (mut before, mut run) = (v, vec![first]);
    let mut walked = web.length(v, first);
    let far = 3.0 * size.at(web.at(v));
    loop {
        let here = run[run.len() - 1];
        let onward: Vec<u32> = web.around[here as usize].iter().copied().filter(|&n| n != before).collect();
        let &[next] = onward.as_slice() else { break };
        let step = web.length(here, next);
        let bent = walked + step - web.length(v, next) > STRAIGHT * (walked + step);
        if bent || next == v || web.kept[here as usize] || walked > far {
            break;
        }
        walked += step;
        before = here;
        run.push(next);
    }
    Side { run, length: walked }
}

/// Length of the sides of a corner's tips: one triangle side, less where the edges are short or others are near.
fn radius(
    web: &Web<'_>,
    corner: &Corner,
    size: &SizeTree,
    (split, lines, index): (&Split, &[[Point; 2]], &Buckets),
) -> f64 {
    let p = web.at(corner.at);
    let own = |v: u32| v == corner.at || corner.sides.iter().any(|s| s.run.contains(&v));
    let mut radius = size.at(p);
    for side in &corner.sides {
        radius = radius.min(OF_EDGE * side.length);
    }
    let reach = radius / OF_ROOM;
    for i in index.in_box([p[0] - reach, p[1] - reach], [p[0] + reach, p[1] + reach]) {
        if !split.edges[i as usize].iter().any(|&v| own(v)) {
            let [a, b] = lines[i as usize];
            radius = radius.min(OF_ROOM * to_segment(p, a, b).0);
        }
    }
    radius
}

/// Takes out the points on the straight stretches close to where the tips end.
fn clear(web: &mut Web<'_>, corner: &Corner, radius: f64) {
    for side in &corner.sides {
        for &i in &side.run[..side.run.len() - 1] {
            if web.length(corner.at, i) > CLEARED * radius {
                break;
            }
            if let &[a, b] = web.around[i as usize].as_slice()
                && let (Some(info), Some(_)) = (web.part(a, i), web.part(i, b))
            {
                web.join(a, b, info);
            }
        }
    }
}

/// Puts a point on one side at the radius.
fn seat_side(web: &mut Web<'_>, v: u32, side: &Side, radius: f64) -> Option<u32> {
    let (p, q) = (web.at(v), web.at(*side.run.last()?));
    let whole = [q[0] - p[0], q[1] - p[1]];
    // The stretch may have got points of its own from its other end: the neighbour in its direction is meant.
    let off = |n: u32| {
        let d = web.at(n);
        let d = [d[0] - p[0], d[1] - p[1]];
        (d[0] * whole[1] - d[1] * whole[0]).atan2(d[0] * whole[0] + d[1] * whole[1]).abs()
    };
    let next = web.around[v as usize].iter().copied().min_by(|&a, &b| off(a).total_cmp(&off(b)))?;
    let (far, length) = (web.at(next), web.length(v, next));
    if length <= radius {
        return None;
    }
    let t = radius / length;
    web.insert([v, next], [p[0] + t * (far[0] - p[0]), p[1] + t * (far[1] - p[1])])
}
