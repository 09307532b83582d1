//! Life of several samples as a distribution: fits with survivors, bounds, and what a test proves.
//!
//! In: times of failed and surviving samples (any unit, usually cycles). Out: Weibull and lognormal [`Fit`]s by
//! maximum likelihood, Fisher and likelihood-ratio bounds, median ranks and their line, bounds from few or no
//! failures, parts in series. Absent: strain and copper (see [`crate::life`]), files.
//!
//! Methods after W. Q. Meeker, L. A. Escobar, Statistical Methods for Reliability Data (1998), and the
//! NIST/SEMATECH e-Handbook of Statistical Methods, chapter 8; formulas derived anew.

mod bounds;
pub mod calendar;
mod family;
mod fit;
pub mod plan;
pub mod proof;
mod ranks;
pub mod series;
pub mod special;
#[cfg(test)]
mod tests;

pub use bounds::{Interval, bounds_of_quantile, bounds_of_scale, bounds_of_shape, likelihood_bounds};
pub use family::Family;
pub use fit::{Fit, fit};
pub use ranks::{Line, Plotted, RankRule, plotted, rank_line};

use std::fmt;

/// A sample at the end of its test.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Tested {
    /// Time of failure, or the time until which it survived; above zero.
    pub time: f64,
    /// Whether it failed.
    pub failed: bool,
}

impl Tested {
    /// A sample that failed at a time.
    #[must_use]
    pub const fn failed(time: f64) -> Self {
        Self { time, failed: true }
    }

    /// A sample that was still whole at a time.
    #[must_use]
    pub const fn survived(time: f64) -> Self {
        Self { time, failed: false }
    }
}

/// Why samples give no answer.
#[derive(Debug, Clone, PartialEq)]
pub struct StatError {
    /// Value and rule.
    pub what: String,
    /// What to do.
    pub remedy: String,
}

impl StatError {
    pub(crate) fn new(what: impl Into<String>, remedy: impl Into<String>) -> Self {
        Self { what: what.into(), remedy: remedy.into() }
    }
}

impl fmt::Display for StatError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}; {}", self.what, self.remedy)
    }
}

impl std::error::Error for StatError {}

/// A confidence or reliability must lie between zero and one.
pub(crate) fn share(name: &str, value: f64) -> Result<f64, StatError> {
    if value > 0.0 && value < 1.0 {
        Ok(value)
    } else {
        Err(StatError::new(
            format!("{name} {value} does not lie between 0 and 1"),
            "write 90 per cent as 0.9",
        ))
    }
}
