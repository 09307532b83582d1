//! Which triangle holds a place.

use super::FlatMesh;
use crate::region::Point;
use crate::region::buckets::Buckets;

/// A place this far outside a triangle, as a share of its height, still counts as inside.
const SLACK: f64 = 1e-9;

/// Search index over the triangles of one mesh.
#[derive(Debug, Clone)]
pub struct Locator<'a> {
    mesh: &'a FlatMesh,
    index: Buckets,
}

impl FlatMesh {
    /// Search index for [`Locator::triangle_at`].
    #[must_use]
    pub fn locator(&self) -> Locator<'_> {
        let boxes: Vec<[Point; 2]> = (0..self.triangles.len())
            .map(|t| {
                let [a, b, c] = self.corners_m(t);
                [[0, 1].map(|k| a[k].min(b[k]).min(c[k])), [0, 1].map(|k| a[k].max(b[k]).max(c[k]))]
            })
            .collect();
        Locator { mesh: self, index: Buckets::of_boxes(&boxes) }
    }

    /// Area coordinates of a place in a triangle; they add up to 1 and are negative outside.
    #[must_use]
    pub fn area_coordinates(&self, triangle: usize, p: Point) -> [f64; 3] {
        let [a, b, c] = self.corners_m(triangle);
        let cross =
            |p: Point, q: Point, r: Point| (q[0] - p[0]) * (r[1] - p[1]) - (q[1] - p[1]) * (r[0] - p[0]);
        let whole = cross(a, b, c);
        let (u, v) = (cross(p, b, c) / whole, cross(a, p, c) / whole);
        [u, v, 1.0 - u - v]
    }
}

impl Locator<'_> {
    /// Triangle that holds a place, with the area coordinates; `None` outside the mesh.
    ///
    /// On a common edge or node the triangle of lowest index is given.
    #[must_use]
    pub fn triangle_at(&self, p: Point) -> Option<(usize, [f64; 3])> {
        if self.mesh.triangles.is_empty() {
            return None;
        }
        self.index
            .near(p)
            .iter()
            .map(|&t| (t as usize, self.mesh.area_coordinates(t as usize, p)))
            .filter(|(_, zeta)| zeta.iter().all(|&z| z >= -SLACK))
            .min_by_key(|(t, _)| *t)
    }

    /// Like [`Self::triangle_at`], but a place up to `reach_m` outside gets the nearest triangle and the area
    /// coordinates of the nearest place in it.
    #[must_use]
    pub fn triangle_near(&self, p: Point, reach_m: f64) -> Option<(usize, [f64; 3])> {
        if let Some(found) = self.triangle_at(p) {
            return Some(found);
        }
        if self.mesh.triangles.is_empty() {
            return None;
        }
        let (lo, hi) = ([p[0] - reach_m, p[1] - reach_m], [p[0] + reach_m, p[1] + reach_m]);
        self.index
            .in_box(lo, hi)
            .map(|t| {
                let (distance, zeta) = self.nearest_in(t as usize, p);
                (distance, t as usize, zeta)
            })
            .filter(|f| f.0 <= reach_m)
            .min_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)))
            .map(|(_, t, zeta)| (t, zeta))
    }

    /// Longest side of the triangle that holds a place, m.
    #[must_use]
    pub fn size_at(&self, p: Point) -> Option<f64> {
        self.triangle_at(p).map(|(t, _)| self.mesh.size_m(t))
    }

    /// Distance to the rim of a triangle and the area coordinates of the nearest point of the rim.
    fn nearest_in(&self, triangle: usize, p: Point) -> (f64, [f64; 3]) {
        let corners = self.mesh.corners_m(triangle);
        let mut best = (f64::INFINITY, [1.0, 0.0, 0.0]);
        for k in 0..3 {
            let (distance, t) = crate::region::to_segment(p, corners[k], corners[(k + 1) % 3]);
            if distance < best.0 {
                let mut zeta = [0.0; 3];
                (zeta[k], zeta[(k + 1) % 3]) = (1.0 - t, t);
                best = (distance, zeta);
            }
        }
        best
    }
}
