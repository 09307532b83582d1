//! Mechanics of a layered shell in a magnet's field: board and triangles in, copper strain with its error out.
//!
//! Rooms in reading order: [`laminate`] (layers to stiffness), [`element`] (one triangle), [`freedoms`]
//! (node to equation), [`model`] (everything checked), [`assemble`], [`linear`] (the only room that names the
//! sparse library), [`statics`], [`magnet`] and [`lorentz`] (load), [`swing`] (large motion), [`clearance`] (what a
//! swing may touch), [`recover`] (strain), [`settle`] (refine until the spots hold still), [`bend`] (the verb), [`beam`] (the fast
//! model), [`hand`] and [`claims`] (hand calculation, the user's results), [`modes`], [`air`] and [`natural`] (natural
//! modes, added mass and drag, the verb `modes`), [`published`] (problems with known answers), [`result`]
//! (plain data out), [`summary`] (the board as understood), [`advice`] (layout rules of the trade), [`life`] (strain
//! to cycles), [`reliability`] (scatter of lives and what a test proves), [`error`]. No input or output here.

pub mod advice;
pub mod air;
pub mod assemble;
pub mod beam;
pub mod bend;
pub mod claims;
pub mod clearance;
pub mod copper;
pub mod decay;
pub mod drive;
pub mod driven;
pub mod eddy;
pub mod element;
pub mod error;
pub mod freedoms;
pub mod hand;
pub mod laminate;
pub mod life;
pub mod linear;
pub mod lorentz;
pub mod magnet;
pub mod model;
pub mod modes;
pub mod natural;
pub mod published;
pub mod recover;
pub mod reliability;
pub mod result;
pub mod rig_log;
pub mod settle;
pub mod statics;
pub mod summary;
pub mod swing;
mod vectors;
