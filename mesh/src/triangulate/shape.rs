//! Shape of single triangles and helpers on a finished mesh: angles, sides, edges, nodes at a place.

use super::{BoardMesh, FlatMesh, Role};
use crate::region::{Point, to_segment};

/// Smallest angle of a triangle, rad; negative for a clockwise one, zero when degenerate.
pub(crate) fn smallest_angle([a, b, c]: [Point; 3]) -> f64 {
    let area2 = (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0]);
    let at = |p: Point, q: Point, r: Point| {
        let dot = (q[0] - p[0]) * (r[0] - p[0]) + (q[1] - p[1]) * (r[1] - p[1]);
        area2.abs().atan2(dot)
    };
    let least = at(a, b, c).min(at(b, c, a)).min(at(c, a, b));
    if area2 < 0.0 { -least } else { least }
}

/// An edge between two zones, or at the rim.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct ZoneEdge {
    /// Nodes, with the left triangle on the left.
    pub nodes: [u32; 2],
    /// Triangle on the left.
    pub left: u32,
    /// Triangle on the right; `None` at the rim.
    pub right: Option<u32>,
}

impl FlatMesh {
    /// Corners of a triangle, m.
    #[must_use]
    pub fn corners_m(&self, triangle: usize) -> [Point; 3] {
        self.triangles[triangle].map(|i| self.points_m[i as usize])
    }

    /// Area of a triangle, m2; negative when clockwise.
    #[must_use]
    pub fn area_m2(&self, triangle: usize) -> f64 {
        let [a, b, c] = self.corners_m(triangle);
        0.5 * ((b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0]))
    }

    /// Centre of a triangle, m.
    #[must_use]
    pub fn centroid_m(&self, triangle: usize) -> Point {
        let [a, b, c] = self.corners_m(triangle);
        [(a[0] + b[0] + c[0]) / 3.0, (a[1] + b[1] + c[1]) / 3.0]
    }

    /// Longest side of a triangle, m.
    #[must_use]
    pub fn size_m(&self, triangle: usize) -> f64 {
        let [a, b, c] = self.corners_m(triangle);
        let side = |p: Point, q: Point| (p[0] - q[0]).hypot(p[1] - q[1]);
        side(a, b).max(side(b, c)).max(side(c, a))
    }

    /// Smallest angle of the mesh, rad, and the triangle that has it (`None` without triangles).
    #[must_use]
    pub fn smallest_angle(&self) -> (f64, Option<usize>) {
        (0..self.triangles.len())
            .map(|t| (smallest_angle(self.corners_m(t)), t))
            .min_by(|a, b| a.0.total_cmp(&b.0))
            .map_or((0.0, None), |(a, t)| (a, Some(t)))
    }

    /// Area of each zone, m2.
    #[must_use]
    pub fn zone_areas_m2(&self) -> Vec<f64> {
        let mut areas = vec![0.0; self.zones.len()];
        for (t, &z) in self.zone_of.iter().enumerate() {
            areas[z as usize] += self.area_m2(t);
        }
        areas
    }

    /// Every edge with its triangle on the left and, unless at the rim, on the right; each once, sorted by nodes.
    #[must_use]
    pub fn edges(&self) -> Vec<ZoneEdge> {
        let mut half: Vec<([u32; 2], bool, u32, [u32; 2])> = Vec::with_capacity(3 * self.triangles.len());
        for (t, tri) in (0_u32..).zip(&self.triangles) {
            for k in 0..3 {
                let nodes = [tri[k], tri[(k + 1) % 3]];
                let backward = nodes[0] > nodes[1];
                let key = if backward { [nodes[1], nodes[0]] } else { nodes };
                half.push((key, backward, t, nodes));
            }
        }
        half.sort_unstable();
        let mut out: Vec<ZoneEdge> = Vec::with_capacity(half.len() / 2 + 1);
        let mut last = None;
        for (key, _, t, nodes) in half {
            match out.last_mut() {
                Some(e) if last == Some(key) => e.right = Some(t),
                _ => out.push(ZoneEdge { nodes, left: t, right: None }),
            }
            last = Some(key);
        }
        out
    }

    /// Edges at the rim of the part and of its openings, material on the left, sorted by nodes.
    #[must_use]
    pub fn boundary_edges(&self) -> Vec<[u32; 2]> {
        self.edges().into_iter().filter(|e| e.right.is_none()).map(|e| e.nodes).collect()
    }

    /// Edges between triangles of different zones.
    #[must_use]
    pub fn zone_edges(&self) -> Vec<ZoneEdge> {
        let zone = |t: u32| self.zone_of[t as usize];
        self.edges().into_iter().filter(|e| e.right.is_some_and(|r| zone(r) != zone(e.left))).collect()
    }

    /// Node nearest to a place and its distance, m.
    #[must_use]
    pub fn nearest_node(&self, p: Point) -> Option<(u32, f64)> {
        (0_u32..)
            .zip(&self.points_m)
            .map(|(i, q)| (i, (q[0] - p[0]).hypot(q[1] - p[1])))
            .min_by(|a, b| a.1.total_cmp(&b.1))
    }

    /// Nodes within `reach_m` of a segment, in the order they follow along it, m.
    #[must_use]
    pub fn nodes_on(&self, [a, b]: [Point; 2], reach_m: f64) -> Vec<u32> {
        let mut found: Vec<(f64, u32)> = (0_u32..)
            .zip(&self.points_m)
            .filter_map(|(i, &p)| {
                let (distance, t) = to_segment(p, a, b);
                (distance <= reach_m).then_some((t, i))
            })
            .collect();
        found.sort_by(|x, y| x.0.total_cmp(&y.0).then(x.1.cmp(&y.1)));
        found.into_iter().map(|x| x.1).collect()
    }
}

impl BoardMesh {
    /// Bit of a role in [`super::Zone::inside`].
    #[must_use]
    pub fn bit(&self, role: Role) -> Option<u32> {
        (0_u32..).zip(&self.roles).find(|&(_, &r)| r == role).map(|(bit, _)| bit)
    }

    /// Triangles inside a role's region, in rising order.
    #[must_use]
    pub fn triangles_in(&self, role: Role) -> Vec<u32> {
        let Some(bit) = self.bit(role) else { return Vec::new() };
        let zones: Vec<bool> = self.flat.zones.iter().map(|z| z.inside >> bit & 1 == 1).collect();
        (0_u32..).zip(&self.flat.zone_of).filter(|&(_, &z)| zones[z as usize]).map(|(t, _)| t).collect()
    }

    /// Nodes inside a role's region or on its edge, in rising order.
    #[must_use]
    pub fn nodes_in(&self, role: Role) -> Vec<u32> {
        let mut nodes: Vec<u32> =
            self.triangles_in(role).iter().flat_map(|&t| self.flat.triangles[t as usize]).collect();
        nodes.sort_unstable();
        nodes.dedup();
        nodes
    }

    /// Edges of a role's region inside the part: the region on the left, the rest on the right.
    #[must_use]
    pub fn edges_of(&self, role: Role) -> Vec<ZoneEdge> {
        let Some(bit) = self.bit(role) else { return Vec::new() };
        let is_in = |t: u32| self.flat.zones[self.flat.zone_of[t as usize] as usize].inside >> bit & 1 == 1;
        let turned =
            |e: ZoneEdge, r: u32| ZoneEdge { nodes: [e.nodes[1], e.nodes[0]], left: r, right: Some(e.left) };
        self.flat
            .zone_edges()
            .into_iter()
            .filter_map(|e| match e.right {
                Some(r) if is_in(e.left) && !is_in(r) => Some(e),
                Some(r) if is_in(r) && !is_in(e.left) => Some(turned(e, r)),
                _ => None,
            })
            .collect()
    }
}
