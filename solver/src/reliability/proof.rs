//! What few or no failures prove: binomial bounds, samples needed, bounds with an assumed Weibull shape.
//!
//! One-sided throughout: "at confidence C the share surviving is at least R". Textbook formulas (binomial and
//! Poisson models of W. Nelson, Applied Life Data Analysis (1982), from memory), values checked.

use super::special::{beta_below, beta_quantile, half_chi_square};
use super::{StatError, Tested, share};

/// Least share surviving that `failures` of `samples` prove at a confidence.
///
/// # Errors
/// No sample, more failures than samples, a confidence outside 0 to 1.
pub fn proven_reliability(samples: u32, failures: u32, confidence: f64) -> Result<f64, StatError> {
    share("the confidence", confidence)?;
    if samples == 0 || failures > samples {
        return Err(StatError::new(
            format!("{failures} failures of {samples} samples"),
            "give at least one sample and no more failures than samples",
        ));
    }
    if failures == samples {
        return Ok(0.0);
    }
    let failed = beta_quantile(confidence, f64::from(failures) + 1.0, f64::from(samples - failures));
    Ok(1.0 - failed)
}

/// Chance of at most `failures` among `samples` that each survive with share `reliability`.
#[must_use]
pub fn chance_of_at_most(failures: u32, samples: u32, reliability: f64) -> f64 {
    if failures >= samples {
        return 1.0;
    }
    beta_below(f64::from(samples - failures), f64::from(failures) + 1.0, reliability)
}

/// Samples needed to prove a reliability when up to `failures` of them may fail.
///
/// # Errors
/// A reliability or confidence outside 0 to 1, or more than a million samples.
pub fn samples_needed(reliability: f64, confidence: f64, failures: u32) -> Result<u32, StatError> {
    share("the reliability", reliability)?;
    share("the confidence", confidence)?;
    let proves = |n: u32| chance_of_at_most(failures, n, reliability) <= 1.0 - confidence + 1e-12;
    let mut most = failures + 1;
    while !proves(most) {
        if most > 1_000_000 {
            return Err(StatError::new(
                format!("reliability {reliability} at confidence {confidence} takes over a million samples"),
                "ask for less, or test longer than the wished life",
            ));
        }
        most = most.saturating_mul(2);
    }
    let mut least = failures;
    while most - least > 1 {
        let middle = least + (most - least) / 2;
        if proves(middle) {
            most = middle;
        } else {
            least = middle;
        }
    }
    Ok(most)
}

/// Least Weibull scale that samples prove at a confidence with an assumed shape.
///
/// # Errors
/// No sample, a time or shape not above zero, a confidence outside 0 to 1.
pub fn proven_scale(samples: &[Tested], shape: f64, confidence: f64) -> Result<f64, StatError> {
    share("the confidence", confidence)?;
    above_zero("the Weibull shape", shape)?;
    if samples.is_empty() {
        return Err(StatError::new("no samples", "give at least one"));
    }
    for sample in samples {
        above_zero("the time of a sample", sample.time)?;
    }
    let longest = samples.iter().map(|s| s.time).fold(0.0, f64::max);
    let spent: f64 = samples.iter().map(|s| (s.time / longest).powf(shape)).sum();
    let failures = samples.iter().filter(|s| s.failed).count() as f64;
    let divisor = half_chi_square(confidence, 2.0 * failures + 2.0);
    Ok(longest * (spent / divisor).powf(1.0 / shape))
}

/// Weibull life with share `p` failed.
#[must_use]
pub fn weibull_life(scale: f64, shape: f64, p: f64) -> f64 {
    scale * (-(-p).ln_1p()).powf(1.0 / shape)
}

/// Test time over the wished life that proves a reliability with `samples` and no failure, Weibull shape assumed.
///
/// # Errors
/// No sample, a shape not above zero, a reliability or confidence outside 0 to 1.
pub fn test_length(samples: u32, reliability: f64, confidence: f64, shape: f64) -> Result<f64, StatError> {
    share("the reliability", reliability)?;
    share("the confidence", confidence)?;
    above_zero("the Weibull shape", shape)?;
    if samples == 0 {
        return Err(StatError::new("no samples", "give at least one"));
    }
    Ok(((1.0 - confidence).ln() / (f64::from(samples) * reliability.ln())).powf(1.0 / shape))
}

pub(crate) fn above_zero(name: &str, value: f64) -> Result<f64, StatError> {
    if value.is_finite() && value > 0.0 {
        Ok(value)
    } else {
        Err(StatError::new(format!("{name} {value} is not above zero"), "give a positive number"))
    }
}
