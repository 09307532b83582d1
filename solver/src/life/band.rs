//! Literature life of a kind of copper as a band, and where the evidence ends.
//!
//! Lower edge: the foil relation or universal slopes, whichever is shorter. Upper edge: the longest of these and the
//! high-cycle line. They are different coppers and specimens, none of them a circuit: the band is honest, not tight.

use super::OutsideLaw;
use super::foil::FoilRelation;
use super::mean::{MeanStress, with_mean_stress};
use super::slopes::{HighCycleLine, UniversalSlopes};
use serde::Serialize;

/// Copper by its making.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum CopperKind {
    /// Rolled and annealed, or rolled hard and annealed by the laminate's cure.
    RolledAnnealed,
    /// Electrodeposited or plated.
    Electrodeposited,
}

impl CopperKind {
    /// The kind of a material of the library by its name; None for what is no copper of a known making.
    #[must_use]
    pub fn of_material(name: &str) -> Option<Self> {
        match name {
            "copper_rolled_annealed" | "copper_rolled_hard" => Some(Self::RolledAnnealed),
            "copper_electrodeposited" | "copper_plated" => Some(Self::Electrodeposited),
            _ => None,
        }
    }

    /// Words for a table.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Self::RolledAnnealed => "rolled, annealed",
            Self::Electrodeposited => "electrodeposited",
        }
    }

    /// Foil relation with the default properties: ductility and strength from memory of foil grades.
    #[must_use]
    pub const fn foil(self) -> FoilRelation {
        match self {
            Self::RolledAnnealed => FoilRelation { ductility: 0.30, strength_pa: 220e6, modulus_pa: 117e9 },
            Self::Electrodeposited => FoilRelation { ductility: 0.10, strength_pa: 330e6, modulus_pa: 110e9 },
        }
    }

    /// Universal slopes with the default properties (true fracture strain from memory; that of deposited foil from its
    /// elongation).
    #[must_use]
    pub const fn slopes(self) -> UniversalSlopes {
        match self {
            Self::RolledAnnealed => UniversalSlopes { strength_pa: 220e6, modulus_pa: 117e9, ductility: 0.7 },
            Self::Electrodeposited => {
                UniversalSlopes { strength_pa: 330e6, modulus_pa: 110e9, ductility: 0.1 }
            }
        }
    }

    /// High-cycle line. Annealed: 76 `MPa` at 1e8 cycles (copper trade alloy table, UNS C12700, read) and a strain
    /// amplitude of 3.8e-4 at 9.8e9 cycles (Awatani and others (1975), abstract read). Deposited: 100 `MPa` at 1e8
    /// cycles (from memory) with the slope 0.12 of universal slopes.
    #[must_use]
    pub fn line(self) -> HighCycleLine {
        let anchors = match self {
            Self::RolledAnnealed => [[76e6 / 117e9, 1e8], [3.8e-4, 9.8e9]],
            Self::Electrodeposited => {
                let first = 100e6 / 110e9;
                [[first, 1e8], [first * 10.0_f64.powf(-0.12), 1e9]]
            }
        };
        HighCycleLine { anchors }
    }

    /// Most cycles for which any of the sources saw copper of this kind tested.
    #[must_use]
    pub const fn last_tested_cycles(self) -> f64 {
        match self {
            Self::RolledAnnealed => 9.8e9,
            Self::Electrodeposited => 1e8,
        }
    }

    /// Strain range of the last data point: below it life is extrapolated.
    #[must_use]
    pub fn last_tested_range(self) -> f64 {
        match self {
            Self::RolledAnnealed => 2.0 * 3.8e-4,
            Self::Electrodeposited => 2.0 * 100e6 / 110e9,
        }
    }
}

/// Mean-stress corrections of a kind of copper at a strain range, by the strain-life law of universal slopes; what lies
/// below that law stands as 1e12 cycles.
///
/// # Errors
/// The strain lies above the law.
pub fn mean_stress(kind: CopperKind, range: f64, mean_pa: f64) -> Result<MeanStress, OutsideLaw> {
    with_mean_stress(&kind.slopes().as_strain_life(), 0.5 * range, mean_pa)
}

/// The same below what the law covers, as at its end with room for the mean stress: a correction is a ratio of lives, and
/// two lives cut off have none.
fn within_law(kind: CopperKind, range: f64, mean_pa: f64) -> Result<MeanStress, OutsideLaw> {
    mean_stress(kind, range.max(1.5 * kind.slopes().range(super::MOST_CYCLES)), mean_pa)
}

/// Cycles to crack at a strain range by each law.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Band {
    /// Foil relation; 1e12 stands for "beyond".
    pub foil_cycles: f64,
    /// Universal slopes; 1e12 stands for "beyond".
    pub slopes_cycles: f64,
    /// High-cycle line.
    pub line_cycles: f64,
    /// Whether the strain lies below the last data point.
    pub extrapolated: bool,
    /// Factors of a lasting mean stress on the shorter and on the longer edge, 1 without any.
    pub mean_factors: [f64; 2],
}

/// Deviations of a normal distribution between its median and its 90 per cent point.
const TO_TENTH: f64 = 1.281_551_565_544_6;

impl Band {
    /// Life of a kind of copper at a strain range.
    ///
    /// # Errors
    /// The strain lies above the laws. Below them the band is cut at 1e12 cycles and extrapolated.
    pub fn at(kind: CopperKind, range: f64) -> Result<Self, OutsideLaw> {
        let cut = |found: Result<f64, OutsideLaw>| match found {
            Err(e) if e.range >= 0.0 && !e.is_high() => Ok(super::MOST_CYCLES),
            other => other,
        };
        Ok(Self {
            foil_cycles: cut(kind.foil().cycles(range))?,
            slopes_cycles: cut(kind.slopes().cycles(range))?,
            line_cycles: kind.line().cycles(range).min(super::MOST_CYCLES),
            extrapolated: range < kind.last_tested_range(),
            mean_factors: [1.0; 2],
        })
    }

    /// The same under a mean stress, Pa, as far as it lasts: the shorter edge by the harsher correction, the longer by the
    /// milder.
    ///
    /// # Errors
    /// As [`Self::at`].
    pub fn under(kind: CopperKind, range: f64, mean_pa: f64) -> Result<Self, OutsideLaw> {
        let plain = Self::at(kind, range)?;
        Ok(Self { mean_factors: within_law(kind, range, mean_pa)?.factors(), ..plain })
    }

    /// Shorter edge, cycles.
    #[must_use]
    pub fn low(&self) -> f64 {
        self.foil_cycles.min(self.slopes_cycles) * self.mean_factors[0]
    }

    /// Longer edge, cycles.
    #[must_use]
    pub fn high(&self) -> f64 {
        self.foil_cycles.max(self.slopes_cycles).max(self.line_cycles) * self.mean_factors[1]
    }

    /// Both edges as if there were no mean stress, cycles.
    #[must_use]
    pub fn without_mean(&self) -> [f64; 2] {
        let plain = Self { mean_factors: [1.0; 2], ..*self };
        [plain.low(), plain.high()]
    }

    /// Middle of the band in logarithms, cycles.
    #[must_use]
    pub fn middle(&self) -> f64 {
        (self.low() * self.high()).sqrt()
    }

    /// How unsure the middle is, as a deviation of the natural logarithm: the edges are taken as the 10 and 90 per cent
    /// points, and never closer than a decade.
    #[must_use]
    pub fn doubt(&self) -> f64 {
        let half = 0.5 * (self.high() / self.low()).ln();
        half.max(0.5 * std::f64::consts::LN_10) / TO_TENTH
    }
}
