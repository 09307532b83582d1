//! Which triangle holds a place (until the mesh crate's own search lands).

use copperbend_mesh::region::Point;
use copperbend_mesh::triangulate::FlatMesh;

pub(super) struct Locator<'a> {
    mesh: &'a FlatMesh,
    low: Point,
    cell: f64,
    n: [usize; 2],
    bins: Vec<Vec<u32>>,
}

pub(super) fn area_coordinates(mesh: &FlatMesh, triangle: usize, p: Point) -> [f64; 3] {
    let [a, b, c] = mesh.triangles[triangle].map(|n| mesh.points_m[n as usize]);
    let cross = |p: Point, q: Point, r: Point| (q[0] - p[0]) * (r[1] - p[1]) - (q[1] - p[1]) * (r[0] - p[0]);
    let whole = cross(a, b, c);
    let (u, v) = (cross(p, b, c) / whole, cross(a, p, c) / whole);
    [u, v, 1.0 - u - v]
}

#[expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    clippy::cast_precision_loss,
    reason = "bins"
)]
impl<'a> Locator<'a> {
    pub(super) fn new(mesh: &'a FlatMesh) -> Self {
        let (mut low, mut high) = ([f64::INFINITY; 2], [f64::NEG_INFINITY; 2]);
        for p in &mesh.points_m {
            for i in 0..2 {
                low[i] = low[i].min(p[i]);
                high[i] = high[i].max(p[i]);
            }
        }
        let area = ((high[0] - low[0]) * (high[1] - low[1])).max(1e-18);
        let cell = (area / (mesh.triangles.len().max(1) as f64)).sqrt();
        let n = [0, 1].map(|i| ((high[i] - low[i]) / cell).max(0.0) as usize + 1);
        let mut found = Self { mesh, low, cell, n, bins: vec![Vec::new(); n[0] * n[1]] };
        for (t, corners) in mesh.triangles.iter().enumerate() {
            let at = corners.map(|c| mesh.points_m[c as usize]);
            let span = [0, 1].map(|i| {
                let v = at.map(|p| p[i]);
                [found.bin(v[0].min(v[1]).min(v[2]), i), found.bin(v[0].max(v[1]).max(v[2]), i)]
            });
            for j in span[1][0]..=span[1][1] {
                for i in span[0][0]..=span[0][1] {
                    found.bins[j * n[0] + i].push(t as u32);
                }
            }
        }
        found
    }

    fn bin(&self, x: f64, i: usize) -> usize {
        (((x - self.low[i]) / self.cell).max(0.0) as usize).min(self.n[i] - 1)
    }

    pub(super) fn triangle_at(&self, p: Point) -> Option<(usize, [f64; 3])> {
        self.within(p, 1e-9)
    }

    pub(super) fn triangle_near(&self, p: Point, reach_m: f64) -> Option<(usize, [f64; 3])> {
        self.within(p, 1e-9).or_else(|| self.within(p, 0.1 * reach_m / self.cell))
    }

    fn within(&self, p: Point, slack: f64) -> Option<(usize, [f64; 3])> {
        let bin = self.bins.get(self.bin(p[1], 1) * self.n[0] + self.bin(p[0], 0))?;
        let of = |&t: &u32| (t as usize, area_coordinates(self.mesh, t as usize, p));
        bin.iter().map(of).find(|(_, zeta)| zeta.iter().all(|&z| z >= -slack))
    }
}
