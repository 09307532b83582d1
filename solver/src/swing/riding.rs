//! Forces fixed in space whose points of attack ride on the board: weights beside the plane of nodes, pulls at a height.
//!
//! In: nodal forces and levers fixed in the board. Out: a [`MovingLoad`] with its exact stiffness. Absent: the magnet.

use super::load::{MovingLoad, Pose, moments_of};
use crate::element::Matrix18;
use crate::error::SolveError;
use crate::model::{BoardModel, Model, loads};
use copperbend_mesh::board::Board;
use copperbend_mesh::triangulate::BoardMesh;
use nalgebra::{Vector3, Vector6};
use rayon::prelude::*;

/// Share of a moment below which a difference of equal moments is nothing.
const ROUNDING: f64 = 1e-10;

/// Moment of a force at the end of an arm that turns with a node; the force itself is among the nodal forces.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Lever {
    /// Node the arm is fixed to.
    pub node: u32,
    /// From the node to the force, in the board at rest, m. (For a weight: first moment over the mass's unit.)
    pub arm_m: Vector3<f64>,
    /// The force, fixed in space, N.
    pub force_n: Vector3<f64>,
}

/// Nodal forces and moments fixed in space, and levers that turn.
#[derive(Debug, Clone, Default)]
pub struct RidingLoad {
    nodal: Vec<Vector6<f64>>,
    /// With the triangle and corner that carry each one's stiffness, ascending by triangle.
    levers: Vec<Carried>,
}

/// A lever with the triangle and corner that carry its stiffness.
type Carried = (Lever, Option<(u32, usize)>);

impl RidingLoad {
    /// `nodal`: forces, and moments fixed in space; the levers' moments come on top.
    #[must_use]
    pub fn new(model: &Model, nodal: Vec<Vector6<f64>>, levers: Vec<Lever>) -> Self {
        let mut first = vec![None; model.nodes_m.len()];
        for (t, corners) in (0u32..).zip(&model.triangles) {
            for (corner, &node) in corners.iter().enumerate() {
                if let Some(entry) = first.get_mut(node as usize) {
                    let _ = entry.get_or_insert((t, corner));
                }
            }
        }
        let carried = |lever: Lever| (lever, first.get(lever.node as usize).copied().flatten());
        let mut levers: Vec<_> = levers.into_iter().map(carried).collect();
        levers.sort_by_key(|&(_, carried)| carried);
        Self { nodal, levers }
    }
}

impl MovingLoad for RidingLoad {
    fn forces(&self, pose: &Pose) -> Vec<Vector6<f64>> {
        let mut forces = self.nodal.clone();
        for (lever, _) in &self.levers {
            let node = lever.node as usize;
            let moment = (pose.rotations[node] * lever.arm_m).cross(&lever.force_n);
            forces[node] += Vector6::new(0.0, 0.0, 0.0, moment[0], moment[1], moment[2]);
        }
        forces
    }

    fn stiffness(&self, pose: &Pose) -> Vec<(u32, Matrix18)> {
        // Levers lie in the order of their triangles.
        let of = |levers: &[Carried]| {
            let (triangle, _) = levers.first()?.1?;
            let mut k = Matrix18::zeros();
            for (lever, carried) in levers {
                let (_, corner) = (*carried)?;
                let arm = pose.rotations[lever.node as usize] * lever.arm_m;
                // d(r x f) = [f]x [r]x w.
                let change = lever.force_n.cross_matrix() * arm.cross_matrix();
                let mut own = k.fixed_view_mut::<3, 3>(6 * corner + 3, 6 * corner + 3);
                own -= (change + change.transpose()) * 0.5;
            }
            Some((triangle, k))
        };
        let same = |a: &Carried, b: &Carried| a.1.map(|at| at.0) == b.1.map(|at| at.0);
        self.levers.par_chunk_by(same).filter_map(of).collect()
    }

    fn potential_j(&self, pose: &Pose) -> Option<f64> {
        let mut energy = 0.0;
        for (f, x) in self.nodal.iter().zip(&pose.positions_m) {
            if f.fixed_rows::<3>(3).amax() != 0.0 {
                return None;
            }
            energy -= f.fixed_rows::<3>(0).dot(x);
        }
        for (lever, _) in &self.levers {
            energy -= lever.force_n.dot(&(pose.rotations[lever.node as usize] * lever.arm_m));
        }
        Some(energy)
    }

    fn dead_moments(&self) -> Vec<(u32, Vector3<f64>)> {
        moments_of(&self.nodal)
    }
}

/// Forces, pressures, moments and weight of a design as one load. Pressures keep their direction in space.
///
/// # Errors
/// As [`loads::mechanical`].
pub fn board_load(
    board: &Board,
    mesh: &BoardMesh,
    own: &BoardModel,
    gravity_m_s2: [f64; 3],
) -> Result<RidingLoad, SolveError> {
    let mut nodal = loads::mechanical(board, mesh, own)?;
    for (sum, f) in nodal.iter_mut().zip(loads::weight(mesh, own, gravity_m_s2)) {
        *sum += f;
    }
    let levers: Vec<Lever> = loads::levers(board, mesh, own, gravity_m_s2)?
        .into_iter()
        .map(|(node, arm_m, force_n)| Lever { node, arm_m, force_n })
        .collect();
    // What the levers do at rest is in the nodal moments already; what rounding leaves of it is no moment.
    let mut whole = vec![0.0f64; nodal.len()];
    for lever in &levers {
        let moment = lever.arm_m.cross(&lever.force_n);
        whole[lever.node as usize] += moment.amax();
        nodal[lever.node as usize] -= Vector6::new(0.0, 0.0, 0.0, moment[0], moment[1], moment[2]);
    }
    for (f, whole) in nodal.iter_mut().zip(&whole) {
        for c in (3..6).filter(|_| *whole > 0.0) {
            f[c] = if f[c].abs() < ROUNDING * whole { 0.0 } else { f[c] };
        }
    }
    Ok(RidingLoad::new(&own.model, nodal, levers))
}
