//! Large swings: the shell through tens of degrees under loads that follow it.
//!
//! In: a [`crate::model::Model`] and [`MovingLoad`]s. Out: equilibria along a [`Path`] — by load, by a prescribed
//! flap angle with the current it needs, or by length past limit points — each as an [`Equilibrium`]. The triangle is
//! that of small motion inside a frame that turns with it ([`crate::element::corotational`]). Absent: inertia, contact,
//! any particular magnet.

mod equilibrium;
mod field;
mod lagged;
pub mod load;
pub mod measure;
mod newton;
mod path;
mod pinned;
mod riding;
mod stance;
#[cfg(test)]
mod tests;
mod unsymmetric;

pub use equilibrium::Equilibrium;
pub use field::{Level, Loads};
pub use load::{DeadLoad, MovingLoad, Pose};
pub use measure::{FlapAngle, Measure, NodeDisplacement};
pub(crate) use path::Linearised;
pub use path::{Mark, Path, State};
pub use riding::{Lever, RidingLoad, board_load};
