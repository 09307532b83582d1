//! The two shapes of the logarithm of life: smallest extreme value (Weibull lives) and normal (lognormal lives).

use super::special::{log_normal_above, normal_hazard, normal_quantile};
use serde::Serialize;

/// How lives scatter.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum Family {
    /// Weibull lives: shape `beta = 1 / sigma`, scale `eta = exp(mu)`.
    Weibull,
    /// Lognormal lives: mean `mu` and deviation `sigma` of the natural logarithm.
    Lognormal,
}

/// A logarithm and its first two derivatives.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Slopes {
    pub(crate) value: f64,
    pub(crate) first: f64,
    pub(crate) second: f64,
}

impl Family {
    /// Its name in a sentence.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Self::Weibull => "Weibull",
            Self::Lognormal => "lognormal",
        }
    }

    /// Standardised logarithm of life with share `p` failed.
    #[must_use]
    pub fn quantile(self, p: f64) -> f64 {
        match self {
            Self::Weibull => (-(-p).ln_1p()).ln(),
            Self::Lognormal => normal_quantile(p),
        }
    }

    /// Share that has failed at a standardised logarithm of life.
    #[must_use]
    pub fn failed_share(self, z: f64) -> f64 {
        match self {
            Self::Weibull => -(-z.exp()).exp_m1(),
            Self::Lognormal => super::special::normal_below(z),
        }
    }

    /// Logarithm of the density of the standardised logarithm of life.
    pub(crate) fn log_density(self, z: f64) -> Slopes {
        match self {
            Self::Weibull => {
                let e = z.exp();
                Slopes { value: z - e, first: 1.0 - e, second: -e }
            }
            Self::Lognormal => {
                let value = -0.5 * z * z - 0.5 * (2.0 * std::f64::consts::PI).ln();
                Slopes { value, first: -z, second: -1.0 }
            }
        }
    }

    /// Logarithm of the surviving share.
    pub(crate) fn log_survival(self, z: f64) -> Slopes {
        match self {
            Self::Weibull => {
                let e = z.exp();
                Slopes { value: -e, first: -e, second: -e }
            }
            Self::Lognormal => {
                let h = normal_hazard(z);
                Slopes { value: log_normal_above(z), first: -h, second: -h * (h - z) }
            }
        }
    }
}
