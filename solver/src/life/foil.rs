//! The foil relation: cycles of a flexed copper foil from its total strain range.
//!
//! `N^-0.6 Df^0.75 + 0.9 (Su / E) (exp(Df) / 0.36)^(0.1785 log10(1e5 / N)) = range`, after W. Engelmaier, J. Electron.
//! Packag. (1982); the equation is from memory. Its constants follow from S. S. Manson's four points: the elastic line
//! through `2.5 sf / E` at a quarter cycle and `0.9 Su / E` at 1e5 cycles gives `0.36 = 0.9 / 2.5` and
//! `0.1785 = 1 / log10(4e5)`; the plastic line passes `Df^0.75 / 4` at ten cycles.

use super::{OutsideLaw, cycles_at};

/// Properties the foil relation needs.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct FoilRelation {
    /// Ductility in fatigue, a share (0.3 is 30 per cent).
    pub ductility: f64,
    /// Tensile strength, Pa.
    pub strength_pa: f64,
    /// Young's modulus, Pa.
    pub modulus_pa: f64,
}

impl FoilRelation {
    /// Total strain range that is borne for a number of cycles.
    #[must_use]
    pub fn range(&self, cycles: f64) -> f64 {
        let power = 0.1785 * (1e5 / cycles).log10();
        let elastic = 0.9 * self.strength_pa / self.modulus_pa * (self.ductility.exp() / 0.36).powf(power);
        cycles.powf(-0.6) * self.ductility.powf(0.75) + elastic
    }

    /// Cycles to crack at a total strain range.
    ///
    /// # Errors
    /// The range lies outside the law.
    pub fn cycles(&self, range: f64) -> Result<f64, OutsideLaw> {
        cycles_at(|n| self.range(n), range)
    }

    /// The same with the ductility and strength of each in turn at the ends of their spans: lowest and highest range
    /// borne for a number of cycles.
    #[must_use]
    pub fn scaled(&self, ductility: f64, strength_pa: f64) -> Self {
        Self { ductility, strength_pa, ..*self }
    }
}

/// Total strain range of a foil wrapped about a mandrel: `core` thickness of metal, `strip` thickness, `radius`, all in
/// one unit (formula from memory).
#[must_use]
pub fn mandrel_range(core: f64, strip: f64, radius: f64) -> f64 {
    2.0 * core / (2.0 * radius + strip)
}
