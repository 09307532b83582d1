//! Mechanics of a layered shell in a magnet's field: board and triangles in, copper strain with its error out.
//!
//! Rooms in reading order: [`laminate`] (layers to stiffness), `element` (one triangle), [`freedoms`]
//! (node to equation), [`model`] (everything checked), `assemble`, `linear` (the only room that names the sparse
//! library), `statics`, `magnet` and `lorentz` (load), `recover` (strain), [`result`] (plain data out).
//! No input or output here.

pub mod freedoms;
pub mod laminate;
pub mod model;
