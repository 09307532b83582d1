//! What the methods of this room ask of a system: `M a + C v + K q = f(q, v, input)`.
//!
//! In: amplitudes, their rates, the input (current, voltage or torque) and how far it swings. Out: the force beyond the
//! linear part with its exact derivatives. Absent: time; any particular board.

use nalgebra::{DMatrix, DVector};

/// Constant part of a system.
#[derive(Debug, Clone, PartialEq)]
pub struct Linear {
    /// Mass.
    pub mass: DMatrix<f64>,
    /// Damping that is proportional to the rates.
    pub damping: DMatrix<f64>,
    /// Stiffness.
    pub stiffness: DMatrix<f64>,
}

impl Linear {
    /// A single oscillator.
    #[must_use]
    pub fn single(mass: f64, damping: f64, stiffness: f64) -> Self {
        let one = |x| DMatrix::from_element(1, 1, x);
        Self { mass: one(mass), damping: one(damping), stiffness: one(stiffness) }
    }
}

/// A state in which the force is asked for.
#[derive(Debug, Clone, Copy)]
pub struct Instant<'a> {
    /// Amplitudes.
    pub q: &'a [f64],
    /// Their rates, per second.
    pub v: &'a [f64],
    /// What drives: a current (A), a voltage (V) or a torque (N m), as the system takes it.
    pub input: f64,
    /// Acceleration of the holder, m/s2, along the direction the system takes it.
    pub base_m_s2: f64,
    /// Amplitude of the steady swing that a drag coefficient may depend on, in the unit of [`Oscillator::swing`].
    pub swing: f64,
}

/// A force and its derivatives.
#[derive(Debug, Clone, PartialEq)]
pub struct Force {
    /// Force on every amplitude.
    pub value: DVector<f64>,
    /// With the amplitudes.
    pub by_q: DMatrix<f64>,
    /// With the rates.
    pub by_v: DMatrix<f64>,
    /// With the input.
    pub by_input: DVector<f64>,
    /// With [`Instant::swing`].
    pub by_swing: DVector<f64>,
}

impl Force {
    /// Nothing, for `n` amplitudes.
    #[must_use]
    pub fn zeros(n: usize) -> Self {
        Self {
            value: DVector::zeros(n),
            by_q: DMatrix::zeros(n, n),
            by_v: DMatrix::zeros(n, n),
            by_input: DVector::zeros(n),
            by_swing: DVector::zeros(n),
        }
    }

    /// Back to nothing.
    pub fn clear(&mut self) {
        self.value.fill(0.0);
        self.by_q.fill(0.0);
        self.by_v.fill(0.0);
        self.by_input.fill(0.0);
        self.by_swing.fill(0.0);
    }
}

/// A system with few amplitudes.
pub trait Oscillator: Sync {
    /// Constant part.
    fn linear(&self) -> &Linear;

    /// Everything else, on the right-hand side. `out` comes cleared.
    fn force(&self, at: &Instant<'_>, out: &mut Force);

    /// Weights of the amplitudes in the displacement whose swing a drag coefficient depends on; None: on nothing.
    fn swing(&self) -> Option<&DVector<f64>> {
        None
    }

    /// Energy of the conservative part of [`Self::force`] without input, J, and its gradient; None where there is
    /// none. (The linear stiffness is not in it.)
    fn potential(&self, _q: &DVector<f64>) -> Option<(f64, DVector<f64>)> {
        None
    }

    /// Amplitudes.
    fn size(&self) -> usize {
        self.linear().mass.nrows()
    }
}
