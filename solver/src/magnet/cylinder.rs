//! Uniformly polarised cylinder: axial and diametral parts.
//!
//! Axial: N. Derby, S. Olbert, Am. J. Phys. 78 (2010) 229 (equivalent current sheet, gives B inside too).
//! Diametral: A. Caciagli, R. Baars, A. Philipse, B. Kuipers, J. Magn. Magn. Mater. 456 (2018) 423, rewritten
//! with the kernel's linear combinations so that nothing cancels. Both recalled from memory and checked
//! against numerical surface integrals in the tests.

use super::kernel::cel;
use nalgebra::Vector3;
use std::f64::consts::FRAC_1_PI;

/// Nearer to the axis than this share of the radius the field is expanded about the axis.
const AXIS: f64 = 1e-5;

/// Smallest complementary modulus: cuts the logarithm at the circular edges.
const EDGE: f64 = 1e-9;

/// Flux density of a cylinder about the origin with its axis along z, T.
///
/// `p`: point, m. `a`, `b`: radius and half height, m. `j`: polarisation, T.
#[must_use]
pub fn field(p: &Vector3<f64>, a: f64, b: f64, j: &Vector3<f64>) -> Vector3<f64> {
    if a <= 0.0 {
        return Vector3::zeros();
    }
    let across = length(j.x, j.y);
    let mut sum = Vector3::zeros();
    if j.z.abs() > 0.0 {
        sum += axial(p, a, b) * j.z;
    }
    if across > 0.0 {
        // Turned so that the polarisation lies along the first axis.
        let (c, s) = (j.x / across, j.y / across);
        let turned = Vector3::new(c * p.x + s * p.y, c * p.y - s * p.x, p.z);
        let f = diametral(&turned, a, b) * across;
        sum += Vector3::new(c * f.x - s * f.y, s * f.x + c * f.y, f.z);
    }
    sum
}

/// Hypotenuse; lengths of boards are far from the ends of the number range, so the plain root does.
fn length(a: f64, b: f64) -> f64 {
    (a * a + b * b).sqrt()
}

/// The four quantities that both solutions share at one end: height over the end, distance to the far rim,
/// and the kernel's two parameters.
struct End {
    z: f64,
    s: f64,
    kc: f64,
}

impl End {
    fn new(z: f64, rho: f64, a: f64) -> Self {
        let s = length(z, rho + a);
        Self { z, s, kc: (length(z, a - rho) / s).max(EDGE) }
    }
}

/// Kernel parameter for the third kind: on rho = a its numerator vanishes with it.
fn squared(gamma: f64) -> f64 {
    (gamma * gamma).max(1e-300)
}

/// Field per tesla of axial polarisation.
fn axial(p: &Vector3<f64>, a: f64, b: f64) -> Vector3<f64> {
    let rho = length(p.x, p.y);
    let (top, bottom) = (End::new(p.z + b, rho, a), End::new(p.z - b, rho, a));
    if rho < AXIS * a {
        let slope = axis_slope(p.z, a, b);
        return Vector3::new(-0.5 * p.x * slope, -0.5 * p.y * slope, axis_value(p.z, a, b));
    }
    let gamma = (a - rho) / (a + rho);
    let square = squared(gamma);
    let radial = |end: &End| cel(end.kc, 1.0, 1.0, -1.0) / end.s;
    let along = |end: &End| end.z / end.s * cel(end.kc, square, 1.0, gamma);
    let b_rho = FRAC_1_PI * a * (radial(&top) - radial(&bottom));
    let b_z = FRAC_1_PI * a / (a + rho) * (along(&top) - along(&bottom));
    Vector3::new(b_rho * p.x / rho, b_rho * p.y / rho, b_z)
}

/// Axial field on the axis per tesla.
fn axis_value(z: f64, a: f64, b: f64) -> f64 {
    let end = |z: f64| z / length(z, a);
    0.5 * (end(z + b) - end(z - b))
}

/// Its change along the axis, 1/m.
fn axis_slope(z: f64, a: f64, b: f64) -> f64 {
    let end = |z: f64| a * a / length(z, a).powi(3);
    0.5 * (end(z + b) - end(z - b))
}

/// Field per tesla of polarisation along x.
fn diametral(p: &Vector3<f64>, a: f64, b: f64) -> Vector3<f64> {
    let rho = length(p.x, p.y);
    let own = if rho < a && p.z.abs() < b { 1.0 } else { 0.0 };
    if rho < AXIS * a {
        // The demagnetising tensor has trace 1 inside and 0 outside, and its two transverse values are equal.
        let within = if p.z.abs() < b { 1.0 } else { 0.0 };
        let b_x = within - 0.5 * axis_value(p.z, a, b);
        return Vector3::new(b_x, 0.0, -0.5 * p.x * axis_slope(p.z, a, b));
    }
    let (cos, sin) = (p.x / rho, p.y / rho);
    let gamma = (rho - a) / (rho + a);
    let square = squared(gamma);
    let one = |end: &End| cel(end.kc, 1.0, 1.0, -1.0);
    let three = |end: &End| cel(end.kc, 1.0, 0.0, 1.0) - gamma * gamma * cel(end.kc, square, 0.0, 1.0);
    let four = |end: &End| gamma * cel(end.kc, square, -1.0, 1.0) - one(end);
    let (top, bottom) = (End::new(p.z + b, rho, a), End::new(p.z - b, rho, a));
    let beta = |end: &End| end.z / end.s;
    let h_rho = FRAC_1_PI * a * cos / (2.0 * rho) * (beta(&top) * four(&top) - beta(&bottom) * four(&bottom));
    let h_phi = FRAC_1_PI * a * sin / rho * (beta(&top) * three(&top) - beta(&bottom) * three(&bottom));
    let h_z = FRAC_1_PI * a * cos * (one(&top) / top.s - one(&bottom) / bottom.s);
    Vector3::new(h_rho * cos - h_phi * sin + own, h_rho * sin + h_phi * cos, h_z)
}
