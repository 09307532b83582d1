//! Membrane triangle with drilling freedoms (optimal template).
//!
//! Input: corners, area coordinates. Output: strain rows on (u, v, tz) of each node.
//!
//! Source: C. A. Felippa, Comput. Methods Appl. Mech. Engrg. 192 (2003) 2125-2168; K. Alvin, H. M. de la Fuente,
//! B. Haugen, C. A. Felippa, Finite Elem. Anal. Des. 12 (1992) 163-187 (coefficients from memory, each one
//! confirmed by the patch, energy and reference-matrix tests).

use super::{NEXT, Rows};
use nalgebra::Matrix3;

/// Higher-order drilling patterns at the corners, natural strains along sides 21, 32, 13.
const PATTERN: [[[f64; 3]; 3]; 3] = [
    [[1.0, 2.0, 1.0], [0.0, 1.0, -1.0], [-1.0, -1.0, -2.0]],
    [[-2.0, -1.0, -1.0], [1.0, 1.0, 2.0], [-1.0, 0.0, 1.0]],
    [[1.0, -1.0, 0.0], [-1.0, -2.0, -1.0], [2.0, 1.0, 1.0]],
];

/// Least value of the higher-order factor, so that the triangle keeps its rank as nu tends to one half.
const LEAST_BETA: f64 = 0.01;

/// Factor `sqrt(beta0)` on the higher-order strain that makes in-plane bending of a rectangle exact.
///
/// `a`: membrane stiffness. Isotropic: `beta0 = (1 - 4 nu^2)/2`. In general `beta0 = 2/mean - 3/2`, the mean of
/// stiffness times compliance over all directions; its extension beyond isotropy is a choice of this program
/// that keeps patch test and rank.
#[must_use]
pub fn scale(a: &Matrix3<f64>) -> f64 {
    let Some(compliance) = a.try_inverse() else { return LEAST_BETA.sqrt() };
    // Sixteen even directions integrate the trigonometric polynomial of degree eight exactly.
    let product = |i: u32| {
        let (s, c) = (f64::from(i) * std::f64::consts::PI / 16.0).sin_cos();
        let along = nalgebra::Vector3::new(c * c, s * s, s * c);
        let stress = nalgebra::Vector3::new(c * c, s * s, 2.0 * s * c);
        stress.dot(&(a * stress)) * along.dot(&(compliance * along))
    };
    let mean = (0..16).map(product).sum::<f64>() / 16.0;
    (2.0 / mean - 1.5).max(LEAST_BETA).sqrt()
}

/// The parts of the strain that do not depend on the place in the triangle.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Membrane {
    basic: Rows,
    /// Natural strains to (xx, yy, xy), with all constant factors but the scale.
    spread: [[f64; 3]; 3],
    /// Corner drilling less the mean rotation of the triangle.
    drilling: Rows,
}

impl Membrane {
    #[inline(always)]
    pub(crate) fn new(c: &[[f64; 2]; 3]) -> Self {
        let area2 = super::double_area(c);
        let x = |i: usize, j: usize| c[i][0] - c[j][0];
        let y = |i: usize, j: usize| c[i][1] - c[j][1];
        let (mut basic, mut drilling) = ([[0.0; 9]; 3], [[0.0; 9]; 3]);
        let r = 1.0 / area2;
        for (i, &[j, k]) in NEXT.iter().enumerate() {
            let (yjk, xkj) = (y(j, k), x(k, j));
            let col = 3 * i;
            basic[0][col] = yjk * r;
            basic[2][col] = xkj * r;
            basic[1][col + 1] = xkj * r;
            basic[2][col + 1] = yjk * r;
            // alpha = 3/2: alpha/6 = 1/4, alpha/3 = 1/2.
            basic[0][col + 2] = 0.25 * yjk * (y(i, k) - y(j, i)) * r;
            basic[1][col + 2] = 0.25 * xkj * (x(k, i) - x(i, j)) * r;
            basic[2][col + 2] = 0.5 * (x(k, i) * y(i, k) - x(i, j) * y(j, i)) * r;
            for (a, row) in drilling.iter_mut().enumerate() {
                row[col] = 0.5 * xkj * r;
                row[col + 1] = 0.5 * y(k, j) * r;
                row[col + 2] = if a == i { 1.0 } else { 0.0 };
            }
        }
        let sides = [[x(1, 0), y(1, 0)], [x(2, 1), y(2, 1)], [x(0, 2), y(0, 2)]];
        let mut spread = [[0.0; 3]; 3];
        for s in 0..3 {
            // The strain that stretches side s alone is built from the normals of the other two sides.
            let ([xa, ya], [xb, yb]) = (sides[NEXT[s][0]], sides[NEXT[s][1]]);
            let f = -0.5 * r;
            spread[0][s] = f * ya * yb;
            spread[1][s] = f * xa * xb;
            spread[2][s] = -f * (xa * yb + xb * ya);
        }
        Self { basic, spread, drilling }
    }

    /// Strain rows at area coordinates `zeta`.
    #[inline(always)]
    pub(crate) fn rows(&self, zeta: &[f64; 3], scale: f64) -> Rows {
        let mut rows = self.basic;
        for (n, drilling) in self.drilling.iter().enumerate() {
            let natural: [f64; 3] = std::array::from_fn(|s| {
                scale * (zeta[0] * PATTERN[0][s][n] + zeta[1] * PATTERN[1][s][n] + zeta[2] * PATTERN[2][s][n])
            });
            for (row, spread) in rows.iter_mut().zip(&self.spread) {
                let weight = spread[0] * natural[0] + spread[1] * natural[1] + spread[2] * natural[2];
                for (entry, drill) in row.iter_mut().zip(drilling) {
                    *entry += weight * drill;
                }
            }
        }
        rows
    }
}
