//! The refinement loop on a strip whose deflection is known, without any solve.

use super::*;
use crate::recover::tests::{grid, sheet};
use copperbend_mesh::board::LayerId;
use nalgebra::Vector6;
use std::f64::consts::TAU;

const LENGTH: f64 = 4.0;
const THICKNESS: f64 = 0.02;

/// A strip bent to one cosine wave; the grid is as fine as the finest wish. Peak curvature (2 pi / L)^2.
fn wave(extra: &[SizeSource], thickness: f64) -> Trial<usize> {
    let side = extra.iter().map(|source| source.size_m).fold(0.5, f64::min);
    let across = (1..400).find(|&n| 1.0 / f64::from(n) <= side).unwrap_or(400);
    let side = 1.0 / f64::from(across);
    let mut model = grid(4 * across, across, side, |_, _| true);
    model.laminates = vec![sheet(0, -0.5 * thickness, 0.5 * thickness, 1.0)];
    let turn = TAU / LENGTH;
    let displacement = model
        .nodes_m
        .iter()
        .map(|p| {
            let x = p[0] - 0.3;
            Vector6::new(0.0, 0.0, (turn * x).cos(), 0.0, turn * (turn * x).sin(), 0.0)
        })
        .collect();
    let triangles = (0..u32::try_from(model.triangles.len()).unwrap()).collect();
    let trace =
        Trace { name: "strip".into(), layer: Some(LayerId(0)), triangles, ranked: true, ..Trace::default() };
    Trial {
        solution: Solution { displacement, ..Solution::default() },
        model,
        thermal_factor: 0.0,
        traces: vec![trace],
        extra: extra.len(),
    }
}

fn run(thickness: f64, options: &SettleOptions) -> Settled<usize> {
    settle(&mut |extra| Ok(wave(extra, thickness)), options, &mut |_| true)
        .expect("the wave settles or stops")
}

#[test]
fn smooth_peak_settles_and_its_uncertainty_covers_the_error() {
    let settled = run(THICKNESS, &SettleOptions::default());
    let exact = (TAU / LENGTH).powi(2) * 0.5 * THICKNESS;
    let top = &settled.spots[0];
    let off = (top.strain.abs() - exact).abs();
    assert_eq!(settled.outcome, Outcome::Settled, "rounds {:?}", settled.rounds);
    assert!(off <= top.uncertainty, "off {off:.3e}, stated {:.3e}", top.uncertainty);
    assert!(top.uncertainty <= 0.03 * exact, "stated {:.3e} of {exact:.3e}", top.uncertainty);
    assert!(settled.rounds.len() <= 5, "rounds {:?}", settled.rounds);
    assert_eq!(
        settled.sources.len(),
        settled.trial.extra,
        "the last mesh was made from the sources returned"
    );
}

#[test]
fn refinement_stops_on_request() {
    let stopped =
        settle(&mut |extra| Ok(wave(extra, THICKNESS)), &SettleOptions::default(), &mut |r| r.number == 0);
    assert_eq!(stopped.err(), Some(SolveError::Cancelled), "stopped after the second mesh");
}

#[test]
fn error_of_a_build_ends_the_loop() {
    let fault = SolveError::NotHeld { what: "the strip".into() };
    let stopped = settle::<()>(&mut |_| Err(fault.clone()), &SettleOptions::default(), &mut |_| true);
    assert_eq!(stopped.err(), Some(fault.clone()), "the error is handed on");
}

#[test]
fn every_limit_is_stated() {
    let strict = SettleOptions { tolerance: 1e-7, ..SettleOptions::default() };
    let few = run(THICKNESS, &SettleOptions { max_refinements: 1, ..strict });
    assert_eq!(few.outcome, Outcome::RefinementLimit, "rounds {:?}", few.rounds);
    let small = run(THICKNESS, &SettleOptions { max_triangles: 80, ..strict });
    assert_eq!(small.outcome, Outcome::TriangleLimit, "rounds {:?}", small.rounds);
    let thick = run(0.4, &SettleOptions { energy_error: 1.0, ..strict });
    assert_eq!(thick.outcome, Outcome::ThicknessLimit, "rounds {:?}", thick.rounds);
    let mut nothing = |extra: &[SizeSource]| Ok(Trial { traces: Vec::new(), ..wave(extra, THICKNESS) });
    let none = settle(&mut nothing, &strict, &mut |_| true).expect("a mesh without copper");
    assert_eq!(none.outcome, Outcome::NoSpots, "no trace, no spot");
}
