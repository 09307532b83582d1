//! The fast model: arms as layered beams, the flap as one rigid piece or a wide beam.
//!
//! Rooms in reading order: [`torsion`] and [`section`] (stacks side by side to stiffness, inertia, strain),
//! [`frame`] (nodes, elements, loads), [`tree`] (its linear solver), [`motion`] (equilibria of any size; `ahead` tells where they will be), [`modes`];
//! [`board`] (a board as a frame), [`skin`] (its surface on the frame) and [`answer`], [`copper`] (what is read off it), [`compare`]
//! (beside the shell).
//! Absent: transverse shear, contraction held back by a clamp (told by comparison, not in the model).

mod ahead;
pub mod answer;
pub mod board;
pub mod compare;
pub mod copper;
pub mod frame;
pub mod modes;
pub mod motion;
pub mod section;
pub mod skin;
#[cfg(test)]
mod tests;
pub mod torsion;
pub mod tree;
