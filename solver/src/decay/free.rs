//! A free decay: `x'' + 2 zeta w x' + q x'|x'| + w^2 x = 0` about a mean, fitted sample by sample.
//!
//! In: angle over time. Out: frequency, damping ratio, drag over inertia, mean, each with its spread. The start of the
//! fit comes from the extrema: their logarithmic decrement grows with the swing by what drag adds. Absent: files.

use super::fit::{Fit, Fitted, least_squares};
use std::f64::consts::{PI, TAU};
use std::fmt;

/// Most radians of oscillation a step of the integration may cover.
const MOST_RAD: f64 = 0.04;

/// Half swings needed at least.
const LEAST_HALVES: usize = 6;

/// Samples per period needed at least.
const LEAST_PER_PERIOD: f64 = 8.0;

/// Share of the largest swing below which extrema are not used for the start of the fit.
const LOWEST: f64 = 0.1;

/// One sample.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Sample {
    /// Time, s.
    pub time_s: f64,
    /// Angle, rad.
    pub angle_rad: f64,
}

/// What a decay tells.
#[derive(Debug, Clone, PartialEq)]
pub struct Decay {
    /// Natural frequency, Hz.
    pub frequency_hz: Fitted,
    /// Damping ratio of the part that is proportional to the rate.
    pub ratio: Fitted,
    /// Drag coefficient over inertia, 1/rad: torque by drag is this times inertia times rate squared.
    pub drag_per_rad: Fitted,
    /// Mean, rad.
    pub mean_rad: Fitted,
    /// First swing used, rad.
    pub from_rad: f64,
    /// Last swing, rad.
    pub to_rad: f64,
    /// Half swings in the record.
    pub halves: usize,
    /// Root mean square of what the fit leaves, rad.
    pub left_rad: f64,
    /// As [`Fit::likeness`].
    pub likeness: f64,
}

/// Why a record cannot be fitted.
#[derive(Debug, Clone, PartialEq)]
pub enum Unfit {
    /// Fewer samples than a fit needs.
    Few(usize),
    /// The angle does not swing, or hardly.
    Halves(usize),
    /// Samples too far apart for the oscillation.
    Coarse(f64),
    /// The fit did not settle.
    Unsettled,
}

impl fmt::Display for Unfit {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Few(n) => write!(f, "only {n} samples; record at least {LEAST_HALVES} half swings"),
            Self::Halves(n) => write!(
                f,
                "only {n} half swings stand out; at least {LEAST_HALVES} are needed: let it swing freely after a push"
            ),
            Self::Coarse(n) => write!(
                f,
                "only {n:.1} samples per period; at least {LEAST_PER_PERIOD:.0} are needed: record faster"
            ),
            Self::Unsettled => write!(f, "no decay of this kind fits; leave out the push at the start"),
        }
    }
}

/// Fits a record with ascending times.
///
/// # Errors
/// [`Unfit`] in words a user can act on.
pub fn fit(samples: &[Sample]) -> Result<Decay, Unfit> {
    if samples.len() < 4 * LEAST_HALVES {
        return Err(Unfit::Few(samples.len()));
    }
    let start = Start::new(samples)?;
    let sizes = [start.swing, start.swing, start.swing, start.rad_s, 0.05, 0.5 / start.swing];
    let residuals = |p: &[f64]| simulate(samples, p);
    let from = [start.mean, start.x, start.v, start.rad_s, start.ratio, start.drag];
    let fit = least_squares(&residuals, &from, &sizes).ok_or(Unfit::Unsettled)?;
    if fit.parameters[3].value <= 0.0 {
        return Err(Unfit::Unsettled);
    }
    Ok(told(&fit, &start))
}

fn told(fit: &Fit, start: &Start) -> Decay {
    let p = &fit.parameters;
    Decay {
        frequency_hz: Fitted { value: p[3].value / TAU, spread: p[3].spread / TAU },
        ratio: p[4],
        drag_per_rad: p[5],
        mean_rad: p[0],
        from_rad: start.swing,
        to_rad: start.last,
        halves: start.halves,
        left_rad: fit.left,
        likeness: fit.likeness,
    }
}

/// Model less record. Parameters: mean, start, start rate over frequency, frequency (rad/s), ratio, drag.
fn simulate(samples: &[Sample], p: &[f64]) -> Option<Vec<f64>> {
    let [mean, x, v, w, ratio, drag] = *p else { return None };
    if !(w > 0.0 && w.is_finite()) {
        return None;
    }
    let rates = |s: [f64; 2]| [s[1], -2.0 * ratio * w * s[1] - drag * s[1] * s[1].abs() - w * w * s[0]];
    let mut state = [x, v * w];
    let mut out = Vec::with_capacity(samples.len());
    out.push(mean + state[0] - samples[0].angle_rad);
    for pair in samples.windows(2) {
        let whole = pair[1].time_s - pair[0].time_s;
        let parts = (whole * w / MOST_RAD).ceil().clamp(1.0, 1e5);
        let h = whole / parts;
        let mut left = parts;
        while left > 0.5 {
            state = classic_step(&rates, state, h);
            left -= 1.0;
        }
        if !state[0].is_finite() {
            return None;
        }
        out.push(mean + state[0] - pair[1].angle_rad);
    }
    Some(out)
}

/// The classic fourth-order step.
fn classic_step(rates: &dyn Fn([f64; 2]) -> [f64; 2], s: [f64; 2], h: f64) -> [f64; 2] {
    let beside = |k: [f64; 2], share: f64| [s[0] + share * h * k[0], s[1] + share * h * k[1]];
    let a = rates(s);
    let b = rates(beside(a, 0.5));
    let c = rates(beside(b, 0.5));
    let d = rates(beside(c, 1.0));
    [0, 1].map(|i| s[i] + h / 6.0 * (a[i] + 2.0 * b[i] + 2.0 * c[i] + d[i]))
}

/// Where a fit starts from.
struct Start {
    mean: f64,
    x: f64,
    v: f64,
    rad_s: f64,
    ratio: f64,
    drag: f64,
    swing: f64,
    last: f64,
    halves: usize,
}

impl Start {
    fn new(samples: &[Sample]) -> Result<Self, Unfit> {
        let mut mean = samples.iter().map(|s| s.angle_rad).sum::<f64>() / samples.len() as f64;
        // Extrema pull the mean of a decaying record aside: their own middle is better.
        let mut peaks = extrema(samples, mean);
        for _ in 0..3 {
            if peaks.len() >= 3 {
                let last = &peaks[peaks.len() - 3..];
                mean = 0.25 * (last[0].1 + 2.0 * last[1].1 + last[2].1);
                peaks = extrema(samples, mean);
            }
        }
        if peaks.len() < LEAST_HALVES {
            return Err(Unfit::Halves(peaks.len()));
        }
        let (first, last) = (peaks[0], peaks[peaks.len() - 1]);
        let rad_s = PI * (peaks.len() - 1) as f64 / (last.0 - first.0);
        let duration = samples[samples.len() - 1].time_s - samples[0].time_s;
        let per_period = samples.len() as f64 / duration * TAU / rad_s;
        if per_period < LEAST_PER_PERIOD {
            return Err(Unfit::Coarse(per_period));
        }
        let (ratio, drag) = decrements(&peaks, mean);
        // From the first extremum back to the first sample, as if undamped.
        let swing = (first.1 - mean).abs();
        let phase = rad_s * (samples[0].time_s - first.0);
        let signed = first.1 - mean;
        Ok(Self {
            mean,
            x: signed * phase.cos(),
            v: -signed * phase.sin(),
            rad_s,
            ratio,
            drag,
            swing,
            last: (last.1 - mean).abs(),
            halves: peaks.len(),
        })
    }
}

/// Largest excursions, one per stretch on a side of the mean; noise about the mean is no stretch.
fn extrema(samples: &[Sample], mean: f64) -> Vec<(f64, f64)> {
    let most = samples.iter().map(|s| (s.angle_rad - mean).abs()).fold(0.0, f64::max);
    let mut peaks: Vec<(f64, f64)> = Vec::new();
    for s in samples {
        let off = s.angle_rad - mean;
        if off.abs() <= LOWEST * most {
            continue;
        }
        match peaks.last_mut() {
            Some(last) if (last.1 - mean) * off > 0.0 => {
                if off.abs() > (last.1 - mean).abs() {
                    *last = (s.time_s, s.angle_rad);
                }
            }
            _ => peaks.push((s.time_s, s.angle_rad)),
        }
    }
    // The stretch the record starts in may have its extremum before the record.
    if peaks.first().is_some_and(|p| p.0 <= samples[0].time_s) && peaks.len() > LEAST_HALVES {
        peaks.remove(0);
    }
    peaks
}

/// Damping ratio and drag from the logarithmic decrements of half swings: `pi zeta + 4/3 q x`.
fn decrements(peaks: &[(f64, f64)], mean: f64) -> (f64, f64) {
    let rows: Vec<[f64; 2]> = peaks
        .windows(2)
        .map(|w| {
            let [a, b] = [w[0], w[1]].map(|p| (p.1 - mean).abs());
            [0.5 * (a + b), (a / b).ln()]
        })
        .collect();
    let n = rows.len() as f64;
    let [mx, my] = [0, 1].map(|i: usize| rows.iter().map(|r| r[i]).sum::<f64>() / n);
    let sxx: f64 = rows.iter().map(|r| (r[0] - mx).powi(2)).sum();
    let sxy: f64 = rows.iter().map(|r| (r[0] - mx) * (r[1] - my)).sum();
    let slope = if sxx > 0.0 { (sxy / sxx).max(0.0) } else { 0.0 };
    (((my - slope * mx) / PI).max(1e-4), 0.75 * slope)
}

#[cfg(test)]
mod tests {
    use super::super::next_extremum;
    use super::*;

    /// A record made with the closed law of extrema where only drag damps, and by the exact exponential where only
    /// linear damping does.
    #[test]
    fn a_linear_decay_is_found_exactly() {
        let (f, zeta, mean) = (11.3, 0.013, 0.02);
        let w = TAU * f;
        let wd = w * (1.0_f64 - zeta * zeta).sqrt();
        let samples: Vec<Sample> = (0..1500)
            .map(|i| {
                let t = f64::from(i) * 1e-3;
                let angle_rad = mean + 0.3 * (-zeta * w * t).exp() * (wd * t + 0.4).cos();
                Sample { time_s: t, angle_rad }
            })
            .collect();
        let found = fit(&samples).unwrap();
        assert!((found.frequency_hz.value / f - 1.0).abs() < 1e-6, "{found:?}");
        assert!((found.ratio.value / zeta - 1.0).abs() < 1e-4, "{found:?}");
        assert!(
            found.drag_per_rad.value.abs() < 1e-5 && (found.mean_rad.value - mean).abs() < 1e-7,
            "{found:?}"
        );
    }

    /// Only drag: the fitted coefficient reproduces the closed law's extrema.
    #[test]
    fn drag_alone_follows_the_closed_law() {
        let q = 0.0764;
        let w = TAU * 12.0;
        let mut state = [0.5, 0.0];
        let rates = |s: [f64; 2]| [s[1], -q * s[1] * s[1].abs() - w * w * s[0]];
        let h = 2.5e-4;
        let mut samples = vec![Sample { time_s: 0.0, angle_rad: 0.5 }];
        for i in 1..8000 {
            state = classic_step(&rates, state, h);
            samples.push(Sample { time_s: h * f64::from(i), angle_rad: state[0] });
        }
        let found = fit(&samples).unwrap();
        assert!((found.drag_per_rad.value / q - 1.0).abs() < 1e-5, "{found:?}");
        assert!(found.ratio.value.abs() < 1e-6, "{found:?}");
        let law = next_extremum(found.drag_per_rad.value, 0.5);
        let lowest = samples.iter().map(|s| s.angle_rad).fold(f64::INFINITY, f64::min);
        assert!((law - lowest).abs() < 1e-5, "{law} against {lowest}");
    }

    /// With noise the truth lies within three deviations, and the deviation is of the right size: forty records with
    /// noise from a fixed sequence scatter as told within a factor of 1.6.
    #[test]
    fn spread_tells_the_scatter() {
        let (w, zeta, q) = (TAU * 9.0, 0.01, 0.2);
        let mut seed = 12_345_u64;
        let mut noise = move || {
            // Twelve uniform numbers (a linear congruential sequence) sum to nearly a normal one.
            (0..12)
                .map(|_| {
                    seed =
                        seed.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
                    (seed >> 11) as f64 / (1_u64 << 53) as f64
                })
                .sum::<f64>()
                - 6.0
        };
        let mut found = Vec::new();
        for _ in 0..40 {
            let rates = |s: [f64; 2]| [s[1], -2.0 * zeta * w * s[1] - q * s[1] * s[1].abs() - w * w * s[0]];
            let mut state = [0.4, 0.0];
            let mut samples = Vec::new();
            for i in 0..800 {
                samples.push(Sample { time_s: 2e-3 * f64::from(i), angle_rad: state[0] + 2e-3 * noise() });
                for _ in 0..2 {
                    state = classic_step(&rates, state, 1e-3);
                }
            }
            found.push(fit(&samples).unwrap());
        }
        for (get, truth, what) in [
            ((|d: &Decay| d.ratio) as fn(&Decay) -> Fitted, zeta, "ratio"),
            (|d| d.drag_per_rad, q, "drag"),
            (|d| d.frequency_hz, 9.0, "frequency"),
        ] {
            let n = found.len() as f64;
            let scatter = (found.iter().map(|d| (get(d).value - truth).powi(2)).sum::<f64>() / n).sqrt();
            let told = found.iter().map(|d| get(d).spread).sum::<f64>() / n;
            assert!(
                scatter / told < 1.6 && told / scatter < 1.6,
                "{what}: scatter {scatter:e}, told {told:e}"
            );
        }
    }

    #[test]
    fn what_is_no_decay_is_refused() {
        let flat: Vec<Sample> = (0..100).map(|i| Sample { time_s: f64::from(i), angle_rad: 0.0 }).collect();
        assert!(matches!(fit(&flat), Err(Unfit::Halves(_))), "{:?}", fit(&flat));
        assert!(matches!(fit(&flat[..5]), Err(Unfit::Few(5))), "{:?}", fit(&flat[..5]));
        let coarse: Vec<Sample> = (0..200)
            .map(|i| {
                let t = f64::from(i);
                Sample { time_s: t, angle_rad: (-0.001 * t).exp() * (2.5 * t).cos() }
            })
            .collect();
        assert!(matches!(fit(&coarse), Err(Unfit::Coarse(_))), "{:?}", fit(&coarse));
    }
}
