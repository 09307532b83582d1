//! The surface of a board riding on its beams: what triangles need (air, path, clearance, pictures) from what beams know.
//!
//! In: a board's beams and the nodes of its triangles. Out: motions and poses of the nodes from those of the beams,
//! forces on nodes as forces on beams, mass of air on a frame. Every node rides on one rigid node of the flap or shares
//! the two ends of its element, as the current path does. Absent: strain, which beams know better themselves.

use super::board::{BoardBeam, Carriers, carriers};
use super::frame::{Frame, Pose, Ride};
use super::motion::{Drive, LoadAndStiffness};
use crate::model::triangles_in;
use crate::swing;
use copperbend_mesh::board::Board;
use copperbend_mesh::triangulate::{BoardMesh, Role};
use nalgebra::{Matrix3, Matrix6, Vector3, Vector6};

/// The nodes of a mesh on beams.
#[derive(Debug, Clone)]
pub struct Skin {
    on: Vec<Carriers>,
}

impl Skin {
    /// Puts the nodes of a mesh, at a height of `z_m`, on beams.
    #[must_use]
    pub fn new(board: &Board, own: &BoardBeam, mesh: &BoardMesh, z_m: f64) -> Self {
        let points = &mesh.flat.points_m;
        let mut flap = vec![false; points.len()];
        if own.spans.iter().all(|s| s.arm.is_some()) {
            for t in triangles_in(mesh, Role::Flap) {
                mesh.flat.triangles[t].iter().for_each(|&n| flap[n as usize] = true);
            }
        }
        let one = |(at, in_flap): (&[f64; 2], bool)| match own.flap.filter(|_| in_flap) {
            Some(node) => vec![(node, 1.0, Vector3::new(at[0], at[1], z_m) - own.frame.nodes[node].at_m)],
            None => carriers(board, own, *at, z_m),
        };
        Self { on: points.iter().zip(flap).map(one).collect() }
    }

    /// Small motion of the nodes from that of the beams about a pose.
    #[must_use]
    pub fn motion(&self, about: &Pose, small: &[Vector6<f64>]) -> Vec<Vector6<f64>> {
        let one = |on: &Carriers| {
            let mut sum = Vector6::zeros();
            for &(node, share, arm) in on {
                let spin: Vector3<f64> = small[node].fixed_rows::<3>(3).into_owned();
                let by_spin = spin.cross(&(about.turn[node] * arm));
                sum += small[node] * share;
                for c in 0..3 {
                    sum[c] += by_spin[c] * share;
                }
            }
            sum
        };
        self.on.iter().map(one).collect()
    }

    /// Small motion of one node along the board's normal there.
    #[must_use]
    pub fn normal_motion(&self, about: &Pose, small: &[Vector6<f64>], node: usize) -> f64 {
        let one = |&(n, share, arm): &(usize, f64, Vector3<f64>)| {
            let x = &small[n];
            let spin: Vector3<f64> = x.fixed_rows::<3>(3).into_owned();
            let moved: Vector3<f64> = x.fixed_rows::<3>(0) + spin.cross(&(about.turn[n] * arm));
            share * about.turn[n].column(2).dot(&moved)
        };
        self.on[node].iter().map(one).sum()
    }

    /// Where the nodes are when the beams have a pose.
    #[must_use]
    pub fn pose(&self, own: &Pose) -> swing::Pose {
        let at = |on: &Carriers| on.iter().map(|(n, share, arm)| own.point_m(*n, arm) * *share).sum();
        let turn = |on: &Carriers| match on[..] {
            [(node, _, _)] => own.turn[node],
            _ => nearest_rotation(&on.iter().map(|&(n, share, _)| own.turn[n] * share).sum()),
        };
        swing::Pose {
            positions_m: self.on.iter().map(at).collect(),
            rotations: self.on.iter().map(turn).collect(),
        }
    }

    /// Forces and moments on the nodes as one force and moment on every node of the beams, at rest.
    #[must_use]
    pub fn rides(&self, nodal: &[Vector6<f64>], beams: usize) -> Vec<Ride> {
        let mut sums = vec![(Vector3::zeros(), Vector3::zeros()); beams];
        for (on, load) in self.on.iter().zip(nodal) {
            let force: Vector3<f64> = load.fixed_rows::<3>(0).into_owned();
            let moment: Vector3<f64> = load.fixed_rows::<3>(3).into_owned();
            for &(node, share, arm) in on {
                sums[node].0 += force * share;
                sums[node].1 += (arm.cross(&force) + moment) * share;
            }
        }
        let one = |(node, (force_n, moment_nm))| Ride { node, arm_m: Vector3::zeros(), force_n, moment_nm };
        sums.into_iter().enumerate().map(one).collect()
    }

    /// A frame with the mass of air on it; `air_kg`: of every node, for motion along the board's normal there.
    #[must_use]
    pub fn in_air(&self, frame: &Frame, air_kg: &[f64]) -> Frame {
        let mut out = frame.clone();
        for (on, &mass) in self.on.iter().zip(air_kg).filter(|(_, m)| **m > 0.0) {
            for &(node, share, arm) in on {
                let lever = arm.cross(&Vector3::z());
                let normal = Vector6::new(0.0, 0.0, 1.0, lever.x, lever.y, lever.z);
                out.nodes[node].inertia += normal * normal.transpose() * (mass * share);
            }
        }
        out
    }

    /// Forces of fixed direction on the nodes as a drive of the beams.
    #[must_use]
    pub fn holding(&self, nodal: &[Vector3<f64>], frame: &Frame) -> Holding {
        let mut on: Vec<Held> = frame
            .nodes
            .iter()
            .enumerate()
            .map(|(node, n)| Held { node, rest_m: n.at_m, force: Vector3::zeros(), spread: Matrix3::zeros() })
            .collect();
        for (carriers, force) in self.on.iter().zip(nodal) {
            for &(node, share, arm) in carriers {
                on[node].force += force * share;
                on[node].spread += arm * force.transpose() * share;
            }
        }
        on.retain(|h| h.force != Vector3::zeros() || h.spread != Matrix3::zeros());
        Holding { on }
    }
}

/// Rotation nearest to the mean of a few near ones: two steps of Newton for the polar factor.
fn nearest_rotation(mean: &Matrix3<f64>) -> Matrix3<f64> {
    let mut r = *mean;
    for _ in 0..3 {
        let Some(back) = r.transpose().try_inverse() else { return *mean };
        r = (r + back) * 0.5;
    }
    r
}

/// Forces on one node of the beams.
#[derive(Debug, Clone)]
struct Held {
    node: usize,
    rest_m: Vector3<f64>,
    force: Vector3<f64>,
    /// Sum of arm times force.
    spread: Matrix3<f64>,
}

/// Forces of fixed direction that ride on beams; they have a potential.
#[derive(Debug, Clone)]
pub struct Holding {
    on: Vec<Held>,
}

impl Holding {
    /// Work from rest to a pose at factor one, J.
    #[must_use]
    pub fn work_j(&self, pose: &Pose) -> f64 {
        let own = |h: &Held| {
            let turned = (pose.turn[h.node] - Matrix3::identity()) * h.spread;
            h.force.dot(&(pose.at_m[h.node] - h.rest_m)) + turned.trace()
        };
        self.on.iter().map(own).sum()
    }
}

impl Drive for Holding {
    fn load(&self, pose: &Pose) -> Vec<(usize, Vector6<f64>)> {
        let one = |h: &Held| {
            let s = pose.turn[h.node] * h.spread;
            let f = h.force;
            let moment = [s[(1, 2)] - s[(2, 1)], s[(2, 0)] - s[(0, 2)], s[(0, 1)] - s[(1, 0)]];
            (h.node, Vector6::new(f.x, f.y, f.z, moment[0], moment[1], moment[2]))
        };
        self.on.iter().map(one).collect()
    }

    fn load_and_stiffness(&self, pose: &Pose) -> LoadAndStiffness {
        // (theta x a) x f = a (theta . f) - theta (a . f)
        let one = |h: &Held| {
            let s = pose.turn[h.node] * h.spread;
            let mut k = Matrix6::zeros();
            k.fixed_view_mut::<3, 3>(3, 3).copy_from(&(s - Matrix3::identity() * s.trace()));
            (h.node, k)
        };
        (self.load(pose), self.on.iter().map(one).collect())
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::element::corotational::exponential;

    /// Two forces on one node: work, moment and stiffness are derivatives of each other.
    #[test]
    fn holding_forces_have_a_potential() {
        let forces = [
            (Vector3::new(0.3, -0.2, 0.5), Vector3::new(1.0, 2.0, -0.4)),
            (Vector3::new(-0.1, 0.7, 0.2), Vector3::new(0.2, -1.0, 3.0)),
        ];
        let force = forces.iter().map(|f| f.1).sum();
        let spread = forces.iter().map(|(a, f)| a * f.transpose()).sum();
        let held = Holding { on: vec![Held { node: 0, rest_m: Vector3::zeros(), force, spread }] };
        let base = exponential(&Vector3::new(0.4, -0.9, 0.3));
        let at = |spin: &Vector3<f64>| Pose {
            at_m: vec![Vector3::new(0.1, 0.2, 0.3)],
            turn: vec![exponential(spin) * base],
        };
        let here = at(&Vector3::zeros());
        let by_hand: f64 = forces.iter().map(|(a, f)| f.dot(&(here.point_m(0, a) - a))).sum();
        assert!(
            (held.work_j(&here) - by_hand).abs() < 1e-14,
            "work {} against {by_hand}",
            held.work_j(&here)
        );
        let (load, k) = (held.load(&here)[0].1, held.load_and_stiffness(&here).1[0].1);
        let h = 1e-5;
        for c in 0..3 {
            let mut spin = Vector3::zeros();
            spin[c] = h;
            let (up, down) = (at(&spin), at(&-spin));
            let slope = (held.work_j(&up) - held.work_j(&down)) / (2.0 * h);
            assert!((slope - load[3 + c]).abs() < 1e-8, "moment {c}: {} against {slope}", load[3 + c]);
            let column = (held.load(&up)[0].1 - held.load(&down)[0].1) / (2.0 * h);
            assert!((column - k.column(3 + c)).norm() < 1e-8, "stiffness {c}: {column}");
        }
    }

    #[test]
    fn nearest_rotation_is_one() {
        let a = exponential(&Vector3::new(0.2, 0.1, -0.3));
        let b = exponential(&Vector3::new(0.25, 0.02, -0.28));
        let r = nearest_rotation(&(a * 0.4 + b * 0.6));
        assert!((r.transpose() * r - Matrix3::identity()).norm() < 1e-12, "{r}");
    }
}
