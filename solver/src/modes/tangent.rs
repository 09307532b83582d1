//! The tangent of an equilibrium times small motions, triangle by triangle with the rigid motion taken out.
//!
//! A rigid turn of a triangle only turns its forces, so its product is known without the matrix; what is left is small
//! and its product keeps its digits. Loads that follow and the arms of rigid pieces come as a sparse matrix.

use super::rows::SymmetricRows;
use crate::assemble::PACKED;
use crate::element::Vector18;
use crate::linear::{BLOCK, Block};
use crate::model::Model;
use crate::swing::packed_product;
use nalgebra::{Vector3, Vector6};
use rayon::prelude::*;

/// The tangent of one state.
#[derive(Debug)]
pub(super) struct Tangent {
    /// Symmetrised tangents of all triangles, packed, global axes.
    pub(super) packed: Vec<f64>,
    /// Forces of every triangle on its corners, global axes.
    pub(super) corners: Vec<Vector18>,
    /// Where every node is.
    pub(super) positions_m: Vec<Vector3<f64>>,
    /// Everything that is not of a triangle.
    pub(super) rest: SymmetricRows,
}

impl Tangent {
    /// Forces on the corners of every triangle for a motion of the nodes.
    pub(super) fn forces(&self, model: &Model, shape: &[Vector6<f64>]) -> Vec<[f64; 18]> {
        let part = |node: usize, first: usize| shape[node].fixed_rows::<3>(first).into_owned();
        let of = |(e, corners): (usize, &[u32; 3])| {
            let nodes = corners.map(|n| n as usize);
            let (base, spin) = (part(nodes[0], 0), part(nodes[0], 3));
            let mut left = Vector18::zeros();
            for (a, &node) in nodes.iter().enumerate().skip(1) {
                let arm = self.positions_m[node] - self.positions_m[nodes[0]];
                let moved = part(node, 0) - base - spin.cross(&arm);
                left.fixed_rows_mut::<3>(6 * a).copy_from(&moved);
                left.fixed_rows_mut::<3>(6 * a + 3).copy_from(&(part(node, 3) - spin));
            }
            let mut f = packed_product(&self.packed[PACKED * e..PACKED * (e + 1)], &left);
            for a in 0..3 {
                let force = self.corners[e].fixed_rows::<3>(6 * a).into_owned();
                let moment = self.corners[e].fixed_rows::<3>(6 * a + 3).into_owned();
                let mut own = f.fixed_rows_mut::<3>(6 * a);
                own += spin.cross(&force);
                // The symmetric part leaves half of what turns the moments.
                let mut own = f.fixed_rows_mut::<3>(6 * a + 3);
                own += spin.cross(&moment) * 0.5;
            }
            f.into()
        };
        model.triangles.par_iter().enumerate().map(of).collect()
    }

    /// Adds what is not of a triangle.
    pub(super) fn add_rest(&self, x: &[[f64; BLOCK]], out: &mut Block) {
        for (sum, row) in out.iter_mut().zip(self.rest.times(x)) {
            sum.iter_mut().zip(row).for_each(|(s, r)| *s += r);
        }
    }
}
