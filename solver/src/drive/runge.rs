//! An explicit method of high order, for checks of steady motion by an independent road.
//!
//! In: an [`Oscillator`], its inputs over time, a start. Out: amplitudes and rates at a later time. Fifth-order
//! Dormand and Prince (J. Comput. Appl. Math. 6 (1980) 19, coefficients from memory; the order is tested), step chosen
//! from the embedded fourth order.

use super::oscillator::{Force, Oscillator};
use super::step::{Inputs, unbalanced};
use nalgebra::{DMatrix, DVector};

const NODES: [f64; 7] = [0.0, 0.2, 0.3, 0.8, 8.0 / 9.0, 1.0, 1.0];
const STAGES: [&[f64]; 7] = [
    &[],
    &[0.2],
    &[3.0 / 40.0, 9.0 / 40.0],
    &[44.0 / 45.0, -56.0 / 15.0, 32.0 / 9.0],
    &[19372.0 / 6561.0, -25360.0 / 2187.0, 64448.0 / 6561.0, -212.0 / 729.0],
    &[9017.0 / 3168.0, -355.0 / 33.0, 46732.0 / 5247.0, 49.0 / 176.0, -5103.0 / 18656.0],
    &[35.0 / 384.0, 0.0, 500.0 / 1113.0, 125.0 / 192.0, -2187.0 / 6784.0, 11.0 / 84.0],
];
/// Fifth order less fourth.
const ERROR: [f64; 7] =
    [71.0 / 57600.0, 0.0, -71.0 / 16695.0, 71.0 / 1920.0, -17253.0 / 339_200.0, 22.0 / 525.0, -1.0 / 40.0];

/// A run by explicit steps.
pub struct Explicit<'a> {
    system: &'a dyn Oscillator,
    inverse_mass: DMatrix<f64>,
    inputs: &'a dyn Fn(f64) -> Inputs,
    force: Force,
    /// Relative error a step may make.
    tolerance: f64,
    step_s: f64,
}

impl std::fmt::Debug for Explicit<'_> {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Explicit").field("tolerance", &self.tolerance).finish_non_exhaustive()
    }
}

impl<'a> Explicit<'a> {
    /// None where the mass is singular.
    #[must_use]
    pub fn new(
        system: &'a dyn Oscillator,
        inputs: &'a dyn Fn(f64) -> Inputs,
        tolerance: f64,
        first_step_s: f64,
    ) -> Option<Self> {
        let inverse_mass = system.linear().mass.clone().try_inverse()?;
        let force = Force::zeros(system.size());
        Some(Self { system, inverse_mass, inputs, force, tolerance, step_s: first_step_s })
    }

    fn acceleration(&mut self, q: &DVector<f64>, v: &DVector<f64>, time: f64) -> DVector<f64> {
        -(&self.inverse_mass * unbalanced(self.system, &(self.inputs)(time), [q, v], &mut self.force))
    }

    /// One step of given length: new amplitudes and rates, and the estimated error of both.
    pub(super) fn step(
        &mut self,
        [q, v]: [&DVector<f64>; 2],
        time: f64,
        h: f64,
    ) -> ([DVector<f64>; 2], [DVector<f64>; 2]) {
        let n = q.len();
        let mut slopes: Vec<[DVector<f64>; 2]> = Vec::with_capacity(7);
        let mut reached = [q.clone(), v.clone()];
        for (stage, node) in STAGES.iter().zip(NODES) {
            reached = [q.clone(), v.clone()];
            for (weight, slope) in stage.iter().zip(&slopes) {
                reached[0].axpy(h * weight, &slope[0], 1.0);
                reached[1].axpy(h * weight, &slope[1], 1.0);
            }
            let a = self.acceleration(&reached[0], &reached[1], time + node * h);
            slopes.push([reached[1].clone(), a]);
        }
        let mut error = [DVector::zeros(n), DVector::zeros(n)];
        for (weight, slope) in ERROR.iter().zip(&slopes) {
            error[0].axpy(h * weight, &slope[0], 1.0);
            error[1].axpy(h * weight, &slope[1], 1.0);
        }
        (reached, error)
    }

    /// From one time to another; None when the step falls below all use.
    #[must_use]
    pub fn advance(&mut self, start: [DVector<f64>; 2], from_s: f64, to_s: f64) -> Option<[DVector<f64>; 2]> {
        let mut x = start;
        let mut time = from_s;
        let mut size = [x[0].amax(), x[1].amax()];
        while to_s - time > 1e-12 * to_s.abs() {
            let whole = to_s - time;
            let h = self.step_s.min(whole);
            let (next, error) = self.step([&x[0], &x[1]], time, h);
            let new_size = [0, 1].map(|i: usize| size[i].max(next[i].amax()));
            let wrong = (0..2)
                .map(|i| error[i].amax() / (self.tolerance * new_size[i].max(f64::MIN_POSITIVE)))
                .fold(0.0, f64::max);
            if !wrong.is_finite() {
                return None;
            }
            if wrong <= 1.0 {
                (x, time, size) = (next, time + h, new_size);
            }
            let factor = if wrong > 0.0 { (0.9 * wrong.powf(-0.2)).clamp(0.2, 5.0) } else { 5.0 };
            // A short last step says nothing about the next.
            if wrong > 1.0 || h >= self.step_s {
                self.step_s = h * factor;
            }
            if self.step_s < 1e-14 * to_s.abs() {
                return None;
            }
        }
        Some(x)
    }
}
