//! Element matrices into one sparse matrix: the only loop that adds stiffness.
//!
//! In: a checked [`Model`]. Out: the pattern (once), the lower triangle of K in elimination order, the flat store
//! of element matrices that later steps multiply with, and public matrices in global node freedoms.
//! Element matrices are computed in parallel; then every sparse block column sums its own contributions in
//! element order, so the bytes do not depend on the number of threads.

use crate::element::{self, Local};
use crate::error::SolveError;
use crate::model::Model;
use crate::vectors::widest;
use nalgebra::{Matrix3, Matrix6};
use rayon::prelude::*;

mod layout;
mod matrices;
#[cfg(test)]
mod tests;
pub(crate) use layout::{Layout, refused};
pub use matrices::{Unknown, load_vector, mass, ordered, stiffness, unknowns};
pub(crate) use matrices::{element_masses, public};

pub(crate) use crate::element::{PACKED, packed_row};

/// Triangles a thread takes at a time.
const CHUNK: usize = 128;

/// Place in a packed element matrix of every entry of the 6 x 6 part at rows of one corner and columns of another,
/// column by column.
const PART: [[[u8; 36]; 3]; 3] = {
    let mut part = [[[0; 36]; 3]; 3];
    let mut k = 0;
    while k < 324 {
        let (row, column) = (k % 18, k / 18);
        let (low, high) = if row < column { (row, column) } else { (column, row) };
        #[expect(clippy::cast_possible_truncation, reason = "171 places")]
        let at = (packed_row(low) + high) as u8;
        part[row / 6][column / 6][6 * (column % 6) + row % 6] = at;
        k += 1;
    }
    part
};

/// Element stiffness in element axes, with the axes.
#[derive(Debug)]
pub(crate) struct Elements {
    /// Packed upper triangles, [`PACKED`] entries each.
    pub(crate) stiffness: Vec<f64>,
    /// Corners and triads.
    pub(crate) local: Vec<Local>,
    /// Triangles inside one rigid piece: no strain, left out.
    pub(crate) rigid: Vec<bool>,
}

impl Elements {
    /// Element matrices of a model whose indices are known to be in range.
    pub(crate) fn new(model: &Model) -> Result<Self, SolveError> {
        let local: Vec<Local> = (0..model.triangles.len()).into_par_iter().map(|e| axes(model, e)).collect();
        let mut stiffness = vec![0.0; PACKED * local.len()];
        let of = |(chunk, packed): (usize, &mut [f64])| {
            let first = CHUNK * chunk;
            let mut all =
                packed.chunks_exact_mut(PACKED).zip(&local[first..]).zip(&model.laminate_of[first..]);
            widest(
                #[inline(always)]
                || {
                    let mut bad = None;
                    for (k, ((packed, local), &laminate)) in all.by_ref().enumerate() {
                        let laminate = &model.laminates[laminate as usize];
                        element::shell::packed_stiffness(&local.corners, laminate, packed);
                        if !packed.iter().all(|v| v.is_finite()) {
                            bad = bad.or(Some(first + k));
                        }
                    }
                    bad
                },
            )
        };
        let bad = stiffness.par_chunks_mut(PACKED * CHUNK).enumerate().filter_map(of);
        if let Some(bad) = bad.min() {
            return Err(bad_triangle(model, bad));
        }
        let follow = &model.freedoms.follow;
        let rigid = model
            .triangles
            .iter()
            .map(|t| {
                let [a, b, c] = t.map(|node| follow[node as usize].block);
                a == b && b == c
            })
            .collect();
        Ok(Self { stiffness, local, rigid })
    }

    /// Rows of corner `b` against columns of corner `a`, turned to global axes.
    pub(crate) fn pair(&self, triangle: usize, b: usize, a: usize) -> Matrix6<f64> {
        let packed = &self.stiffness[PACKED * triangle..PACKED * (triangle + 1)];
        let in_element = Matrix6::from_iterator(PART[b][a].iter().map(|&k| packed[usize::from(k)]));
        let triad = &self.local[triangle].triad;
        if *triad == Matrix3::identity() { in_element } else { turned(&in_element, triad) }
    }
}

/// `T' K T` on every 3 x 3 part: element axes to global axes.
pub(crate) fn turned(matrix: &Matrix6<f64>, triad: &Matrix3<f64>) -> Matrix6<f64> {
    let mut out = Matrix6::zeros();
    for (i, j) in [(0, 0), (0, 3), (3, 0), (3, 3)] {
        let part = triad.tr_mul(&(matrix.fixed_view::<3, 3>(i, j) * triad));
        out.fixed_view_mut::<3, 3>(i, j).copy_from(&part);
    }
    out
}

fn axes(model: &Model, triangle: usize) -> Local {
    let corners = model.triangles[triangle].map(|node| model.nodes_m[node as usize]);
    let axis = model.axis_of.get(triangle).copied().unwrap_or([1.0, 0.0, 0.0]);
    element::local(corners, axis)
}

fn bad_triangle(model: &Model, triangle: usize) -> SolveError {
    let corners = model.triangles[triangle].map(|node| place(&model.nodes_m[node as usize]));
    SolveError::Model {
        what: format!("triangle {triangle} with corners {} has no finite stiffness", corners.join(", ")),
        remedy: "check that its corners differ and its laminate and direction are finite".to_owned(),
    }
}

/// A point in words.
pub(crate) fn place(p: &[f64; 3]) -> String {
    format!("({:.4}, {:.4}, {:.4}) mm", p[0] * 1e3, p[1] * 1e3, p[2] * 1e3)
}
