//! The beam element against its own energy, rigid motion and bodies of known inertia.

use super::*;
use crate::element::corotational::exponential;
use nalgebra::Matrix4;

fn element(coupling: f64) -> BeamElement {
    // A coupled section: pull with bending, bending with twist.
    let stiffness = Matrix4::new(
        90.0,
        coupling,
        -2.0 * coupling,
        0.4 * coupling,
        coupling,
        5.0,
        0.2,
        0.3 * coupling,
        -2.0 * coupling,
        0.2,
        30.0,
        0.1,
        0.4 * coupling,
        0.3 * coupling,
        0.1,
        3.0,
    );
    let at = |place, weight| SectionAt {
        place,
        weight,
        compliance: stiffness.try_inverse().expect("definite"),
        free: Vector4::new(1e-3, 0.02, -0.01, 0.03),
    };
    let rule = [
        at(0.112_701_665_379_258_3, 5.0 / 18.0),
        at(0.5, 4.0 / 9.0),
        at(0.887_298_334_620_741_7, 5.0 / 18.0),
    ];
    let turn = exponential(&Vector3::new(0.3, -0.5, 0.8));
    let mass = SectionMass { mass: 2.0, first: [0.1, -0.05], second: [0.4, 0.1, 0.02] };
    BeamElement::new(1.3, turn, &rule, &mass).expect("stiff")
}

/// Ends, rotations after a motion and small changes by (displacement, spin) of both ends.
fn pose(e: &BeamElement, change: &Vector12) -> MovedBeam {
    let along: Vector3<f64> = e.triad.row(0).transpose() * e.length_m;
    let whole = exponential(&Vector3::new(1.2, 0.4, -0.7));
    let ends = [Vector3::new(0.02, 0.01, -0.03), whole * along + Vector3::new(0.05, -0.03, 0.04)];
    let own = [
        exponential(&Vector3::new(0.1, -0.2, 0.15)) * whole,
        exponential(&Vector3::new(-0.2, 0.1, 0.25)) * whole,
    ];
    let part = |i: usize| change.fixed_rows::<3>(3 * i).into_owned();
    let moved = [exponential(&part(1)) * own[0], exponential(&part(3)) * own[1]];
    MovedBeam::new(e, [ends[0] + part(0), ends[1] + part(2)], [&moved[0], &moved[1]]).expect("no collapse")
}

#[test]
fn force_is_the_gradient_of_the_energy_and_the_tangent_that_of_the_force() {
    let e = element(2.0);
    let (force, tangent) = e.force_and_tangent(&pose(&e, &Vector12::zeros()), 0.7);
    let step = 1e-5;
    for i in 0..12 {
        let mut change = Vector12::zeros();
        change[i] = step;
        let (up, down) = (pose(&e, &change), pose(&e, &-change));
        let slope = (e.energy(&up, 0.7) - e.energy(&down, 0.7)) / (2.0 * step);
        assert!((slope - force[i]).abs() < 1e-7 * force.norm(), "force {i}: {} against {slope}", force[i]);
        let column = (e.force_and_tangent(&up, 0.7).0 - e.force_and_tangent(&down, 0.7).0) / (2.0 * step);
        let miss = (column - tangent.column(i)).norm();
        assert!(miss < 1e-6 * tangent.norm(), "tangent column {i}: off by {miss} of {}", tangent.norm());
    }
}

/// Mode forces foretold for a small motion of the ends differ from those reached by the square of the motion; other
/// forces in the tangent change it, but not the force.
#[test]
fn foretold_forces_are_first_order() {
    let e = element(2.0);
    let start = pose(&e, &Vector12::zeros());
    let way = Vector12::from_fn(|i, _| 0.02 * ((3 * i + 1) as f64).sin());
    let miss = |by: f64| {
        let reached = e.mode_forces(&pose(&e, &(way * by)), 0.7);
        (e.mode_forces(&start, 0.7) + e.change_of_forces(&start, &(way * by)) - reached).norm()
    };
    let order = (miss(1.0) / miss(0.5)).log2();
    assert!((order - 2.0).abs() < 0.15, "order {order}");
    let own = e.mode_forces(&start, 0.7);
    let (force, ahead, tangent) = e.pull(&start, &own, &(own * 2.0));
    assert!((ahead - force * 2.0).norm() < 1e-12 * force.norm(), "twice the mode forces");
    let (same, true_tangent) = e.force_and_tangent(&start, 0.7);
    assert!((same - force).norm() == 0.0, "the force is that of the present motion");
    // The parts that turn forces are linear in them.
    let (.., none) = e.pull(&start, &own, &Vector6::zeros());
    let off = (tangent - true_tangent) - (true_tangent - none);
    assert!(off.norm() < 1e-12 * true_tangent.norm(), "{}", off.norm());
}

#[test]
fn rigid_motion_makes_no_force() {
    let mut e = element(2.0);
    e.free = Vector6::zeros();
    let turn = exponential(&Vector3::new(-2.0, 0.9, 1.4));
    let along: Vector3<f64> = e.triad.row(0).transpose() * e.length_m;
    let start = Vector3::new(4.0, -2.0, 1.0);
    let moved = MovedBeam::new(&e, [start, start + turn * along], [&turn, &turn]).expect("no collapse");
    let (force, _) = e.force_and_tangent(&moved, 1.0);
    assert!(force.norm() < 1e-12 * e.stiffness.norm(), "{force}");
}

/// Total mass and moment of inertia of a rigid rotation.
#[test]
fn mass_of_rigid_motions_is_that_of_the_body() {
    let e = element(0.0);
    let mut shift = Vector12::zeros();
    (shift[1], shift[7]) = (1.0, 1.0);
    assert!((shift.dot(&(e.mass * shift)) / (2.0 * 1.3) - 1.0).abs() < 1e-12, "translation");
    // Rotation about y through the first end: w = -x, plus the sections' own.
    let mut turn = Vector12::zeros();
    (turn[4], turn[10], turn[8]) = (1.0, 1.0, -1.3);
    let expected = 2.0 * 1.3_f64.powi(3) / 3.0 + 0.1 * 1.3;
    let found = turn.dot(&(e.mass * turn));
    assert!((found / expected - 1.0).abs() < 1e-12, "rotation {found} against {expected}");
}
