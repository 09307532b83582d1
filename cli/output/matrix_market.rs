//! Matrices and vectors in the Matrix Market exchange format (NIST: Boisvert, Pozo, Remington, "The Matrix Market
//! Exchange Formats: Initial Design", NISTIR 5935, 1996).
//!
//! Input: public sparse matrices. Output: text. Numbers are the shortest decimals that read back to the same bits.

use nalgebra_sparse::CscMatrix;
use std::fmt::Write;

/// A symmetric matrix: its lower triangle, column by column. `remarks` become comment lines.
pub(crate) fn symmetric(matrix: &CscMatrix<f64>, remarks: &[&str]) -> Vec<u8> {
    let lower = || matrix.triplet_iter().filter(|(row, column, _)| row >= column);
    let mut out = String::with_capacity(24 * matrix.nnz());
    out.push_str("%%MatrixMarket matrix coordinate real symmetric\n");
    comments(&mut out, remarks);
    // Writing to a string cannot fail.
    let _ = writeln!(out, "{} {} {}", matrix.nrows(), matrix.ncols(), lower().count());
    for (row, column, value) in lower() {
        let _ = writeln!(out, "{} {} {value:e}", row + 1, column + 1);
    }
    out.into_bytes()
}

/// A vector as a dense array of one column.
pub(crate) fn vector(values: &[f64], remarks: &[&str]) -> Vec<u8> {
    let mut out = String::from("%%MatrixMarket matrix array real general\n");
    comments(&mut out, remarks);
    let _ = writeln!(out, "{} 1", values.len());
    for value in values {
        let _ = writeln!(out, "{value:e}");
    }
    out.into_bytes()
}

fn comments(out: &mut String, remarks: &[&str]) {
    for remark in remarks {
        let _ = writeln!(out, "% {}", remark.replace(['\n', '\r'], " "));
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use nalgebra_sparse::CooMatrix;
    use nalgebra_sparse::io::load_coo_from_matrix_market_str;

    #[test]
    fn symmetric_matrix_reads_back_to_the_same_bits() {
        let mut coo = CooMatrix::new(3, 3);
        for (i, j, v) in [(0, 0, 0.1), (1, 0, -2.0 / 3.0), (0, 1, -2.0 / 3.0), (2, 2, 1.5e-9), (1, 1, 3e12)] {
            coo.push(i, j, v);
        }
        let matrix = CscMatrix::from(&coo);
        let text = String::from_utf8(symmetric(&matrix, &["unit N/m"])).expect("text");
        assert!(
            text.starts_with("%%MatrixMarket matrix coordinate real symmetric\n% unit N/m\n3 3 4\n"),
            "{text}"
        );
        let read = CscMatrix::from(&load_coo_from_matrix_market_str::<f64>(&text).expect("valid"));
        assert_eq!(read, matrix, "round trip");
    }

    #[test]
    fn vector_has_its_length_and_values() {
        let text = String::from_utf8(vector(&[1.0, -0.25], &[])).expect("text");
        assert_eq!(text, "%%MatrixMarket matrix array real general\n2 1\n1e0\n-2.5e-1\n", "array format");
    }
}
