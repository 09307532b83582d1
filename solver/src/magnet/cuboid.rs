//! Uniformly polarised cuboid, any direction of polarisation.
//!
//! Surface charges integrated in closed form: Z. Yang et al., IEEE Trans. Magn. 26 (1990); R. Engel-Herbert,
//! T. Hesjedal, J. Appl. Phys. 97 (2005) 074504 (recalled from memory; checked against numerical surface
//! integrals in the tests). The inverse hyperbolic sine replaces ln(y + r), which cancels for y < 0.

use nalgebra::{Matrix3, Vector3};
use std::f64::consts::PI;

/// Distance from an edge line, as a share of the size, below which the logarithm is cut off.
const EDGE: f64 = 1e-12;

/// Flux density of a cuboid about the origin with sides along the axes, T.
///
/// `p`: point, m. `sides`: lengths along x, y, z, m. `j`: polarisation, T.
#[must_use]
pub fn field(p: &Vector3<f64>, sides: &[f64; 3], j: &Vector3<f64>) -> Vector3<f64> {
    let mut sum = Vector3::zeros();
    for axis in 0..3 {
        if j[axis].abs() > 0.0 {
            // Cyclic order with the polarised axis last keeps the frame right-handed.
            let order = [(axis + 1) % 3, (axis + 2) % 3, axis];
            let f = along_last(order.map(|i| p[i]), order.map(|i| sides[i]));
            for (slot, &i) in order.iter().enumerate() {
                sum[i] += f[slot] * j[axis];
            }
        }
    }
    sum
}

/// Gradient of [`field`], T/m: entry (i, j) is the change of component i along axis j. Meaningless on the surface.
///
/// Derivatives of the terms of the field at every corner: 1/r where all three axes differ, else
/// -u w / (r (u^2 + v^2)) for the axes u, u, v; the same axis thrice from the divergence that vanishes.
#[must_use]
pub fn gradient(p: &Vector3<f64>, sides: &[f64; 3], j: &Vector3<f64>) -> Matrix3<f64> {
    let floor = (EDGE * (sides[0] + sides[1] + sides[2])).powi(2);
    let mut mixed = 0.0;
    // Entry (u, v): the derivative u, u, v.
    let mut twice = Matrix3::<f64>::zeros();
    for corner in 0..8_u8 {
        let high = [0, 1, 2].map(|axis| corner >> axis & 1 == 1);
        let at: [f64; 3] =
            std::array::from_fn(|i| p[i] + if high[i] { -0.5 * sides[i] } else { 0.5 * sides[i] });
        let even = high.iter().filter(|&&h| h).count().is_multiple_of(2);
        let square = at.map(|x| x * x);
        let r = (square[0] + square[1] + square[2]).max(floor).sqrt();
        let over = if even { 1.0 } else { -1.0 } / r;
        mixed += over;
        for w in 0..3 {
            let (u, v) = ((w + 1) % 3, (w + 2) % 3);
            let part = over * at[w] / (square[u] + square[v]).max(floor);
            twice[(u, v)] -= at[u] * part;
            twice[(v, u)] -= at[v] * part;
        }
    }
    let thrice = [0, 1, 2].map(|u| -(twice[((u + 1) % 3, u)] + twice[((u + 2) % 3, u)]));
    let of = |i: usize, k: usize, l: usize| match (i == k, k == l, i == l) {
        (true, true, _) => thrice[i],
        (true, false, _) => twice[(i, l)],
        (false, true, _) => twice[(k, i)],
        (false, false, true) => twice[(i, k)],
        (false, false, false) => mixed,
    };
    Matrix3::from_fn(|i, k| (0..3).map(|l| of(i, k, l) * j[l]).sum::<f64>() / (4.0 * PI))
}

/// Field per tesla of polarisation along the third axis.
fn along_last(p: [f64; 3], sides: [f64; 3]) -> [f64; 3] {
    let half = sides.map(|side| 0.5 * side);
    let floor = EDGE * (sides[0] + sides[1] + sides[2]);
    let ends = |i: usize| [p[i] + half[i], p[i] - half[i]];
    let (xs, ys, zs) = (ends(0), ends(1), ends(2));
    let mut f = [0.0; 3];
    for (i, &x) in xs.iter().enumerate() {
        for (j, &y) in ys.iter().enumerate() {
            for (k, &z) in zs.iter().enumerate() {
                let sign = if (i + j + k).is_multiple_of(2) { 1.0 } else { -1.0 };
                f[0] += sign * (y / x.hypot(z).max(floor)).asinh();
                f[1] += sign * (x / y.hypot(z).max(floor)).asinh();
                f[2] -= sign * solid_angle(x, y, z);
            }
        }
    }
    let mut b = f.map(|value| value / (4.0 * PI));
    // The lower face counts as inside and the upper as outside, as the solid angle does for z = 0.
    let within = p[0].abs() < half[0] && p[1].abs() < half[1] && zs[0] >= 0.0 && zs[1] < 0.0;
    if within {
        b[2] += 1.0;
    }
    b
}

/// atan(x y / (z r)); in the plane of a face (z = 0) a quarter turn by the sign of x y.
fn solid_angle(x: f64, y: f64, z: f64) -> f64 {
    let r = x.hypot(y).hypot(z);
    (x * y).atan2(z.abs() * r) * if z < 0.0 { -1.0 } else { 1.0 }
}
