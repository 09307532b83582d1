//! One triangle: the membrane with drilling freedoms, the discrete Kirchhoff plate, and the shell of both.
//!
//! Input: corner positions and a laminate. Output: 18 x 18 stiffness and mass, thermal load, strain operator,
//! all by pure functions without allocation. Large rotation is a frame around the same matrices ([`corotational`]).
//! Absent: transverse shear, anything assembled.
//!
//! Freedoms per node: u, v, w, tx, ty, tz; node by node. Generalised strain: e (xx, yy, engineering xy), then
//! curvature k; both in the element's own axes, which are the laminate's.

pub mod beam;
pub mod corotational;
pub mod mass;
pub mod membrane;
pub mod plate;
pub mod shell;

pub use membrane::scale as membrane_scale;

use nalgebra::{Matrix3, SMatrix, SVector, Vector3};

/// An 18 x 18 element matrix.
pub type Matrix18 = SMatrix<f64, 18, 18>;
/// An 18-entry element vector.
pub type Vector18 = SVector<f64, 18>;

/// Entries of the stored upper triangle of an 18 x 18 element matrix.
pub(crate) const PACKED: usize = 171;

/// Start of row `i` in the packed upper triangle, less `i`: entry (i, j >= i) is at `packed_row(i) + j`.
pub(crate) const fn packed_row(i: usize) -> usize {
    i * 18 - i * (i + 1) / 2
}

/// A triangle in its own axes.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Local {
    /// Corners in the plane of the triangle, relative to the first.
    pub corners: [[f64; 2]; 3],
    /// Rows are the element axes e1, e2, e3 in space; e3 is the normal.
    pub triad: Matrix3<f64>,
}

/// The triangle's own axes: e3 its normal (corners counter-clockwise), e1 the direction `axis` projected on it.
///
/// Where `axis` is normal to the triangle, the side from the first to the second corner stands in.
/// A triangle without area gives NaN axes; the mesh refuses those before.
#[must_use]
pub fn local(nodes: [[f64; 3]; 3], axis: [f64; 3]) -> Local {
    let origin = Vector3::from(nodes[0]);
    let (p, q) = (Vector3::from(nodes[1]) - origin, Vector3::from(nodes[2]) - origin);
    let e3 = p.cross(&q).normalize();
    let in_plane = |d: Vector3<f64>| d - e3 * e3.dot(&d);
    let wished = Vector3::from(axis);
    let projected = in_plane(wished);
    let e1 = if projected.norm() > 1e-6 * wished.norm() { projected } else { in_plane(p) }.normalize();
    let e2 = e3.cross(&e1);
    let flat = |d: &Vector3<f64>| [e1.dot(d), e2.dot(d)];
    Local {
        corners: [[0.0; 2], flat(&p), flat(&q)],
        triad: Matrix3::from_rows(&[e1.transpose(), e2.transpose(), e3.transpose()]),
    }
}

impl Local {
    /// True when the element axes are the global ones, so that nothing needs turning.
    #[must_use]
    pub fn is_global(&self) -> bool {
        self.triad == Matrix3::identity()
    }

    /// Element matrix from element axes to global axes.
    #[must_use]
    pub fn matrix_to_global(&self, own: &Matrix18) -> Matrix18 {
        if self.is_global() {
            return *own;
        }
        let mut global = Matrix18::zeros();
        for i in 0..6 {
            for j in 0..6 {
                let block = self.triad.tr_mul(&own.fixed_view::<3, 3>(3 * i, 3 * j)) * self.triad;
                global.fixed_view_mut::<3, 3>(3 * i, 3 * j).copy_from(&block);
            }
        }
        global
    }

    /// Element vector from element axes to global axes.
    #[must_use]
    pub fn vector_to_global(&self, own: &Vector18) -> Vector18 {
        turn(own, &self.triad.transpose())
    }

    /// Element vector from global axes to element axes.
    #[must_use]
    pub fn vector_to_local(&self, global: &Vector18) -> Vector18 {
        turn(global, &self.triad)
    }
}

fn turn(v: &Vector18, rotation: &Matrix3<f64>) -> Vector18 {
    let mut out = Vector18::zeros();
    for i in 0..6 {
        out.fixed_rows_mut::<3>(3 * i).copy_from(&(rotation * v.fixed_rows::<3>(3 * i)));
    }
    out
}

/// Twice the area of a triangle; positive for counter-clockwise corners.
#[must_use]
pub fn double_area(c: &[[f64; 2]; 3]) -> f64 {
    (c[1][0] - c[0][0]) * (c[2][1] - c[0][1]) - (c[2][0] - c[0][0]) * (c[1][1] - c[0][1])
}

/// The two corners that follow corner `i` counter-clockwise.
pub(crate) const NEXT: [[usize; 2]; 3] = [[1, 2], [2, 0], [0, 1]];

/// Area coordinates of the three mid-sides, where the shell is integrated exactly.
pub(crate) const MID_SIDES: [[f64; 3]; 3] = [[0.5, 0.5, 0.0], [0.0, 0.5, 0.5], [0.5, 0.0, 0.5]];

/// Rows of a strain operator on the nine freedoms of one part (membrane or plate), node by node.
pub(crate) type Rows = [[f64; 9]; 3];

#[cfg(test)]
mod tests;
