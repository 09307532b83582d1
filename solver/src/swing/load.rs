//! What a load must tell the swing: forces, stiffness and potential in any pose of the board.
//!
//! In: a [`Pose`]. Out: nodal forces at unit factor and, where the load depends on the pose, its stiffness.
//! Absent: any particular load.

use nalgebra::{Matrix3, Vector3, Vector6};

use crate::element::Matrix18;

/// Where every node is and how it is turned.
///
/// Same node numbers as the model; nodes of rigid pieces and inside clamps are given too.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Pose {
    /// Node positions in space, m.
    pub positions_m: Vec<Vector3<f64>>,
    /// Rotation of each node from the board at rest: a direction `a` fixed in the board at the node is now `R a`.
    /// The director at rest is +z of the flat board, so the director is now the third column.
    pub rotations: Vec<Matrix3<f64>>,
}

impl Pose {
    /// Every node at rest.
    #[must_use]
    pub fn at_rest(nodes_m: &[[f64; 3]]) -> Self {
        Self {
            positions_m: nodes_m.iter().map(|p| Vector3::from(*p)).collect(),
            rotations: vec![Matrix3::identity(); nodes_m.len()],
        }
    }
}

/// A load that may depend on where the board is.
pub trait MovingLoad: Sync {
    /// Force (N) and moment (N m) per node at unit factor, global axes: six per node of the pose.
    ///
    /// Work-conjugate to displacement and *spatial spin*: under small changes `dx` and `R <- exp([dw]) R` the load
    /// does the work `sum f . (dx, dw)`.
    fn forces(&self, pose: &Pose) -> Vec<Vector6<f64>>;

    /// Stiffness per triangle at unit factor: minus the change of the forces on its three corners with their
    /// displacements and spatial spins (u, v, w, tx, ty, tz, corner by corner; global axes), symmetrised.
    ///
    /// At most one entry a triangle, in ascending order of triangle. Empty: the load does not depend on the pose,
    /// or so weakly that it need not be in the tangent.
    fn stiffness(&self, pose: &Pose) -> Vec<(u32, Matrix18)>;

    /// Energy of the load at unit factor, J: forces are minus its gradient. None if it has none or it is unknown.
    fn potential_j(&self, pose: &Pose) -> Option<f64>;

    /// Moments per node at unit factor, N m, that keep their direction in space whatever the board does. They make the
    /// tangent unsymmetric, which no symmetric stiffness tells. Moments of levers that turn with the board do not.
    fn dead_moments(&self) -> Vec<(u32, Vector3<f64>)> {
        Vec::new()
    }
}

/// Forces and moments that keep size and direction in space, whatever the board does.
///
/// (A moment fixed in space has no potential under rotation about changing axes, so none is given when any
/// moment acts.)
#[derive(Debug, Clone, Default)]
pub struct DeadLoad {
    /// Force (N) and moment (N m) per node, global axes; one per node.
    pub nodal: Vec<Vector6<f64>>,
}

impl MovingLoad for DeadLoad {
    fn forces(&self, _: &Pose) -> Vec<Vector6<f64>> {
        self.nodal.clone()
    }

    fn stiffness(&self, _: &Pose) -> Vec<(u32, Matrix18)> {
        Vec::new()
    }

    fn potential_j(&self, pose: &Pose) -> Option<f64> {
        let mut energy = 0.0;
        for (f, x) in self.nodal.iter().zip(&pose.positions_m) {
            if f.fixed_rows::<3>(3).amax() != 0.0 {
                return None;
            }
            energy -= f.fixed_rows::<3>(0).dot(x);
        }
        Some(energy)
    }

    fn dead_moments(&self) -> Vec<(u32, Vector3<f64>)> {
        moments_of(&self.nodal)
    }
}

/// Nodes with a moment, and the moment.
pub(super) fn moments_of(nodal: &[Vector6<f64>]) -> Vec<(u32, Vector3<f64>)> {
    let all = (0u32..).zip(nodal).map(|(node, f)| (node, f.fixed_rows::<3>(3).into_owned()));
    all.filter(|(_, m)| *m != Vector3::zeros()).collect()
}
