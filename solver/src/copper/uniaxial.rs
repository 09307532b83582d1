//! The law along one direction: a fibre with its memory.

use super::Law;

/// A fibre of copper: stress of every part, strain, work lost.
#[derive(Debug, Clone, PartialEq)]
pub struct Fibre<'l> {
    law: &'l Law,
    stress_pa: Vec<f64>,
    strain: f64,
    offset_pa: f64,
    lost_j_m3: f64,
}

impl<'l> Fibre<'l> {
    /// A fibre never strained.
    #[must_use]
    pub fn new(law: &'l Law) -> Self {
        Self { law, stress_pa: vec![0.0; law.parts.len()], strain: 0.0, offset_pa: 0.0, lost_j_m3: 0.0 }
    }

    /// A fibre that stands at a strain with a stress (Pa) it keeps as an offset, otherwise as never strained: how a
    /// loop by the cyclic curve starts from the set state.
    #[must_use]
    pub fn from_set(law: &'l Law, strain: f64, stress_pa: f64) -> Self {
        Self { strain, offset_pa: stress_pa, ..Self::new(law) }
    }

    /// Strain.
    #[must_use]
    pub const fn strain(&self) -> f64 {
        self.strain
    }

    /// Stress, Pa.
    #[must_use]
    pub fn stress_pa(&self) -> f64 {
        let own = self.law.parts.iter().zip(&self.stress_pa).map(|(part, s)| part.share * s);
        self.offset_pa + own.sum::<f64>()
    }

    /// Work turned into heat so far, J/m3.
    #[must_use]
    pub const fn lost_j_m3(&self) -> f64 {
        self.lost_j_m3
    }

    /// Strains the fibre on to a strain; the stress there, Pa.
    pub fn to(&mut self, strain: f64) -> f64 {
        let by = self.law.modulus_pa * (strain - self.strain);
        for (part, s) in self.law.parts.iter().zip(&mut self.stress_pa) {
            let trial = *s + by;
            let held = trial.clamp(-part.yield_pa, part.yield_pa);
            self.lost_j_m3 += part.share * held.abs() * (trial - held).abs() / self.law.modulus_pa;
            *s = held;
        }
        self.strain = strain;
        self.stress_pa()
    }

    /// Lets the fibre go; the strain that is left.
    pub fn release(&mut self) -> f64 {
        // Stress rises with strain; at most the elastic strain and all yielded parts must be undone.
        let now = self.stress_pa();
        let reach = 4.0 * now.abs() / self.law.modulus_pa + 4.0 * self.offset_pa.abs() / self.law.modulus_pa;
        let start = self.clone();
        let at = |strain: f64| start.clone().to(strain);
        let (a, b) = (self.strain - reach, self.strain + reach);
        let left = crate::reliability::special::bisect(at, a, b);
        self.to(left);
        left
    }
}
