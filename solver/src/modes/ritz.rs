//! The best vectors within a space of few: quotients of Rayleigh and Ritz.
//!
//! In: stiffness and mass projected on a space. Out: the lowest pairs of the space. Absent: solving, long vectors.

use nalgebra::{DMatrix, SymmetricEigen};

/// Share of the largest below which a direction of a space is rounding.
const DEPENDENT: f64 = 1e-12;

/// The `size` lowest quotients within a space, ascending, and the weights of its vectors in each, of unit mass.
///
/// Where the stiffness is positive on the space the problem is solved upside down, so that the lowest come out with full
/// digits however high the highest are.
pub(super) fn lowest(k: &DMatrix<f64>, m: &DMatrix<f64>, size: usize) -> (Vec<f64>, DMatrix<f64>) {
    let (weights, other, upside) = match orthonormal(k) {
        Some(weights) => (weights, m, true),
        None => (orthonormal(m).unwrap_or_else(|| DMatrix::zeros(m.nrows(), 0)), k, false),
    };
    if weights.ncols() == 0 {
        return (Vec::new(), weights);
    }
    let eigen = SymmetricEigen::new(weights.transpose() * other * &weights);
    let value = |i: usize| if upside { 1.0 / eigen.eigenvalues[i] } else { eigen.eigenvalues[i] };
    let massive = |i: &usize| !upside || eigen.eigenvalues[*i] > 0.0;
    let mut rank: Vec<usize> = (0..eigen.eigenvalues.len()).filter(massive).collect();
    rank.sort_by(|&a, &b| value(a).total_cmp(&value(b)).then(a.cmp(&b)));
    rank.truncate(size);
    let mut chosen = (weights * &eigen.eigenvectors).select_columns(&rank);
    for (mut column, &i) in chosen.column_iter_mut().zip(&rank) {
        if upside {
            column /= eigen.eigenvalues[i].sqrt();
        }
    }
    (rank.iter().map(|&i| value(i)).collect(), chosen)
}

/// Weights of vectors that are orthonormal in the product whose Gram matrix is given, dependent directions left out;
/// None where the product is not positive.
fn orthonormal(gram: &DMatrix<f64>) -> Option<DMatrix<f64>> {
    let scale = |i: usize| if gram[(i, i)] > 0.0 { 1.0 / gram[(i, i)].sqrt() } else { 0.0 };
    if gram.nrows() == 0 || (0..gram.nrows()).any(|i| gram[(i, i)] < 0.0) {
        return None;
    }
    let scaled = DMatrix::from_fn(gram.nrows(), gram.ncols(), |i, j| scale(i) * gram[(i, j)] * scale(j));
    let eigen = SymmetricEigen::new(scaled);
    let largest = eigen.eigenvalues.amax();
    if eigen.eigenvalues.iter().any(|&v| v < -DEPENDENT * largest) {
        return None;
    }
    let kept: Vec<usize> =
        (0..eigen.eigenvalues.len()).filter(|&i| eigen.eigenvalues[i] > DEPENDENT * largest).collect();
    let mut weights = eigen.eigenvectors.select_columns(&kept);
    for (mut column, &i) in weights.column_iter_mut().zip(&kept) {
        column /= eigen.eigenvalues[i].sqrt();
    }
    for (i, mut row) in weights.row_iter_mut().enumerate() {
        row *= scale(i);
    }
    Some(weights)
}
