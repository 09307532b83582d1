//! What the board is: design file in, valid board and graded triangles out.
//!
//! Rooms in reading order: [`quantity`] (units at the door), [`material`] (library), [`design`] (the file as
//! written), [`board`] (the file checked, SI), [`layup`] (layers at one place), [`region`] (polygon algebra),
//! [`coil`] (current-carrying paths), [`strip`] (arms cut into sections), [`triangulate`] (graded triangles),
//! [`quality`] (a bad mesh is refused).
//! No stiffness, no matrices, no input or output here.

pub mod board;
pub mod coil;
pub mod design;
pub mod layup;
pub mod material;
pub mod quality;
pub mod quantity;
pub mod region;
pub mod strip;
pub mod triangulate;
