//! Parts in series: a flap lives as long as the weakest of its arms and tracks.

use super::special::bisect;
use super::{Family, Fit};

/// Share of flaps still whole at a time, when every part must be whole.
#[must_use]
pub fn reliability(parts: &[Fit], time: f64) -> f64 {
    parts.iter().map(|part| part.reliability(time)).product()
}

/// Life at which share `p` of the flaps has failed; infinite without parts.
#[must_use]
pub fn life(parts: &[Fit], p: f64) -> f64 {
    // The flap fails no later than its weakest part and no earlier than all parts at p / n.
    let n = parts.len() as f64;
    let ends = parts.iter().map(|part| [part.life(p / n), part.life(p)]);
    let [low, high] = ends.fold([f64::INFINITY; 2], |a, b| [a[0].min(b[0]), a[1].min(b[1])]);
    if !(low.is_finite() && high > 0.0) {
        return f64::INFINITY;
    }
    bisect(|y| 1.0 - reliability(parts, y.exp()) - p, low.ln() - 1e-9, high.ln() + 1e-9).exp()
}

/// Weibull scale of the weakest of `n` equal parts over that of one.
#[must_use]
pub fn scale_of_weakest(n: u32, shape: f64) -> f64 {
    f64::from(n).powf(-1.0 / shape)
}

/// Survival of `n` equal parts in series from that of one.
#[must_use]
pub fn reliability_of_equal(part: f64, n: u32) -> f64 {
    part.powf(f64::from(n))
}

/// A distribution by its parameters, where no samples stand behind it.
#[must_use]
pub fn assumed(family: Family, mu: f64, sigma: f64) -> Fit {
    Fit { family, mu, sigma, log_likelihood: f64::NAN, covariance: [0.0; 3], failures: 0, samples: 0 }
}
