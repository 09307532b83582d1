//! Harmonic balance: steady motion as a short Fourier series.
//!
//! In: an [`Oscillator`] and its input wave. Out: residual of the balance in every harmonic, its exact derivatives, and
//! solutions. Forces are sampled over a period and turned back into harmonics (alternating frequency and time). The
//! base period may be two drive periods, for motion at half the drive frequency. Absent: following solutions, stability.

use super::oscillator::{Force, Instant, Oscillator};
use super::wave::Wave;
use nalgebra::{DMatrix, DVector};
use std::f64::consts::TAU;

/// Residual over the sum of its terms at which a solution is settled.
pub const SETTLED: f64 = 1e-11;

/// Residual over the sum of its terms from which one Newton step settles it as a rule.
const NEARLY: f64 = 1e-5;

/// Most Newton steps.
const MOST_STEPS: usize = 30;

/// Where and how strongly the system is driven.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Drive {
    /// Drive frequency, Hz.
    pub frequency_hz: f64,
    /// Factor on the alternating part of the input.
    pub level: f64,
}

/// A motion: mean, then cosine and sine of every harmonic of the base frequency, all amplitudes each.
#[derive(Debug, Clone, PartialEq)]
pub struct Steady {
    /// Coefficients: column 0 the mean, columns 2k-1 and 2k cosine and sine of harmonic k.
    pub series: DMatrix<f64>,
    /// Drive.
    pub drive: Drive,
    /// Base periods are this many drive periods.
    pub periods: usize,
}

impl Steady {
    /// At rest.
    #[must_use]
    pub fn rest(n: usize, harmonics: usize, periods: usize, drive: Drive) -> Self {
        Self { series: DMatrix::zeros(n, 2 * harmonics * periods + 1), drive, periods }
    }

    /// Angular frequency of the base period, rad/s.
    #[must_use]
    pub fn base_rad_s(&self) -> f64 {
        TAU * self.drive.frequency_hz / self.periods as f64
    }

    /// Amplitudes and rates at a phase of the base period, rad.
    #[must_use]
    pub fn at(&self, phase: f64) -> (DVector<f64>, DVector<f64>) {
        let columns = self.series.ncols();
        let (mut e, mut d) = (DVector::zeros(columns), DVector::zeros(columns));
        basis(phase, self.base_rad_s(), &mut e, &mut d);
        (&self.series * e, &self.series * d)
    }

    /// Mean, and cosine and sine at harmonic `k` of the drive, of a linear measure of the amplitudes.
    #[must_use]
    pub fn harmonic_of(&self, weights: &DVector<f64>, k: usize) -> [f64; 2] {
        let column =
            |c: usize| if c < self.series.ncols() { weights.dot(&self.series.column(c)) } else { 0.0 };
        if k == 0 {
            [column(0), 0.0]
        } else {
            [column(2 * k * self.periods - 1), column(2 * k * self.periods)]
        }
    }
}

/// Values of the base functions and of their time derivatives at a phase.
fn basis(phase: f64, rad_s: f64, e: &mut DVector<f64>, d: &mut DVector<f64>) {
    (e[0], d[0]) = (1.0, 0.0);
    for k in 1..=(e.len() - 1) / 2 {
        let x = k as f64;
        let (s, c) = (x * phase).sin_cos();
        (e[2 * k - 1], e[2 * k]) = (c, s);
        (d[2 * k - 1], d[2 * k]) = (-x * rad_s * s, x * rad_s * c);
    }
}

/// The balance of one system under one wave.
pub struct Balance<'a> {
    system: &'a dyn Oscillator,
    wave: Wave,
    /// Harmonics of the drive.
    harmonics: usize,
    periods: usize,
    samples: usize,
    table: Table,
}

/// Base functions at the samples of a base period: one row each, a column a sample.
struct Table {
    value: DMatrix<f64>,
    /// Time derivatives at a base frequency of 1 rad/s.
    rate: DMatrix<f64>,
    /// Values with their share in each coefficient: one row a sample.
    shares: DMatrix<f64>,
    /// Sum of the magnitudes of those shares, sample by sample.
    weight: DVector<f64>,
}

impl Table {
    fn new(columns: usize, samples: usize) -> Self {
        let (mut e, mut d) = (DVector::zeros(columns), DVector::zeros(columns));
        let zeros = || DMatrix::zeros(columns, samples);
        let shares = DMatrix::zeros(samples, columns);
        let mut out = Self { value: zeros(), rate: zeros(), shares, weight: DVector::zeros(samples) };
        for i in 0..samples {
            basis(phase_of(i, samples), 1.0, &mut e, &mut d);
            out.value.set_column(i, &e);
            out.rate.set_column(i, &d);
            for c in 0..columns {
                out.shares[(i, c)] = if c == 0 { 1.0 } else { 2.0 } / samples as f64 * e[c];
                out.weight[i] += out.shares[(i, c)].abs();
            }
        }
        out
    }
}

fn phase_of(sample: usize, samples: usize) -> f64 {
    TAU * sample as f64 / samples as f64
}

impl std::fmt::Debug for Balance<'_> {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Balance").field("harmonics", &self.harmonics).finish_non_exhaustive()
    }
}

/// Residual with its derivatives.
#[derive(Debug)]
pub(super) struct Residual {
    /// Left side less right side.
    pub(super) value: DVector<f64>,
    /// Sum of the magnitudes of its terms, per amplitude.
    pub(super) scale: DVector<f64>,
    /// With the coefficients.
    pub(super) jacobian: DMatrix<f64>,
    /// With the frequency, per Hz.
    pub(super) by_frequency: DVector<f64>,
    /// With the level.
    pub(super) by_level: DVector<f64>,
}

impl Residual {
    /// Largest residual over the terms of its amplitude.
    pub(super) fn relative(&self) -> f64 {
        let n = self.scale.len();
        let part = |(i, r): (usize, &f64)| {
            let scale = self.scale[i % n];
            if scale > 0.0 { r.abs() / scale } else { r.abs() }
        };
        self.value.iter().enumerate().map(part).fold(0.0, f64::max)
    }
}

/// Why a balance was not found.
#[derive(Debug, Clone, PartialEq)]
pub struct NotFound {
    /// Residual reached, over the sum of its terms.
    pub residual: f64,
    /// In words.
    pub why: String,
}

impl<'a> Balance<'a> {
    /// `harmonics` of the drive; `periods` of the drive per base period (1, or 2 for half-frequency motion).
    #[must_use]
    pub fn new(system: &'a dyn Oscillator, wave: Wave, harmonics: usize, periods: usize) -> Self {
        let (harmonics, periods) = (harmonics.max(1), periods.max(1));
        let samples = (16 * harmonics * periods).max(64).next_power_of_two();
        let table = Table::new(2 * harmonics * periods + 1, samples);
        Self { system, wave, harmonics, periods, samples, table }
    }

    /// The same with more samples over a base period.
    #[must_use]
    pub fn with_samples(self, samples: usize) -> Self {
        let samples = samples.max(4 * self.harmonics * self.periods);
        Self { samples, table: Table::new(2 * self.harmonics * self.periods + 1, samples), ..self }
    }

    /// The system.
    pub(super) fn system(&self) -> &dyn Oscillator {
        self.system
    }

    /// Alternating part of the input at level one and the whole input, at a phase of the base period.
    #[must_use]
    pub fn input(&self, phase: f64, drive: &Drive) -> [f64; 2] {
        let most = self.samples / (4 * self.periods);
        let lag = self.wave.lag_s * TAU * drive.frequency_hz;
        let wave = self.wave.amplitude * self.wave.form.series(phase * self.periods as f64, most, lag);
        [wave, self.wave.offset + drive.level * wave]
    }

    /// A motion at rest for this balance.
    #[must_use]
    pub fn rest(&self, drive: Drive) -> Steady {
        Steady::rest(self.system.size(), self.harmonics, self.periods, drive)
    }

    /// Amplitude of the swing of a motion, and its derivative with the coefficients.
    pub(super) fn swing(&self, x: &Steady) -> Option<(f64, DVector<f64>)> {
        let weights = self.system.swing()?;
        let n = weights.len();
        let parts: Vec<f64> = (1..x.series.ncols()).map(|c| weights.dot(&x.series.column(c))).collect();
        let swing = parts.iter().map(|p| p * p).sum::<f64>().sqrt();
        let mut by = DVector::zeros(n * x.series.ncols());
        if swing > 0.0 {
            for (c, part) in (1..).zip(&parts) {
                by.rows_mut(c * n, n).copy_from(&(weights * (part / swing)));
            }
        }
        Some((swing, by))
    }

    /// Residual and derivatives of a motion.
    pub(super) fn residual(&self, x: &Steady) -> Residual {
        self.terms(x, true)
    }

    /// Residual of a motion, and where wished its derivatives; else they are those of the linear part alone.
    fn terms(&self, x: &Steady, whole: bool) -> Residual {
        let n = self.system.size();
        let columns = x.series.ncols();
        let mut out = self.linear_part(x);
        let swing = self.swing(x);
        // A motion with another number of harmonics than the balance's own brings its own table.
        let own = (columns != self.table.value.nrows()).then(|| Table::new(columns, self.samples));
        let table = own.as_ref().unwrap_or(&self.table);
        let base = x.base_rad_s();
        let (q, v) = (&x.series * &table.value, &x.series * &table.rate * base);
        let per_hertz = &v / x.drive.frequency_hz;
        let none = || DMatrix::zeros(n, self.samples);
        let (mut value, mut by_level, mut by_hertz, mut by_swing) = (none(), none(), none(), none());
        // Changes of the force with every coefficient: all entries for one coefficient under each other.
        let mut change = DMatrix::zeros(if whole { n * n * columns } else { 0 }, self.samples);
        let mut force = Force::zeros(n);
        let size = swing.as_ref().map_or(0.0, |s| s.0);
        for i in 0..self.samples {
            let [wave, input] = self.input(phase_of(i, self.samples), &x.drive);
            force.clear();
            let (q, v) = (q.column(i), v.column(i));
            let at = Instant { q: q.as_slice(), v: v.as_slice(), input, base_m_s2: 0.0, swing: size };
            self.system.force(&at, &mut force);
            value.set_column(i, &force.value);
            if !whole {
                continue;
            }
            by_level.column_mut(i).axpy(wave, &force.by_input, 0.0);
            // Rates grow with the frequency at a given motion.
            by_hertz.column_mut(i).gemv(1.0, &force.by_v, &per_hertz.column(i), 0.0);
            by_swing.set_column(i, &force.by_swing);
            let mut column = change.column_mut(i);
            for (c, part) in column.as_mut_slice().chunks_exact_mut(n * n).enumerate() {
                let (e, d) = (table.value[(c, i)], table.rate[(c, i)] * base);
                for ((sum, a), b) in part.iter_mut().zip(force.by_q.as_slice()).zip(force.by_v.as_slice()) {
                    *sum = a * e + b * d;
                }
            }
        }
        // Coefficients of all of them; as one column, they lie as those of the motion do.
        let flat = |m: &DMatrix<f64>| DVector::from_column_slice((m * &table.shares).as_slice());
        out.value -= flat(&value);
        out.scale += value.abs() * &table.weight;
        if !whole {
            return out;
        }
        out.by_level -= flat(&by_level);
        out.by_frequency -= flat(&by_hertz);
        let change = change * &table.shares;
        for r in 0..columns {
            for (c, part) in change.column(r).as_slice().chunks_exact(n * n).enumerate() {
                let mut block = out.jacobian.view_mut((r * n, c * n), (n, n));
                block.iter_mut().zip(part).for_each(|(b, x)| *b -= x);
            }
        }
        if let Some((_, by)) = swing {
            out.jacobian.ger(-1.0, &flat(&by_swing), &by, 1.0);
        }
        out
    }

    /// Mass, damping and stiffness.
    fn linear_part(&self, x: &Steady) -> Residual {
        let linear = self.system.linear();
        let n = self.system.size();
        let columns = x.series.ncols();
        let size = n * columns;
        let mut out = Residual {
            value: DVector::zeros(size),
            scale: DVector::zeros(n),
            jacobian: DMatrix::zeros(size, size),
            by_frequency: DVector::zeros(size),
            by_level: DVector::zeros(size),
        };
        let w = x.base_rad_s();
        let w_by_frequency = TAU / x.periods as f64;
        for c in 0..columns {
            let k = c.div_ceil(2) as f64;
            let dynamic = &linear.stiffness - &linear.mass * (k * w).powi(2);
            out.jacobian.view_mut((c * n, c * n), (n, n)).copy_from(&dynamic);
            let own = x.series.column(c);
            let mut value = &dynamic * own;
            let mut by = &linear.mass * own * (-2.0 * k * k * w * w_by_frequency);
            if c > 0 {
                // Cosine rows take +k w C of the sine, sine rows -k w C of the cosine.
                let (other, sign) = if c % 2 == 1 { (c + 1, 1.0) } else { (c - 1, -1.0) };
                let damping = &linear.damping * (sign * k * w);
                out.jacobian.view_mut((c * n, other * n), (n, n)).copy_from(&damping);
                value += &damping * x.series.column(other);
                by += &linear.damping * x.series.column(other) * (sign * k * w_by_frequency);
            }
            out.value.rows_mut(c * n, n).copy_from(&value);
            out.by_frequency.rows_mut(c * n, n).copy_from(&by);
            let inertia = &linear.mass * own * (k * w).powi(2);
            let spring = &linear.stiffness * own;
            for (s, (a, b)) in out.scale.iter_mut().zip(inertia.iter().zip(spring.iter())) {
                *s += a.abs() + b.abs();
            }
        }
        out
    }

    /// The motion at the drive of `start`, sought from there.
    ///
    /// # Errors
    /// [`NotFound`] when Newton's steps do not settle.
    pub fn solve(&self, start: &Steady) -> Result<Steady, NotFound> {
        let mut x = start.clone();
        let mut residual = self.residual(&x);
        let mut now = residual.relative();
        for _ in 0..MOST_STEPS {
            if now <= SETTLED {
                return Ok(x);
            }
            let Some(step) = residual.jacobian.clone().lu().solve(&residual.value) else {
                return Err(NotFound { residual: now, why: "the balance is singular there".to_owned() });
            };
            let old = residual.value.norm();
            let mut share = 1.0;
            loop {
                let mut next = x.clone();
                next.series.iter_mut().zip(step.iter()).for_each(|(x, s)| *x -= share * s);
                // Near its end the next residual as a rule settles it: no derivatives then.
                let mut trial = self.terms(&next, now > NEARLY);
                let better = trial.value.norm() < old || trial.relative() <= SETTLED;
                if trial.value.iter().all(|r| r.is_finite()) && better {
                    if now <= NEARLY && trial.relative() > SETTLED {
                        trial = self.residual(&next);
                    }
                    (x, now, residual) = (next, trial.relative(), trial);
                    break;
                }
                share *= 0.5;
                if share < 1e-3 {
                    // Rounding stops what is as good as settled.
                    return if now <= 100.0 * SETTLED {
                        Ok(x)
                    } else {
                        Err(NotFound { residual: now, why: "no step makes the residual smaller".to_owned() })
                    };
                }
            }
        }
        if now <= 100.0 * SETTLED {
            return Ok(x);
        }
        Err(NotFound { residual: now, why: format!("not settled after {MOST_STEPS} steps") })
    }

    /// Residual of a motion over the sum of its terms.
    #[must_use]
    pub fn check(&self, x: &Steady) -> f64 {
        self.terms(x, false).relative()
    }
}
