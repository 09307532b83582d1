//! Motion in time, step by step: start, stop, shock, and a check of steady motion by another road.
//!
//! In: an [`Oscillator`], an input over time, a start. Out: amplitudes, rates, accelerations. The generalised-alpha
//! scheme (Chung and Hulbert 1993, from memory; its published order, spectral radius and period errors are tested), and
//! a step at the middle of its interval that keeps the energy of the conservative part exactly, for long undamped runs.

use super::oscillator::{Force, Instant, Oscillator};
use nalgebra::{DMatrix, DVector};

/// Step over the motion at which a step is settled.
const SETTLED: f64 = 1e-12;

/// Most Newton steps per step of time.
const MOST_NEWTON: usize = 25;

/// How time is stepped.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Scheme {
    /// Generalised alpha with this spectral radius at infinite frequency, 0 to 1 (1: trapezoidal rule).
    Alpha(f64),
    /// Middle of the interval, energy of the conservative part kept.
    EnergyKeeping,
}

/// Constants of the generalised-alpha scheme.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Alpha {
    /// Share of the old acceleration.
    pub alpha_m: f64,
    /// Share of the old forces.
    pub alpha_f: f64,
    /// Weight of the new acceleration in the rate.
    pub gamma: f64,
    /// Weight of the new acceleration in the amplitude.
    pub beta: f64,
}

impl Alpha {
    /// By the spectral radius at infinite frequency.
    #[must_use]
    pub fn new(radius: f64) -> Self {
        let r = radius.clamp(0.0, 1.0);
        let (alpha_m, alpha_f) = ((2.0 * r - 1.0) / (r + 1.0), r / (r + 1.0));
        let gamma = 0.5 - alpha_m + alpha_f;
        let beta = 0.25 * (1.0 - alpha_m + alpha_f).powi(2);
        Self { alpha_m, alpha_f, gamma, beta }
    }
}

/// Inputs at an instant.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Inputs {
    /// As [`Instant::input`].
    pub input: f64,
    /// As [`Instant::base_m_s2`].
    pub base_m_s2: f64,
    /// As [`Instant::swing`].
    pub swing: f64,
}

/// State at an instant.
#[derive(Debug, Clone, PartialEq)]
pub struct Moment {
    /// Time, s.
    pub time_s: f64,
    /// Amplitudes.
    pub q: DVector<f64>,
    /// Rates, per second.
    pub v: DVector<f64>,
    /// Accelerations, per second squared.
    pub a: DVector<f64>,
}

/// A run in time.
pub struct Run<'a> {
    system: &'a dyn Oscillator,
    scheme: Scheme,
    /// Inputs over time.
    inputs: &'a dyn Fn(f64) -> Inputs,
    now: Moment,
    force: Force,
}

impl std::fmt::Debug for Run<'_> {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Run").field("scheme", &self.scheme).field("now", &self.now).finish_non_exhaustive()
    }
}

/// Damping and stiffness less the other forces at amplitudes and rates; the forces and their derivatives stay in `force`.
pub(super) fn unbalanced(
    system: &dyn Oscillator,
    inputs: &Inputs,
    [q, v]: [&DVector<f64>; 2],
    force: &mut Force,
) -> DVector<f64> {
    force.clear();
    let at = Instant {
        q: q.as_slice(),
        v: v.as_slice(),
        input: inputs.input,
        base_m_s2: inputs.base_m_s2,
        swing: inputs.swing,
    };
    system.force(&at, force);
    let linear = system.linear();
    &linear.damping * v + &linear.stiffness * q - &force.value
}

impl<'a> Run<'a> {
    /// From amplitudes and rates at time zero; None where the mass is singular.
    #[must_use]
    pub fn new(
        system: &'a dyn Oscillator,
        scheme: Scheme,
        inputs: &'a dyn Fn(f64) -> Inputs,
        start: [DVector<f64>; 2],
    ) -> Option<Self> {
        let [q, v] = start;
        let n = system.size();
        let mut run = Self {
            system,
            scheme,
            inputs,
            now: Moment { time_s: 0.0, q, v, a: DVector::zeros(n) },
            force: Force::zeros(n),
        };
        let (q, v) = (run.now.q.clone(), run.now.v.clone());
        let rest = run.rest(&q, &v, 0.0);
        run.now.a = -system.linear().mass.clone().lu().solve(&rest)?;
        Some(run)
    }

    /// The present state.
    #[must_use]
    pub fn now(&self) -> &Moment {
        &self.now
    }

    /// Damping and stiffness less the other forces; their derivatives stay in `self.force`.
    fn rest(&mut self, q: &DVector<f64>, v: &DVector<f64>, time: f64) -> DVector<f64> {
        unbalanced(self.system, &(self.inputs)(time), [q, v], &mut self.force)
    }

    /// One step of `h` seconds; false when it does not settle (the state then stays).
    pub fn step(&mut self, h: f64) -> bool {
        let next = match self.scheme {
            Scheme::Alpha(radius) => self.alpha_step(h, &Alpha::new(radius)),
            Scheme::EnergyKeeping => self.middle_step(h),
        };
        let Some(next) = next else { return false };
        self.now = next;
        true
    }

    fn alpha_step(&mut self, h: f64, s: &Alpha) -> Option<Moment> {
        let old = self.now.clone();
        let time_s = old.time_s + h;
        // Inputs act at the instant of balance between both ends, the board's own forces as the mean of both ends.
        let between = old.time_s + (1.0 - s.alpha_f) * h;
        let old_rest = self.rest(&old.q, &old.v, between);
        let linear = self.system.linear();
        let mass = linear.mass.clone();
        let placed = |a: &DVector<f64>| {
            let q = &old.q + &old.v * h + (&old.a * (0.5 - s.beta) + a * s.beta) * (h * h);
            let v = &old.v + (&old.a * (1.0 - s.gamma) + a * s.gamma) * h;
            (q, v)
        };
        // From a steady acceleration, else from a steady rate: stiff systems on long steps need the second.
        let steady_rate = &old.a * (-(0.5 - s.beta) / s.beta);
        let mut starts = vec![steady_rate, old.a.clone()];
        let mut a = starts.pop()?;
        let mut last = f64::INFINITY;
        for round in 0..2 * MOST_NEWTON {
            if round == MOST_NEWTON {
                (a, last) = (starts.pop()?, f64::INFINITY);
            }
            let (q, v) = placed(&a);
            let rest = self.rest(&q, &v, between);
            let inertia = &mass * (&a * (1.0 - s.alpha_m) + &old.a * s.alpha_m);
            let residual = inertia + rest * (1.0 - s.alpha_f) + &old_rest * s.alpha_f;
            let stiff = (&linear.stiffness - &self.force.by_q) * (s.beta * h * h);
            let damp = (&linear.damping - &self.force.by_v) * (s.gamma * h);
            let tangent = &mass * (1.0 - s.alpha_m) + (stiff + damp) * (1.0 - s.alpha_f);
            let change = tangent.lu().solve(&residual)?;
            a -= &change;
            let size = change.norm() / a.norm().max(old.a.norm()).max(f64::MIN_POSITIVE);
            if !size.is_finite() {
                (a, last) = (starts.pop()?, f64::INFINITY);
                continue;
            }
            if size < SETTLED || (size < 1e3 * SETTLED && size >= last) {
                let (q, v) = placed(&a);
                return Some(Moment { time_s, q, v, a });
            }
            last = size;
        }
        None
    }

    /// Mid-point step whose conservative force is corrected so that its work is the change of potential.
    fn middle_step(&mut self, h: f64) -> Option<Moment> {
        let old = self.now.clone();
        let time_s = old.time_s + h;
        let linear = self.system.linear();
        let mass = linear.mass.clone();
        let mut q = &old.q + &old.v * h;
        let mut last = f64::INFINITY;
        for _ in 0..MOST_NEWTON {
            let step = &q - &old.q;
            let (middle, v) = ((&q + &old.q) * 0.5, &step / h);
            let mut rest = self.rest(&middle, &v, old.time_s + 0.5 * h);
            let by_q = (&linear.stiffness - &self.force.by_q) * 0.5;
            let by_v = (&linear.damping - &self.force.by_v) / h;
            let mut tangent = &mass * (2.0 / (h * h)) + by_q + by_v;
            if let Some((share, by_new)) = self.work_error(&old.q, &q, &middle) {
                rest += &step * share;
                tangent += DMatrix::identity(q.len(), q.len()) * share;
                tangent.ger(1.0, &step, &by_new, 1.0);
            }
            let residual = &mass * ((&step / h - &old.v) * (2.0 / h)) + rest;
            let change = tangent.lu().solve(&residual)?;
            q -= &change;
            let size = change.norm() / (&q - &old.q).norm().max(f64::MIN_POSITIVE);
            if !size.is_finite() {
                return None;
            }
            if size < SETTLED || (size < 1e3 * SETTLED && size >= last) {
                let v = (&q - &old.q) * (2.0 / h) - &old.v;
                let a = (&v - &old.v) / h;
                return Some(Moment { time_s, q, v, a });
            }
            last = size;
        }
        None
    }

    /// Change of the potential less the work of its mid-point force, over the square of the step, and its gradient with
    /// the new place (curvature at the middle from the derivatives of the force there).
    fn work_error(
        &self,
        old: &DVector<f64>,
        new: &DVector<f64>,
        middle: &DVector<f64>,
    ) -> Option<(f64, DVector<f64>)> {
        let step = new - old;
        let square = step.norm_squared();
        let (before, _) = self.system.potential(old)?;
        let (after, gradient) = self.system.potential(new)?;
        let (_, half) = self.system.potential(middle)?;
        if square <= f64::MIN_POSITIVE {
            return None;
        }
        let share = (after - before - half.dot(&step)) / square;
        let curved = &self.force.by_q * &step * -0.5;
        let by_new = (gradient - half - curved - &step * (2.0 * share)) / square;
        Some((share, by_new))
    }
}

/// Energy of the conservative part without input, kinetic and potential, J; None where there is no potential.
#[must_use]
pub fn energy_j(system: &dyn Oscillator, at: &Moment) -> Option<f64> {
    let linear = system.linear();
    let (potential, _) = system.potential(&at.q)?;
    let kinetic = 0.5 * at.v.dot(&(&linear.mass * &at.v));
    Some(kinetic + 0.5 * at.q.dot(&(&linear.stiffness * &at.q)) + potential)
}
