//! Copper that yields: stress-strain curves, a law of parallel parts, the same in plane stress and through a shell.
//!
//! In: a curve, strains. Out: stress, tangent, permanent set. The law is one set of elastic, ideally plastic [`Part`]s
//! that share the strain, so kinematic hardening, doubled branches and closed loops hold by construction. Absent: life
//! (see [`crate::life`]), creep, films and adhesives, which stay elastic.
//!
//! G. Masing (1926), J. F. Besseling, J. Appl. Mech. 25 (1958) 529 (parallel parts), J. C. Simo, R. L. Taylor, Int. J.
//! Numer. Methods Eng. 22 (1986) 649 (return in plane stress): from memory, formulas derived anew.

pub mod bending;
mod curve;
mod plane;
pub mod shell;
mod swung;
#[cfg(test)]
mod tests;
mod uniaxial;

pub use curve::{Curve, CurveFault};
pub use plane::{PlaneStress, mises_pa};
pub use swung::SwungFibre;
pub use uniaxial::Fibre;

use serde::Serialize;

/// One elastic, ideally plastic part of the law.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Part {
    /// Share of the cross-section; all shares add up to one.
    pub share: f64,
    /// Yield stress of the part, Pa; infinite for a part that stays elastic.
    pub yield_pa: f64,
}

/// Copper as parallel parts of one elastic stiffness.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Law {
    /// Young's modulus, Pa.
    pub modulus_pa: f64,
    /// Poisson's ratio of the elastic strain.
    pub poisson: f64,
    /// Parts, lowest yield stress first.
    pub parts: Vec<Part>,
}

impl Law {
    /// Stress at which the first part yields, Pa: below it everything is elastic.
    #[must_use]
    pub fn first_yield_pa(&self) -> f64 {
        self.parts.first().map_or(f64::INFINITY, |part| part.yield_pa)
    }

    /// Stress of a first pull along one direction to a strain, Pa.
    #[must_use]
    pub fn first_pull_pa(&self, strain: f64) -> f64 {
        let elastic = self.modulus_pa * strain.abs();
        let sum: f64 = self.parts.iter().map(|part| part.share * elastic.min(part.yield_pa)).sum();
        sum.copysign(strain)
    }

    /// The same parts with another elastic stiffness; yield strains move accordingly.
    #[must_use]
    pub fn with_elastic(mut self, modulus_pa: f64, poisson: f64) -> Self {
        self.modulus_pa = modulus_pa;
        self.poisson = poisson;
        self
    }
}
