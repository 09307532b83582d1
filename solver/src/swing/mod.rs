//! Large swings: the shell through tens of degrees under loads that follow it.

pub mod load;

pub use load::{DeadLoad, MovingLoad, Pose};
