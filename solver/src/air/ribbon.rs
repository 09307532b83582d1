//! A long ribbon that oscillates normal to itself in a viscous fluid, small amplitude.
//!
//! In: Reynolds number. Out: the complex function Gamma of the force per length `pi/4 rho omega^2 b^2 Gamma W`: its
//! real part is added mass over that of the ideal fluid, its imaginary part damping. Two-dimensional: a plate of
//! finite aspect ratio feels less.

use super::Medium;
use nalgebra::Complex;
use std::f64::consts::{FRAC_PI_4, PI};

/// Powers of log10 Re, ascending: real part of the correction, numerator and denominator.
const REAL: [[f64; 7]; 2] = [
    [0.91324, -0.48274, 0.46842, -0.12886, 0.044055, -0.003_511_7, 0.000_690_85],
    [1.0, -0.56964, 0.48690, -0.13444, 0.045155, -0.003_586_2, 0.000_690_85],
];

/// The same for the imaginary part.
const IMAGINARY: [[f64; 7]; 2] = [
    [-0.024_134, -0.029_256, 0.016_294, -0.000_109_61, 0.000_064_577, -0.000_044_510, 0.0],
    [1.0, -0.59702, 0.55182, -0.18357, 0.079156, -0.014369, 0.002_836_1],
];

/// Hydrodynamic function of a ribbon at Reynolds number `re` (see [`Medium::reynolds`]); within 1e-3 of the exact flow
/// from 0.1 to 500. Beyond 1e-6 to 1e4, the range of the fit, its ends are used.
///
/// Source: J. E. Sader, J. Appl. Phys. 84 (1998) 64 (coefficients from memory; the tests hold an independent solution).
#[must_use]
pub fn gamma(re: f64) -> Complex<f64> {
    let re = if re.is_nan() { 1e-6 } else { re.clamp(1e-6, 1e4) };
    let tau = re.log10();
    let [real, imaginary] = [REAL, IMAGINARY].map(|rows| {
        let [above, below] = rows.map(|row| row.iter().rev().fold(0.0, |sum, c| sum * tau + c));
        above / below
    });
    Complex::new(real, imaginary) * cylinder(re)
}

/// Hydrodynamic function of a circular cylinder: 1 + 4 K1(z) / (z K0(z)) with z = sqrt(i Re) in the root of positive
/// real part.
///
/// Source: Stokes; e.g. L. Rosenhead, Laminar Boundary Layers (1963) (from memory).
fn cylinder(re: f64) -> Complex<f64> {
    let z = Complex::from_polar(re.sqrt(), FRAC_PI_4);
    let [k0, k1] = bessel_k(z);
    // With time as exp(-i omega t) the damping is the positive imaginary part.
    (1.0 + 4.0 * k1 / (z * k0)).conj()
}

/// K0 and K1 of `z`, positive real part, both times exp(z): integral of exp(-z (cosh t - 1)) cosh(n t) over t from 0
/// by the trapezoidal rule, whose error falls as exp(-2 pi (pi/4) / step).
fn bessel_k(z: Complex<f64>) -> [Complex<f64>; 2] {
    const STEP: f64 = 0.1;
    let mut sums = [Complex::new(0.5, 0.0); 2];
    for i in 1..400_u32 {
        let t = STEP * f64::from(i);
        let lift = t.cosh() - 1.0;
        if lift * z.re > 45.0 + t {
            break;
        }
        let part = (-z * lift).exp();
        sums[0] += part;
        sums[1] += part * t.cosh();
    }
    sums.map(|sum| sum * STEP)
}

/// Damping force per length and velocity, N s/m2: `pi/4 rho omega b^2 Im Gamma`.
#[must_use]
pub fn damping_per_length(medium: &Medium, omega: f64, width_m: f64) -> f64 {
    0.25 * PI * medium.density_kg_m3 * omega * width_m * width_m * gamma(medium.reynolds(omega, width_m)).im
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::f64::consts::TAU;

    #[test]
    fn ribbon_agrees_with_an_integral_equation() {
        // Unsteady Stokes flow about a ribbon, Chebyshev collocation of its integral equation.
        for (re, real, imaginary) in [
            (0.1, 10.48494813568, 21.82692988208),
            (1.0, 3.733874490643, 4.074672658),
            (100.0, 1.326331513046, 0.296142333232),
            (265.0, 1.211716206234, 0.1858788271681),
        ] {
            let own = gamma(re);
            assert!((own.re / real - 1.0).abs() < 1e-3, "Re {re}: {own} against {real}");
            assert!((own.im / imaginary - 1.0).abs() < 1e-3, "Re {re}: {own} against {imaginary}");
        }
    }

    #[test]
    fn bessel_functions_agree_with_tables() {
        // Abramowitz and Stegun, table 9.8: K0(1) = 0.421 024 438, K1(1) = 0.601 907 230; table 9.8 at x = 5.
        for (x, k0, k1) in [(1.0f64, 0.421_024_438_2, 0.601_907_230_2), (5.0, 0.003_691_098, 0.004_044_613)] {
            let [a, b] = bessel_k(Complex::new(x, 0.0)).map(|k| k * (-x).exp());
            assert!((a.re / k0 - 1.0).abs() < 2e-7 && (b.re / k1 - 1.0).abs() < 2e-7, "{a}, {b} at {x}");
        }
    }

    #[test]
    fn worked_flap_damping() {
        // Square of 13 mm on the hinge line of the worked example, strip theory: 5.522e-9 N m s at 12.027 Hz.
        let own = gamma(204.443_281_452_9);
        assert!((own.re - 1.237_504_975_862).abs() < 1e-9, "{own}");
        assert!((own.im - 0.209_993_929_574_4).abs() < 1e-9, "{own}");
        let omega = TAU * 12.026_838_251_18;
        assert!((Medium::AIR.reynolds(omega, 0.013) / 204.4 - 1.0).abs() < 1e-3, "Reynolds number");
        let arm = (0.019f64.powi(3) - 0.006f64.powi(3)) / 3.0;
        let own = damping_per_length(&Medium::AIR, omega, 0.013) * arm;
        assert!((own / 5.522_164_823e-9 - 1.0).abs() < 5e-4, "{own}");
    }

    #[test]
    fn no_number_of_the_caller_breaks_it() {
        for re in [0.0, -1.0, f64::NAN, f64::INFINITY, 1e-300] {
            assert!(gamma(re).re.is_finite() && gamma(re).im >= 0.0, "{re}: {}", gamma(re));
        }
    }
}
