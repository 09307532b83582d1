//! Quantities that can be prescribed: the flap angle, a displacement, a straight line through state space.
//!
//! In: a pose. Out: value and gradient. Absent: solving.

use super::load::Pose;
pub use super::newton::Measure;
use crate::model::{Hinge, Model};
use nalgebra::{Matrix2, Vector2, Vector3, Vector6};

/// One displacement component of one node, m.
#[derive(Debug, Clone, Copy)]
pub struct NodeDisplacement {
    /// The node.
    pub node: u32,
    /// Its place at rest, m.
    pub rest_m: Vector3<f64>,
    /// Unit direction.
    pub direction: Vector3<f64>,
}

impl Measure for NodeDisplacement {
    fn value(&self, pose: &Pose) -> f64 {
        pose.positions_m.get(self.node as usize).map_or(0.0, |x| self.direction.dot(&(x - self.rest_m)))
    }

    fn gradient(&self, pose: &Pose) -> Vec<Vector6<f64>> {
        let mut gradient = vec![Vector6::zeros(); pose.positions_m.len()];
        if let Some(own) = gradient.get_mut(self.node as usize) {
            own.fixed_rows_mut::<3>(0).copy_from(&self.direction);
        }
        gradient
    }
}

/// Rotation of the best-fit plane of the flap about the hinge line, rad; positive lifts towards +z.
///
/// The plane is the least-squares image of the flap at rest: positions now fitted by an affine map of positions at
/// rest, weighted by area. It does not jump at ninety degrees, and for small motion it is the slope of
/// [`crate::model::flap_motion`].
#[derive(Debug, Clone)]
pub struct FlapAngle {
    /// Node with its weights in the two tangents of the plane.
    weights: Vec<(u32, [f64; 2])>,
    /// Arm direction at rest.
    along: Vector3<f64>,
    n_nodes: usize,
}

impl FlapAngle {
    /// For a flat flap made of `triangles` of a model in the plane z = constant; None if they span no plane.
    #[must_use]
    pub fn new(model: &Model, triangles: &[usize], hinge: &Hinge) -> Option<Self> {
        let at = |node: u32| {
            let p = model.nodes_m[node as usize];
            Vector2::new(p[0], p[1])
        };
        // Mid-side rule, exact for products of linear fields.
        let mut samples: Vec<(f64, [u32; 2])> = Vec::new();
        for &t in triangles {
            let corners = *model.triangles.get(t)?;
            let [a, b, c] = corners.map(at);
            let area = 0.5 * ((b - a).perp(&(c - a))).abs();
            samples.extend([(0, 1), (1, 2), (2, 0)].map(|(i, j)| (area / 3.0, [corners[i], corners[j]])));
        }
        let total: f64 = samples.iter().map(|s| s.0).sum();
        let middle = |s: &(f64, [u32; 2])| (at(s.1[0]) + at(s.1[1])) * 0.5;
        let centre = samples.iter().map(|s| middle(s) * s.0).sum::<Vector2<f64>>() / total;
        let gram: Matrix2<f64> = samples
            .iter()
            .map(|s| {
                let p = middle(s) - centre;
                p * p.transpose() * s.0
            })
            .sum();
        let back = gram.try_inverse().filter(|m| m.iter().all(|x| x.is_finite()))?;
        let mut weights = vec![[0.0; 2]; model.nodes_m.len()];
        for s in &samples {
            let row = back * (middle(s) - centre) * s.0;
            for node in s.1 {
                weights[node as usize][0] += 0.5 * row[0];
                weights[node as usize][1] += 0.5 * row[1];
            }
        }
        let used = (0u32..).zip(weights).filter(|(_, w)| w.iter().any(|x| x.abs() > 0.0)).collect();
        Some(Self {
            weights: used,
            along: Vector3::new(hinge.along[0], hinge.along[1], 0.0),
            n_nodes: model.nodes_m.len(),
        })
    }

    /// Images of the unit vectors x and y of the flap at rest.
    fn tangents(&self, pose: &Pose) -> [Vector3<f64>; 2] {
        let mut sums = [Vector3::zeros(); 2];
        // Relative to one node: the weights sum to zero.
        let base = self.weights.first().map_or_else(Vector3::zeros, |w| pose.positions_m[w.0 as usize]);
        for (node, w) in &self.weights {
            let x = pose.positions_m[*node as usize] - base;
            sums[0] += x * w[0];
            sums[1] += x * w[1];
        }
        sums
    }
}

impl Measure for FlapAngle {
    fn value(&self, pose: &Pose) -> f64 {
        let [a, b] = self.tangents(pose);
        let normal = a.cross(&b);
        (-normal.dot(&self.along)).atan2(normal[2])
    }

    fn gradient(&self, pose: &Pose) -> Vec<Vector6<f64>> {
        let [a, b] = self.tangents(pose);
        let normal = a.cross(&b);
        let (l, z) = (normal.dot(&self.along), normal[2]);
        // d atan2(-l, z) = (l dz - z dl) / (l^2 + z^2)
        let g = (Vector3::z() * l - self.along * z) / (l * l + z * z);
        let (by_a, by_b) = (b.cross(&g), g.cross(&a));
        let mut gradient = vec![Vector6::zeros(); self.n_nodes];
        for (node, w) in &self.weights {
            gradient[*node as usize].fixed_rows_mut::<3>(0).copy_from(&(by_a * w[0] + by_b * w[1]));
        }
        gradient
    }
}

/// A linear functional of all positions: the length of a step along a path.
#[derive(Debug, Clone)]
pub(super) struct Along {
    pub(super) direction: Vec<Vector3<f64>>,
    pub(super) from: Vec<Vector3<f64>>,
}

impl Measure for Along {
    fn value(&self, pose: &Pose) -> f64 {
        let parts = self.direction.iter().zip(&self.from).zip(&pose.positions_m);
        parts.map(|((t, from), x)| t.dot(&(x - from))).sum()
    }

    fn gradient(&self, _: &Pose) -> Vec<Vector6<f64>> {
        self.direction.iter().map(|t| Vector6::new(t[0], t[1], t[2], 0.0, 0.0, 0.0)).collect()
    }
}
