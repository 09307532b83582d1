//! Stability of a steady motion: how a small disturbance grows over one base period.
//!
//! In: a motion and its system. Out: the largest multiplier and in which way it gives way. The periodic linear system is
//! carried over a period by the fourth-order Magnus series (two Gauss points a step) with the diagonal rational form of
//! the exponential, which neither damps nor excites an undamped mode however coarse the step. (Magnus 1954; the step
//! as in Blanes, Casas, Oteo and Ros, Phys. Rep. 470 (2009) 151, from memory; its order is tested.)

use super::harmonic::{Balance, Steady};
use super::oscillator::{Force, Instant};
use nalgebra::{Complex, DMatrix, DVector};
use std::f64::consts::TAU;

/// Steps over a drive period.
const STEPS: usize = 128;

/// Beyond one by this much a multiplier counts as growing.
const MARGIN: f64 = 1e-9;

/// Way in which a motion gives way.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Loss {
    /// A real multiplier above +1: the motion leaps to another one.
    Leap,
    /// A real multiplier below -1: motion at half the base frequency sets in.
    Halving,
    /// A complex pair outside the unit circle: a second, slower beat sets in.
    Beating,
}

/// Stability of a motion.
#[derive(Debug, Clone, PartialEq)]
pub struct Stability {
    /// Multipliers of a disturbance over one base period, the largest first.
    pub multipliers: Vec<Complex<f64>>,
    /// None: stable.
    pub loss: Option<Loss>,
}

impl Stability {
    /// Whether disturbances die out.
    #[must_use]
    pub fn stable(&self) -> bool {
        self.loss.is_none()
    }

    /// Factor by which the slowest disturbance changes over a base period.
    #[must_use]
    pub fn largest(&self) -> f64 {
        self.multipliers.first().map_or(0.0, |m| m.norm())
    }
}

/// Stability of a motion under small disturbances.
#[must_use]
pub fn stability(balance: &Balance<'_>, x: &Steady) -> Stability {
    stability_in(balance, x, STEPS * x.periods)
}

/// The same in a given number of steps.
pub(super) fn stability_in(balance: &Balance<'_>, x: &Steady, steps: usize) -> Stability {
    let n = balance.system().size();
    let Some(inverse) = balance.system().linear().mass.clone().try_inverse() else {
        return Stability { multipliers: Vec::new(), loss: None };
    };
    let swing = balance.swing(x).map_or(0.0, |s| s.0);
    let h = TAU / x.base_rad_s() / steps as f64;
    let gauss = 3.0_f64.sqrt() / 6.0;
    let mut force = Force::zeros(n);
    let mut carried = DMatrix::identity(2 * n, 2 * n);
    let mut flow = |share: f64| {
        let phase = TAU * share / steps as f64;
        let (q, v) = x.at(phase);
        let [_, input] = balance.input(phase, &x.drive);
        force.clear();
        let at = Instant { q: q.as_slice(), v: v.as_slice(), input, base_m_s2: 0.0, swing };
        balance.system().force(&at, &mut force);
        let linear = balance.system().linear();
        let mut a = DMatrix::zeros(2 * n, 2 * n);
        a.view_mut((0, n), (n, n)).fill_with_identity();
        a.view_mut((n, 0), (n, n)).copy_from(&(&inverse * (&force.by_q - &linear.stiffness)));
        a.view_mut((n, n), (n, n)).copy_from(&(&inverse * (&force.by_v - &linear.damping)));
        a
    };
    for k in 0..steps {
        let (a, b) = (flow(k as f64 + 0.5 - gauss), flow(k as f64 + 0.5 + gauss));
        let commuted = &b * &a - &a * &b;
        let omega = (a + b) * (0.5 * h) + commuted * (h * h * 3.0_f64.sqrt() / 12.0);
        let square = &omega * &omega / 12.0;
        let one = DMatrix::identity(2 * n, 2 * n);
        let (ahead, behind) = (&one + &omega * 0.5 + &square, &one - &omega * 0.5 + &square);
        let Some(next) = behind.lu().solve(&(ahead * &carried)) else {
            return Stability { multipliers: Vec::new(), loss: Some(Loss::Leap) };
        };
        carried = next;
    }
    judged(balanced(carried, n, x.base_rad_s()))
}

/// Rates over the base frequency, so that the matrix is of one size.
fn balanced(mut carried: DMatrix<f64>, n: usize, rad_s: f64) -> DMatrix<f64> {
    carried.view_mut((0, n), (n, n)).scale_mut(rad_s);
    carried.view_mut((n, 0), (n, n)).scale_mut(1.0 / rad_s);
    carried
}

fn judged(carried: DMatrix<f64>) -> Stability {
    if carried.iter().any(|x| !x.is_finite()) {
        return Stability { multipliers: Vec::new(), loss: Some(Loss::Leap) };
    }
    let Some(schur) = nalgebra::linalg::Schur::try_new(carried, 1e-15, 10_000) else {
        return Stability { multipliers: Vec::new(), loss: None };
    };
    let eigenvalues: DVector<Complex<f64>> = schur.complex_eigenvalues();
    let mut multipliers: Vec<Complex<f64>> = eigenvalues.iter().copied().collect();
    multipliers.sort_by(|a, b| b.norm().total_cmp(&a.norm()).then(b.im.total_cmp(&a.im)));
    let loss = multipliers.first().filter(|m| m.norm() > 1.0 + MARGIN).map(|m| {
        if m.im.abs() > 1e-9 * m.norm() {
            Loss::Beating
        } else if m.re > 0.0 {
            Loss::Leap
        } else {
            Loss::Halving
        }
    });
    Stability { multipliers, loss }
}
