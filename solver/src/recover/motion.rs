//! Motion as strains see it: small, with the rigid part taken out, whatever the whole board does.
//!
//! In: a linear solution or an equilibrium under large motion. Out: motion of triangles and of neighbours. Absent:
//! strain operators.

use crate::element::{Local, Vector18};
use crate::model::{Model, Solution};
use crate::swing::Equilibrium;
use nalgebra::{Vector3, Vector6};

/// Where recovery takes its motion from.
pub trait Motion: Sync {
    /// Eighteen freedoms of a triangle in its axes (u, v, w, tx, ty, tz, corner by corner), rigid part taken out.
    ///
    /// `local`: the triangle at rest.
    fn of_triangle(&self, model: &Model, triangle: usize, local: &Local) -> Vector18;

    /// Displacement and rotation of a node as seen from another that turns along, in the axes of the board at rest.
    fn seen_from(&self, model: &Model, node: u32, from: u32) -> Vector6<f64>;
}

/// The sum of both parts of the pair is taken relative to one node before strains are formed, so a large rigid motion
/// costs no digits.
impl Motion for Solution {
    fn of_triangle(&self, model: &Model, triangle: usize, local: &Local) -> Vector18 {
        let nodes = model.triangles[triangle].map(|node| node as usize);
        let origin = nodes[0];
        let relative = nodes.map(|node| difference(self, node, origin));
        // The first corner's own rotation is common to all three; only differences from it strain the triangle.
        let base = rotation(self, origin);
        let extra: Vector3<f64> =
            relative.iter().map(|motion| motion.fixed_rows::<3>(3).into_owned()).sum::<Vector3<f64>>() / 3.0;
        let rotation = base + extra;
        let start = Vector3::from(model.nodes_m[origin]);
        let mut all = Vector18::zeros();
        for (corner, (&node, motion)) in nodes.iter().zip(&relative).enumerate() {
            let arm = Vector3::from(model.nodes_m[node]) - start;
            let moved = local.triad * (motion.fixed_rows::<3>(0) - rotation.cross(&arm));
            let turned = local.triad * (motion.fixed_rows::<3>(3) - extra);
            all.fixed_rows_mut::<3>(corner * 6).copy_from(&moved);
            all.fixed_rows_mut::<3>(corner * 6 + 3).copy_from(&turned);
        }
        all
    }

    fn seen_from(&self, model: &Model, node: u32, from: u32) -> Vector6<f64> {
        let arm = Vector3::from(model.nodes_m[node as usize]) - Vector3::from(model.nodes_m[from as usize]);
        let mut motion = difference(self, node as usize, from as usize);
        let turn = rotation(self, from as usize).cross(&arm);
        for i in 0..3 {
            motion[i] -= turn[i];
        }
        motion
    }
}

/// Motion of a node relative to another, from both parts of the pair.
fn difference(solution: &Solution, node: usize, from: usize) -> Vector6<f64> {
    let lead = solution.displacement[node] - solution.displacement[from];
    match (solution.trailing.get(node), solution.trailing.get(from)) {
        (Some(own), Some(first)) => lead + (own - first),
        _ => lead,
    }
}

fn rotation(solution: &Solution, node: usize) -> Vector3<f64> {
    let lead = solution.displacement[node].fixed_rows::<3>(3).into_owned();
    solution.trailing.get(node).map_or(lead, |trailing| lead + trailing.fixed_rows::<3>(3))
}

impl Motion for Equilibrium {
    fn of_triangle(&self, _: &Model, triangle: usize, _: &Local) -> Vector18 {
        self.motion[triangle]
    }

    fn seen_from(&self, model: &Model, node: u32, from: u32) -> Vector6<f64> {
        let (node, from) = (node as usize, from as usize);
        let arm = Vector3::from(model.nodes_m[node]) - Vector3::from(model.nodes_m[from]);
        let back = self.pose.rotations[from].transpose();
        let moved = back * (arm + (self.displacement_m[node] - self.displacement_m[from])) - arm;
        let turned = crate::element::corotational::logarithm(&(back * self.pose.rotations[node]));
        Vector6::new(moved[0], moved[1], moved[2], turned[0], turned[1], turned[2])
    }
}
