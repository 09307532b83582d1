//! A measured resonance: swing over drive frequency at one drive level.
//!
//! In: pairs of frequency and swing. Out: natural frequency, damping ratio, drag over inertia, each with its spread, by
//! the single-harmonic balance `[(w0^2 - w^2)^2 + (2 zeta w0 w + 8/(3 pi) q w^2 A)^2] A^2 = g^2`. At one drive level
//! damping and drag differ only in the shape of the peak, so their spreads are wide: two levels or a decay tell more.

use super::fit::{Fitted, least_squares};
use std::f64::consts::{PI, TAU};

/// One point.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Point {
    /// Drive frequency, Hz.
    pub frequency_hz: f64,
    /// Swing (amplitude), rad.
    pub swing_rad: f64,
}

/// What a resonance tells.
#[derive(Debug, Clone, PartialEq)]
pub struct Resonance {
    /// Natural frequency, Hz.
    pub frequency_hz: Fitted,
    /// Damping ratio of the part that is proportional to the rate.
    pub ratio: Fitted,
    /// Drag coefficient over inertia, 1/rad.
    pub drag_per_rad: Fitted,
    /// Drive torque over inertia, rad/s2.
    pub drive_rad_s2: Fitted,
    /// Root mean square of what the fit leaves, relative to the swing.
    pub left: f64,
}

/// Points needed at least.
pub const LEAST_POINTS: usize = 6;

/// Fits a resonance; None where the points hold none (a peak inside, at least [`LEAST_POINTS`] points) or nothing settles.
#[must_use]
pub fn fit(points: &[Point]) -> Option<Resonance> {
    let peak = points.iter().max_by(|a, b| a.swing_rad.total_cmp(&b.swing_rad))?;
    let below = points.iter().filter(|p| p.frequency_hz < peak.frequency_hz).count();
    let above = points.iter().filter(|p| p.frequency_hz > peak.frequency_hz).count();
    if points.len() < LEAST_POINTS || below == 0 || above == 0 {
        return None;
    }
    let half = peak.swing_rad * std::f64::consts::FRAC_1_SQRT_2;
    let within = points.iter().filter(|p| p.swing_rad >= half).map(|p| p.frequency_hz);
    let (low, high) = within.fold((f64::INFINITY, 0.0_f64), |(a, b), f| (a.min(f), b.max(f)));
    let ratio = (0.5 * (high - low) / peak.frequency_hz).clamp(1e-3, 0.5);
    let w = TAU * peak.frequency_hz;
    // Drive and swing are given as logarithms, so that both stay positive.
    let start = [(2.0 * ratio * w * w * peak.swing_rad).ln(), w, 0.7 * ratio, 0.3 * ratio / peak.swing_rad];
    let sizes = [1.0, w, ratio, ratio / peak.swing_rad];
    let residuals = |p: &[f64]| {
        let model = |at: &Point| Some((swing(p, TAU * at.frequency_hz)? / at.swing_rad).ln());
        points.iter().map(model).collect()
    };
    let fit = least_squares(&residuals, &start, &sizes)?;
    let p = &fit.parameters;
    let drive = p[0].value.exp();
    Some(Resonance {
        frequency_hz: Fitted { value: p[1].value / TAU, spread: p[1].spread / TAU },
        ratio: p[2],
        drag_per_rad: p[3],
        drive_rad_s2: Fitted { value: drive, spread: drive * p[0].spread },
        left: fit.left,
    })
}

/// Swing at an angular frequency: the one positive root, which grows with the drive.
fn swing(p: &[f64], w: f64) -> Option<f64> {
    let [drive, w0, ratio, drag] = *p else { return None };
    if !(w0 > 0.0 && drive.is_finite()) {
        return None;
    }
    let g = drive.exp();
    let spring = (w0 * w0 - w * w).powi(2);
    let (linear, square) = (2.0 * ratio * w0 * w, 8.0 / (3.0 * PI) * drag * w * w);
    let mut a = g / (spring + linear * linear).sqrt().max(f64::MIN_POSITIVE);
    for _ in 0..200 {
        let damping = linear + square * a;
        let value = (spring + damping * damping) * a * a - g * g;
        let slope = 2.0 * a * (spring + damping * damping) + 2.0 * damping * square * a * a;
        let next = (a - value / slope).clamp(0.3 * a, 3.0 * a);
        if !next.is_finite() {
            return None;
        }
        if (next - a).abs() <= 1e-14 * a {
            return Some(next);
        }
        a = next;
    }
    None
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Points of the worked two-arm vane (closed root of the balance, recomputed independently): 12.0268 Hz, loss
    /// factor 0.02, drag 4.964882e-10 N m s2 on 6.4959e-9 kg m2, 1.5 uN m.
    #[test]
    fn the_worked_vane_is_found_back() {
        let points = [
            [6.013, 0.053_908_837_731_7],
            [8.419, 0.079_252_006_125_52],
            [9.621, 0.112_123_249_514_9],
            [10.824, 0.210_359_797_448],
            [11.425, 0.381_582_077_752],
            [12.027, 0.650_254_811_767_6],
            [12.628, 0.359_119_441_490_6],
            [13.23, 0.189_581_040_802_5],
            [14.432, 0.091_661_858_394_29],
            [16.838, 0.042_092_914_339_82],
            [21.648, 0.018_050_466_278_75],
        ]
        .map(|[frequency_hz, swing_rad]| Point { frequency_hz, swing_rad });
        let found = fit(&points).unwrap();
        let inertia = 6.302_333_333_333e-9 + 1.935_996_767_025e-10;
        assert!((found.frequency_hz.value - 12.026_838_251_18).abs() < 1e-6, "{found:?}");
        // c over 2 m w0: c = 0.02 k / (w of the vane in vacuum).
        let ratio = 9.817_544_348_229e-9 / (2.0 * inertia * TAU * 12.026_838_251_18);
        assert!((found.ratio.value / ratio - 1.0).abs() < 1e-4, "{found:?} against {ratio}");
        assert!((found.drag_per_rad.value * inertia / 4.964_882e-10 - 1.0).abs() < 1e-5, "{found:?}");
        assert!((found.drive_rad_s2.value * inertia / 1.5e-6 - 1.0).abs() < 1e-6, "{found:?}");
    }

    #[test]
    fn no_peak_no_fit() {
        let rising: Vec<Point> =
            (1..12).map(|i| Point { frequency_hz: f64::from(i), swing_rad: 0.01 * f64::from(i) }).collect();
        assert_eq!(fit(&rising), None, "a flank is no resonance");
        assert_eq!(fit(&[]), None, "nothing");
    }
}
