//! Mean stress of one fibre of a swinging board, at the whole swing and at smaller ones.
//!
//! The fibre follows the first curve to the end of the first bend, is let down to the set by the board around it, and then
//! swings by the cyclic curve from there. For a smaller swing the strain let down goes with the swing (the board springs
//! back elastically) and the set goes with the fibre's own plastic strain: exact for the whole swing and for one that
//! never yields.

use super::{Fibre, Law};

/// Strains of a fibre in the life of a board.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SwungFibre {
    /// Before anything drives the board.
    pub rest: f64,
    /// At the end of the first bend.
    pub first: f64,
    /// Without drive after the first bend.
    pub set: f64,
}

/// Largest share of the fibre's plastic strain that the board keeps as set.
const MOST_KEPT: f64 = 0.98;

impl SwungFibre {
    /// Mean stress of the steady loop between two strains, Pa, at a share of the first bend.
    #[must_use]
    pub fn mean_stress_pa(&self, first: &Law, cyclic: &Law, share: f64, [low, high]: [f64; 2]) -> f64 {
        let mut fibre = Fibre::new(first);
        fibre.to(self.rest);
        let start = fibre.clone();
        let plastic = |strain: f64| {
            let mut own = start.clone();
            strain
                - own.to(strain) / first.modulus_pa
                - (start.strain() - start.stress_pa() / first.modulus_pa)
        };
        let let_down = self.first - self.set;
        let whole = plastic(self.first);
        let kept = if share >= 1.0 || whole == 0.0 {
            self.set - self.rest
        } else {
            let by_plastic = ((self.set - self.rest) / whole).clamp(0.0, MOST_KEPT);
            // Set and bend depend on each other: each round leaves at most the kept share of the error.
            let mut kept = 0.0;
            for _ in 0..1000 {
                let next = by_plastic * plastic(self.rest + share * let_down + kept);
                let done = (next - kept).abs() <= 1e-12;
                kept = next;
                if done {
                    break;
                }
            }
            kept
        };
        let set = self.rest + kept;
        fibre.to(set + share.min(1.0) * let_down);
        let left = fibre.to(set);
        let mut steady = Fibre::from_set(cyclic, set, left);
        for end in [high, low] {
            steady.to(end);
        }
        let bottom = steady.stress_pa();
        0.5 * (bottom + steady.to(high))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::copper::Curve;

    fn ideal() -> Law {
        Curve::Bilinear { modulus_pa: 117e9, yield_pa: 60e6, hardening_pa: 0.0 }.law(0.34, 1, 0.02)
    }

    /// By hand. Ideally plastic, bent to 0.2 % and let down by 0.08 %: from 60 by 93.6 to -33.6 (1e6 Pa), which stays as
    /// the mean of any elastic swing about the set.
    #[test]
    fn what_a_set_leaves_stays_as_mean() {
        let own = SwungFibre { rest: 0.0, first: 2e-3, set: 1.2e-3 };
        let law = ideal();
        let mean = own.mean_stress_pa(&law, &law, 1.0, [1.0e-3, 1.4e-3]);
        assert!((mean + 33.6e6).abs() < 1.0, "{mean}");
        // A loop whose middle lies above the set pulls by its elastic strain.
        let mean = own.mean_stress_pa(&law, &law, 1.0, [1.05e-3, 1.45e-3]);
        assert!((mean + 33.6e6 - 117e9 * 0.5e-4).abs() < 1.0, "{mean}");
        // A wide loop yields at both ends: its mean is that of the offset alone, parts being at plus and minus yield.
        let mean = own.mean_stress_pa(&law, &law, 1.0, [0.0, 3e-3]);
        assert!((mean + 33.6e6).abs() < 1.0, "{mean}");
    }

    /// A swing that never yields leaves the stress of the rest, at every share.
    #[test]
    fn an_elastic_swing_keeps_the_stress_at_rest() {
        let own = SwungFibre { rest: 1e-4, first: 4e-4, set: 1e-4 };
        for share in [0.1, 0.5, 1.0] {
            let reach = 3e-4 * share;
            let mean = own.mean_stress_pa(&ideal(), &ideal(), share, [1e-4 - reach, 1e-4 + reach]);
            assert!((mean - 11.7e6).abs() < 1.0, "{share}: {mean}");
        }
    }

    /// Smaller swings of one that yields: the first yields nothing (0.04 % let down stays below 0.051 %), the others end
    /// where the algebra of `bend = share let_down + kept, kept = k (bend - sy / E)` has them.
    #[test]
    fn smaller_swings_yield_less() {
        let own = SwungFibre { rest: 0.0, first: 2e-3, set: 1.2e-3 };
        let (law, yields) = (ideal(), 60e6 / 117e9);
        let mean = |share: f64| own.mean_stress_pa(&law, &law, share, [0.0, 0.0]);
        // No swing about the origin: what is left is the stress at the set and the way back to the origin.
        assert!(mean(0.5).abs() < 1.0, "{}", mean(0.5));
        let k = 1.2e-3 / (2e-3 - yields);
        let share: f64 = 0.8;
        let bend = (share * 0.8e-3 - k * yields) / (1.0 - k);
        let set = k * (bend - yields);
        let left = 60e6 - 117e9 * (bend - set);
        let swing = [set - 1e-4, set + 1e-4];
        let found = own.mean_stress_pa(&law, &law, share, swing);
        assert!((found / left - 1.0).abs() < 1e-6, "{found} {left}");
    }
}
