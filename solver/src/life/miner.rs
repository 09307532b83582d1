//! Damage of a list of duties added up after A. Palmgren (1924) and M. A. Miner (1945), from memory.

use super::OutsideLaw;
use std::fmt;

/// Sums of damage at which parts failed in practice (from memory): around 1, within this span.
pub const FAILS_BETWEEN: [f64; 2] = [0.3, 3.0];

/// Cycles at one strain range.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Block {
    /// Cycles.
    pub cycles: f64,
    /// Strain range.
    pub range: f64,
}

/// Why a duty list has no damage sum.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum NoDamage {
    /// The list holds nothing.
    Empty,
    /// A number of cycles that is negative or no number; counted from 1.
    Cycles(usize, f64),
    /// A strain outside the law; counted from 1.
    Outside(usize, OutsideLaw),
}

impl fmt::Display for NoDamage {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Empty => write!(f, "the duty list is empty; give at least one line of swing and cycles"),
            Self::Cycles(i, n) => {
                write!(f, "duty {i}: {n} cycles is no count; give a number of zero or more")
            }
            Self::Outside(i, law) => write!(f, "duty {i}: {law}"),
        }
    }
}

impl std::error::Error for NoDamage {}

/// Share of life used by each block. Strains below the law use nothing.
///
/// # Errors
/// An empty list, a negative count, a strain above the law.
pub fn damage(blocks: &[Block], law: impl Fn(f64) -> Result<f64, OutsideLaw>) -> Result<Vec<f64>, NoDamage> {
    if blocks.is_empty() {
        return Err(NoDamage::Empty);
    }
    let one = |(i, block): (usize, &Block)| {
        if !(block.cycles.is_finite() && block.cycles >= 0.0) {
            return Err(NoDamage::Cycles(i + 1, block.cycles));
        }
        match law(block.range) {
            Ok(cycles) => Ok(block.cycles / cycles),
            Err(outside) if outside.range >= 0.0 && !outside.is_high() => Ok(0.0),
            Err(outside) => Err(NoDamage::Outside(i + 1, outside)),
        }
    };
    blocks.iter().enumerate().map(one).collect()
}
