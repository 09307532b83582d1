//! The law in plane stress: every part returns to its own von Mises circle, with its algorithmic tangent.
//!
//! Order xx, yy, xy; shear strain is the engineering one. In the axes of the mean normal stress, the difference of the
//! normal stresses and the shear, elasticity and yield surface are both diagonal, so a return is one scalar equation.
//! Every part carries no stress through the thickness of its own; along one direction the parts' different contraction
//! then costs a fraction of a per cent against the fibre (see the tests).

use super::Law;
use crate::laminate::isotropic_q;
use nalgebra::{Matrix3, Vector3};

/// Square of the von Mises stress of plane stresses.
fn mises_squared(s: &Vector3<f64>) -> f64 {
    s[0] * s[0] + s[1] * s[1] - s[0] * s[1] + 3.0 * s[2] * s[2]
}

/// Von Mises stress of plane stresses xx, yy, xy, Pa.
#[must_use]
pub fn mises_pa(stress: &Vector3<f64>) -> f64 {
    mises_squared(stress).sqrt()
}

/// Stress and tangent of a point after a step.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PlaneStress {
    /// Stress, Pa.
    pub stress: Vector3<f64>,
    /// Change of the stress with the strain of the step, Pa; symmetric.
    pub tangent: Matrix3<f64>,
    /// Work turned into heat in the step, J/m3: stress where the part begins to yield and at the end, in the mean.
    pub lost_j_m3: f64,
}

/// Share of a push at which a stress inside the yield surface meets it.
fn meets(s: &Vector3<f64>, push: &Vector3<f64>, yield_pa: f64) -> f64 {
    let both = |a: &Vector3<f64>, b: &Vector3<f64>| {
        a[0] * b[0] + a[1] * b[1] - 0.5 * (a[0] * b[1] + a[1] * b[0]) + 3.0 * a[2] * b[2]
    };
    let (square, half) = (both(push, push), both(s, push));
    let gap = (yield_pa * yield_pa - both(s, s)).max(0.0);
    // The larger root of square t^2 + 2 half t = gap, free of cancellation.
    let root = (half * half + square * gap).sqrt();
    let share = if half > 0.0 { gap / (root + half) } else { (root - half) / square };
    if share.is_finite() { share.clamp(0.0, 1.0) } else { 0.0 }
}

impl Law {
    /// Moves a point by a step of strain. `parts`: stress of every part before, after on return.
    pub fn step(&self, by: &Vector3<f64>, parts: &mut [Vector3<f64>]) -> PlaneStress {
        let c = isotropic_q(self.modulus_pa, self.poisson);
        let push = c * by;
        let mut out = PlaneStress { stress: Vector3::zeros(), tangent: Matrix3::zeros(), lost_j_m3: 0.0 };
        let mut elastic_share = 0.0;
        for (part, s) in self.parts.iter().zip(parts) {
            let trial = *s + push;
            if mises_squared(&trial) <= part.yield_pa * part.yield_pa {
                *s = trial;
                elastic_share += part.share;
            } else {
                let (held, tangent) = self.returned(&trial, part.yield_pa);
                let met = *s + push * meets(s, &push, part.yield_pa);
                out.lost_j_m3 += part.share * 0.5 * (met + held).dot(&self.elastic_strain(&(trial - held)));
                *s = held;
                out.tangent += tangent * part.share;
            }
            out.stress += *s * part.share;
        }
        out.tangent += c * elastic_share;
        out
    }

    /// Strain of a stress by elasticity alone.
    fn elastic_strain(&self, s: &Vector3<f64>) -> Vector3<f64> {
        let nu = self.poisson;
        Vector3::new(s[0] - nu * s[1], s[1] - nu * s[0], 2.0 * (1.0 + nu) * s[2]) / self.modulus_pa
    }

    /// Return of a trial stress to a yield stress: stress, tangent.
    fn returned(&self, trial: &Vector3<f64>, yield_pa: f64) -> (Vector3<f64>, Matrix3<f64>) {
        let (e, nu) = (self.modulus_pa, self.poisson);
        let half = std::f64::consts::FRAC_1_SQRT_2;
        // Mean, difference, shear: stiffness and plastic flow per unit stress of each.
        let stiff = [e / (1.0 - nu), e / (1.0 + nu), 0.5 * e / (1.0 + nu)];
        let flow = [1.0 / 3.0, 1.0, 2.0];
        let own = [half * (trial[0] + trial[1]), half * (trial[1] - trial[0]), trial[2]];
        // Square of von Mises: 3/2 of stress times flow.
        let share: [f64; 3] = std::array::from_fn(|i| 1.5 * flow[i] * own[i] * own[i]);
        let rate: [f64; 3] = std::array::from_fn(|i| stiff[i] * flow[i]);
        let mut multiplier = 0.0;
        for _ in 0..50 {
            let (mut square, mut slope) = (0.0, 0.0);
            for i in 0..3 {
                let d = 1.0 + multiplier * rate[i];
                square += share[i] / (d * d);
                slope -= 2.0 * rate[i] * share[i] / (d * d * d);
            }
            // 1 / sqrt is nearly straight in the multiplier.
            let size = square.sqrt();
            let by = (1.0 / yield_pa - 1.0 / size) / (-0.5 * slope / (square * size));
            multiplier += by;
            if by.abs() <= 1e-15 * multiplier {
                break;
            }
        }
        let held: [f64; 3] = std::array::from_fn(|i| own[i] / (1.0 + multiplier * rate[i]));
        let soft: [f64; 3] = std::array::from_fn(|i| 1.0 / (1.0 / stiff[i] + multiplier * flow[i]));
        let normal: [f64; 3] = std::array::from_fn(|i| flow[i] * held[i]);
        let pushed: [f64; 3] = std::array::from_fn(|i| soft[i] * normal[i]);
        let denominator: f64 = (0..3).map(|i| normal[i] * pushed[i]).sum();
        let turn = Matrix3::new(half, half, 0.0, -half, half, 0.0, 0.0, 0.0, 1.0);
        let own_tangent =
            Matrix3::from_fn(|i, j| if i == j { soft[i] } else { 0.0 } - pushed[i] * pushed[j] / denominator);
        let stress = turn.tr_mul(&Vector3::from(held));
        (stress, turn.tr_mul(&(own_tangent * turn)))
    }
}
