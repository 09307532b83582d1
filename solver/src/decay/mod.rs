//! Damping and drag from measurements: a free decay or a resonance.
//!
//! In: angle over time, or swing over drive frequency. Out: natural frequency, damping ratio and quadratic drag with
//! their spread. Absent: files.

pub mod fit;
pub mod free;
pub mod resonance;

/// The extremum of a free decay with quadratic drag alone, half a swing after `from`: opposite in sign.
///
/// First integral of `x'' + q x'|x'| + w^2 x = 0`: `(1 - 2 q y) exp(2 q y) = (1 + 2 q x) exp(-2 q x)` for magnitudes x
/// and y; `q` per rad, extrema in rad.
#[must_use]
pub fn next_extremum(q: f64, from: f64) -> f64 {
    let x = from.abs();
    let s = 2.0 * q * x;
    if s < 1e-9 {
        return -from;
    }
    // log of both sides: ln(1 - y) + y = ln(1 + s) - s with y below one; Newton from the small-swing value.
    let right = s.ln_1p() - s;
    let mut y = if s < 0.5 { s - 2.0 / 3.0 * s * s } else { (0.5 * s).min(0.9) };
    for _ in 0..60 {
        let value = (-y).ln_1p() + y - right;
        let slope = -y / (1.0 - y);
        let next = (y - value / slope).clamp(0.1 * y, (0.5 + 0.5 * y).min(1.0 - f64::EPSILON));
        if (next - y).abs() <= 1e-15 * y {
            break;
        }
        y = next;
    }
    -from.signum() * y / (2.0 * q)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Extrema from 0.5 rad, drag 4.964882e-10 N m s2 on 6.4959e-9 kg m2 (an eighth-order Runge-Kutta method agrees to
    /// twelve digits; recomputed independently).
    #[test]
    fn extrema_of_pure_drag() {
        let q = 4.964_882e-10 / (6.302_333_333_333e-9 + 1.935_996_767_025e-10);
        let want = [
            0.5,
            -0.475_752_630_768_2,
            0.453_748_708_693_9,
            -0.433_690_585_885_6,
            0.415_331_047_154_7,
            -0.398_463_060_915_9,
            0.382_911_932_259_2,
        ];
        for pair in want.windows(2) {
            let got = next_extremum(q, pair[0]);
            assert!((got - pair[1]).abs() < 1e-8 * pair[1].abs(), "{got} against {}", pair[1]);
        }
        // Small swings: x - y = 4/3 q x^2.
        let small = 1e-3 + next_extremum(q, 1e-3);
        assert!((small / (4.0 / 3.0 * q * 1e-6) - 1.0).abs() < 1e-3, "{small:e}");
        assert!(next_extremum(1e6, 10.0).abs() < 10.0, "strong drag still decays");
    }
}
