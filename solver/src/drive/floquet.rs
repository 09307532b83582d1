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

/// Fewest and most steps over a drive period, and the phase of the slowest free motion that a step may take, rad.
const STEPS: [usize; 2] = [64, 512];
const PHASE: f64 = 0.25;

/// A largest multiplier this near to one is looked at again with four times the steps.
const CLOSE: f64 = 1e-4;

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
    let per_period = steps(balance, x);
    let found = stability_in(balance, x, per_period * x.periods);
    if (found.largest() - 1.0).abs() < CLOSE {
        return stability_in(balance, x, 4 * per_period * x.periods);
    }
    found
}

/// Steps over a drive period that carry the slowest free motion, and with it the parts of the drive up to several times
/// its frequency.
fn steps(balance: &Balance<'_>, x: &Steady) -> usize {
    let linear = balance.system().linear();
    let slowest = (0..linear.mass.nrows())
        .map(|i| linear.stiffness[(i, i)] / linear.mass[(i, i)])
        .filter(|square| *square > 0.0)
        .fold(f64::INFINITY, f64::min);
    let period_s = TAU / (x.base_rad_s() * x.periods as f64);
    let wished = if slowest.is_finite() { (slowest.sqrt() * period_s / PHASE).ceil() } else { 0.0 };
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "from 0 up, and bounded")]
    let wished = wished.clamp(0.0, STEPS[1] as f64) as usize;
    wished.clamp(STEPS[0], STEPS[1])
}

/// The same in a given number of steps.
pub(super) fn stability_in(balance: &Balance<'_>, x: &Steady, steps: usize) -> Stability {
    let n = balance.system().size();
    let Some(inverse) = balance.system().linear().mass.clone().try_inverse() else {
        return Stability { multipliers: Vec::new(), loss: None };
    };
    let h = TAU / x.base_rad_s() / steps as f64;
    let gauss = 3.0_f64.sqrt() / 6.0;
    let mut flow =
        Flow { balance, x, inverse, force: Force::zeros(n), swing: balance.swing(x).map_or(0.0, |s| s.0) };
    let zeros = || DMatrix::zeros(2 * n, 2 * n);
    let (mut omega, mut square, mut ahead, mut next) = (zeros(), zeros(), zeros(), zeros());
    let mut carried = DMatrix::identity(2 * n, 2 * n);
    for k in 0..steps {
        let [pa, qa] = flow.at(TAU * (k as f64 + 0.5 - gauss) / steps as f64);
        let [pb, qb] = flow.at(TAU * (k as f64 + 0.5 + gauss) / steps as f64);
        // h/2 (A + B) + s (B A - A B), blocks of A = [0, 1; P, Q] worked out.
        let s = h * h * 3.0_f64.sqrt() / 12.0;
        let (half, low, right) = (0.5 * h, &pa - &pb, &qa - &qb);
        omega.view_mut((0, 0), (n, n)).copy_from(&(&low * s));
        omega.view_mut((0, n), (n, n)).copy_from(&(&right * s));
        (0..n).for_each(|i| omega[(i, n + i)] += h);
        omega.view_mut((n, 0), (n, n)).copy_from(&((&pa + &pb) * half + (&qb * &pa - &qa * &pb) * s));
        let turned = &qb * &qa - &qa * &qb - low;
        omega.view_mut((n, n), (n, n)).copy_from(&((qa + qb) * half + turned * s));
        square.gemm(1.0 / 12.0, &omega, &omega, 0.0);
        (0..2 * n).for_each(|i| square[(i, i)] += 1.0);
        ahead.zip_zip_apply(&square, &omega, |a, s, o| *a = s + 0.5 * o);
        next.gemm(1.0, &ahead, &carried, 0.0);
        square.zip_apply(&omega, |s, o| *s -= 0.5 * o);
        let behind = std::mem::replace(&mut square, zeros()).lu();
        if !behind.solve_mut(&mut next) {
            return Stability { multipliers: Vec::new(), loss: Some(Loss::Leap) };
        }
        std::mem::swap(&mut carried, &mut next);
    }
    judged(balanced(carried, n, x.base_rad_s()))
}

/// The linear system about a motion.
struct Flow<'f> {
    balance: &'f Balance<'f>,
    x: &'f Steady,
    inverse: DMatrix<f64>,
    force: Force,
    swing: f64,
}

impl Flow<'_> {
    /// Change of the rates' rates with amplitudes and rates, at a phase.
    fn at(&mut self, phase: f64) -> [DMatrix<f64>; 2] {
        let (q, v) = self.x.at(phase);
        let [_, input] = self.balance.input(phase, &self.x.drive);
        self.force.clear();
        let at = Instant { q: q.as_slice(), v: v.as_slice(), input, base_m_s2: 0.0, swing: self.swing };
        let system = self.balance.system();
        system.force(&at, &mut self.force);
        let linear = system.linear();
        let by_q = &self.force.by_q - &linear.stiffness;
        let by_v = &self.force.by_v - &linear.damping;
        [&self.inverse * by_q, &self.inverse * by_v]
    }
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
