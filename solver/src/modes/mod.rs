//! Natural modes: `K x = lambda M x`, the lowest first, none left out.
//!
//! In: a [`Model`] at rest or a [`Path`] at an equilibrium, with or without the mass of air. Out: a [`Modal`]:
//! frequencies, shapes per node, how good each pair is, the proof by the signs of `K - shift M` that no frequency
//! below the highest was missed, and static answers by the same factor. Consistent mass with glued bodies; about an
//! equilibrium the tangent carries geometric stiffness and that of the loads, a direct current's too. Absent: damping,
//! names of modes ([`crate::natural`]).

mod modal;
mod motion;
mod product;
mod rigid;
mod ritz;
mod rows;
mod search;
#[cfg(test)]
mod tests;

pub use modal::Modal;
pub use motion::ModeMotion;
pub use rigid::rigid_motion;

use crate::error::SolveError;
use crate::model::Model;
use crate::swing::Path;
use nalgebra::Vector6;

/// Relative residual at which the iteration with the assembled matrix stops: its rounding hides what lies below in thin
/// stacks, and what is left is improved by stiffness of full digits.
pub const SETTLED: f64 = 3e-7;

/// Relative residual by solves with full digits above which modes are improved further.
pub const ACCEPTED: f64 = 1e-8;

/// What to look for.
#[derive(Debug, Clone, Copy)]
pub struct ModeWishes<'a> {
    /// Modes wanted.
    pub count: usize,
    /// Added to every eigenvalue while solving, (rad/s)^2: 0 for a held board, positive for one that may move freely.
    pub lift: f64,
    /// Prove by a second factorisation that no mode was missed.
    pub prove: bool,
    /// Mass of air per area of each triangle for motion normal to it, kg/m2; empty: in vacuum.
    pub air_kg_m2: &'a [f64],
}

impl Default for ModeWishes<'_> {
    fn default() -> Self {
        Self { count: 10, lift: 0.0, prove: true, air_kg_m2: &[] }
    }
}

/// One mode.
#[derive(Debug, Clone, PartialEq)]
pub struct Mode {
    /// Square of the angular frequency, (rad/s)^2; negative for an unstable state.
    pub eigenvalue: f64,
    /// Frequency, Hz; 0 where the eigenvalue is not positive.
    pub frequency_hz: f64,
    /// Displacement and rotation (spatial spin) per node, global axes, per unit of the modal coordinate: modal mass
    /// 1 kg, air included.
    pub shape: Vec<Vector6<f64>>,
    /// `|K^-1 M x - x / lambda|_M lambda` for this unit vector, by a solve with full digits: relative error of the pair.
    pub residual: f64,
    /// Share of air in the modal mass, 0 to 1.
    pub air_share: f64,
}

impl Mode {
    /// Frequency without air if the shape stays as it is (second order in what air changes of it), Hz.
    #[must_use]
    pub fn vacuum_hz(&self) -> f64 {
        self.frequency_hz / (1.0 - self.air_share).sqrt()
    }
}

/// Lowest modes, ascending.
#[derive(Debug, Clone, Default)]
pub struct Modes {
    /// The modes.
    pub modes: Vec<Mode>,
    /// Eigenvalues below the proven shift and how many modes were found there; None without proof.
    pub counted: Option<[usize; 2]>,
    /// Negative eigenvalues of the stiffness: ways in which the state gives way. 0 for a stable state.
    pub unstable: usize,
    /// Solves with eight right-hand sides.
    pub solves: u32,
    /// Seconds for eigenvalues and residuals, factor and proof apart.
    pub seconds: f64,
}

/// The lowest natural modes of a model at rest.
///
/// # Errors
/// [`SolveError::NotHeld`] for a part that can move freely without a lift; [`SolveError::Singular`],
/// [`SolveError::Memory`] as in statics; [`SolveError::Model`] without mass or when a mode was missed.
pub fn modes(model: &Model, wishes: &ModeWishes<'_>) -> Result<Modes, SolveError> {
    Ok(Modal::at_rest(model, wishes)?.modes)
}

/// The lowest natural modes about the present state of a path.
///
/// # Errors
/// As [`modes`]. A state that is not stable is no error: see [`Modes::unstable`] and negative eigenvalues.
pub fn modes_about(path: &mut Path<'_>, wishes: &ModeWishes<'_>) -> Result<Modes, SolveError> {
    Ok(Modal::about(path, wishes)?.modes)
}
