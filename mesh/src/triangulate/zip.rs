//! Edges that leave a common point at a very small angle are zipped together while they are hardly apart.
//!
//! A clamp edge that runs on into a fillet, or a track end that touches another track, leaves a cusp: triangles
//! there would be needles a fraction of a micrometre wide, which cost digits in every later solve. Along the first
//! stretch, where the two edges are closer than a share of the triangle side (and 8 um at most), the inner edge is
//! led along the other one. Points at the ends of an edge shorter than 2.5 um become one. So a gap narrower than
//! that closes (the board's remarks name it); wider ones, whose edges do not meet, stay.

use std::collections::BTreeMap;

use super::outline_edges::{Arcs, Split};
use super::size::SizeTree;
use crate::region::{Point, to_segment};

/// Edges that meet at less than this are candidates, rad (20 degrees).
const SHARP_RAD: f64 = 0.35;

/// Edges are zipped while closer than this share of the wished side ...
const APART_SHARE: f64 = 0.2;

/// ... but never when further apart than this, grid steps.
const APART_MOST: f64 = 8.0;

/// A new point this close to an existing one, as a share of the edge, is that point.
const SAME_SHARE: f64 = 0.4;

/// Points joined by an edge shorter than this become one, grid steps: rounding of set operations and crossings
/// leaves such edges, and no fabrication can.
const POINTS_APART: f64 = 2.5;

/// A point of a flattened curve this close to a crossing or corner on it, as a share of the wished side, is left
/// out ...
const CURVE_SHARE: f64 = 0.15;

/// ... when the curve moves by less than this, grid steps, or follows a true arc ...
const CURVE_MOVES: f64 = 0.5;

/// ... with a chord that leaves it by less than this, grid steps, and is shorter than this share of the radius.
const CHORD: (f64, f64) = (5.0, 0.2);

#[derive(Debug, Clone, Copy)]
struct Info {
    arc: Option<u32>,
    firm: bool,
}

/// The graph of edges while it is changed.
struct Web<'a> {
    points: Vec<Point>,
    /// Points that stay where they are: on the outline, or asked for.
    firm: Vec<bool>,
    around: Vec<Vec<u32>>,
    edges: BTreeMap<[u32; 2], Info>,
    arcs: &'a Arcs,
}

fn key(a: u32, b: u32) -> [u32; 2] {
    [a.min(b), a.max(b)]
}

/// Zips all cusps; `kept`: points that must stay, grid steps.
pub(super) fn zip(split: &Split, arcs: &Arcs, size: &SizeTree, kept: &[Point]) -> Split {
    let mut web = Web {
        points: split.points.clone(),
        firm: split.points.iter().map(|p| kept.contains(p)).collect(),
        around: vec![Vec::new(); split.points.len()],
        edges: BTreeMap::new(),
        arcs,
    };
    for ((&[a, b], &arc), &firm) in split.edges.iter().zip(&split.arc_of_edge).zip(&split.firm) {
        web.firm[a as usize] |= firm;
        web.firm[b as usize] |= firm;
        web.join(a, b, Info { arc, firm });
    }
    web.collapse(kept);
    web.thin_out(size, kept);
    let mut queue: std::collections::VecDeque<u32> = (0_u32..).take(web.points.len()).collect();
    let mut steps = 20 * web.points.len();
    while let Some(v) = queue.pop_front() {
        if steps == 0 {
            break;
        }
        if let Some(touched) = web.zip_at(v, size) {
            queue.push_front(v);
            queue.extend(touched);
            steps -= 1;
        }
    }
    web.finish(split)
}

impl Web<'_> {
    fn join(&mut self, a: u32, b: u32, info: Info) {
        if a == b {
            return;
        }
        if let Some(known) = self.edges.get_mut(&key(a, b)) {
            known.firm |= info.firm;
            known.arc = known.arc.or(info.arc);
            return;
        }
        self.edges.insert(key(a, b), info);
        self.around[a as usize].push(b);
        self.around[b as usize].push(a);
    }

    fn part(&mut self, a: u32, b: u32) -> Option<Info> {
        self.around[a as usize].retain(|&x| x != b);
        self.around[b as usize].retain(|&x| x != a);
        self.edges.remove(&key(a, b))
    }

    /// Moves every edge of `from` to `to`.
    fn merge(&mut self, from: u32, to: u32) {
        for other in std::mem::take(&mut self.around[from as usize]) {
            self.around[other as usize].retain(|&x| x != from);
            if let Some(info) = self.edges.remove(&key(from, other)) {
                self.join(to, other, info);
            }
        }
    }

    fn at(&self, v: u32) -> Point {
        self.points[v as usize]
    }

    fn length(&self, a: u32, b: u32) -> f64 {
        let (p, q) = (self.at(a), self.at(b));
        (p[0] - q[0]).hypot(p[1] - q[1])
    }

    /// Merges points hardly apart on one edge: a side of a micrometre would shrink all triangles around it.
    ///
    /// Points that were asked for stay before points of the outline, those before corners, those before crossings.
    fn collapse(&mut self, kept: &[Point]) {
        let on_grid = |p: Point| p.iter().all(|v| (v - v.round()).abs() < 1e-9);
        let short: Vec<[u32; 2]> =
            self.edges.keys().copied().filter(|&[a, b]| self.length(a, b) < POINTS_APART).collect();
        for [a, b] in short {
            if !self.edges.contains_key(&[a, b]) || self.length(a, b) >= POINTS_APART {
                continue;
            }
            let rank = |v: u32| (kept.contains(&self.at(v)), self.firm[v as usize], on_grid(self.at(v)));
            let (from, to) = if rank(a) > rank(b) { (b, a) } else { (a, b) };
            if !kept.contains(&self.at(from)) {
                self.merge(from, to);
            }
        }
    }

    /// Leaves out points of flattened curves that lie close to a crossing or corner on the same curve.
    fn thin_out(&mut self, size: &SizeTree, kept: &[Point]) {
        for v in (0_u32..).take(self.points.len()) {
            let &[a, b] = self.around[v as usize].as_slice() else { continue };
            let (near, far) = if self.length(v, a) <= self.length(v, b) { (a, b) } else { (b, a) };
            let crossing = self.around[near as usize].len() != 2;
            let close = self.length(v, near) < CURVE_SHARE * size.at(self.at(v));
            let free = !kept.contains(&self.at(v)) && !self.edges.contains_key(&key(near, far));
            if crossing && close && free && self.may_straighten([near, v, far]) {
                self.merge(v, near);
            }
        }
    }

    /// Whether a curve may go straight from `a` to `b` instead of over `v`.
    fn may_straighten(&self, [a, v, b]: [u32; 3]) -> bool {
        let arc = |n: u32| self.edges.get(&key(v, n)).and_then(|i| i.arc);
        let chord = self.length(a, b);
        match (arc(a), arc(b)) {
            (Some(k), Some(l)) if k == l => {
                let radius = self.arcs.radius(k);
                chord * chord < 8.0 * radius * CHORD.0 && chord < CHORD.1 * radius
            }
            _ => to_segment(self.at(v), self.at(a), self.at(b)).0 < CURVE_MOVES,
        }
    }

    /// Neighbours of a point in the order of their direction.
    fn fan(&self, v: u32) -> Vec<(f64, u32)> {
        let p = self.at(v);
        let mut fan: Vec<(f64, u32)> = self.around[v as usize]
            .iter()
            .map(|&a| (self.at(a), a))
            .map(|(q, a)| ((q[1] - p[1]).atan2(q[0] - p[0]), a))
            .collect();
        fan.sort_by(|x, y| x.0.total_cmp(&y.0).then(x.1.cmp(&y.1)));
        fan
    }

    /// One step at a point: the points touched, or `None` when nothing there is to be zipped.
    fn zip_at(&mut self, v: u32, size: &SizeTree) -> Option<Vec<u32>> {
        if self.around[v as usize].len() < 2 {
            return None;
        }
        let fan = self.fan(v);
        let apart = APART_MOST.min(APART_SHARE * size.at(self.at(v)));
        for i in 0..fan.len() {
            let (first, second) = (fan[i], fan[(i + 1) % fan.len()]);
            let angle = (second.0 - first.0).rem_euclid(std::f64::consts::TAU);
            if angle > SHARP_RAD || first.1 == second.1 {
                continue;
            }
            let (near, far) = if self.length(v, first.1) <= self.length(v, second.1) {
                (first.1, second.1)
            } else {
                (second.1, first.1)
            };
            let (gap, t) = to_segment(self.at(near), self.at(v), self.at(far));
            if gap < apart
                && let Some(touched) = self.close(v, [near, far], t)
            {
                return Some(touched);
            }
        }
        None
    }

    /// Leads the edge `v`-`far` through `near`, or `near` onto that edge if the edge is an edge that stays.
    fn close(&mut self, v: u32, [near, far]: [u32; 2], t: f64) -> Option<Vec<u32>> {
        let same = self.length(near, far) < SAME_SHARE * self.length(v, near);
        let (near_firm, far_firm) = (self.firm[near as usize], self.firm[far as usize]);
        if same {
            let (from, to) = if far_firm && !near_firm { (near, far) } else { (far, near) };
            if far_firm && near_firm && self.length(near, far) > 1.5 {
                // Two fixed points: the outline is not moved by more than the snapping.
                return None;
            }
            self.merge(from, to);
            return Some(vec![to]);
        }
        let info = *self.edges.get(&key(v, far))?;
        if info.firm {
            if near_firm {
                return None;
            }
            let (p, q) = (self.at(v), self.at(far));
            let foot = [p[0] + t * (q[0] - p[0]), p[1] + t * (q[1] - p[1])];
            let on = info.arc.and_then(|k| self.arcs.on(k, foot, self.length(v, far))).unwrap_or(foot);
            self.points[near as usize] = on;
            self.firm[near as usize] = true;
        }
        let (p, arc) = (self.at(near), info.arc);
        let arc = arc.filter(|&k| self.arcs.on(k, p, 1e-6).is_some());
        self.part(v, far);
        self.join(v, near, Info { arc, ..info });
        self.join(near, far, Info { arc, ..info });
        Some(vec![near, far])
    }

    /// The changed edges; points that lost all their edges are dropped.
    fn finish(self, split: &Split) -> Split {
        let mut new_of = vec![None; self.points.len()];
        let mut out = Split::default();
        let mut had_edges = vec![false; self.points.len()];
        split.edges.iter().flatten().for_each(|&i| had_edges[i as usize] = true);
        for (i, &p) in self.points.iter().enumerate() {
            if !self.around[i].is_empty() || !had_edges[i] {
                new_of[i] = u32::try_from(out.points.len()).ok();
                out.points.push(p);
                out.direction.push(split.direction[i]);
            }
        }
        for ([a, b], info) in self.edges {
            if let (Some(a), Some(b)) = (new_of[a as usize], new_of[b as usize]) {
                out.edges.push([a, b]);
                out.arc_of_edge.push(info.arc);
                out.firm.push(info.firm);
            }
        }
        out
    }
}
