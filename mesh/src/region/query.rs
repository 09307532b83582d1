//! Questions to a region: area, centroid, inside or not, distance to its edge.

use super::{Point, Region, to_segment, twice_area};

/// A point this close to an edge counts as inside, m.
const ON_EDGE_M: f64 = 1e-9;

impl Region {
    /// Area, m2.
    #[must_use]
    pub fn area_m2(&self) -> f64 {
        self.contours.iter().map(|c| twice_area(c) / 2.0).sum()
    }

    /// Centre of area, m; the origin for an empty region.
    #[must_use]
    pub fn centroid_m(&self) -> Point {
        let Some([o, _]) = self.bounds() else { return [0.0, 0.0] };
        let (mut area, mut x, mut y) = (0.0, 0.0, 0.0);
        for [a, b] in self.edges() {
            let (ax, ay, bx, by) = (a[0] - o[0], a[1] - o[1], b[0] - o[0], b[1] - o[1]);
            let cross = ax * by - bx * ay;
            area += cross;
            x += cross * (ax + bx);
            y += cross * (ay + by);
        }
        if area > 0.0 { [o[0] + x / (3.0 * area), o[1] + y / (3.0 * area)] } else { o }
    }

    /// True when the region has no area.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.contours.is_empty()
    }

    /// Lowest-left and highest-right corner of the smallest enclosing rectangle, m.
    #[must_use]
    pub fn bounds(&self) -> Option<[Point; 2]> {
        let mut points = self.contours.iter().flatten();
        let first = *points.next()?;
        Some(points.fold([first, first], |[lo, hi], p| {
            [[lo[0].min(p[0]), lo[1].min(p[1])], [hi[0].max(p[0]), hi[1].max(p[1])]]
        }))
    }

    /// Edges of all contours, material on the left, m.
    pub fn edges(&self) -> impl Iterator<Item = [Point; 2]> + '_ {
        self.contours.iter().flat_map(|c| {
            let n = c.len();
            (0..n).map(move |i| [c[i], c[if i + 1 == n { 0 } else { i + 1 }]])
        })
    }

    /// Whether `p` lies inside, or within 1 nm of an edge.
    #[must_use]
    pub fn contains(&self, p: Point) -> bool {
        let mut inside = false;
        for [a, b] in self.edges() {
            if crosses_ray(p, a, b) {
                inside = !inside;
            }
            let near = p[0] >= a[0].min(b[0]) - ON_EDGE_M
                && p[0] <= a[0].max(b[0]) + ON_EDGE_M
                && p[1] >= a[1].min(b[1]) - ON_EDGE_M
                && p[1] <= a[1].max(b[1]) + ON_EDGE_M;
            if near && to_segment(p, a, b).0 <= ON_EDGE_M {
                return true;
            }
        }
        inside
    }

    /// Whether `p` lies inside and further than `clearance_m` from every edge.
    #[must_use]
    pub fn contains_clear(&self, p: Point, clearance_m: f64) -> bool {
        self.contains(p) && self.distance_to_edge_m(p) > clearance_m
    }

    /// Places, m along `direction` (unit) from `at`, where the edges cross that line; ascending. Between the first and
    /// the second the line is inside, and so on in pairs.
    #[must_use]
    pub fn cuts_m(&self, at: Point, direction: [f64; 2]) -> Vec<f64> {
        let seen = |e: Point| {
            let off = [e[0] - at[0], e[1] - at[1]];
            [off[0] * direction[0] + off[1] * direction[1], off[1] * direction[0] - off[0] * direction[1]]
        };
        let mut cuts: Vec<f64> = self
            .edges()
            .filter_map(|ends| {
                let [p, q] = ends.map(seen);
                let crosses = (p[1] > 0.0) != (q[1] > 0.0);
                crosses.then(|| p[0] + (q[0] - p[0]) * p[1] / (p[1] - q[1]))
            })
            .collect();
        cuts.sort_by(f64::total_cmp);
        cuts
    }

    /// Distance to the nearest edge, m, from inside or outside; infinite for an empty region.
    #[must_use]
    pub fn distance_to_edge_m(&self, p: Point) -> f64 {
        self.edges().map(|[a, b]| to_segment(p, a, b).0).fold(f64::INFINITY, f64::min)
    }

    /// Whether all of the other region lies inside this one, but for crumbs of at most `spare_m2`.
    #[must_use]
    pub fn covers(&self, other: &Self, spare_m2: f64) -> bool {
        other.difference(self).area_m2() <= spare_m2
    }
}

/// Whether the ray from `p` towards +x crosses the edge (half-open, so that shared ends count once).
fn crosses_ray(p: Point, a: Point, b: Point) -> bool {
    if (a[1] > p[1]) == (b[1] > p[1]) {
        return false;
    }
    let cross = (b[0] - a[0]) * (p[1] - a[1]) - (b[1] - a[1]) * (p[0] - a[0]);
    (cross > 0.0) == (b[1] > a[1])
}
