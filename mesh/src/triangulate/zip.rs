//! Edges that leave a common point at a very small angle are zipped together while they are hardly apart.
//!
//! A clamp edge that runs on into a fillet, or a track end that touches another track, leaves a cusp: triangles
//! there would be needles a fraction of a micrometre wide, which cost digits in every later solve. Along the first
//! stretch, where the two edges are closer than 4 um, one is led along the other; where they are 4 um apart a short
//! side joins them, so that no narrow corner is left. The outline and lines that were asked for stay where they are;
//! a narrow corner between two of them stays too. Points at the ends of an edge shorter than 2.5 um become one. So a
//! gap narrower than that closes; where they became one is told. Wider ones, whose edges do not meet, stay.

use super::outline_edges::{Arcs, Split};
use super::size::SizeTree;
use super::web::{Info, Web, key};
use super::{MERGED_M, MOVED_MOST_M, Moved};
use crate::region::{Point, to_segment};

/// Corners narrower than this are blunted, rad (26 degrees).
const SHARP_RAD: f64 = 0.455;

/// Edges that leave a common point are one while closer together than this, grid steps. The side that joins them
/// beyond may start from an edge led aside by as much, so the farthest any edge moves is twice that.
const APART: f64 = 0.5 * MOVED_MOST_M * SCALE;

/// A cut lies at most this far along the shorter edge, as a share of it.
const CUT_SHARE: f64 = 0.6;

/// Grid steps per metre.
const SCALE: f64 = crate::region::STEPS_PER_M;

/// Moves closer together than this are one, m.
const SAME_PLACE_M: f64 = 0.15e-3;

/// A new point this close to an existing one, as a share of the edge, is that point.
const SAME_SHARE: f64 = 0.4;

/// Points joined by an edge shorter than this become one, grid steps: rounding of set operations and crossings
/// leaves such edges, and no fabrication can.
const POINTS_APART: f64 = MERGED_M * SCALE;

/// A point of a flattened curve this close to a crossing or corner on it, as a share of the wished side, is left
/// out ...
const CURVE_SHARE: f64 = 0.15;

/// ... when the curve moves by less than this, grid steps, or follows a true arc ...
const CURVE_MOVES: f64 = 0.5;

/// ... with a chord that leaves it by less than this, grid steps, and is shorter than this share of the radius.
const CHORD: (f64, f64) = (5.0, 0.2);

/// Edges after zipping, and what was changed.
#[derive(Debug)]
pub(super) struct Zipped {
    pub(super) split: Split,
    /// The largest move of each place.
    pub(super) moved: Vec<Moved>,
    /// Where points became one, and how far apart they were, m; one per place, farthest first.
    pub(super) merged: Vec<(Point, f64)>,
}

/// Zips and blunts all narrow corners; `kept`: points that must stay, grid steps.
pub(super) fn zip(split: &Split, arcs: &Arcs, size: &SizeTree, kept: &[Point]) -> Zipped {
    let mut web = Web::new(split, arcs, kept);
    web.collapse();
    web.thin_out(size);
    let mut queue: std::collections::VecDeque<u32> = (0_u32..).take(web.points.len()).collect();
    let mut steps = 20 * web.points.len();
    while let Some(v) = queue.pop_front() {
        if steps == 0 {
            break;
        }
        if let Some(touched) = web.zip_at(v) {
            queue.push_front(v);
            queue.extend(touched);
            steps -= 1;
        }
    }
    let moved = one_per_place(&web.moved).into_iter().map(|(at_m, by_m)| Moved { at_m, by_m }).collect();
    let merged = one_per_place(&web.merged);
    Zipped { split: web.finish().0, moved, merged }
}

/// The largest change of each place, in m and largest first; those up to the grid's own 1 um are left out.
fn one_per_place(moved: &[(Point, f64)]) -> Vec<(Point, f64)> {
    let mut all: Vec<(Point, f64)> = moved.iter().copied().filter(|m| m.1 > 1.0).collect();
    all.sort_by(|a, b| b.1.total_cmp(&a.1).then(a.0[0].total_cmp(&b.0[0])).then(a.0[1].total_cmp(&b.0[1])));
    let mut out: Vec<(Point, f64)> = Vec::new();
    for (p, by) in all {
        let at_m = p.map(|v| v / SCALE);
        let near = |m: &(Point, f64)| (m.0[0] - at_m[0]).hypot(m.0[1] - at_m[1]) < SAME_PLACE_M;
        if !out.iter().any(near) {
            out.push((at_m, by / SCALE));
        }
    }
    out
}

impl Web<'_> {
    /// Merges points hardly apart on one edge: a side of a micrometre would shrink all triangles around it.
    ///
    /// Points that were asked for stay before points of the outline, those before corners, those before crossings.
    fn collapse(&mut self) {
        let on_grid = |p: Point| p.iter().all(|v| (v - v.round()).abs() < 1e-9);
        let short: Vec<[u32; 2]> =
            self.edges.keys().copied().filter(|&[a, b]| self.length(a, b) < POINTS_APART).collect();
        for [a, b] in short {
            if !self.edges.contains_key(&[a, b]) || self.length(a, b) >= POINTS_APART {
                continue;
            }
            let rank = |v: u32| (self.kept[v as usize], self.firm[v as usize], on_grid(self.at(v)));
            let (from, to) = if rank(a) > rank(b) { (b, a) } else { (a, b) };
            if !self.kept[from as usize] {
                self.merged.push((self.at(to), self.length(a, b)));
                self.merge(from, to);
            }
        }
    }

    /// Leaves out points of flattened curves that lie close to a crossing or corner on the same curve.
    fn thin_out(&mut self, size: &SizeTree) {
        for v in (0_u32..).take(self.points.len()) {
            let &[a, b] = self.around[v as usize].as_slice() else { continue };
            let (near, far) = if self.length(v, a) <= self.length(v, b) { (a, b) } else { (b, a) };
            let crossing = self.around[near as usize].len() != 2;
            let close = self.length(v, near) < CURVE_SHARE * size.at(self.at(v));
            let free = !self.kept[v as usize] && !self.edges.contains_key(&key(near, far));
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

    /// One step at a point: the points touched, or `None` when nothing there is to be zipped.
    fn zip_at(&mut self, v: u32) -> Option<Vec<u32>> {
        if self.around[v as usize].len() < 2 {
            return None;
        }
        let fan = self.fan(v);
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
            let touched =
                if gap < APART { self.close(v, [near, far], t) } else { self.blunt(v, [near, far], angle) };
            if touched.is_some() {
                // Upper bound: what was led aside before, and this.
                self.moved.push((self.at(v), 2.0 * gap.min(APART)));
                return touched;
            }
        }
        None
    }

    /// Leads the edge `v`-`far` through `near`, or `near` onto that edge if the edge is an edge that stays.
    fn close(&mut self, v: u32, [near, far]: [u32; 2], t: f64) -> Option<Vec<u32>> {
        let (near_firm, far_firm) = (self.firm[near as usize], self.firm[far as usize]);
        let gap = self.length(near, far);
        if gap < APART || (gap < SAME_SHARE * self.length(v, near) && self.is_smooth(v, far, near)) {
            let keep_far = (self.kept[far as usize], far_firm) > (self.kept[near as usize], near_firm);
            let (from, to) = if keep_far { (near, far) } else { (far, near) };
            if self.kept[from as usize] || (self.firm[from as usize] && gap > 1.5) {
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

    /// Whether `far` is a mere point on a curve from `v` onwards, which may go straight on from `near` instead.
    fn is_smooth(&self, v: u32, far: u32, near: u32) -> bool {
        let onward = self.around[far as usize].iter().copied().find(|&n| n != v);
        match (self.around[far as usize].len(), onward) {
            (2, Some(n)) => to_segment(self.at(far), self.at(near), self.at(n)).0 < 2.0 * CURVE_MOVES,
            _ => false,
        }
    }

    /// Cuts the tip of a narrow corner off where its edges are [`APART`] apart: up to there one edge serves for both,
    /// and a short side joins them.
    fn blunt(&mut self, v: u32, [near, far]: [u32; 2], angle: f64) -> Option<Vec<u32>> {
        let firm = [near, far].map(|n| self.edges.get(&key(v, n)).is_some_and(|i| i.firm));
        if (firm[0] && firm[1]) || self.kept[v as usize] {
            return None;
        }
        let p = self.at(v);
        let length = self.length(v, near);
        // Not close before the next point: rather a little nearer to the corner.
        let reach = (0.5 * APART / (0.5 * angle).sin()).min(CUT_SHARE * length);
        let on = |n: u32| {
            let (q, l) = (self.at(n), self.length(v, n));
            [p[0] + reach / l * (q[0] - p[0]), p[1] + reach / l * (q[1] - p[1])]
        };
        let (c, f) = (on(near), on(far));
        let (c, f) = (self.insert([v, near], c)?, self.insert([v, far], f)?);
        // The outline stays; otherwise the longer edge gives way.
        let (stays, goes) = if firm[1] { (f, c) } else { (c, f) };
        let info = self.part(v, goes)?;
        self.join(stays, goes, Info { arc: None, ..info });
        if let Some(i) = self.edges.get_mut(&key(stays, goes)) {
            i.firm = false;
        }
        Some(vec![v, c, f])
    }
}
