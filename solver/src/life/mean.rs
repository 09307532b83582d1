//! Mean stress in life: two corrections, both shown, neither trusted where the copper yields in every cycle.
//!
//! J. Morrow (1968) and K. N. Smith, P. Watson, T. H. Topper, J. Mater. 5 (1970) 767; formulas from memory.

use super::slopes::StrainLife;
use super::{OutsideLaw, cycles_at};
use serde::Serialize;

/// Strain amplitude above which the mean stress of annealed copper is taken to relax (judgement): corrections are
/// shown but not used.
pub const RELAXES_ABOVE: f64 = 5e-4;

/// Cycles at one amplitude, without and with a mean stress.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct MeanStress {
    /// No mean stress.
    pub none_cycles: f64,
    /// Strength less the mean stress (Morrow).
    pub morrow_cycles: f64,
    /// Largest stress times amplitude (Smith, Watson, Topper).
    pub swt_cycles: f64,
    /// Whether the amplitude is small enough for the mean stress to last.
    pub lasts: bool,
}

impl MeanStress {
    /// Factor on a life by the harsher correction, 1 where the mean stress relaxes or lies in compression.
    #[must_use]
    pub fn factor(&self) -> f64 {
        let harsh = self.morrow_cycles.min(self.swt_cycles) / self.none_cycles;
        if self.lasts { harsh.min(1.0) } else { 1.0 }
    }
}

/// Life at a strain amplitude with a mean stress, Pa. The stress amplitude comes from the cyclic curve.
///
/// # Errors
/// The strain lies outside the law.
pub fn with_mean_stress(law: &StrainLife, amplitude: f64, mean_pa: f64) -> Result<MeanStress, OutsideLaw> {
    let none_cycles = law.cycles(amplitude)?;
    let morrow_cycles = cycles_at(|n| 2.0 * law.amplitude(n, mean_pa), 2.0 * amplitude)?;
    let most_pa = mean_pa + law.cyclic_curve().stress_pa(amplitude);
    // Never open: without tension the crack does not grow by this rule.
    let swt_cycles = if most_pa > 0.0 { law.cycles_by_product(most_pa * amplitude)? } else { f64::INFINITY };
    Ok(MeanStress { none_cycles, morrow_cycles, swt_cycles, lasts: amplitude <= RELAXES_ABOVE })
}

impl StrainLife {
    /// Cycles at a product of largest stress and strain amplitude, Pa.
    fn cycles_by_product(&self, product_pa: f64) -> Result<f64, OutsideLaw> {
        let law = |n: f64| {
            let (reversals, b, c) = (2.0 * n, self.strength_exponent, self.ductility_exponent);
            self.strength_pa.powi(2) / self.modulus_pa * reversals.powf(2.0 * b)
                + self.strength_pa * self.ductility * reversals.powf(b + c)
        };
        // As a strain, so that the message of a missed law speaks of strain: product over sf'.
        cycles_at(|n| law(n) / self.strength_pa, product_pa / self.strength_pa)
    }
}
