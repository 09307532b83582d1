//! Waves of the drive: value at a phase, and as a series of harmonics.
//!
//! In: form, amplitude, offset. Out: instantaneous value; truncated series. Absent: circuits.

use std::f64::consts::{PI, TAU};

/// Form of one period, amplitude one, mean zero, even about phase zero.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Form {
    /// cos(phase).
    Sine,
    /// +1 for the quarter periods beside phase zero, else -1.
    Square,
    /// Straight lines between +1 at phase zero and -1 at half a period.
    Triangle,
}

impl Form {
    /// Name for people.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::Sine => "sine",
            Self::Square => "square",
            Self::Triangle => "triangle",
        }
    }

    /// Value at a phase, rad.
    #[must_use]
    pub fn at(self, phase: f64) -> f64 {
        let turn = phase.rem_euclid(TAU);
        match self {
            Self::Sine => turn.cos(),
            Self::Square => {
                let c = turn.cos();
                if c == 0.0 { 0.0 } else { c.signum() }
            }
            Self::Triangle => 1.0 - 2.0 * turn.min(TAU - turn) / PI,
        }
    }

    /// Factor of `cos(k phase)` in the Fourier series (closed forms of any handbook of mathematics).
    #[must_use]
    pub fn harmonic(self, k: usize) -> f64 {
        let x = k as f64;
        match self {
            Self::Sine => f64::from(u8::from(k == 1)),
            Self::Square if k % 2 == 1 => {
                let sign = if k % 4 == 1 { 1.0 } else { -1.0 };
                sign * 4.0 / (PI * x)
            }
            Self::Triangle if k % 2 == 1 => 8.0 / (PI * PI * x * x),
            Self::Square | Self::Triangle => 0.0,
        }
    }

    /// Root mean square over a period.
    #[must_use]
    pub fn rms(self) -> f64 {
        match self {
            Self::Sine => std::f64::consts::FRAC_1_SQRT_2,
            Self::Square => 1.0,
            Self::Triangle => 1.0 / 3.0_f64.sqrt(),
        }
    }

    /// The series up to a harmonic, at a phase; `lag` (s times rad/s) is that of a first-order circuit at the first
    /// harmonic, 0 for none.
    #[must_use]
    pub fn series(self, phase: f64, most: usize, lag: f64) -> f64 {
        let most = if self == Self::Sine { most.min(1) } else { most };
        let term = |k: usize| {
            let own = self.harmonic(k);
            if lag == 0.0 || own == 0.0 {
                return if own == 0.0 { 0.0 } else { own * (k as f64 * phase).cos() };
            }
            let (x, behind) = (k as f64, k as f64 * lag);
            own * (x * phase - behind.atan()).cos() / behind.hypot(1.0)
        };
        (1..=most).map(term).sum()
    }
}

/// A periodic input.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Wave {
    /// Form.
    pub form: Form,
    /// Amplitude, in the unit of the input.
    pub amplitude: f64,
    /// Mean, in the unit of the input.
    pub offset: f64,
    /// Time constant of the circuit that carries it, s (inductance over resistance); 0 for a forced current.
    pub lag_s: f64,
}

impl Wave {
    /// A sine.
    #[must_use]
    pub fn sine(amplitude: f64) -> Self {
        Self { form: Form::Sine, amplitude, offset: 0.0, lag_s: 0.0 }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The series of each form against its values, away from jumps; mean squares by Parseval.
    #[test]
    fn series_give_the_forms_back() {
        for (form, tol) in [(Form::Sine, 1e-14), (Form::Square, 1e-3), (Form::Triangle, 1e-6)] {
            for phase in [0.3, 1.0, 2.2, 4.0, 5.9] {
                let (a, b) = (form.at(phase), form.series(phase, 2000, 0.0));
                assert!((a - b).abs() < tol, "{form:?} at {phase}: {a} against {b}");
            }
            let square: f64 = (1..4000).map(|k| 0.5 * form.harmonic(k).powi(2)).sum();
            assert!((square.sqrt() - form.rms()).abs() < 1e-4, "{form:?}: {square}");
        }
    }

    /// A coil with time constant `T` passes cos(w t) as cos(w t - atan(w T)) / sqrt(1 + (w T)^2).
    #[test]
    fn a_circuit_delays_and_weakens() {
        let got = Form::Sine.series(0.7, 3, 0.5);
        let want = (0.7 - 0.5_f64.atan()).cos() / 1.25_f64.sqrt();
        assert!((got - want).abs() < 1e-15, "{got} against {want}");
    }
}
