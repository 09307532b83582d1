//! A region prepared for many questions: inside, on the edge, and which parts of a segment run inside.

use super::inside::Inside;
use crate::region::buckets::Buckets;
use crate::region::{Point, Region, STEPS_PER_M, to_segment};

/// Closer than this to an edge a place counts as on it, m: corners are snapped to 1 um.
pub(super) const ON_EDGE_M: f64 = 1.5e-6;

/// A region with its search indices.
#[derive(Debug)]
pub(super) struct Part {
    reach_m: f64,
    edges: Vec<[Point; 2]>,
    index: Buckets,
    inside: Inside,
}

impl Part {
    pub(super) fn new(region: &Region) -> Self {
        Self::with_reach(region, ON_EDGE_M)
    }

    /// As [`Self::new`]; places up to `reach_m` from an edge count as on it.
    pub(super) fn with_reach(region: &Region, reach_m: f64) -> Self {
        let edges: Vec<[Point; 2]> = region.edges().collect();
        let index = Buckets::of_segments(&edges, 2.0 * reach_m);
        Self { reach_m, edges, index, inside: Inside::new(region) }
    }

    /// Whether a place is inside (no promise within rounding of an edge).
    pub(super) fn contains(&self, p: Point) -> bool {
        self.inside.contains([p[0] * STEPS_PER_M, p[1] * STEPS_PER_M])
    }

    /// Whether a place lies on an edge.
    pub(super) fn on_edge(&self, p: Point) -> bool {
        self.index.near(p).iter().any(|&i| {
            let [a, b] = self.edges[i as usize];
            to_segment(p, a, b).0 <= self.reach_m
        })
    }

    /// Parts of a segment that run inside, away from the edges; shorter ones than 2 um are left out.
    pub(super) fn clip(&self, [a, b]: [Point; 2]) -> Vec<[Point; 2]> {
        let (dx, dy) = (b[0] - a[0], b[1] - a[1]);
        let length = dx.hypot(dy);
        if !(length > 0.0 && length.is_finite()) {
            return Vec::new();
        }
        let (lo, hi) = ([a[0].min(b[0]), a[1].min(b[1])], [a[0].max(b[0]), a[1].max(b[1])]);
        let mut cuts = vec![0.0, 1.0];
        for i in self.index.in_box(lo, hi) {
            let [c, d] = self.edges[i as usize];
            let (ex, ey) = (d[0] - c[0], d[1] - c[1]);
            let cross = dx * ey - dy * ex;
            if cross.abs() > 1e-9 * length * ex.hypot(ey) {
                let t = ((c[0] - a[0]) * ey - (c[1] - a[1]) * ex) / cross;
                let s = ((c[0] - a[0]) * dy - (c[1] - a[1]) * dx) / cross;
                if (0.0..=1.0).contains(&t) && (-1e-9..=1.0 + 1e-9).contains(&s) {
                    cuts.push(t);
                }
            }
            // Where an edge runs along the segment its ends separate what is inside from what is on the edge.
            for p in [c, d] {
                let (distance, t) = to_segment(p, a, b);
                if distance <= self.reach_m {
                    cuts.push(t);
                }
            }
        }
        cuts.sort_by(f64::total_cmp);
        let at = |t: f64| [a[0] + t * dx, a[1] + t * dy];
        let mut out: Vec<[Point; 2]> = Vec::new();
        let mut last = f64::NEG_INFINITY;
        for w in cuts.windows(2) {
            let middle = at((w[0] + w[1]) / 2.0);
            if (w[1] - w[0]) * length < 2e-6 || self.on_edge(middle) || !self.contains(middle) {
                continue;
            }
            match out.last_mut() {
                Some(piece) if w[0] - last < 1e-12 => piece[1] = at(w[1]),
                _ => out.push([at(w[0]), at(w[1])]),
            }
            last = w[1];
        }
        out
    }
}
