//! Numbers as unevaluated sums of two doubles: about 32 digits where displacements are subtracted.

use nalgebra::{Matrix6, Vector6};

/// `a + b` and its rounding error (Knuth 1969).
#[inline(always)]
pub(crate) fn two_sum(a: f64, b: f64) -> (f64, f64) {
    let sum = a + b;
    let part = sum - a;
    (sum, (a - (sum - part)) + (b - part))
}

/// `a * b` and its rounding error (Dekker 1971), without a fused multiply-add.
#[inline(always)]
pub(super) fn two_product(a: f64, b: f64) -> (f64, f64) {
    let split = |x: f64| {
        let big = 134_217_729.0 * x; // 2^27 + 1
        let high = big - (big - x);
        (high, x - high)
    };
    let product = a * b;
    let ((a1, a2), (b1, b2)) = (split(a), split(b));
    (product, a2 * b2 - (((product - a1 * b1) - a2 * b1) - a1 * b2))
}

/// The same with a fused multiply-add: for code compiled for processors that have one, elsewhere slow.
#[inline(always)]
pub(super) fn fused_product(a: f64, b: f64) -> (f64, f64) {
    let product = a * b;
    (product, a.mul_add(b, -product))
}

/// Six pairs: leading and trailing parts.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Pair6 {
    pub(super) leading: Vector6<f64>,
    pub(super) trailing: Vector6<f64>,
}

impl Pair6 {
    /// Adds a plain double to one entry.
    pub(super) fn add(&mut self, entry: usize, value: f64) {
        let (sum, error) = two_sum(self.leading[entry], value);
        let (leading, trailing) = two_sum(sum, self.trailing[entry] + error);
        self.leading[entry] = leading;
        self.trailing[entry] = trailing;
    }

    /// `matrix * self`, products and sums in pairs.
    pub(super) fn moved(&self, matrix: &Matrix6<f64>) -> Self {
        let mut out = Self::default();
        for i in 0..6 {
            let (mut leading, mut trailing) = (0.0, 0.0);
            for j in 0..6 {
                let g = matrix[(i, j)];
                let (product, error) = two_product(g, self.leading[j]);
                let (sum, lost) = two_sum(leading, product);
                leading = sum;
                trailing += error + lost + g * self.trailing[j];
            }
            let (leading, trailing) = two_sum(leading, trailing);
            out.leading[i] = leading;
            out.trailing[i] = trailing;
        }
        out
    }
}

/// What is left of node `a`'s motion after the rigid translation and linearised rotation of node `base`:
/// `u_a - u_b - theta_b x arm` and `theta_a - theta_b`, rounded once at the end.
///
/// `product`: the exact product of two numbers, [`two_product`] or [`fused_product`]; both give the same bits.
#[inline(always)]
pub(super) fn relative(
    a: &Pair6,
    base: &Pair6,
    arm: &[f64; 3],
    product: impl Fn(f64, f64) -> (f64, f64),
) -> [f64; 6] {
    std::array::from_fn(|i| {
        let (mut sum, mut error) = two_sum(a.leading[i], -base.leading[i]);
        error += a.trailing[i] - base.trailing[i];
        if i < 3 {
            let (j, k) = ((i + 1) % 3, (i + 2) % 3);
            for (turn, lever) in [(3 + j, -arm[k]), (3 + k, arm[j])] {
                let (whole, lost) = product(base.leading[turn], lever);
                let (next, dropped) = two_sum(sum, whole);
                sum = next;
                error += dropped + lost + base.trailing[turn] * lever;
            }
        }
        sum + error
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use nalgebra::Vector3;

    #[test]
    #[expect(clippy::float_cmp, reason = "both ways to the exact product give the same bits")]
    fn rigid_motion_leaves_nothing() {
        let centre = Pair6 {
            leading: Vector6::new(0.3, -0.7, 0.11, 0.9, -0.4, 0.77),
            trailing: Vector6::new(1e-18, -2e-18, 3e-19, 2e-17, 5e-18, -1e-17),
        };
        let arm = [0.0123, -0.0345, 0.0067];
        let moved = centre.moved(&crate::freedoms::rigid(&Vector3::from(arm)));
        let plain = relative(&moved, &centre, &arm, two_product);
        for (i, left) in plain.iter().enumerate() {
            assert!(left.abs() < 1e-30, "component {i}: {left:e}");
        }
        assert_eq!(plain, relative(&moved, &centre, &arm, fused_product), "fused products change the result");
    }

    #[test]
    #[expect(clippy::float_cmp, reason = "exactness is the claim")]
    fn errors_of_sum_and_product_are_exact() {
        let (a, b) = (1.0 + f64::EPSILON, 1.0 - f64::EPSILON / 2.0);
        let (product, error) = two_product(a, b);
        // (1 + e)(1 - e/2) = 1 + e/2 - e^2/2
        assert_eq!(fused_product(a, b), (product, error), "both ways to the exact product");
        let e = f64::EPSILON;
        assert!((product - 1.0) + error == e / 2.0 - e * e / 2.0, "product {product:e} + {error:e}");
        let (sum, error) = two_sum(1e20, 1.0);
        assert!(sum == 1e20 && error == 1.0, "{sum:e} + {error:e}");
    }
}
