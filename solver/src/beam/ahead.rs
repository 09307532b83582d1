//! Where the next equilibrium of a frame will be, from the last two and how they move with the current.
//!
//! A cubic through both states with both slopes, in displacements and in rotation vectors about the last state: its
//! error falls with the fourth power of the step, so the pieces of an arm keep their length, which a step along the
//! tangent alone would stretch by the square of their spin.

use super::frame::Pose;
use crate::element::corotational::{exponential, logarithm, spin_to_vector};
use nalgebra::{Vector3, Vector6};
use std::ops::{Add, Mul};

/// Steps longer than this, in lengths of the last step, go along the tangent alone.
const FAR: f64 = 2.5;

/// An equilibrium with what moves it.
#[derive(Debug, Clone)]
pub(super) struct Known {
    /// Pose.
    pub pose: Pose,
    /// Current, A.
    pub amperes: f64,
    /// The parameter that is led: an angle, rad, or the current.
    pub lead: f64,
    /// Displacements and spins of the nodes, per unit of the lead.
    pub slope: Vec<Vector6<f64>>,
    /// Current per unit of the lead.
    pub amperes_slope: f64,
    /// Mode forces of the elements.
    pub forces: Vec<Vector6<f64>>,
    /// Their change per unit of the lead.
    pub forces_slope: Vec<Vector6<f64>>,
}

/// A place near equilibrium.
pub(super) struct Ahead {
    /// Pose.
    pub pose: Pose,
    /// Current, A.
    pub amperes: f64,
    /// Mode forces of the elements.
    pub forces: Vec<Vector6<f64>>,
}

/// The place near equilibrium at `lead`, by the last state and, if it helps, the one before.
pub(super) fn ahead(last: &Known, before: Option<&Known>, lead: f64) -> Ahead {
    let step = lead - last.lead;
    let mut pose = last.pose.clone();
    let back = |b: &&Known| {
        let length = (b.lead - last.lead).abs();
        length > 0.0 && step.abs() <= FAR * length
    };
    let Some(before) = before.filter(back) else {
        pose.step(&last.slope, step);
        let forces = last.forces.iter().zip(&last.forces_slope).map(|(f, s)| f + s * step).collect();
        return Ahead { pose, amperes: last.amperes + last.amperes_slope * step, forces };
    };
    let cubic = Cubic::new(before.lead - last.lead, step);
    for n in 0..pose.at_m.len() {
        let part = |k: &Known, row: usize| -> Vector3<f64> { k.slope[n].fixed_rows::<3>(row).into_owned() };
        let shift = before.pose.at_m[n] - last.pose.at_m[n];
        pose.at_m[n] += cubic.at(shift, part(last, 0), part(before, 0));
        let turn = logarithm(&(before.pose.turn[n] * last.pose.turn[n].transpose()));
        let slope = spin_to_vector(&turn) * part(before, 3);
        pose.turn[n] = exponential(&cubic.at(turn, part(last, 3), slope)) * last.pose.turn[n];
    }
    let shift = before.amperes - last.amperes;
    let amperes = last.amperes + cubic.at(shift, last.amperes_slope, before.amperes_slope);
    let force = |n: usize| {
        let own = last.forces[n];
        own + cubic.at(before.forces[n] - own, last.forces_slope[n], before.forces_slope[n])
    };
    Ahead { pose, amperes, forces: (0..last.forces.len()).map(force).collect() }
}

/// Shares of a value and two slopes in a cubic that is zero, with the slope `here`, at 0, and has `value` and `there` at `length`.
struct Cubic {
    value: f64,
    here: f64,
    there: f64,
}

impl Cubic {
    fn new(length: f64, at: f64) -> Self {
        // h' at + a at^2 + b at^3 with a length^2 + b length^3 = value - h' length, 2 a length + 3 b length^2 = t' - h'.
        let t = at / length;
        Self { value: 3.0 * t * t - 2.0 * t * t * t, here: at * (1.0 - t).powi(2), there: at * (t * t - t) }
    }

    fn at<T: Mul<f64, Output = T> + Add<Output = T>>(&self, value: T, here: T, there: T) -> T {
        value * self.value + here * self.here + there * self.there
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A state on a path whose parts are smooth functions of the lead.
    fn on_the_path(t: f64) -> Known {
        let vector = |f: [f64; 3]| Vector3::from(f);
        let at = vector([t.sin(), t.cos(), (0.7 * t).exp()]);
        let rate = vector([t.cos(), -t.sin(), 0.7 * (0.7 * t).exp()]);
        // A turn about x led by a turn about z: the spins add.
        let (a, b) = (0.9 * t + 0.3 * t * t, (1.3 * t).sin());
        let (da, db) = (0.9 + 0.6 * t, 1.3 * (1.3 * t).cos());
        let outer = exponential(&(Vector3::z() * b));
        let spin = Vector3::z() * db + outer * (Vector3::x() * da);
        let mut slope = Vector6::zeros();
        slope.fixed_rows_mut::<3>(0).copy_from(&rate);
        slope.fixed_rows_mut::<3>(3).copy_from(&spin);
        Known {
            pose: Pose { at_m: vec![at], turn: vec![outer * exponential(&(Vector3::x() * a))] },
            amperes: t.tan(),
            lead: t,
            slope: vec![slope],
            amperes_slope: 1.0 + t.tan().powi(2),
            forces: vec![Vector6::repeat((2.0 * t).cos())],
            forces_slope: vec![Vector6::repeat(-2.0 * (2.0 * t).sin())],
        }
    }

    /// Errors of place, turn, current and force at equal steps fall with the fourth power of the step; with one state alone
    /// with the second.
    #[test]
    fn error_falls_with_the_fourth_power_of_the_step() {
        let errors = |h: f64, two: bool| -> [f64; 4] {
            let (last, before, there) = (on_the_path(0.4), on_the_path(0.4 - h), on_the_path(0.4 + h));
            let found = ahead(&last, two.then_some(&before), 0.4 + h);
            [
                (found.pose.at_m[0] - there.pose.at_m[0]).norm(),
                logarithm(&(found.pose.turn[0] * there.pose.turn[0].transpose())).norm(),
                (found.amperes - there.amperes).abs(),
                (found.forces[0] - there.forces[0]).norm(),
            ]
        };
        for (two, order) in [(true, 4.0), (false, 2.0)] {
            let (coarse, fine) = (errors(0.02, two), errors(0.01, two));
            for (part, (c, f)) in coarse.iter().zip(fine).enumerate() {
                let seen = (c / f).log2();
                assert!((seen - order).abs() < 0.3, "part {part}, two states {two}: order {seen}");
            }
        }
    }
}
