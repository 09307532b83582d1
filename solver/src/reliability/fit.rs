//! Maximum likelihood of a location and a scale with survivors.
//!
//! With `lambda = 1 / sigma` and `alpha = mu / sigma` the logarithm of the likelihood has one peak (J. Burridge,
//! J. R. Statist. Soc. B 43 (1981) 41, from memory): Newton with halved steps finds it from any start.

use super::family::{Family, Slopes};
use super::{StatError, Tested};
use serde::Serialize;

/// A fitted distribution of life.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Fit {
    /// Its shape.
    pub family: Family,
    /// Location of the natural logarithm of life.
    pub mu: f64,
    /// Scale of the natural logarithm of life.
    pub sigma: f64,
    /// Logarithm of the likelihood, densities per unit of time.
    pub log_likelihood: f64,
    /// Covariance of `mu` and `ln sigma`: variance, covariance, variance.
    pub covariance: [f64; 3],
    /// Samples that failed.
    pub failures: u32,
    /// All samples.
    pub samples: u32,
}

impl Fit {
    /// Weibull shape `1 / sigma`.
    #[must_use]
    pub fn shape(&self) -> f64 {
        1.0 / self.sigma
    }

    /// Weibull scale (life with 63.2 % failed) or lognormal median: `exp(mu)`.
    #[must_use]
    pub fn scale(&self) -> f64 {
        self.mu.exp()
    }

    /// Life with share `p` failed.
    #[must_use]
    pub fn life(&self, p: f64) -> f64 {
        (self.mu + self.sigma * self.family.quantile(p)).exp()
    }

    /// Share still whole at a time.
    #[must_use]
    pub fn reliability(&self, time: f64) -> f64 {
        1.0 - self.family.failed_share((time.ln() - self.mu) / self.sigma)
    }

    /// Mean life and its standard deviation, by the moments of the distribution.
    #[must_use]
    pub fn moments(&self) -> [f64; 2] {
        let moment = |k: f64| match self.family {
            Family::Weibull => (k * self.mu + statrs::function::gamma::ln_gamma(1.0 + k * self.sigma)).exp(),
            Family::Lognormal => (k * self.mu + 0.5 * (k * self.sigma).powi(2)).exp(),
        };
        let mean = moment(1.0);
        [mean, (moment(2.0) - mean * mean).max(0.0).sqrt()]
    }
}

/// Checked samples as logarithms of time, with a common scale taken out.
pub(super) struct Logs {
    pub(super) family: Family,
    /// Logarithm of time over the longest time, and whether it failed.
    pub(super) rows: Vec<(f64, bool)>,
    /// Logarithm of the longest time.
    pub(super) base: f64,
    /// Sum of the logarithms of the failure times: densities per unit of time.
    per_time: f64,
    pub(super) failures: f64,
}

impl Logs {
    pub(super) fn new(family: Family, samples: &[Tested]) -> Result<Self, StatError> {
        if let Some((i, bad)) =
            samples.iter().enumerate().find(|(_, s)| !(s.time.is_finite() && s.time > 0.0))
        {
            return Err(StatError::new(
                format!("sample {}: time {} is no time above zero", i + 1, bad.time),
                "give the time of failure or of the end of the test",
            ));
        }
        let n_failed = samples.iter().filter(|s| s.failed).count();
        if n_failed == 0 {
            return Err(StatError::new(
                format!("none of {} samples failed: a fit needs failures", samples.len()),
                "assume a shape and ask for the bound that survivors prove, or test on",
            ));
        }
        let longest = samples.iter().map(|s| s.time).fold(0.0, f64::max);
        let base = longest.ln();
        let rows: Vec<(f64, bool)> = samples.iter().map(|s| (s.time.ln() - base, s.failed)).collect();
        let of_failed = || rows.iter().filter(|r| r.1).map(|r| r.0);
        let (least, most) =
            of_failed().fold((f64::INFINITY, f64::NEG_INFINITY), |a, y| (a.0.min(y), a.1.max(y)));
        // Beyond the last failure survivors tell how far the scatter reaches; without them one time is no scatter.
        let beyond = rows.iter().any(|r| !r.1 && r.0 > most);
        if most - least <= 1e-9 && !beyond {
            return Err(StatError::new(
                format!("all {n_failed} failures share one time, {longest}: the scatter cannot be found"),
                "inspect more often so that failure times differ, or assume a shape",
            ));
        }
        let per_time = of_failed().map(|y| y + base).sum();
        Ok(Self { family, rows, base, per_time, failures: n_failed as f64 })
    }

    fn slopes(&self, z: f64, failed: bool) -> Slopes {
        if failed { self.family.log_density(z) } else { self.family.log_survival(z) }
    }

    /// Logarithm of the likelihood at `z = lambda y - alpha`, its gradient and second derivatives in
    /// (alpha, lambda).
    fn at(&self, alpha: f64, lambda: f64) -> (f64, [f64; 2], [f64; 3]) {
        let mut value = self.failures * lambda.ln() - self.per_time;
        let (mut g, mut h) = ([0.0, self.failures / lambda], [0.0, 0.0, -self.failures / (lambda * lambda)]);
        for &(y, failed) in &self.rows {
            let s = self.slopes(lambda * y - alpha, failed);
            value += s.value;
            g[0] -= s.first;
            g[1] += s.first * y;
            h[0] += s.second;
            h[1] -= s.second * y;
            h[2] += s.second * y * y;
        }
        (value, g, h)
    }

    /// The peak over (alpha, lambda) along given directions: `free` says which of the two may move, `tie` keeps
    /// `alpha = lambda * tie.0 - tie.1` instead.
    pub(super) fn peak(&self, start: [f64; 2], way: Way) -> Result<([f64; 2], f64), StatError> {
        let mut at = start;
        if let Way::Tied { quantile, z } = way {
            at[0] = at[1] * quantile - z;
        }
        let (mut value, mut g, mut h) = self.at(at[0], at[1]);
        for _ in 0..200 {
            let step = way.newton(&g, &h);
            let slope = g[0] * step[0] + g[1] * step[1];
            if !slope.is_finite() {
                break;
            }
            // lambda stays above zero.
            let mut share = if step[1] < 0.0 { (0.9 * at[1] / -step[1]).min(1.0) } else { 1.0 };
            let mut next = None;
            for _ in 0..60 {
                let to = [at[0] + share * step[0], at[1] + share * step[1]];
                let (v, ng, nh) = self.at(to[0], to[1]);
                if v.is_finite() && v >= value - 1e-13 * value.abs() {
                    next = Some((to, v, ng, nh));
                    break;
                }
                share *= 0.5;
            }
            let Some((to, v, ng, nh)) = next else { break };
            (at, value, g, h) = (to, v, ng, nh);
            if slope.abs() <= 1e-20 * (1.0 + value.abs()) {
                break;
            }
        }
        if at[1] > 1e7 || !value.is_finite() {
            return Err(StatError::new(
                "the failures lie so close together that the likelihood has no peak".to_owned(),
                "give failure times that differ, or assume a shape",
            ));
        }
        Ok((at, value))
    }

    /// Second derivatives of the logarithm of the likelihood in (mu, ln sigma).
    fn curvature(&self, mu: f64, sigma: f64) -> [f64; 3] {
        let mut h = [0.0; 3];
        for &(y, failed) in &self.rows {
            let z = (y - mu) / sigma;
            let s = self.slopes(z, failed);
            h[0] += s.second / (sigma * sigma);
            h[1] += (s.second * z + s.first) / sigma;
            h[2] += s.second * z * z + s.first * z;
        }
        h
    }
}

/// Which line of the (alpha, lambda) plane is searched.
#[derive(Debug, Clone, Copy)]
pub(super) enum Way {
    /// All of it.
    Free,
    /// At this lambda.
    Shape,
    /// Where the logarithm of life at standardised `z` is `quantile`.
    Tied {
        /// Logarithm of life over the longest time.
        quantile: f64,
        /// Standardised place.
        z: f64,
    },
}

impl Way {
    fn newton(self, g: &[f64; 2], h: &[f64; 3]) -> [f64; 2] {
        match self {
            Self::Free => {
                let det = h[0] * h[2] - h[1] * h[1];
                [-(h[2] * g[0] - h[1] * g[1]) / det, -(h[0] * g[1] - h[1] * g[0]) / det]
            }
            Self::Shape => [-g[0] / h[0], 0.0],
            Self::Tied { quantile: q, .. } => {
                // alpha = lambda q - z.
                let (slope, bend) = (g[1] + q * g[0], h[2] + 2.0 * q * h[1] + q * q * h[0]);
                let by = -slope / bend;
                [q * by, by]
            }
        }
    }
}

/// Weibull or lognormal lives by maximum likelihood, survivors included.
///
/// # Errors
/// A time that is not above zero, no failure at all, or failures that all share one time.
pub fn fit(family: Family, samples: &[Tested]) -> Result<Fit, StatError> {
    let logs = Logs::new(family, samples)?;
    let mean = logs.rows.iter().map(|r| r.0).sum::<f64>() / logs.rows.len() as f64;
    let ([alpha, lambda], log_likelihood) = logs.peak([mean, 1.0], Way::Free)?;
    let (mu, sigma) = (alpha / lambda, 1.0 / lambda);
    let h = logs.curvature(mu, sigma);
    let det = h[0] * h[2] - h[1] * h[1];
    let covariance = [-h[2] / det, h[1] / det, -h[0] / det];
    let count = |n: usize| u32::try_from(n).unwrap_or(u32::MAX);
    let failures = count(samples.iter().filter(|s| s.failed).count());
    Ok(Fit {
        family,
        mu: mu + logs.base,
        sigma,
        log_likelihood,
        covariance,
        failures,
        samples: count(samples.len()),
    })
}
