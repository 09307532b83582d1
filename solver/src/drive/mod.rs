//! The driven swing on few amplitudes: steady motion, its stability, motion in time.
//!
//! In: an [`Oscillator`] (mass, damping, stiffness and any further force with its derivatives). Out: steady motions by
//! harmonic balance ([`harmonic`]), followed over frequency or strength ([`branch`]) and judged for stability
//! ([`floquet`]); motion in time ([`step`], [`runge`]). Absent: triangles, magnets, air as such.

pub mod branch;
pub mod curve;
pub mod floquet;
pub mod harmonic;
pub mod oscillator;
pub mod reduced;
pub mod runge;
pub mod step;
#[cfg(test)]
mod tests;
pub mod wave;

pub use branch::{Along, Branch, End, Following, Motion, follow};
pub use curve::Curve;
pub use floquet::{Loss, Stability, stability};
pub use harmonic::{Balance, Drive, NotFound, Steady};
pub use oscillator::{Force, Instant, Linear, Oscillator};
pub use reduced::{Coefficient, Patch, QuadraticDrag, Reduced, Supply};
pub use wave::{Form, Wave};
