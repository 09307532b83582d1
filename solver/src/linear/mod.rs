//! Sparse direct solver: order, symbolic once, numeric many, solve many. The only room that names the library.
//!
//! In: the block graph of a matrix (one block per free node or rigid piece, one to six unknowns each) and the
//! values of its lower triangle in elimination order. Out: solutions of `K x = b`. All sums have a fixed order, so
//! results do not depend on the thread count. No iterative solver, no pivoting.

mod collect;
mod dense;
mod dissect;
mod factor;
mod flow;
mod forecast;
mod fronts;
mod groups;
mod lanczos;
mod library;
mod numeric;
mod order;
mod packed;
mod pool;
mod sweep;
#[cfg(test)]
mod tests;
mod tiles;
mod tree;
mod units;

pub use factor::{Engine, Factor, Structure};
pub use lanczos::{BLOCK, Block, Pairs, Pencil, largest};
pub(crate) use lanczos::{Small, Space, combined, grams, inner};
pub use order::Graph;

use std::fmt;

/// What stops a factorisation; block and component count as in the graph given to [`Structure::new`].
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum LinearError {
    /// Too many unknowns or factor entries for 32-bit indices.
    TooLarge,
    /// The machine refused the memory.
    OutOfMemory,
    /// An entry of the matrix is infinite or not a number.
    NotFinite {
        /// Block of the column.
        block: u32,
        /// Component within the block's unknowns.
        component: u32,
    },
    /// The matrix is not positive definite: elimination stopped here.
    Pivot {
        /// Block of the pivot.
        block: u32,
        /// Component within the block's unknowns.
        component: u32,
    },
}

impl fmt::Display for LinearError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::TooLarge => write!(f, "the model has too many unknowns for one factorisation"),
            Self::OutOfMemory => write!(f, "not enough memory for the factor of the stiffness matrix"),
            Self::NotFinite { block, component } => {
                write!(f, "the stiffness of block {block}, component {component} is not a number")
            }
            Self::Pivot { block, component } => {
                write!(f, "the stiffness vanishes at block {block}, component {component}")
            }
        }
    }
}

impl std::error::Error for LinearError {}
