//! How sure a fit is: limits by the curvature of the likelihood (Fisher) and by the likelihood ratio.

use super::fit::{Fit, Logs, Way};
use super::special::{bisect, half_chi_square, normal_quantile};
use super::{StatError, Tested, share};
use serde::Serialize;

/// A value between two limits.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize)]
pub struct Interval {
    /// Best value.
    pub value: f64,
    /// Lower limit.
    pub low: f64,
    /// Upper limit; infinite where the samples set none.
    pub high: f64,
}

impl Interval {
    /// Value and limits through a function that rises.
    #[must_use]
    pub fn map(self, of: impl Fn(f64) -> f64) -> Self {
        Self { value: of(self.value), low: of(self.low), high: of(self.high) }
    }

    /// Limits whose logarithms lie `by` below and above.
    fn log(value: f64, by: f64) -> Self {
        Self { value, low: value * (-by).exp(), high: value * by.exp() }
    }
}

/// Two-sided limits of the shape `1 / sigma` (Weibull) by the curvature of the likelihood.
#[must_use]
pub fn bounds_of_shape(fit: &Fit, confidence: f64) -> Interval {
    Interval::log(fit.shape(), two_sided(confidence) * fit.covariance[2].max(0.0).sqrt())
}

/// Two-sided limits of the scale `exp(mu)` by the curvature of the likelihood.
#[must_use]
pub fn bounds_of_scale(fit: &Fit, confidence: f64) -> Interval {
    Interval::log(fit.scale(), two_sided(confidence) * fit.covariance[0].max(0.0).sqrt())
}

/// Two-sided limits of the life with share `p` failed by the curvature of the likelihood.
#[must_use]
pub fn bounds_of_quantile(fit: &Fit, p: f64, confidence: f64) -> Interval {
    let along = fit.sigma * fit.family.quantile(p);
    let [a, b, c] = fit.covariance;
    let variance = a + 2.0 * along * b + along * along * c;
    Interval::log(fit.life(p), two_sided(confidence) * variance.max(0.0).sqrt())
}

fn two_sided(confidence: f64) -> f64 {
    normal_quantile(0.5 + 0.5 * confidence)
}

/// Two-sided limits by the likelihood ratio.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct LikelihoodBounds {
    /// Shape `1 / sigma`.
    pub shape: Interval,
    /// Scale `exp(mu)`.
    pub scale: Interval,
    /// Life with the asked share failed.
    pub life: Interval,
}

/// Limits of shape, scale and the life with share `p` failed by the likelihood ratio.
///
/// # Errors
/// As [`super::fit()`]; a share or confidence outside 0 to 1.
pub fn likelihood_bounds(
    fit: &Fit,
    samples: &[Tested],
    p: f64,
    confidence: f64,
) -> Result<LikelihoodBounds, StatError> {
    share("the confidence", confidence)?;
    share("the failed share", p)?;
    let logs = Logs::new(fit.family, samples)?;
    let allowed = half_chi_square(confidence, 1.0);
    let start = [(fit.mu - logs.base) / fit.sigma, 1.0 / fit.sigma];
    let missed = |way: Way, from: [f64; 2]| {
        logs.peak(from, way).map_or(f64::INFINITY, |(_, v)| fit.log_likelihood - v - allowed)
    };
    let of_shape = |log_shape: f64| {
        let lambda = log_shape.exp();
        missed(Way::Shape, [start[0] * lambda / start[1], lambda])
    };
    let of_life = |z: f64| move |q: f64| (q, z);
    let tied = |(quantile, z): (f64, f64)| missed(Way::Tied { quantile, z }, start);
    let deviation = |variance: f64| variance.max(1e-12).sqrt();
    let [a, b, c] = fit.covariance;
    let at = |p_z: f64| {
        let along = fit.sigma * p_z;
        let centre = fit.mu - logs.base + along;
        let place = of_life(p_z);
        let step = deviation(a + 2.0 * along * b + along * along * c);
        let found = both(|q| tied(place(q)), centre, step);
        Interval {
            value: (centre + logs.base).exp(),
            low: (found[0] + logs.base).exp(),
            high: (found[1] + logs.base).exp(),
        }
    };
    let shape = both(of_shape, start[1].ln(), deviation(c));
    // exp(mu) is the life at standardised zero.
    Ok(LikelihoodBounds {
        shape: Interval { value: fit.shape(), low: shape[0].exp(), high: shape[1].exp() },
        scale: at(0.0),
        life: at(fit.family.quantile(p)),
    })
}

/// Where a function that is negative at its centre turns positive on either side; infinite where it does not.
fn both(f: impl Fn(f64) -> f64, centre: f64, step: f64) -> [f64; 2] {
    [-1.0, 1.0].map(|sense| {
        let mut by = step;
        for _ in 0..40 {
            if f(centre + sense * by) > 0.0 {
                return bisect(&f, centre, centre + sense * by);
            }
            by *= 1.6;
            if by > 60.0 {
                break;
            }
        }
        sense * f64::INFINITY
    })
}
