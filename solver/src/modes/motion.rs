//! A mode's shape as recovery sees it: strain of the copper per unit of the modal coordinate.

use crate::element::{Local, Vector18};
use crate::model::Model;
use crate::recover::Motion;
use crate::swing::{Path, Pose};
use nalgebra::{Matrix3, Vector3, Vector6};

/// A small motion of the nodes about a state under large motion.
#[derive(Debug, Clone)]
pub struct ModeMotion<'a> {
    shape: &'a [Vector6<f64>],
    pose: Pose,
    /// Change of the motion inside the frame of every triangle.
    triangles: Vec<Vector18>,
}

impl<'a> ModeMotion<'a> {
    /// `shape`: displacements and spatial spins of the nodes about the present state of `path`.
    #[must_use]
    pub fn new(path: &Path<'_>, shape: &'a [Vector6<f64>]) -> Self {
        Self { shape, pose: path.pose().clone(), triangles: path.strained_by(shape) }
    }

    fn part(&self, node: u32, first: usize) -> Vector3<f64> {
        self.shape[node as usize].fixed_rows::<3>(first).into_owned()
    }
}

impl Motion for ModeMotion<'_> {
    fn of_triangle(&self, _: &Model, triangle: usize, _: &Local) -> Vector18 {
        self.triangles[triangle]
    }

    fn seen_from(&self, _: &Model, node: u32, from: u32) -> Vector6<f64> {
        let arm = self.pose.positions_m[node as usize] - self.pose.positions_m[from as usize];
        let back: Matrix3<f64> = self.pose.rotations[from as usize].transpose();
        let spin = self.part(from, 3);
        let moved = back * (self.part(node, 0) - self.part(from, 0) - spin.cross(&arm));
        let turned = back * (self.part(node, 3) - spin);
        Vector6::new(moved[0], moved[1], moved[2], turned[0], turned[1], turned[2])
    }
}
