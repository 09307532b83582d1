//! Copper strain and mesh error of one mode.

use super::Stage;
use super::names::Movement;
use crate::bend::face;
use crate::modes::ModeMotion;
use crate::recover::{SpotOptions, Trace, beside_landmark, recover, spots};
use crate::result::ModeSpot;
use crate::swing::Path;
use nalgebra::Vector6;

/// A swing below this share of the flap's whole turn, or a turn that moves the far end by less than this share of the
/// largest displacement, is none to refer roll or strain to.
pub(super) const HARDLY: f64 = 0.3;

/// One degree, rad.
const DEGREE: f64 = std::f64::consts::PI / 180.0;

/// What recovery says of a mode.
pub(super) struct Strained {
    pub(super) spot: Option<ModeSpot>,
    /// Energy of recovered less raw strain over the energy.
    pub(super) energy_error: f64,
}

pub(super) fn of_mode(
    stage: &Stage<'_>,
    path: &Path<'_>,
    traces: &[Trace],
    shape: &[Vector6<f64>],
    moved: &Movement,
) -> Strained {
    let model = &stage.own.model;
    let recovered = recover(model, &ModeMotion::new(path, shape), 0.0);
    let energy_error = recovered.relative_error().powi(2);
    let worst = spots(model, &recovered, traces, &SpotOptions { most: 1, ..SpotOptions::default() }).pop();
    let spot = worst.map(|spot| {
        let at = [spot.place_m[0], spot.place_m[1]];
        let (near, near_m) = beside_landmark(stage.board, at);
        let strain = spot.strain.abs();
        let (per_swing_degree, per_turn_degree) = per_degree(stage, moved, strain);
        ModeSpot {
            per_swing_degree,
            per_turn_degree,
            per_tenth_mm: strain * 1e-4 / moved.largest_m,
            relative_error: Some(if strain > 0.0 { spot.uncertainty / strain } else { 0.0 }),
            track: traces[spot.trace].name.clone(),
            layer: stage.board.layers[spot.layer.0 as usize].name.clone(),
            face: face(spot.face),
            x_m: at[0],
            y_m: at[1],
            near,
            near_m,
            mean: spot.mean.is_some(),
        }
    });
    Strained { spot, energy_error }
}

/// A strain of a mode per degree of the flap's swing and of its whole turn; None where it hardly does.
pub(super) fn per_degree(stage: &Stage<'_>, moved: &Movement, strain: f64) -> (Option<f64>, Option<f64>) {
    let far = moved.turn_rad * farthest(stage) > HARDLY * moved.largest_m;
    let per = |turn: f64| (far && turn.abs() > HARDLY * moved.turn_rad).then(|| strain * DEGREE / turn.abs());
    (per(moved.swing_rad), per(moved.turn_rad))
}

/// Distance of the board's far end from the hinge line, m: a turn of the flap moves about this far.
fn farthest(stage: &Stage<'_>) -> f64 {
    stage.mesh.flat.points_m.iter().map(|&p| stage.hinge.along_m(p).abs()).fold(0.0, f64::max)
}
