//! Laws by slopes: universal slopes, the strain-life law of elastic and plastic lines, the high-cycle line.
//!
//! Sources, all from memory: S. S. Manson, Exp. Mech. 5 (1965) 193 (universal slopes 0.12 and 0.6); L. F. Coffin and
//! Manson (plastic line), O. H. Basquin (elastic line).

use super::{OutsideLaw, cycles_at};

/// Manson's universal slopes: `range = 3.5 (Su / E) N^-0.12 + D^0.6 N^-0.6`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct UniversalSlopes {
    /// Tensile strength, Pa.
    pub strength_pa: f64,
    /// Young's modulus, Pa.
    pub modulus_pa: f64,
    /// True strain at fracture, `ln(1 / (1 - RA))`.
    pub ductility: f64,
}

impl UniversalSlopes {
    /// Total strain range borne for a number of cycles.
    #[must_use]
    pub fn range(&self, cycles: f64) -> f64 {
        3.5 * self.strength_pa / self.modulus_pa * cycles.powf(-0.12)
            + self.ductility.powf(0.6) * cycles.powf(-0.6)
    }

    /// Cycles to crack at a total strain range.
    ///
    /// # Errors
    /// The range lies outside the law.
    pub fn cycles(&self, range: f64) -> Result<f64, OutsideLaw> {
        cycles_at(|n| self.range(n), range)
    }

    /// The same law as elastic and plastic lines of the strain amplitude over reversals.
    #[must_use]
    pub fn as_strain_life(&self) -> StrainLife {
        // Half the range, 2N reversals.
        StrainLife {
            strength_pa: 1.75 * self.strength_pa * 2.0_f64.powf(0.12),
            strength_exponent: -0.12,
            ductility: 0.5 * self.ductility.powf(0.6) * 2.0_f64.powf(0.6),
            ductility_exponent: -0.6,
            modulus_pa: self.modulus_pa,
        }
    }
}

/// Strain-life law: `amplitude = (sf' / E) (2N)^b + ef' (2N)^c`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct StrainLife {
    /// Fatigue strength coefficient, Pa.
    pub strength_pa: f64,
    /// Fatigue strength exponent, below zero.
    pub strength_exponent: f64,
    /// Fatigue ductility coefficient.
    pub ductility: f64,
    /// Fatigue ductility exponent, below zero.
    pub ductility_exponent: f64,
    /// Young's modulus, Pa.
    pub modulus_pa: f64,
}

impl StrainLife {
    /// Strain amplitude borne for a number of cycles under a lasting mean stress, Pa, after J. Morrow: the strength is
    /// less by the mean stress.
    #[must_use]
    pub fn amplitude(&self, cycles: f64, mean_pa: f64) -> f64 {
        let reversals = 2.0 * cycles;
        (self.strength_pa - mean_pa) / self.modulus_pa * reversals.powf(self.strength_exponent)
            + self.ductility * reversals.powf(self.ductility_exponent)
    }

    /// Cycles to crack at a strain amplitude.
    ///
    /// # Errors
    /// The strain lies outside the law.
    pub fn cycles(&self, amplitude: f64) -> Result<f64, OutsideLaw> {
        cycles_at(|n| 2.0 * self.amplitude(n, 0.0), 2.0 * amplitude)
    }

    /// Coefficient (Pa) and exponent of the cyclic curve that agrees with the two lines:
    /// `n' = b / c`, `K' = sf' / ef'^n'`.
    #[must_use]
    pub fn cyclic_curve(&self) -> PowerCurve {
        let exponent = self.strength_exponent / self.ductility_exponent;
        PowerCurve {
            modulus_pa: self.modulus_pa,
            coefficient_pa: self.strength_pa / self.ductility.powf(exponent),
            exponent,
        }
    }

    /// Cycles at which both lines give the same strain.
    #[must_use]
    pub fn transition_cycles(&self) -> f64 {
        let ratio = self.ductility * self.modulus_pa / self.strength_pa;
        0.5 * ratio.powf(1.0 / (self.strength_exponent - self.ductility_exponent))
    }
}

/// Stress-strain curve `strain = s / E + (s / K)^(1 / n)` (W. Ramberg, W. R. Osgood, NACA TN 902 (1943)).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PowerCurve {
    /// Young's modulus, Pa.
    pub modulus_pa: f64,
    /// Coefficient, Pa.
    pub coefficient_pa: f64,
    /// Exponent.
    pub exponent: f64,
}

impl PowerCurve {
    /// Strain at a stress.
    #[must_use]
    pub fn strain(&self, stress_pa: f64) -> f64 {
        let s = stress_pa.abs();
        let strain = s / self.modulus_pa + (s / self.coefficient_pa).powf(1.0 / self.exponent);
        strain.copysign(stress_pa)
    }

    /// Stress at a strain, Pa.
    #[must_use]
    pub fn stress_pa(&self, strain: f64) -> f64 {
        let most = self.modulus_pa * strain.abs();
        crate::reliability::special::bisect(|s| self.strain(s) - strain.abs(), 0.0, most).copysign(strain)
    }
}

/// The high-cycle line through two anchors: straight in the logarithms of strain amplitude and cycles.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct HighCycleLine {
    /// Strain amplitude and cycles of the two anchors, more strain first.
    pub anchors: [[f64; 2]; 2],
}

impl HighCycleLine {
    /// `m` in `N ~ amplitude^-m`.
    #[must_use]
    pub fn exponent(&self) -> f64 {
        let [[ea, na], [eb, nb]] = self.anchors;
        (nb / na).ln() / (ea / eb).ln()
    }

    /// Cycles at a total strain range; no limit is known on either side.
    #[must_use]
    pub fn cycles(&self, range: f64) -> f64 {
        let [amplitude, n] = self.anchors[0];
        n * (0.5 * range / amplitude).powf(-self.exponent())
    }
}
