//! Vector potential of magnets: a route to the flux through a circuit that never touches the flux density.
//!
//! A uniformly polarised body has A = grad(psi) x J with psi = (1/4 pi) times the integral of dV / r over the body
//! (Stratton, Electromagnetic Theory, section 4.11; from memory). The gradient of psi is a sum over the body's
//! faces, integrated here in closed form for cylinder and cuboid. Checked in the tests: its curl is the flux
//! density, and line integrals along coils agree with an independent computation.

use super::kernel::cel;
use copperbend_mesh::board::MagnetShape;
use nalgebra::Vector3;
use std::f64::consts::{FRAC_1_PI, PI, TAU};

/// Smallest complementary modulus, as in the field of the cylinder.
const EDGE: f64 = 1e-9;

/// Distance from an edge line, as a share of the size, below which the logarithm is cut off.
const CUT: f64 = 1e-12;

/// Vector potential of a body about the origin, T m: shape in its own frame, point, polarisation in T.
#[must_use]
pub fn of_body(shape: &MagnetShape, p: &Vector3<f64>, j: &Vector3<f64>) -> Vector3<f64> {
    let slope = match *shape {
        MagnetShape::Disc { diameter_m, height_m } => cylinder(p, 0.5 * diameter_m, 0.5 * height_m),
        MagnetShape::Ring { outer_m, inner_m, height_m } => {
            cylinder(p, 0.5 * outer_m, 0.5 * height_m) - cylinder(p, 0.5 * inner_m, 0.5 * height_m)
        }
        MagnetShape::Block { sides_m } => cuboid(p, &sides_m),
    };
    slope.cross(j)
}

/// Gradient of psi of a cylinder with radius `a` and half height `b` along z, m.
fn cylinder(p: &Vector3<f64>, a: f64, b: f64) -> Vector3<f64> {
    if a <= 0.0 {
        return Vector3::zeros();
    }
    let rho = p.x.hypot(p.y);
    let inwards = if rho > 0.0 { -(side(rho, p.z + b, a) - side(rho, p.z - b, a)) / rho } else { 0.0 };
    let along = (face(rho, p.z + b, a) - face(rho, p.z - b, a)) / (4.0 * PI);
    Vector3::new(inwards * p.x, inwards * p.y, along)
}

/// Complementary modulus and distance to the far rim for a height over one end.
fn end(rho: f64, zeta: f64, a: f64) -> (f64, f64) {
    let s = zeta.hypot(rho + a);
    ((zeta.hypot(a - rho) / s).max(EDGE), s)
}

/// Part of the azimuthal potential of an axial cylinder from one end, per tesla, m: the side charge of psi after one
/// integration by parts around the rim.
fn side(rho: f64, zeta: f64, a: f64) -> f64 {
    let (kc, s) = end(rho, zeta, a);
    let gamma = (a - rho) / (a + rho);
    let p = (gamma * gamma).max(1e-300);
    FRAC_1_PI * a * zeta / s * (cel(kc, p, 1.0, 0.0) - cel(kc, 1.0, 1.0, 0.0))
}

/// Integral of dS / r over a disc of radius `a` seen from `zeta` over its plane, m.
///
/// With v from the place to the disc's points, 1/r is the plane divergence of v (r - |zeta|) / v^2: what is left is
/// one integral around the rim.
fn face(rho: f64, zeta: f64, a: f64) -> f64 {
    let (kc, s) = end(rho, zeta, a);
    let gamma = (a - rho) / (a + rho);
    let p = (gamma * gamma).max(1e-300);
    let below = match rho.total_cmp(&a) {
        std::cmp::Ordering::Less => TAU,
        std::cmp::Ordering::Equal => PI,
        std::cmp::Ordering::Greater => 0.0,
    };
    let share = 1.0 + gamma;
    let cosine = (1.0 - kc * kc) / share;
    let plain = (gamma * ((a + rho) / s).powi(2) + kc * kc) / share;
    let third = gamma / share * (zeta / s).powi(2);
    let rim = cosine * cel(kc, 1.0, 1.0, 0.0) + plain * cel(kc, 1.0, 1.0, 1.0) + third * cel(kc, p, 1.0, 1.0);
    4.0 * a * s / (a + rho) * rim - zeta.abs() * below
}

/// Gradient of psi of a cuboid, m.
fn cuboid(p: &Vector3<f64>, sides: &[f64; 3]) -> Vector3<f64> {
    Vector3::from_fn(|axis, _| {
        let order = [axis, (axis + 1) % 3, (axis + 2) % 3];
        let [x, y, z] = order.map(|i| [p[i] + 0.5 * sides[i], p[i] - 0.5 * sides[i]]);
        let floor = CUT * (sides[0] + sides[1] + sides[2]);
        let mut sum = 0.0;
        for (i, &x) in x.iter().enumerate() {
            for (j, &y) in y.iter().enumerate() {
                for (k, &z) in z.iter().enumerate() {
                    let sign = if (i + j + k).is_multiple_of(2) { 1.0 } else { -1.0 };
                    sum += sign * corner(x, y, z, floor);
                }
            }
        }
        sum / (4.0 * PI)
    })
}

/// Second antiderivative of 1 / r in y and z at distance x.
fn corner(x: f64, y: f64, z: f64, floor: f64) -> f64 {
    let r = x.hypot(y).hypot(z).max(floor);
    y * (z / x.hypot(y).max(floor)).asinh() + z * (y / x.hypot(z).max(floor)).asinh()
        - x.abs() * (y * z).atan2(x.abs() * r)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::magnet::Field;
    use copperbend_mesh::board::Magnet;
    use nalgebra::Matrix3;

    fn magnets() -> Vec<Magnet> {
        let (s, c) = 0.6_f64.sin_cos();
        let shapes = [
            MagnetShape::Disc { diameter_m: 8e-3, height_m: 2e-3 },
            MagnetShape::Ring { outer_m: 10e-3, inner_m: 4e-3, height_m: 3e-3 },
            MagnetShape::Block { sides_m: [7e-3, 5e-3, 3e-3] },
        ];
        let magnet = |shape| Magnet {
            name: "drive".to_owned(),
            shape,
            polarisation_t: [0.5, -0.3, 1.1],
            centre_m: [1e-3, -0.5e-3, 0.4e-3],
            rotation: [[c, 0.0, s], [0.0, 1.0, 0.0], [-s, 0.0, c]],
            back_plate: Some([[0.0, 0.0, -8e-3], [0.0, 0.0, 1.0]]),
            remanence_note: String::new(),
        };
        shapes.map(magnet).to_vec()
    }

    /// The curl of the potential, by differences, is the flux density in closed form, outside and inside.
    #[test]
    fn curl_of_the_potential_is_the_flux_density() {
        for magnet in magnets() {
            let field = Field::new(std::slice::from_ref(&magnet));
            let points = [
                [6e-3, 2e-3, 4e-3],
                [1e-3, -0.5e-3, 5e-3],
                [-3e-3, 6e-3, -4e-3],
                [9e-3, -9e-3, 0.0],
                [2.9e-3, 0.4e-3, 0.5e-3],
                [1.3, 0.4, -0.9],
            ];
            for p in points.map(Vector3::from) {
                let h = 2e-6 * (1.0 + p.norm() / 0.01);
                let column = |j: usize| {
                    let at = |n: f64| field.potential((p + Vector3::ith(j, n * h)).into());
                    ((at(1.0) - at(-1.0)) * 8.0 - (at(2.0) - at(-2.0))) / (12.0 * h)
                };
                let d = Matrix3::from_columns(&[column(0), column(1), column(2)]);
                let curl = Vector3::new(d[(2, 1)] - d[(1, 2)], d[(0, 2)] - d[(2, 0)], d[(1, 0)] - d[(0, 1)]);
                let b = field.at(p.into());
                let off = (curl - b).norm() / b.norm();
                assert!(off < 1e-8, "{:?}: curl off by {off:e} at {p}", magnet.shape);
                assert!(d.trace().abs() < 1e-8 * b.norm(), "divergence {:e} at {p}", d.trace());
            }
        }
    }
}
