//! Mean stress in life: two corrections, both shown; used as far as the mean stress lasts from cycle to cycle.
//!
//! J. Morrow (1968) and K. N. Smith, P. Watson, T. H. Topper, J. Mater. 5 (1970) 767; formulas from memory. A mean strain
//! by itself does no harm; the stress it leaves does, and where the copper yields in every cycle that stress goes.

use super::slopes::StrainLife;
use super::{FEWEST_CYCLES, MOST_CYCLES, OutsideLaw, cycles_at};
use serde::Serialize;

/// Strain amplitudes between which the mean stress of annealed copper is taken to relax: whole below the first, gone above
/// the second (judgement, about 5e-4).
pub const RELAXES: [f64; 2] = [4e-4, 6e-4];

/// Cycles at one amplitude, without and with a mean stress.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct MeanStress {
    /// Strain amplitude.
    pub amplitude: f64,
    /// Mean stress, Pa; tension above zero.
    pub mean_pa: f64,
    /// No mean stress.
    pub none_cycles: f64,
    /// Strength less the mean stress (Morrow).
    pub morrow_cycles: f64,
    /// Largest stress times amplitude (Smith, Watson, Topper).
    pub swt_cycles: f64,
    /// Share of the mean stress that lasts at this amplitude.
    pub lasts: f64,
}

impl MeanStress {
    /// Factors on a life by the harsher and by the milder correction; both 1 where the mean stress relaxes or lies in
    /// compression, which is not credited.
    #[must_use]
    pub fn factors(&self) -> [f64; 2] {
        if self.mean_pa <= 0.0 {
            return [1.0; 2];
        }
        let both = [self.morrow_cycles, self.swt_cycles].map(|n| (n / self.none_cycles).min(1.0));
        // A share of the correction's logarithm.
        [both[0].min(both[1]), both[0].max(both[1])].map(|f| f.powf(self.lasts))
    }

    /// Which correction is used, and why, in words.
    #[must_use]
    pub fn verdict(&self) -> &'static str {
        match self {
            m if m.mean_pa <= 0.0 => "not used: compression is not credited",
            m if m.lasts <= 0.0 => "not used: relaxes as copper yields in every cycle",
            m if m.lasts < 1.0 => "used in part: relaxes between amplitudes of 400 and 600 um/m",
            m if m.factors()[0] > 0.95 => "used: it lasts, but changes little",
            _ => "used: it lasts",
        }
    }
}

/// Life at a strain amplitude with a mean stress, Pa. The stress amplitude comes from the cyclic curve. What lies outside
/// the laws stands as ten or 1e12 cycles.
///
/// # Errors
/// The amplitude is no number of zero or more, or too high without any mean stress.
pub fn with_mean_stress(law: &StrainLife, amplitude: f64, mean_pa: f64) -> Result<MeanStress, OutsideLaw> {
    let cut = |found: Result<f64, OutsideLaw>| match found {
        Ok(cycles) => cycles,
        Err(outside) if outside.is_high() => FEWEST_CYCLES,
        Err(_) => MOST_CYCLES,
    };
    let none_cycles = match law.cycles(amplitude) {
        Err(outside) if amplitude >= 0.0 && !outside.is_high() => MOST_CYCLES,
        found => found?,
    };
    let morrow = cycles_at(|n| 2.0 * law.amplitude(n, mean_pa), 2.0 * amplitude);
    let most_pa = mean_pa + law.cyclic_curve().stress_pa(amplitude);
    // Never open: without tension the crack does not grow by this rule.
    let swt_cycles =
        if most_pa > 0.0 { cut(law.cycles_by_product(most_pa * amplitude)) } else { MOST_CYCLES };
    let [from, to] = RELAXES;
    Ok(MeanStress {
        amplitude,
        mean_pa,
        none_cycles,
        morrow_cycles: cut(morrow),
        swt_cycles,
        lasts: ((to - amplitude) / (to - from)).clamp(0.0, 1.0),
    })
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
