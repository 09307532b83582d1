//! Functions of the normal, beta and chi-square distributions, and safeguarded roots.
//!
//! The functions come from a general library; inverses that it lacks or gives with few digits are found here.

use statrs::function::{beta, erf, gamma};
use std::f64::consts::{PI, SQRT_2};

/// Share of the normal distribution below `z`.
#[must_use]
pub fn normal_below(z: f64) -> f64 {
    0.5 * erf::erfc(-z / SQRT_2)
}

/// The value with share `p` of the normal distribution below it.
#[must_use]
pub fn normal_quantile(p: f64) -> f64 {
    -SQRT_2 * erf::erfc_inv(2.0 * p)
}

/// Above this the tail of the normal distribution is taken from its asymptotic series.
const FAR: f64 = 30.0;

/// Logarithm of the share of the normal distribution above `z`.
#[must_use]
pub fn log_normal_above(z: f64) -> f64 {
    if z < FAR {
        normal_below(-z).ln()
    } else {
        -0.5 * z * z - (2.0 * PI).sqrt().ln() - normal_hazard(z).ln()
    }
}

/// Density over the share above, for the normal distribution.
#[must_use]
pub fn normal_hazard(z: f64) -> f64 {
    if z < FAR {
        (-0.5 * z * z).exp() / ((2.0 * PI).sqrt() * normal_below(-z))
    } else {
        // Next term 10 / z^5: below 1e-6 of the last digits that matter here.
        z + 1.0 / z - 2.0 / z.powi(3) + 10.0 / z.powi(5)
    }
}

/// Share of the beta distribution below `x`; 0 and 1 outside.
#[must_use]
pub fn beta_below(a: f64, b: f64, x: f64) -> f64 {
    if x <= 0.0 {
        return 0.0;
    }
    if x >= 1.0 {
        return 1.0;
    }
    beta::checked_beta_reg(a, b, x).unwrap_or(f64::NAN)
}

/// The value with share `p` of the beta distribution below it.
#[must_use]
pub fn beta_quantile(p: f64, a: f64, b: f64) -> f64 {
    bisect(|x| beta_below(a, b, x) - p, 0.0, 1.0)
}

/// Half the value with share `p` of the chi-square distribution with `degrees` degrees of freedom below it.
#[must_use]
pub fn half_chi_square(p: f64, degrees: f64) -> f64 {
    let a = 0.5 * degrees;
    let mut most = a + 1.0;
    let below = |x: f64| gamma::checked_gamma_lr(a, x).unwrap_or(f64::NAN);
    while below(most) < p && most < 1e9 {
        most *= 2.0;
    }
    bisect(|x| if x > 0.0 { below(x) - p } else { -p }, 0.0, most)
}

/// Where a rising or falling function crosses zero between two places; the nearer end where it does not.
///
/// Bisection to the last digit: slow and safe.
pub fn bisect(f: impl Fn(f64) -> f64, mut low: f64, mut high: f64) -> f64 {
    let at_low = f(low);
    if at_low == 0.0 {
        return low;
    }
    let rising = at_low < 0.0;
    for _ in 0..200 {
        let middle = 0.5 * (low + high);
        if middle <= low.min(high) || middle >= low.max(high) {
            break;
        }
        if (f(middle) < 0.0) == rising {
            low = middle;
        } else {
            high = middle;
        }
    }
    0.5 * (low + high)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Abramowitz and Stegun, Handbook of Mathematical Functions (1964), Tables 26.1, 26.5, 26.8 (from memory).
    #[test]
    fn tables_of_the_handbook() {
        assert!((normal_quantile(0.975) - 1.959_963_985).abs() < 1e-9, "normal 97.5 %");
        assert!((normal_quantile(1e-6) + 4.753_424_309).abs() < 1e-8, "normal 1e-6");
        assert!((2.0 * half_chi_square(0.95, 1.0) - 3.841_458_821).abs() < 1e-8, "chi-square 95 %, 1");
        assert!((2.0 * half_chi_square(0.90, 4.0) - 7.779_440_34).abs() < 1e-7, "chi-square 90 %, 4");
    }

    #[test]
    fn the_tail_joins_its_series() {
        for z in [29.999_999, 30.000_001] {
            assert!((normal_hazard(z) - 30.033_259_667).abs() < 1e-5, "hazard {}", normal_hazard(z));
        }
        let [a, b] = [30.0 - 1e-9, 30.0].map(log_normal_above);
        assert!((a - b).abs() < 1e-6, "{a} {b}");
    }
}
