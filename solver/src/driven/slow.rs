//! The drive at frequency zero: so slow that the flap is in balance with the current at every instant.
//!
//! In: the reduced board and its wave. Out: one cycle of balances as a row: no lag, no inertia, no damping. Absent:
//! balances beyond a pull-in, where the flap would leap.

use super::strain::Range;
use super::sweep::{Rows, Sample};
use crate::drive::{Force, Instant, Oscillator, Wave};
use crate::result::DriveRow;
use nalgebra::DVector;
use std::f64::consts::TAU;

/// Balances over a cycle.
const SAMPLES: u32 = 64;

/// Parts of the current by which the first balance is reached.
const PARTS: u32 = 32;

/// Harmonics of the wave.
const HARMONICS: usize = 15;

/// The cycle as a row with the strain ranges, or why there is none.
pub(super) fn slow(rows: &Rows<'_>, wave: Wave) -> Result<(DriveRow, Vec<Range>), String> {
    let input = |turn: f64| wave.offset + wave.amplitude * wave.form.series(turn, HARMONICS, 0.0);
    let lost = |ampere_or_volt: f64| {
        let per = if rows.stage.board.drive.voltage_v.is_some() { "V" } else { "A" };
        format!(
            "driven ever so slowly the flap has no stable balance at {ampere_or_volt:.4} {per}: it is pulled in, or leaps to another angle"
        )
    };
    let mut q = DVector::zeros(rows.system.size());
    q[0] = rows.way.at_angle(rows.way.rest_rad);
    for k in 0..=PARTS {
        let part = f64::from(k) / f64::from(PARTS) * input(0.0);
        q = balance(rows.system, q, part).ok_or_else(|| lost(part))?;
    }
    let mut cycle = Vec::new();
    for i in 0..SAMPLES {
        let turn = TAU * f64::from(i) / f64::from(SAMPLES);
        let input = input(turn);
        q = balance(rows.system, q, input).ok_or_else(|| lost(input))?;
        cycle.push(Sample { turn, v: DVector::zeros(q.len()), q: q.clone(), input });
    }
    let (row, ranges) = rows.over(&cycle);
    // A motion without lag may lie on either side of zero by rounding.
    let lag_rad = if TAU - row.lag_rad < 1e-6 { 0.0 } else { row.lag_rad };
    Ok((DriveRow { level: 1.0, asked: true, stable: Some(true), lag_rad, ..row }, ranges))
}

/// Stable balance near `q`; None where there is none.
fn balance(system: &dyn Oscillator, mut q: DVector<f64>, input: f64) -> Option<DVector<f64>> {
    const MOST: usize = 40;
    let still = vec![0.0; q.len()];
    let mut force = Force::zeros(q.len());
    let mut last = f64::INFINITY;
    for _ in 0..MOST {
        force.clear();
        system.force(&Instant { q: q.as_slice(), v: &still, input, base_m_s2: 0.0, swing: 0.0 }, &mut force);
        let linear = system.linear();
        let tangent = &linear.stiffness - &force.by_q;
        let off = &linear.stiffness * &q - &force.value;
        let change = tangent.clone().lu().solve(&off)?;
        q -= &change;
        let size = change.norm() / q.norm().max(f64::MIN_POSITIVE);
        if !size.is_finite() {
            return None;
        }
        if size < 1e-12 || change.norm() == 0.0 || (size < 1e-9 && size >= last) {
            // Positive definite: a small push brings it back.
            return ((&tangent + tangent.transpose()) * 0.5).cholesky().map(|_| q);
        }
        last = size;
    }
    None
}
