//! Triangles that know their neighbours, and the few changes refinement makes to them: splitting a triangle or an
//! edge, turning an edge, walking towards a place. Lengths in grid steps.

use super::super::web::number;
use crate::region::Point;

/// No triangle, or no plan edge.
pub(in super::super) const NONE: u32 = u32::MAX;

/// Beyond this share of its terms the circle test counts, so that rounding cannot turn an edge to and fro.
const ROUNDING: f64 = 1e-11;

/// A triangulation; side k of a triangle runs from its corner k to corner k + 1, triangles are counter-clockwise.
#[derive(Debug, Default)]
pub(in super::super) struct Net {
    /// Points.
    pub(in super::super) points: Vec<Point>,
    /// Corners of the triangles.
    pub(in super::super) corners: Vec<[u32; 3]>,
    /// Triangle beyond each side, or [`NONE`].
    pub(in super::super) beyond: Vec<[u32; 3]>,
    /// Plan edge that each side is a piece of, or [`NONE`].
    pub(in super::super) edge: Vec<[u32; 3]>,
    /// Component of each triangle: triangles not parted by plan edges.
    pub(in super::super) component: Vec<u32>,
    /// One triangle at each point, or [`NONE`].
    pub(super) at: Vec<u32>,
    /// Triangles changed since this list was last emptied.
    pub(super) changed: Vec<u32>,
}

/// Where a walk ends.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Walk {
    /// In this triangle.
    In(u32),
    /// At this side, which is a piece of a plan edge or the rim.
    At(u32, usize),
}

/// Twice the signed area of a triangle.
pub(super) fn turn(a: Point, b: Point, c: Point) -> f64 {
    (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0])
}

/// Square of a distance.
pub(super) fn square(a: Point, b: Point) -> f64 {
    let (x, y) = (a[0] - b[0], a[1] - b[1]);
    x * x + y * y
}

/// Whether `d` lies inside the circle through a counter-clockwise triangle.
pub(super) fn in_circle([a, b, c]: [Point; 3], d: Point) -> bool {
    let row = |p: Point| {
        let (x, y) = (p[0] - d[0], p[1] - d[1]);
        (x, y, x * x + y * y)
    };
    let (p, q, r) = (row(a), row(b), row(c));
    let terms = [p.2 * (q.0 * r.1 - q.1 * r.0), q.2 * (r.0 * p.1 - r.1 * p.0), r.2 * (p.0 * q.1 - p.1 * q.0)];
    let scale = p.2 * (q.2 + r.2) + q.2 * r.2;
    terms.iter().sum::<f64>() > ROUNDING * scale
}

impl Net {
    /// A net of triangles whose neighbours are known.
    pub(in super::super) fn new(
        points: Vec<Point>,
        corners: Vec<[u32; 3]>,
        beyond: Vec<[u32; 3]>,
        edge: Vec<[u32; 3]>,
        component: Vec<u32>,
    ) -> Self {
        let mut at = vec![NONE; points.len()];
        for (t, c) in (0_u32..).zip(&corners) {
            for &v in c {
                at[v as usize] = t;
            }
        }
        Self { points, corners, beyond, edge, component, at, changed: Vec::new() }
    }

    /// Places of the corners.
    pub(super) fn places(&self, t: u32) -> [Point; 3] {
        self.corners[t as usize].map(|v| self.points[v as usize])
    }

    /// Which corner of a triangle a point is.
    pub(super) fn corner_of(&self, t: u32, v: u32) -> Option<usize> {
        self.corners[t as usize].iter().position(|&c| c == v)
    }

    /// The side of the triangle beyond that is side `k` of `t`.
    pub(super) fn across(&self, t: u32, k: usize) -> Option<(u32, usize)> {
        let u = self.beyond[t as usize][k];
        if u == NONE {
            return None;
        }
        let end = self.corners[t as usize][(k + 1) % 3];
        self.corner_of(u, end).map(|j| (u, j))
    }

    fn relink(&mut self, t: u32, from: u32, to: u32) {
        if t != NONE {
            for b in self.beyond[t as usize].iter_mut().filter(|b| **b == from) {
                *b = to;
            }
        }
    }

    /// Sets a triangle; `sides`: what lies beyond each side, and its plan edge.
    fn set(&mut self, t: u32, corners: [u32; 3], sides: [(u32, u32); 3]) {
        let i = t as usize;
        self.corners[i] = corners;
        self.beyond[i] = sides.map(|s| s.0);
        self.edge[i] = sides.map(|s| s.1);
        for v in corners {
            self.at[v as usize] = t;
        }
        self.changed.push(t);
    }

    fn add(&mut self, component: u32) -> u32 {
        let t = number(self.corners.len());
        self.corners.push([NONE; 3]);
        self.beyond.push([NONE; 3]);
        self.edge.push([NONE; 3]);
        self.component.push(component);
        t
    }

    fn add_point(&mut self, p: Point) -> u32 {
        let v = number(self.points.len());
        self.points.push(p);
        self.at.push(NONE);
        v
    }

    /// Side `k` of `t`: what lies beyond, and its plan edge.
    fn side(&self, t: u32, k: usize) -> (u32, u32) {
        (self.beyond[t as usize][k % 3], self.edge[t as usize][k % 3])
    }

    /// A new point inside a triangle.
    pub(super) fn split_triangle(&mut self, t: u32, p: Point) -> u32 {
        let [a, b, c] = self.corners[t as usize];
        let [ab, bc, ca] = [0, 1, 2].map(|k| self.side(t, k));
        let v = self.add_point(p);
        let component = self.component[t as usize];
        let (u, w) = (self.add(component), self.add(component));
        self.relink(bc.0, t, u);
        self.relink(ca.0, t, w);
        self.set(t, [a, b, v], [ab, (u, NONE), (w, NONE)]);
        self.set(u, [b, c, v], [bc, (w, NONE), (t, NONE)]);
        self.set(w, [c, a, v], [ca, (t, NONE), (u, NONE)]);
        self.legalize(v, vec![t, u, w]);
        v
    }

    /// A new point on side `k` of `t`; both pieces belong to the same plan edge as before.
    ///
    /// `None` if a triangle would turn over: `p` is too far off the side.
    pub(super) fn split_side(&mut self, t: u32, k: usize, p: Point) -> Option<u32> {
        let [a, b, c] = [k, k + 1, k + 2].map(|i| self.corners[t as usize][i % 3]);
        let [ab, bc, ca] = [k, k + 1, k + 2].map(|i| self.side(t, i));
        let at = |v: u32| self.points[v as usize];
        let good = |x: u32, y: u32| turn(at(x), at(y), p) > 1e-9 * square(at(x), at(y));
        if !good(b, c) || !good(c, a) {
            return None;
        }
        let other = self.across(t, k);
        if let Some((u, j)) = other {
            let d = self.corners[u as usize][(j + 2) % 3];
            if !good(a, d) || !good(d, b) {
                return None;
            }
        }
        let v = self.add_point(p);
        let w = self.add(self.component[t as usize]);
        let mut fresh = vec![t, w];
        let (mut u, mut x) = (NONE, NONE);
        if let Some((beyond, j)) = other {
            u = beyond;
            x = self.add(self.component[u as usize]);
            let d = self.corners[u as usize][(j + 2) % 3];
            let [ad, db] = [j + 1, j + 2].map(|i| self.side(u, i));
            self.relink(db.0, u, x);
            self.set(u, [v, a, d], [(t, ab.1), ad, (x, NONE)]);
            self.set(x, [b, v, d], [(w, ab.1), (u, NONE), db]);
            fresh.extend([u, x]);
        }
        self.relink(bc.0, t, w);
        self.set(t, [a, v, c], [(u, ab.1), (w, NONE), ca]);
        self.set(w, [v, b, c], [(x, ab.1), bc, (t, NONE)]);
        self.legalize(v, fresh);
        Some(v)
    }

    /// Turns side `k` of `t` into the other diagonal, if the two triangles form a convex quadrangle.
    pub(super) fn turn_side(&mut self, t: u32, k: usize) -> bool {
        let Some((u, j)) = self.across(t, k) else { return false };
        if self.edge[t as usize][k] != NONE {
            return false;
        }
        let [a, b, c] = [k, k + 1, k + 2].map(|i| self.corners[t as usize][i % 3]);
        let d = self.corners[u as usize][(j + 2) % 3];
        let [pa, pb, pc, pd] = [a, b, c, d].map(|v| self.points[v as usize]);
        let least = 1e-9 * square(pc, pd);
        if turn(pa, pd, pc) <= least || turn(pd, pb, pc) <= least {
            return false;
        }
        let [bc, ca] = [k + 1, k + 2].map(|i| self.side(t, i));
        let [ad, db] = [j + 1, j + 2].map(|i| self.side(u, i));
        self.relink(ad.0, u, t);
        self.relink(bc.0, t, u);
        self.set(t, [a, d, c], [ad, (u, NONE), ca]);
        self.set(u, [d, b, c], [db, bc, (t, NONE)]);
        true
    }

    /// Turns sides opposite the new point `v` until no circle holds another point (Lawson 1977).
    fn legalize(&mut self, v: u32, mut stack: Vec<u32>) {
        while let Some(t) = stack.pop() {
            let Some(i) = self.corner_of(t, v) else { continue };
            let k = (i + 1) % 3;
            let Some((u, j)) = self.across(t, k) else { continue };
            if self.edge[t as usize][k] != NONE {
                continue;
            }
            let d = self.points[self.corners[u as usize][(j + 2) % 3] as usize];
            if in_circle(self.places(t), d) && self.turn_side(t, k) {
                stack.extend([t, u]);
            }
        }
    }

    /// Walks straight from the middle of `t` to `p`; stops at plan edges.
    pub(super) fn walk(&self, t: u32, p: Point) -> Walk {
        let c = self.places(t);
        let s = [0, 1].map(|k| (c[0][k] + c[1][k] + c[2][k]) / 3.0);
        let (mut here, mut entry) = (t, NONE);
        for _ in 0..100_000 {
            let q = self.places(here);
            let beyond = |k: usize| turn(q[k], q[(k + 1) % 3], p) < 0.0;
            let exits = |k: usize| turn(s, p, q[k]) <= 0.0 && turn(s, p, q[(k + 1) % 3]) >= 0.0;
            let open = |k: &usize| entry == NONE || self.beyond[here as usize][*k] != entry;
            let side = (0..3)
                .filter(open)
                .find(|&k| beyond(k) && exits(k))
                .or_else(|| (0..3).filter(open).find(|&k| beyond(k)));
            let Some(k) = side else { return Walk::In(here) };
            let next = self.beyond[here as usize][k];
            if self.edge[here as usize][k] != NONE || next == NONE {
                return Walk::At(here, k);
            }
            (entry, here) = (here, next);
        }
        Walk::In(here)
    }

    /// Triangles around a point, counter-clockwise; at the rim from one side of it to the other.
    pub(super) fn star(&self, v: u32) -> Vec<u32> {
        let first = self.at[v as usize];
        if first == NONE {
            return Vec::new();
        }
        let mut out = vec![first];
        let mut here = first;
        while let Some(i) = self.corner_of(here, v) {
            here = self.beyond[here as usize][(i + 2) % 3];
            if here == first {
                return out;
            }
            if here == NONE || out.len() > 10_000 {
                break;
            }
            out.push(here);
        }
        here = first;
        let mut before = Vec::new();
        while let Some(i) = self.corner_of(here, v) {
            here = self.beyond[here as usize][i];
            if here == NONE || before.len() > 10_000 {
                break;
            }
            before.push(here);
        }
        before.reverse();
        before.extend(out);
        before
    }
}
