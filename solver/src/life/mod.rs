//! Strain range at a place of the copper to cycles until it cracks: laws, counting, mean strain, damage.
//!
//! In: strain ranges and mean stresses. Out: cycles (never flexes: see [`count`]), always as a [`Band`] of several
//! laws. Absent: how the strain comes about, scatter of samples (see [`crate::reliability`]).
//!
//! Life follows from strain alone to no better than a decade; every answer says on what it rests.

pub mod band;
pub mod count;
#[cfg(test)]
mod fixtures;
pub mod foil;
pub mod found;
pub mod heat;
pub mod levels;
pub mod mean;
pub mod miner;
pub mod radius;
pub mod rainflow;
pub mod report;
pub mod samples;
pub mod slopes;
pub mod speed;
#[cfg(test)]
mod tests;

pub use band::{Band, CopperKind};

use crate::reliability::special::bisect;
use std::fmt;

/// Fewest cycles that a law speaks of: below, the copper is bent rather than flexed.
pub const FEWEST_CYCLES: f64 = 10.0;
/// Most cycles that a law speaks of: a hundred times more than any copper was tested for.
pub const MOST_CYCLES: f64 = 1e12;

/// A strain range no law covers.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct OutsideLaw {
    /// The strain range asked for.
    pub range: f64,
    /// Ranges the law covers, lowest first.
    pub covered: [f64; 2],
}

impl OutsideLaw {
    /// Whether the strain is above what the law covers (few cycles), rather than below.
    #[must_use]
    pub fn is_high(&self) -> bool {
        self.range > self.covered[1]
    }
}

impl fmt::Display for OutsideLaw {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let [low, high] = self.covered.map(|r| r * 1e6);
        let range = self.range * 1e6;
        let rule = if !(range.is_finite() && range >= 0.0) {
            "is no strain range"
        } else if self.is_high() {
            "is above what the law covers: cracks within ten cycles; reduce the swing or thin the stack"
        } else {
            "is below what the law covers: beyond 1e12 cycles nothing was ever tested"
        };
        write!(f, "strain range {range:.1} um/m {rule} (covered: {low:.0} to {high:.0} um/m)")
    }
}

impl std::error::Error for OutsideLaw {}

/// Cycles at which a law's strain range, falling with the cycles, equals `range`.
///
/// # Errors
/// The range is met nowhere between ten and 1e12 cycles.
pub(crate) fn cycles_at(law: impl Fn(f64) -> f64, range: f64) -> Result<f64, OutsideLaw> {
    let covered = [law(MOST_CYCLES), law(FEWEST_CYCLES)];
    if !(range >= covered[0] && range <= covered[1]) {
        return Err(OutsideLaw { range, covered });
    }
    let log = bisect(|log| law(log.exp()) - range, FEWEST_CYCLES.ln(), MOST_CYCLES.ln());
    Ok(log.exp())
}
