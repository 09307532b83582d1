//! Checks of the driven swing on few amplitudes.

mod balance;
mod integrators;
mod position;

use super::{Force, Instant, Linear, Oscillator};

/// The hinge model of the worked two-arm vane (an invented one): spring, inertia with air, structural damping and drag
/// as given. Computed twice elsewhere (closed root of the single-harmonic balance; eighth-order Runge-Kutta).
pub(super) struct Hinge {
    linear: Linear,
    /// Drag, N m s2.
    drag: f64,
    /// Torque per unit input against angle: coefficients, the constant first.
    torque: Vec<f64>,
}

pub(super) const SPRING: f64 = 3.709_404_672_144e-5;
pub(super) const INERTIA: f64 = 6.302_333_333_333e-9 + 1.935_996_767_025e-10;
pub(super) const DAMPING: f64 = 9.817_544_348_229e-9;
pub(super) const DRAG: f64 = 4.964_882e-10;

impl Hinge {
    pub(super) fn new(damping: f64, drag: f64, torque: &[f64]) -> Self {
        Self { linear: Linear::single(INERTIA, damping, SPRING), drag, torque: torque.to_vec() }
    }
}

impl Oscillator for Hinge {
    fn linear(&self) -> &Linear {
        &self.linear
    }

    fn force(&self, at: &Instant<'_>, out: &mut Force) {
        let (x, v) = (at.q[0], at.v[0]);
        let (mut value, mut slope) = (0.0, 0.0);
        for c in self.torque.iter().rev() {
            slope = slope * x + value;
            value = value * x + c;
        }
        out.value[0] = at.input * value - self.drag * v * v.abs();
        out.by_q[(0, 0)] = at.input * slope;
        out.by_v[(0, 0)] = -2.0 * self.drag * v.abs();
        out.by_input[0] = value;
    }
}
