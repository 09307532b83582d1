//! Quadratic drag of a plate that swings: its coefficient depends on how far it goes.
//!
//! In: Keulegan-Carpenter number (stroke over width) and aspect ratio. Out: the coefficient C of the force per area
//! `1/2 rho C v |v|`, with a bracket. Measured laws for short plates at small stroke do not agree within a factor of
//! two; a measured decay replaces all of this.

use super::along;
use std::f64::consts::TAU;

/// A drag coefficient with its bracket.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Drag {
    /// Most likely.
    pub value: f64,
    /// Lowest plausible.
    pub low: f64,
    /// Highest plausible.
    pub high: f64,
}

/// Which law.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub enum Law {
    /// Sharp edges, `8 KC^(-1/3)`, never below the steady value; lowered for finite aspect ratio.
    #[default]
    SharpEdges,
    /// `22.5 / KC + 2.4`, as used for rolling plates; lowered for finite aspect ratio.
    Rolling,
    /// One value at every stroke (a measured one, or one of a steady flow).
    Fixed(f64),
}

/// Steady flow normal to a plate: width over length and coefficient.
///
/// Square 1.17 and long 1.98: Aeronautical Engineer's Data Book (2002), Fig. 5.13 (read); between them S. F. Hoerner,
/// Fluid-Dynamic Drag (1965) (from memory).
const STEADY: [[f64; 2]; 5] = [[0.0, 1.98], [0.05, 1.50], [0.1, 1.30], [0.2, 1.20], [1.0, 1.17]];

/// Smallest stroke over width at which the laws are taken to hold; the coefficient stays level below.
const LEAST: f64 = 1e-3;

/// Coefficient in steady flow normal to a plate of the given longer over shorter side.
#[must_use]
pub fn steady(aspect: f64) -> f64 {
    along(&STEADY, (1.0 / aspect.max(1.0)).clamp(0.0, 1.0))
}

/// Keulegan-Carpenter number `2 pi A / b` of an edge that moves with amplitude `amplitude_m`.
#[must_use]
pub fn keulegan_carpenter(amplitude_m: f64, width_m: f64) -> f64 {
    TAU * amplitude_m / width_m
}

impl Law {
    /// Coefficient at a Keulegan-Carpenter number and aspect ratio (longer over shorter side).
    ///
    /// Sources: J. M. R. Graham, J. Fluid Mech. 97 (1980) 331 (sharp edges, from memory); Y. Ikeda and others
    /// (rolling plates, from memory). Both hold for two-dimensional flow; the factor for finite aspect ratio, that of
    /// steady flow, is an assumption, and so is the bracket of one half to twice.
    #[must_use]
    pub fn coefficient(self, kc: f64, aspect: f64) -> Drag {
        let kc = kc.max(LEAST);
        let short = steady(aspect) / steady(f64::INFINITY);
        let value = match self {
            Self::SharpEdges => (8.0 * kc.powf(-1.0 / 3.0) * short).max(steady(aspect)),
            Self::Rolling => (22.5 / kc + 2.4) * short,
            Self::Fixed(value) => value,
        };
        match self {
            Self::Fixed(_) => Drag { value, low: value, high: value },
            _ => Drag { value, low: 0.5 * value, high: 2.0 * value },
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn steady_values_agree_with_the_handbook() {
        // Aeronautical Engineer's Data Book, Fig. 5.13: square 1.17, long 1.98.
        assert!((steady(1.0) - 1.17).abs() < 1e-12, "{}", steady(1.0));
        assert!((steady(f64::INFINITY) - 1.98).abs() < 1e-12, "{}", steady(f64::INFINITY));
    }

    #[test]
    fn laws_of_small_stroke() {
        // The worked flap: KC 2.4769 gives 5.9127 by the law of sharp edges in two-dimensional flow.
        let long = f64::INFINITY;
        let own = Law::SharpEdges.coefficient(2.476_909_100_825, long);
        assert!((own.value - 5.912_710_707_589).abs() < 1e-9, "{own:?}");
        assert!((Law::Rolling.coefficient(2.5, long).value - 11.4).abs() < 1e-12, "rolling plates");
        // Lower for a square, never below steady flow, and the bracket holds the value.
        let square = Law::SharpEdges.coefficient(2.476_909_100_825, 1.0);
        assert!(square.value < 0.61 * own.value && square.low < square.value, "{square:?}");
        assert!((Law::SharpEdges.coefficient(1e6, 1.0).value - 1.17).abs() < 1e-12, "steady");
        assert!(Law::SharpEdges.coefficient(0.0, 1.0).value.is_finite(), "no stroke");
        assert!((keulegan_carpenter(0.5, TAU) - 0.5).abs() < 1e-15, "stroke over width");
    }
}
