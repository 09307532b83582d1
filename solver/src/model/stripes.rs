//! Turns side by side as one plate: stiffness of stripes of different stacks, and what each stripe strains.
//!
//! In: the stacks of the stripes with their shares of the width, the turn direction. Out: the plate that bends like
//! them on average, exactly for stripes that are narrow against everything else. Absent: edges of turns.
//!
//! Stripes of a thin plate share the strain along them, the curvature along them and the twist (deflection and slope
//! are continuous), and carry the same force across, the same in-plane shear force and the same moment across. With
//! p the three strains that go with those forces and q the three shared ones, each stripe has
//! `s_p = Cpp p + Cpq q - T_p`; averaging p at equal `s_p` gives the plate. For one ply by itself this is the rule of
//! mixtures: shares add along the turns, compliances across and in shear.

use crate::laminate::{CopperShare, Laminate, strain_rotation};
use nalgebra::{Matrix3, Matrix6, Vector3, Vector6};

/// Places of (p, q) in (e1, e2, g12, k1, k2, k12), direction 1 along the stripes.
const ORDER: [usize; 6] = [1, 2, 4, 0, 3, 5];

/// A stripe in turn axes, in the order (p, q).
struct Stripe {
    share: f64,
    pq: Matrix3<f64>,
    qq: Matrix3<f64>,
    heat_p: Vector3<f64>,
    heat_q: Vector3<f64>,
    /// Inverse of the stiffness between p and its forces.
    soft: Matrix3<f64>,
}

impl Stripe {
    fn new(share: f64, laminate: &Laminate, to_turns: &Matrix6<f64>) -> Option<Self> {
        let back = to_turns.try_inverse()?;
        let c = back.transpose() * laminate.abd() * back;
        let t = back.transpose() * laminate.thermal();
        let block = |i: usize, j: usize| Matrix3::from_fn(|r, s| c[(ORDER[3 * i + r], ORDER[3 * j + s])]);
        Some(Self {
            share,
            pq: block(0, 1),
            qq: block(1, 1),
            heat_p: Vector3::from_fn(|r, _| t[ORDER[r]]),
            heat_q: Vector3::from_fn(|r, _| t[ORDER[3 + r]]),
            soft: inverse(&block(0, 0))?,
        })
    }
}

/// Inverse after scaling to a unit diagonal: stretching and bending differ by the thickness squared.
fn inverse(m: &Matrix3<f64>) -> Option<Matrix3<f64>> {
    let scale = Vector3::from_fn(|i, _| 1.0 / m[(i, i)].sqrt());
    if !scale.iter().all(|s| s.is_finite()) {
        return None;
    }
    let d = Matrix3::from_diagonal(&scale);
    Some(d * (d * m * d).try_inverse()? * d)
}

/// Replaces stiffness and thermal resultants of `plate` by those of its stripes.
///
/// `stripes`: share of the width and stack of each; shares sum to 1. `angle_rad`: turn direction from x.
/// `copper`: smeared plies with the stripes that carry their copper. Leaves the plate as it is if a stripe has no
/// stiffness.
pub(super) fn join(
    plate: &mut Laminate,
    stripes: &[(f64, Laminate)],
    angle_rad: f64,
    copper: &[(usize, usize)],
) {
    let turn = strain_rotation(angle_rad);
    let mut to_turns = Matrix6::zeros();
    to_turns.fixed_view_mut::<3, 3>(0, 0).copy_from(&turn);
    to_turns.fixed_view_mut::<3, 3>(3, 3).copy_from(&turn);
    let parts: Option<Vec<Stripe>> = stripes.iter().map(|(s, l)| Stripe::new(*s, l, &to_turns)).collect();
    let Some(parts) = parts else { return };
    let sum3 =
        |of: &dyn Fn(&Stripe) -> Matrix3<f64>| parts.iter().map(|s| of(s) * s.share).sum::<Matrix3<f64>>();
    let sum =
        |of: &dyn Fn(&Stripe) -> Vector3<f64>| parts.iter().map(|s| of(s) * s.share).sum::<Vector3<f64>>();
    let Some(hard) = inverse(&sum3(&|s| s.soft)) else { return };
    let lean = sum3(&|s| s.soft * s.pq);
    let own = sum3(&|s| s.qq - s.pq.transpose() * s.soft * s.pq);
    let heat_p = hard * sum(&|s| s.soft * s.heat_p);
    let heat_q = lean.transpose() * heat_p - sum(&|s| s.pq.transpose() * s.soft * s.heat_p - s.heat_q);
    let pq = hard * lean;
    let qq = own + lean.transpose() * pq;
    let mut c = Matrix6::zeros();
    let mut t = Vector6::zeros();
    for r in 0..3 {
        for s in 0..3 {
            c[(ORDER[r], ORDER[s])] = hard[(r, s)];
            c[(ORDER[r], ORDER[3 + s])] = pq[(r, s)];
            c[(ORDER[3 + s], ORDER[r])] = pq[(r, s)];
            c[(ORDER[3 + r], ORDER[3 + s])] = qq[(r, s)];
        }
        t[ORDER[r]] = heat_p[r];
        t[ORDER[3 + r]] = heat_q[r];
    }
    let c = to_turns.transpose() * c * to_turns;
    let c = (c + c.transpose()) * 0.5;
    let t = to_turns.transpose() * t;
    plate.a = c.fixed_view::<3, 3>(0, 0).into_owned();
    plate.b = c.fixed_view::<3, 3>(0, 3).into_owned();
    plate.d = c.fixed_view::<3, 3>(3, 3).into_owned();
    plate.thermal_n = t.fixed_rows::<3>(0).into_owned();
    plate.thermal_m = t.fixed_rows::<3>(3).into_owned();
    plate.drilling_scale = crate::element::membrane_scale(&plate.a);
    let Some(back) = to_turns.try_inverse() else { return };
    for &(ply, stripe) in copper {
        // p of the stripe from the plate's (p, q): p = soft (hard (P + lean q) - heat_p + T_p - pq q).
        let part = &parts[stripe];
        let from_p = part.soft * hard;
        let from_q = part.soft * (pq - part.pq);
        let offset = part.soft * (part.heat_p - heat_p);
        let mut local = Matrix6::identity();
        let mut added = Vector6::zeros();
        for r in 0..3 {
            for s in 0..3 {
                local[(ORDER[r], ORDER[s])] = from_p[(r, s)];
                local[(ORDER[r], ORDER[3 + s])] = from_q[(r, s)];
            }
            added[ORDER[r]] = offset[r];
        }
        let free = stripes[stripe].1.plies[ply].free_strain();
        plate.copper.push(CopperShare { ply, local: back * local * to_turns, offset: back * added, free });
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::laminate::{Ply, isotropic_q, orthotropic_q};
    use copperbend_mesh::board::LayerId;

    fn ply(z: [f64; 2], e: f64, nu: f64, alpha: f64) -> Ply {
        Ply {
            layer: LayerId(0),
            z0_m: z[0],
            z1_m: z[1],
            q_pa: isotropic_q(e, nu),
            expansion_per_k: Vector3::new(alpha, alpha, 0.0),
            density_kg_m3: 1000.0,
            heating_k: 50.0,
            sliding: false,
        }
    }

    fn stripes() -> [(f64, Laminate); 2] {
        let with = |e, nu, alpha| {
            Laminate::new(vec![ply([-20e-6, 10e-6], 4e9, 0.34, 20e-6), ply([10e-6, 28e-6], e, nu, alpha)])
        };
        [(0.57, with(117e9, 0.34, 17e-6)), (0.43, with(2e9, 0.4, 90e-6))]
    }

    /// Force and moment of the plate at any strain equal the mean over the stripes, each at its own strain; the
    /// stripes agree in the forces across.
    #[test]
    fn plate_carries_the_mean_of_its_stripes() {
        let stripes = stripes();
        let mut plate = stripes[0].1.clone();
        join(&mut plate, &stripes, 0.0, &[(1, 0), (1, 1)]);
        let strain = Vector6::new(1e-3, -2e-3, 5e-4, 30.0, -50.0, 20.0);
        let mut mean = Vector6::zeros();
        let mut mean_strain = Vector6::zeros();
        let mut across = Vec::new();
        for (copper, (share, laminate)) in plate.copper.iter().zip(&stripes) {
            let own = copper.local * strain + copper.offset;
            let force = laminate.abd() * own - laminate.thermal();
            mean += force * *share;
            mean_strain += own * *share;
            across.push([force[1], force[2], force[4]]);
        }
        let whole = plate.abd() * strain - plate.thermal();
        for i in 0..6 {
            assert!((mean[i] - whole[i]).abs() < 1e-9 * whole.abs()[i].max(1e-6), "{i}: {mean} {whole}");
            assert!((mean_strain[i] - strain[i]).abs() < 1e-9 * strain[i].abs(), "{i}: {mean_strain}");
        }
        for (i, (&a, &b)) in across[0].iter().zip(&across[1]).enumerate() {
            assert!((a - b).abs() < 1e-9 * a.abs(), "force across {i}: {a} {b}");
        }
    }

    #[test]
    fn equal_stripes_are_the_stack_itself_in_any_direction() {
        let plies = vec![Ply {
            q_pa: orthotropic_q(8e9, 3e9, 0.2, 1.5e9, 0.3),
            ..ply([5e-6, 40e-6], 1.0, 0.0, 2e-5)
        }];
        let stack = Laminate::new(plies);
        let mut plate = stack.clone();
        join(&mut plate, &[(0.3, stack.clone()), (0.7, stack.clone())], 0.8, &[]);
        assert!((plate.abd() - stack.abd()).amax() < 1e-12 * stack.abd().amax(), "{}", plate.abd());
        assert!((plate.thermal() - stack.thermal()).amax() < 1e-12 * stack.thermal().amax(), "thermal");
    }

    #[test]
    fn one_ply_about_its_middle_obeys_the_rule_of_mixtures() {
        let one = |e: f64, nu| Laminate::new(vec![ply([-9e-6, 9e-6], e, nu, 0.0)]);
        let mut plate = one(1.0, 0.0);
        join(&mut plate, &[(0.6, one(100e9, 0.0)), (0.4, one(5e9, 0.0))], 0.0, &[]);
        let t = 18e-6;
        let along: f64 = 0.6 * 100e9 + 0.4 * 5e9;
        let across: f64 = 1.0 / (0.6 / 100e9 + 0.4 / 5e9);
        for (found, expected) in
            [(plate.a[(0, 0)] / t, along), (plate.a[(1, 1)] / t, across), (plate.a[(2, 2)] / t, 0.5 * across)]
        {
            assert!((found / expected - 1.0).abs() < 1e-12, "{found:e} against {expected:e}");
        }
    }
}
