//! From shapes, way and damping to the reduced board.
//!
//! In: what the other files of this room found. Out: a [`Reduced`] with its wave. Absent: solving it.

use super::damping::{self, Damping};
use super::stage::Stage;
use super::way::Way;
use crate::drive::{Balance, Curve, Drive, Linear, Reduced, Supply, Wave};
use crate::error::SolveError;
use crate::swing::MovingLoad;
use nalgebra::{DMatrix, DVector, Vector3, Vector6};
use std::f64::consts::{FRAC_PI_2, TAU};

/// The way reaches this many times the estimated swing.
const MARGIN: f64 = 1.25;

/// Smallest and largest reach of the way, rad.
const REACH_RAD: [f64; 2] = [0.05, 0.96];

fn linear(stage: &Stage<'_>, damping: &Damping) -> Linear {
    let n = stage.shapes.len();
    let squares = stage.shapes.iter().map(|s| s.rad_s * s.rad_s);
    Linear {
        mass: DMatrix::identity(n, n),
        damping: damping.matrix(stage),
        stiffness: DMatrix::from_diagonal(&DVector::from_iterator(n, squares)),
    }
}

fn supply(stage: &Stage<'_>) -> Supply {
    match (stage.board.drive.voltage_v, stage.resistance_ohm()) {
        (Some(_), Some(r)) => Supply::Voltage(r),
        _ => Supply::Current,
    }
}

/// The input as the supply takes it.
pub(super) fn wave(stage: &Stage<'_>, inductance_h: f64) -> Wave {
    let d = &stage.board.drive;
    let (amplitude, offset, lag_s) = match (d.voltage_v, stage.resistance_ohm()) {
        (Some(v), Some(r)) => (v, d.offset_a * r, inductance_h / r),
        _ => (stage.board.current.as_ref().map_or(0.0, |c| c.current_a.abs()), d.offset_a, 0.0),
    };
    Wave { form: stage.wave(), amplitude, offset, lag_s }
}

/// How far the flap may swing, rad: at resonance, by the values at rest, with a margin.
pub(super) fn estimate(stage: &Stage<'_>, damping: &Damping) -> f64 {
    let per_ampere = stage.shapes.iter().map(|s| s.per_ampere).collect();
    let flat = Reduced {
        linear: linear(stage, damping),
        restoring: Curve::new(vec![0.0], vec![vec![0.0]]).unwrap_or_default(),
        per_ampere: Curve::new(vec![0.0], vec![per_ampere]).unwrap_or_default(),
        eddy: None,
        drag: Some(damping.drag.clone()),
        base: DVector::zeros(stage.shapes.len()),
        angle: DVector::from_iterator(stage.shapes.len(), stage.shapes.iter().map(|s| s.lift)),
        supply: supply(stage),
    };
    let balance = Balance::new(&flat, wave(stage, 0.0), 1, 1);
    let mut most = 0.0_f64;
    for part in [0.2, 1.0] {
        let drive = Drive { frequency_hz: part * stage.shapes[0].rad_s / TAU, level: 1.0 };
        let mut start = balance.rest(drive);
        start.series[(0, 2)] = 0.1 / stage.shapes[0].lift;
        if let Ok(x) = balance.solve(&start) {
            let [mean, _] = x.harmonic_of(&flat.angle, 0);
            let [c, s] = x.harmonic_of(&flat.angle, 1);
            most = most.max(mean.abs() + c.hypot(s));
        }
    }
    let wished = stage.board.drive.swing_rad.unwrap_or(0.0);
    (MARGIN * most.min(FRAC_PI_2)).max(wished).clamp(REACH_RAD[0], REACH_RAD[1])
}

/// The reduced board along its way.
pub(super) fn reduced(stage: &Stage<'_>, damping: &Damping, way: &Way) -> Result<Reduced, SolveError> {
    let n = stage.shapes.len();
    let square = stage.shapes[0].rad_s.powi(2);
    let rows = way.amplitude.iter().map(|&q| vec![way.force.at(q, 0)[0] - square * q]).collect();
    let restoring = Curve::new(way.amplitude.clone(), rows).unwrap_or_default();
    let forces = way
        .states
        .iter()
        .zip(&way.amplitude)
        .map(|(state, &q)| {
            let pose = &state.pose;
            let load = stage.carried.forces(pose);
            let mut own = vec![way.flux_slope.at(q, 0)[0]];
            // The other shapes ride on the nodes' own rotation.
            own.extend(stage.shapes[1..].iter().map(|s| {
                let work = |((x, r), f): ((&Vector6<f64>, &nalgebra::Matrix3<f64>), &Vector6<f64>)| {
                    let moved: Vector3<f64> = r * x.fixed_rows::<3>(0);
                    let turned: Vector3<f64> = r * x.fixed_rows::<3>(3);
                    moved.dot(&f.fixed_rows::<3>(0)) + turned.dot(&f.fixed_rows::<3>(3))
                };
                s.motion.iter().zip(&pose.rotations).zip(&load).map(work).sum::<f64>()
            }));
            own
        })
        .collect();
    let shaken = |shape: &super::stage::Shape| {
        let push = |(x, m): (&Vector6<f64>, &f64)| -m * x[2];
        shape.motion.iter().zip(&stage.node_mass_kg).map(push).sum::<f64>()
    };
    Ok(Reduced {
        linear: linear(stage, damping),
        restoring,
        per_ampere: Curve::new(way.amplitude.clone(), forces).unwrap_or_default(),
        eddy: damping::eddy(stage, way)?,
        drag: Some(damping.drag.clone()),
        base: DVector::from_iterator(n, stage.shapes.iter().map(shaken)),
        angle: DVector::from_iterator(n, stage.shapes.iter().map(|s| s.lift)),
        supply: supply(stage),
    })
}
