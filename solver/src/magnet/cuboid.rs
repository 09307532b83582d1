//! Uniformly polarised cuboid, any direction of polarisation.
//!
//! Surface charges integrated in closed form: Z. Yang et al., IEEE Trans. Magn. 26 (1990); R. Engel-Herbert,
//! T. Hesjedal, J. Appl. Phys. 97 (2005) 074504 (recalled from memory; checked against numerical surface
//! integrals in the tests). Where y < 0, ln(y + r) would cancel: its conjugate stands in.

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

/// Beyond this distance, in sizes, the terms of the corners nearly cancel and are summed one by one.
const APART: f64 = 4.0;

/// Field per tesla of polarisation along the third axis.
fn along_last(p: [f64; 3], sides: [f64; 3]) -> [f64; 3] {
    // In shares of the size, so that products of lengths stay far from the ends of the number range.
    let size = sides[0] + sides[1] + sides[2];
    let (p, half) = (p.map(|v| v / size), sides.map(|side| 0.5 * side / size));
    let ends = [0, 1, 2].map(|i| [p[i] + half[i], p[i] - half[i]]);
    let far = p.iter().any(|v| v.abs() > APART);
    let mut b = if far { one_by_one(&ends) } else { gathered(&ends) }.map(|value| value / (4.0 * PI));
    // The lower face counts as inside and the upper as outside, as the solid angle does for z = 0.
    let within = p[0].abs() < half[0] && p[1].abs() < half[1] && ends[2][0] >= 0.0 && ends[2][1] < 0.0;
    if within {
        b[2] += 1.0;
    }
    b
}

/// The sums over all corners with a transcendental function for every term.
fn one_by_one([xs, ys, zs]: &[[f64; 2]; 3]) -> [f64; 3] {
    let mut f = [0.0; 3];
    for (i, j, k) in corners() {
        let (x, y, z) = (xs[i], ys[j], zs[k]);
        let sign = if (i + j + k).is_multiple_of(2) { 1.0 } else { -1.0 };
        f[0] += sign * (y / x.hypot(z).max(EDGE)).asinh();
        f[1] += sign * (x / y.hypot(z).max(EDGE)).asinh();
        let angle = (x * y).atan2(z.abs() * x.hypot(y).hypot(z));
        f[2] -= sign * if z < 0.0 { -angle } else { angle };
    }
    f
}

/// The same sums with the terms gathered first: the logarithms of one component as one logarithm of a quotient, the
/// angles of neighbouring corners as one angle of a product.
fn gathered(ends: &[[f64; 2]; 3]) -> [f64; 3] {
    let [xs, ys, zs] = *ends;
    let [x2, y2, z2] = ends.map(|pair| pair.map(|v| v * v));
    let mut r = [[[0.0; 2]; 2]; 2];
    for (i, j, k) in corners() {
        r[i][j][k] = (x2[i] + y2[j] + z2[k]).sqrt();
    }
    let (mut up, mut down) = ([1.0; 2], [1.0; 2]);
    for k in 0..2 {
        for i in 0..2 {
            // Edges along y (first component) and along x (second one).
            let by_y = edge(ys, [r[i][0][k], r[i][1][k]], x2[i] + z2[k]);
            let by_x = edge(xs, [r[0][i][k], r[1][i][k]], y2[i] + z2[k]);
            for (component, (over, under)) in [by_y, by_x].into_iter().enumerate() {
                let (over, under) = if i == k { (over, under) } else { (under, over) };
                up[component] *= over;
                down[component] *= under;
            }
        }
    }
    let mut turned = 0.0;
    for (k, &z) in zs.iter().enumerate() {
        for (i, &x) in xs.iter().enumerate() {
            let [one, other] = [0, 1].map(|j| [z.abs() * r[i][j][k], x * ys[j]]);
            let part = difference(one, other) * if z < 0.0 { -1.0 } else { 1.0 };
            turned += if i == k { part } else { -part };
        }
    }
    [(up[0] / down[0]).ln(), (up[1] / down[1]).ln(), -turned]
}

/// Number of an end along each axis.
fn corners() -> impl Iterator<Item = (usize, usize, usize)> {
    (0..8).map(|n| (n >> 2, n >> 1 & 1, n & 1))
}

/// Quotient whose logarithm is asinh(a0 / d) - asinh(a1 / d) for the ends `a` of an edge at the distance d from its line,
/// without cancellation. `r`: distances to the ends; `square`: d^2.
fn edge(a: [f64; 2], r: [f64; 2], square: f64) -> (f64, f64) {
    let cut = EDGE * EDGE;
    let (square, r) = if square < cut { (cut, a.map(|v| (v * v + cut).sqrt())) } else { (square, r) };
    match (a[0] < 0.0, a[1] < 0.0) {
        (false, false) => (a[0] + r[0], a[1] + r[1]),
        (true, true) => (r[1] - a[1], r[0] - a[0]),
        (false, true) => ((a[0] + r[0]) * (r[1] - a[1]), square),
        (true, false) => (square, (r[0] - a[0]) * (a[1] + r[1])),
    }
}

/// Angle of `one` less angle of `other`: vectors in the right half plane, components along and across it.
///
/// In the plane of a face (along 0) each angle is a quarter turn by the sign across.
fn difference(one: [f64; 2], other: [f64; 2]) -> f64 {
    if one[0] > 0.0 && other[0] > 0.0 {
        let along = one[0] * other[0] + one[1] * other[1];
        return (one[1] * other[0] - one[0] * other[1]).atan2(along);
    }
    one[1].atan2(one[0]) - other[1].atan2(other[0])
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Both ways of summing, over places beside, above, along edges and faces, and around the distance where one takes over.
    #[test]
    fn gathered_terms_are_the_terms_one_by_one() {
        let half = [0.26, 0.15, 0.09];
        let steps = [-4.0, -1.3, -0.26, -0.15, -0.09, -1e-7, 0.0, 1e-9, 0.09, 0.15, 0.26, 0.7, 3.99];
        let mut most = 0.0_f64;
        for x in steps {
            for y in steps {
                for z in steps {
                    let p = [x, y, z];
                    let ends = [0, 1, 2].map(|i| [p[i] + half[i], p[i] - half[i]]);
                    let (a, b) = (gathered(&ends), one_by_one(&ends));
                    let off = (0..3).map(|i| (a[i] - b[i]).abs()).fold(0.0, f64::max);
                    assert!(off < 2e-13, "{off:e} at {p:?}: {a:?} against {b:?}");
                    most = most.max(off);
                }
            }
        }
        assert!(most > 0.0, "two ways of summing");
    }
}
