//! Discrete Kirchhoff plate triangle.
//!
//! Input: corners, area coordinates. Output: curvature rows on (w, tx, ty) of each node.
//! Along each side the deflection is the cubic of its end values; the tangential rotation at mid-side follows its
//! slope, the normal rotation runs linearly.
//!
//! Source: J.-L. Batoz, K.-J. Bathe, L.-W. Ho, Int. J. Numer. Meth. Engng 15 (1980) 1771-1812 (from memory; the
//! compact form is derived anew and equals the published functions).

use super::{NEXT, Rows};

/// Gradients and side terms of one triangle.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Plate {
    /// Gradients of the area coordinates.
    gradient: [[f64; 2]; 3],
    /// Per side 12, 23, 31: mid-side rotation (x and y) on the nine freedoms, times four.
    side: [[[f64; 9]; 2]; 3],
}

impl Plate {
    #[inline(always)]
    pub(crate) fn new(c: &[[f64; 2]; 3]) -> Self {
        let r = 1.0 / super::double_area(c);
        let gradient = std::array::from_fn(|i| {
            let [j, k] = NEXT[i];
            [(c[j][1] - c[k][1]) * r, (c[k][0] - c[j][0]) * r]
        });
        let side = std::array::from_fn(|i| {
            let j = NEXT[i][0];
            let d = [c[j][0] - c[i][0], c[j][1] - c[i][1]];
            let inv = 1.0 / (d[0] * d[0] + d[1] * d[1]);
            std::array::from_fn(|a| {
                let mut row = [0.0; 9];
                let t = d[a] * inv;
                row[3 * i] = 6.0 * t;
                row[3 * j] = -6.0 * t;
                for node in [i, j] {
                    // Rotation of the normal is (ty, -tx).
                    row[3 * node + 1] = 3.0 * t * d[1];
                    row[3 * node + 2] = -3.0 * t * d[0];
                }
                row
            })
        });
        Self { gradient, side }
    }

    /// Curvature rows at area coordinates `zeta`.
    #[inline(always)]
    pub(crate) fn rows(&self, zeta: &[f64; 3]) -> Rows {
        let g = &self.gradient;
        let mut rows = [[0.0; 9]; 3];
        for i in 0..3 {
            rows[0][3 * i + 2] = g[i][0];
            rows[1][3 * i + 1] = -g[i][1];
            rows[2][3 * i + 1] = -g[i][0];
            rows[2][3 * i + 2] = g[i][1];
        }
        for i in 0..3 {
            let j = NEXT[i][0];
            let dx = g[i][0] * zeta[j] + g[j][0] * zeta[i];
            let dy = g[i][1] * zeta[j] + g[j][1] * zeta[i];
            let [bx, by] = &self.side[i];
            for n in 0..9 {
                rows[0][n] += dx * bx[n];
                rows[1][n] += dy * by[n];
                rows[2][n] += dy * bx[n] + dx * by[n];
            }
        }
        rows
    }

    /// Rotation of the normal (x and y component) at area coordinates `zeta`, on the nine freedoms.
    pub(crate) fn rotation(&self, zeta: &[f64; 3]) -> [[f64; 9]; 2] {
        let mut rows = [[0.0; 9]; 2];
        for i in 0..3 {
            rows[0][3 * i + 2] += zeta[i];
            rows[1][3 * i + 1] -= zeta[i];
            let bubble = zeta[i] * zeta[NEXT[i][0]];
            for (row, side) in rows.iter_mut().zip(&self.side[i]) {
                for (entry, s) in row.iter_mut().zip(side) {
                    *entry += bubble * s;
                }
            }
        }
        rows
    }
}
