//! What the program takes for damping and drag where nothing was measured: to stand beside a measured decay.
//!
//! In: a board. Out: frequency, damping ratios, drag of the swing by the board's layers and shape. Absent: motion.

use super::damping::{Damping, eddy_at};
use super::stage::Stage;
use super::way::Way;
use super::{DriveOptions, Tell};
use crate::bend::Progress;
use crate::error::SolveError;
use crate::result::BondLimit;
use crate::swing::Pose;
use copperbend_mesh::board::Board;

/// Reach of the way that tells the frequency about the loaded state, rad.
const SMALL_RAD: f64 = 0.05;

/// Damping and drag of the swing by the design.
#[derive(Debug, Clone)]
pub struct Expected {
    /// Natural frequency in air about the state under weight and heat, Hz.
    pub frequency_hz: f64,
    /// Loss factor of the arms by their layers: value, lowest, highest (from memory).
    pub loss_factor: [f64; 3],
    /// Damping ratio by linear air.
    pub air_ratio: f64,
    /// Damping ratio by eddy currents at rest.
    pub eddy_ratio: f64,
    /// Drag over inertia per unit of the drag coefficient, 1/rad.
    pub drag_per_coefficient: f64,
    /// Drag coefficient at the given swing: value, lowest, highest.
    pub coefficient: [f64; 3],
}

/// Damping and drag of a board's swing, the drag coefficient at a swing of `swing_rad`.
///
/// # Errors
/// As [`super::drive`].
pub fn expected(
    board: &Board,
    options: &DriveOptions,
    swing_rad: f64,
    progress: &mut dyn Progress,
) -> Result<Expected, SolveError> {
    // Values of the design replace the defaults that are asked for here.
    let mut plain = board.clone();
    plain.drive.loss_factor = None;
    plain.drive.drag_coefficient = None;
    let tell: &mut Tell<'_> = &mut |name: &str, fraction: f64| {
        if progress.report(name, fraction) { Ok(()) } else { Err(SolveError::Cancelled) }
    };
    let stage = Stage::new(&plain, options, BondLimit::AsWritten, tell)?;
    let damping = Damping::new(&stage);
    tell("eddy currents", 0.9)?;
    let rest = Pose::at_rest(&stage.own.model.nodes_m);
    let eddy = eddy_at(&stage, &[&rest])?.map_or(0.0, |m| m[0][(0, 0)]);
    let swing = &stage.shapes[0];
    let ratio = |per_s: f64| per_s / (2.0 * swing.rad_s);
    let c = damping.drag.coefficient.at(swing_rad)[0];
    Ok(Expected {
        frequency_hz: Way::follow(&stage, SMALL_RAD, tell)?.frequency_hz(),
        loss_factor: damping.arms(),
        air_ratio: ratio(damping.air_per_s()),
        eddy_ratio: ratio(eddy),
        drag_per_coefficient: 0.5 * damping.drag.density_kg_m3 * damping.cubed() / swing.lift.abs(),
        coefficient: [c, c * damping.bracket[0], c * damping.bracket[1]],
    })
}
