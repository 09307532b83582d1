//! The shell triangle through any rotation: a frame that turns with it, small motion inside the frame.
//!
//! In: the triangle at rest, where its corners are and how they are turned, its small-motion stiffness. Out: the
//! motion in the frame, internal force and tangent conjugate to displacements and *spatial spins* (`R <- exp([w]) R`),
//! by pure functions without allocation. Absent: anything assembled, the small-motion stiffness itself.
//!
//! The frame's normal is the moved triangle's; its in-plane angle comes from the polar decomposition of the in-plane
//! deformation, so the corners' numbering does not matter. The force is the exact gradient of the energy `d' K d / 2`.
//!
//! Sources: B. Nour-Omid, C. C. Rankin, Comput. Methods Appl. Mech. Engrg. 93 (1991) 353-384; C. A. Felippa,
//! B. Haugen, ibid. 194 (2005) 2285-2335 (abstracts read; formulas derived anew and checked against the energy in
//! forty digits).

mod packed;

pub(crate) use packed::packed_tangent;

use super::{Local, NEXT, Vector18};
use nalgebra::{Matrix3, Rotation3, Vector3};

/// Below this angle (rad) the series of the rotation functions are used.
const SMALL_ANGLE: f64 = 0.05;

/// Rotation matrix of a rotation vector.
#[must_use]
pub fn exponential(theta: &Vector3<f64>) -> Matrix3<f64> {
    Rotation3::new(*theta).into_inner()
}

/// Rotation vector of a rotation matrix; angles up to pi.
#[must_use]
pub fn logarithm(r: &Matrix3<f64>) -> Vector3<f64> {
    let axial = Vector3::new(r[(2, 1)] - r[(1, 2)], r[(0, 2)] - r[(2, 0)], r[(1, 0)] - r[(0, 1)]) * 0.5;
    let (sine, cosine) = (axial.norm(), 0.5 * (r.trace() - 1.0));
    if sine > 1e-6 || cosine > 0.0 {
        // The quotient tends to 1 with the angle; atan2 keeps its digits where acos loses them.
        return if sine > 0.0 { axial * (sine.atan2(cosine) / sine) } else { axial };
    }
    // Next to a half turn the axis is the largest column of R + I, symmetric part.
    let sum = (r + r.transpose()) * 0.5 + Matrix3::identity();
    let column = (0..3).map(|c| sum.column(c).into_owned()).fold(Vector3::zeros(), |best, own| {
        if own.norm_squared() > best.norm_squared() { own } else { best }
    });
    let axis = column.normalize();
    axis * if axial.dot(&axis) < 0.0 { -sine.atan2(cosine) } else { sine.atan2(cosine) }
}

/// `(1 - (t/2) cot(t/2)) / t^2`.
fn eta(t: f64) -> f64 {
    let q = t * t;
    if t < SMALL_ANGLE {
        return 1.0 / 12.0 + q / 720.0 + q * q / 30_240.0;
    }
    let half = 0.5 * t;
    (1.0 - half * half.cos() / half.sin()) / q
}

/// Change of a rotation vector per spatial spin.
pub(crate) fn spin_to_vector(v: &Vector3<f64>) -> Matrix3<f64> {
    let s = v.cross_matrix();
    Matrix3::identity() - s * 0.5 + s * s * eta(v.norm())
}

/// Spatial spin per change of a rotation vector, the inverse of [`spin_to_vector`]; the displacement of the origin per
/// first velocity of a screw motion, too.
pub(crate) fn spin_from_vector(theta: &Vector3<f64>) -> Matrix3<f64> {
    let (t, s) = (theta.norm(), theta.cross_matrix());
    let q = t * t;
    let (first, second) = if t < 1e-3 {
        (0.5 - q / 24.0, 1.0 / 6.0 - q / 120.0)
    } else {
        // 1 - cos t without cancellation.
        let half = (0.5 * t).sin();
        (2.0 * half * half / q, (t - t.sin()) / (q * t))
    };
    Matrix3::identity() + s * first + s * s * second
}

/// Derivative of `H(v)' m` with spins at constant `m`, where `H` is [`spin_to_vector`].
pub(super) fn moment_correction(v: &Vector3<f64>, m: &Vector3<f64>, h: &Matrix3<f64>) -> Matrix3<f64> {
    moment_change(v, m) * h
}

/// The same with the rotation vector `v`.
fn moment_change(v: &Vector3<f64>, m: &Vector3<f64>) -> Matrix3<f64> {
    let t = v.norm();
    let q = t * t;
    let mu = if t < SMALL_ANGLE {
        1.0 / 360.0 + q / 7560.0 + q * q / 201_600.0
    } else {
        let half = (0.5 * t).sin();
        (q + 4.0 * t.cos() + t * t.sin() - 4.0) / (4.0 * q * q * half * half)
    };
    let s = v.cross_matrix();
    let outer = (Matrix3::identity() * v.dot(m) + v * m.transpose() - m * v.transpose() * 2.0) * eta(t);
    outer + s * s * mu * m * v.transpose() - m.cross_matrix() * 0.5
}

/// A moved triangle: its frame and the small motion inside it.
#[derive(Debug, Clone, Copy)]
pub struct Moved {
    /// Rows are the frame's axes in space.
    pub triad: Matrix3<f64>,
    /// Motion in the frame: six per corner. The third displacement of every corner is zero.
    pub motion: Vector18,
    /// Corners in the frame, relative to their middle.
    place: [[f64; 2]; 3],
    /// Spin of the frame per corner displacement (three columns a corner).
    fitter: [Matrix3<f64>; 3],
    /// Rotation vector per spin at each corner.
    turning: [Matrix3<f64>; 3],
}

/// Gradients of the area coordinates at rest.
fn gradients(c: &[[f64; 2]; 3]) -> [[f64; 2]; 3] {
    let r = 1.0 / super::double_area(c);
    std::array::from_fn(|i| {
        let [j, k] = NEXT[i];
        [(c[j][1] - c[k][1]) * r, (c[k][0] - c[j][0]) * r]
    })
}

impl Moved {
    /// The frame of a moved triangle; None where it has collapsed or turned inside out.
    ///
    /// `rest`: the triangle at rest. `sides`: from the first corner to the second and to the third, now, in space.
    /// `rotations`: of the corners, from rest, in space.
    #[must_use]
    pub fn new(rest: &Local, sides: [Vector3<f64>; 2], rotations: [&Matrix3<f64>; 3]) -> Option<Self> {
        let normal = sides[0].cross(&sides[1]);
        let (e3, e1) = (normal.try_normalize(0.0)?, sides[0].try_normalize(0.0)?);
        let e2 = e3.cross(&e1);
        let middle = (sides[0] + sides[1]) / 3.0;
        let arms = [-middle, sides[0] - middle, sides[1] - middle];
        let gradient = gradients(&rest.corners);
        // In-plane deformation F = sum x (grad)'; its rotation makes F symmetric.
        let (mut sine, mut cosine) = (0.0, 0.0);
        for (arm, g) in arms.iter().zip(&gradient) {
            let (x, y) = (e1.dot(arm), e2.dot(arm));
            sine += y * g[0] - x * g[1];
            cosine += x * g[0] + y * g[1];
        }
        let trace = sine.hypot(cosine);
        // A triangle pressed to nothing has no frame; NaN must fail too.
        if !(trace > 1e-3 && normal.norm() > 1e-6 * super::double_area(&rest.corners)) {
            return None;
        }
        let (s, c) = (sine / trace, cosine / trace);
        let (first, second) = (e1 * c + e2 * s, e2 * c - e1 * s);
        let triad = Matrix3::from_rows(&[first.transpose(), second.transpose(), e3.transpose()]);
        let place = arms.map(|arm| [first.dot(&arm), second.dot(&arm)]);
        let mut motion = Vector18::zeros();
        let mut turning = [Matrix3::identity(); 3];
        let back = rest.triad.transpose();
        let centre = [0, 1].map(|i| (rest.corners[0][i] + rest.corners[1][i] + rest.corners[2][i]) / 3.0);
        for a in 0..3 {
            for i in 0..2 {
                motion[6 * a + i] = place[a][i] - (rest.corners[a][i] - centre[i]);
            }
            let theta = logarithm(&(triad * rotations[a] * back));
            turning[a] = spin_to_vector(&theta);
            motion.fixed_rows_mut::<3>(6 * a + 3).copy_from(&theta);
        }
        let area2 = normal.norm();
        let fitter = std::array::from_fn(|i| {
            let [j, k] = NEXT[i];
            let g = gradient[i];
            Matrix3::new(
                0.0,
                0.0,
                (place[k][0] - place[j][0]) / area2,
                0.0,
                0.0,
                -(place[j][1] - place[k][1]) / area2,
                -g[1] / trace,
                g[0] / trace,
                0.0,
            )
        });
        Some(Self { triad, motion, place, fitter, turning })
    }

    fn lever(&self, corner: usize) -> Matrix3<f64> {
        let [x, y] = self.place[corner];
        -Vector3::new(x, y, 0.0).cross_matrix()
    }

    /// Change of the motion in the frame with a change of the corners (displacements and spins, frame axes).
    #[must_use]
    pub fn strained(&self, step: &Vector18) -> Vector18 {
        let part = |a: usize, i: usize| step.fixed_rows::<3>(6 * a + i).into_owned();
        let shift = (part(0, 0) + part(1, 0) + part(2, 0)) / 3.0;
        let spin: Vector3<f64> = (0..3).map(|a| self.fitter[a] * part(a, 0)).sum();
        let mut out = Vector18::zeros();
        for a in 0..3 {
            let moved = part(a, 0) - shift - self.lever(a) * spin;
            out.fixed_rows_mut::<3>(6 * a).copy_from(&moved);
            let turned = self.turning[a] * (part(a, 3) - spin);
            out.fixed_rows_mut::<3>(6 * a + 3).copy_from(&turned);
        }
        out
    }

    /// Force on the corners (frame axes, conjugate to spins) of forces conjugate to the motion: the transpose of
    /// [`Self::strained`].
    #[must_use]
    pub fn force(&self, own: &Vector18) -> Vector18 {
        let mut f = *own;
        for a in 0..3 {
            let m = self.turning[a].tr_mul(&own.fixed_rows::<3>(6 * a + 3));
            f.fixed_rows_mut::<3>(6 * a + 3).copy_from(&m);
        }
        self.balance(&mut f);
        f
    }

    /// Takes out of a force what no strain can bear: the transpose of the projector.
    fn balance(&self, f: &mut Vector18) {
        let part = |f: &Vector18, a: usize, i: usize| f.fixed_rows::<3>(6 * a + i).into_owned();
        let total = (part(f, 0, 0) + part(f, 1, 0) + part(f, 2, 0)) / 3.0;
        let moment: Vector3<f64> = (0..3).map(|a| self.lever(a).tr_mul(&part(f, a, 0)) + part(f, a, 3)).sum();
        for a in 0..3 {
            let less = total + self.fitter[a].tr_mul(&moment);
            let kept = part(f, a, 0) - less;
            f.fixed_rows_mut::<3>(6 * a).copy_from(&kept);
        }
    }
}

#[cfg(test)]
mod tests;
