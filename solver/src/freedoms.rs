//! Node and component to equation: supports, frames and rigid ties, all by elimination.
//!
//! Every node moves as `G q + g`, with `q` the six unknowns of one *block*. A plain node is its own block with
//! `G` the identity; a node in a turned frame has a rotation; a node of a rigid piece shares the piece's block.

use nalgebra::{Matrix6, Vector6};

/// How one node follows its block.
#[derive(Debug, Clone, PartialEq)]
pub struct Follow {
    /// Block index.
    pub block: u32,
    /// Node freedoms (u, v, w, tx, ty, tz in global axes) per block unknown; None is the identity.
    pub matrix: Option<Box<Matrix6<f64>>>,
}

/// One block of six unknowns: which are held, and at what value.
#[derive(Debug, Clone, PartialEq)]
pub struct Block {
    /// Held components.
    pub held: [bool; 6],
    /// Prescribed values of the held components (m, rad), in the block's own axes.
    pub value: Vector6<f64>,
}

/// All nodes and blocks of a model.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Freedoms {
    /// Per node.
    pub follow: Vec<Follow>,
    /// Per block.
    pub blocks: Vec<Block>,
}
