//! Least squares with a damped Gauss-Newton step, and the spread of what was fitted.
//!
//! In: residuals as a function of few parameters. Out: parameters, one standard deviation each, what is left.
//! Absent: any particular model.

use nalgebra::{DMatrix, DVector};

/// Relative step at which a fit is settled.
const SETTLED: f64 = 1e-10;

/// Most steps.
const MOST_STEPS: usize = 200;

/// A fitted value with its spread.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Fitted {
    /// Value.
    pub value: f64,
    /// One standard deviation.
    pub spread: f64,
}

/// A fit.
#[derive(Debug, Clone, PartialEq)]
pub struct Fit {
    /// Parameters with their spread.
    pub parameters: Vec<Fitted>,
    /// Root mean square of what is left.
    pub left: f64,
    /// How much one residual tells of the next, -1 to 1: 0 for noise, near 1 where the model misses something. The
    /// spread is widened for it.
    pub likeness: f64,
}

/// Smallest sum of squares, from a start; `sizes` are typical sizes of the parameters.
///
/// None where nothing settles.
#[must_use]
pub fn least_squares(
    residuals: &dyn Fn(&[f64]) -> Option<Vec<f64>>,
    start: &[f64],
    sizes: &[f64],
) -> Option<Fit> {
    let mut p = start.to_vec();
    let mut r = DVector::from_vec(residuals(&p)?);
    let mut damping = 1e-3;
    for _ in 0..MOST_STEPS {
        let jacobian = jacobian(residuals, &p, sizes)?;
        let gradient = jacobian.tr_mul(&r);
        let gram = jacobian.tr_mul(&jacobian);
        let settled = loop {
            let mut damped = gram.clone();
            for i in 0..p.len() {
                damped[(i, i)] += damping * gram[(i, i)].max(f64::MIN_POSITIVE);
            }
            let step = damped.lu().solve(&gradient)?;
            let trial: Vec<f64> = p.iter().zip(step.iter().zip(sizes)).map(|(p, (s, z))| p - s * z).collect();
            let size = step.amax();
            let next = residuals(&trial).map(DVector::from_vec).filter(|n| n.norm_squared().is_finite());
            match next {
                // Rounding of the sum hides the last steps.
                Some(next) if next.norm_squared() <= r.norm_squared() * (1.0 + 1e-13) => {
                    (p, r) = (trial, next);
                    damping = (damping * 0.2).max(1e-14);
                    break size < SETTLED;
                }
                _ if size < SETTLED || damping > 1e12 => break true,
                _ => damping *= 6.0,
            }
        };
        if settled {
            return spread(residuals, p, sizes, &r);
        }
    }
    None
}

/// Change of the residuals with every parameter over its size, by central differences.
fn jacobian(
    residuals: &dyn Fn(&[f64]) -> Option<Vec<f64>>,
    p: &[f64],
    sizes: &[f64],
) -> Option<DMatrix<f64>> {
    const SHARE: f64 = 1e-5;
    let mut columns = Vec::with_capacity(p.len());
    for i in 0..p.len() {
        let beside = |sign: f64| {
            let mut q = p.to_vec();
            q[i] += sign * SHARE * sizes[i];
            residuals(&q).map(DVector::from_vec)
        };
        columns.push((beside(1.0)? - beside(-1.0)?) / (2.0 * SHARE));
    }
    Some(DMatrix::from_columns(&columns))
}

fn spread(
    residuals: &dyn Fn(&[f64]) -> Option<Vec<f64>>,
    p: Vec<f64>,
    sizes: &[f64],
    r: &DVector<f64>,
) -> Option<Fit> {
    let jacobian = jacobian(residuals, &p, sizes)?;
    let covariance = jacobian.tr_mul(&jacobian).try_inverse()?;
    let free = r.len().saturating_sub(p.len()).max(1) as f64;
    let square = r.norm_squared();
    let paired: f64 = r.as_slice().windows(2).map(|w| w[0] * w[1]).sum();
    let likeness = if square > 0.0 { (paired / square).clamp(-1.0, 0.999) } else { 0.0 };
    // Independent residuals are fewer than samples where neighbours resemble each other.
    let widened = ((1.0 + likeness.max(0.0)) / (1.0 - likeness.max(0.0))).sqrt();
    let deviation = (square / free).sqrt() * widened;
    let parameters = p
        .iter()
        .enumerate()
        .map(|(i, &value)| Fitted {
            value,
            spread: deviation * covariance[(i, i)].max(0.0).sqrt() * sizes[i],
        })
        .collect();
    Some(Fit { parameters, left: (square / r.len().max(1) as f64).sqrt(), likeness })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A straight line through (1, 1), (2, 3), (3, 2), (4, 5): slope 1.1, intercept 0; deviations from the textbook
    /// formulas `s^2 = 2.7 / 2`, `s_slope^2 = s^2 / 5`.
    #[test]
    fn straight_line_has_the_textbook_spread() {
        let data = [[1.0, 1.0], [2.0, 3.0], [3.0, 2.0], [4.0, 5.0]];
        let residuals = |p: &[f64]| Some(data.iter().map(|d| p[0] + p[1] * d[0] - d[1]).collect());
        let fit = least_squares(&residuals, &[1.0, 0.0], &[1.0, 1.0]).unwrap();
        assert!(fit.parameters[0].value.abs() < 1e-6, "intercept {:?}", fit.parameters[0]);
        assert!((fit.parameters[1].value - 1.1).abs() < 1e-6, "slope {:?}", fit.parameters[1]);
        // Neighbours differ in sign here, so the spread is not widened.
        assert!(fit.likeness < 0.0, "likeness {}", fit.likeness);
        assert!(
            (fit.parameters[1].spread - (2.7_f64 / 2.0 / 5.0).sqrt()).abs() < 1e-6,
            "{:?}",
            fit.parameters[1]
        );
    }
}
