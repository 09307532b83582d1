//! Modes against plates of the literature, a dense solution, and their own mesh.

use super::*;
use crate::freedoms::Freedoms;
use crate::laminate::{Laminate, Ply, isotropic_q};
use copperbend_mesh::board::LayerId;
use nalgebra::Vector3;
use std::f64::consts::TAU;

const E_PA: f64 = 70e9;
const NU: f64 = 0.3;
const DENSITY: f64 = 2700.0;

/// A plate of `length` x `width` on an alternating grid, free all around.
fn plate(length: f64, width: f64, t: f64, [nx, ny]: [usize; 2], nu: f64) -> Model {
    let ply = Ply {
        layer: LayerId(0),
        z0_m: -0.5 * t,
        z1_m: 0.5 * t,
        q_pa: isotropic_q(E_PA, nu),
        expansion_per_k: Vector3::zeros(),
        density_kg_m3: DENSITY,
        heating_k: 0.0,
        sliding: false,
    };
    let mut model = Model { laminates: vec![Laminate::new(vec![ply])], ..Model::default() };
    for i in 0..=nx {
        for j in 0..=ny {
            let [x, y] = [i as f64 / nx as f64, j as f64 / ny as f64];
            model.nodes_m.push([length * x, width * y, 0.0]);
        }
    }
    let at = |i: usize, j: usize| u32::try_from(i * (ny + 1) + j).unwrap();
    for i in 0..nx {
        for j in 0..ny {
            let [a, b, c, d] = [at(i, j), at(i + 1, j), at(i + 1, j + 1), at(i, j + 1)];
            let pair = if (i + j) % 2 == 0 { [[a, b, c], [a, c, d]] } else { [[a, b, d], [b, c, d]] };
            model.triangles.extend(pair);
        }
    }
    model.laminate_of = vec![0; model.triangles.len()];
    model.freedoms = Freedoms::free(model.nodes_m.len());
    model
}

fn clamped(mut model: Model, ny: usize) -> Model {
    for j in 0..=ny {
        model.freedoms.clamp(u32::try_from(j).unwrap());
    }
    model
}

/// `omega a^2 sqrt(rho h / D)` of the modes that move out of the plane.
fn plate_numbers(found: &Modes, a: f64, t: f64) -> Vec<f64> {
    let d = E_PA * t.powi(3) / (12.0 * (1.0 - NU * NU));
    let bends = |mode: &&Mode| {
        let out: f64 = mode.shape.iter().map(|s| s[2] * s[2]).sum();
        let within: f64 = mode.shape.iter().map(|s| s[0] * s[0] + s[1] * s[1]).sum();
        out > within
    };
    let number = |mode: &Mode| TAU * mode.frequency_hz * a * a * (DENSITY * t / d).sqrt();
    found.modes.iter().filter(bends).map(number).collect()
}

#[test]
fn cantilever_plates_agree_with_quintic_values() {
    // Square: quintic finite elements (Argyris), recomputed; other plates: the same table, 1 % (converged Ritz values).
    let found = modes(
        &clamped(plate(0.1, 0.1, 1e-3, [16, 16], NU), 16),
        &ModeWishes { count: 6, ..ModeWishes::default() },
    )
    .unwrap();
    let numbers = plate_numbers(&found, 0.1, 1e-3);
    for (own, exact) in numbers.iter().zip([3.4715, 8.5081, 21.288, 27.199]) {
        assert!((own / exact - 1.0).abs() < 1e-3, "{own:.4} against {exact}");
    }
    assert_eq!(found.counted.map(|[below, known]| below == known), Some(true), "none missed");
    assert!(found.modes.iter().all(|m| m.residual < 1e-8), "settled");
    let unit: f64 = found.modes[0].shape.iter().map(|s| s[2] * s[2]).sum();
    assert!(unit > 0.0, "a shape");
}

#[test]
fn frequencies_converge_with_the_square_of_the_triangle_size() {
    let first = |n: usize| {
        let model = clamped(plate(0.1, 0.1, 1e-3, [n, n], NU), n);
        let wishes = ModeWishes { count: 4, ..ModeWishes::default() };
        plate_numbers(&modes(&model, &wishes).unwrap(), 0.1, 1e-3)[1]
    };
    // Exact value of the twisting mode: Ritz with many terms, recomputed.
    let error = |n| (first(n) - 8.50706f64).abs();
    let order = (error(8) / error(16)).log2();
    assert!(order > 1.6, "observed order {order:.2}");
}

#[test]
fn free_square_plate_agrees_with_the_benchmark() {
    // NAFEMS, The Standard NAFEMS Benchmarks (1990), FV12: frequency parameters of a free thin square plate.
    let (a, t) = (10.0, 0.05);
    let lift = (TAU * 0.5).powi(2);
    let found = modes(&plate(a, a, t, [20, 20], NU), &ModeWishes { count: 14, lift, prove: true }).unwrap();
    // Six motions of the rigid body first.
    for mode in &found.modes[..6] {
        assert!(mode.eigenvalue.abs() < 1e-3 * lift, "rigid motion: {}", mode.eigenvalue);
    }
    let d = E_PA * t.powi(3) / (12.0 * (1.0 - NU * NU));
    let numbers: Vec<f64> =
        found.modes[6..].iter().map(|m| TAU * m.frequency_hz * a * a * (DENSITY * t / d).sqrt()).collect();
    for (own, exact) in
        numbers.iter().zip([13.46820, 19.59614, 24.27020, 34.80090, 34.80090, 61.09324, 61.09324, 63.68621])
    {
        assert!((own / exact - 1.0).abs() < 5e-3, "{own:.4} against {exact}");
    }
    assert!((numbers[3] / numbers[4] - 1.0).abs() < 5e-3, "a pair of equal modes");
}

#[test]
fn strip_agrees_with_the_beam_and_a_glued_mass_lowers_it() {
    // Euler-Bernoulli: beta L = 1.87510407, 4.69409113, 7.85475744; with a tip mass of m L: 1.2479174.
    let (length, width, t) = (0.03, 0.003, 8e-5);
    let mut model = clamped(plate(length, width, t, [60, 4], 0.0), 4);
    let ei = E_PA * width * t.powi(3) / 12.0;
    let per_length = DENSITY * width * t;
    let beam = |beta: f64| beta.powi(2) / length.powi(2) * (ei / per_length).sqrt() / TAU;
    let bending = |found: &Modes| -> Vec<f64> {
        let up = |m: &&Mode| {
            let tip = &m.shape[m.shape.len() - 5..];
            tip.iter().map(|s| s[2]).sum::<f64>().abs() > 2.5 * (tip[0][2] - tip[4][2]).abs()
        };
        found.modes.iter().filter(up).map(|m| m.frequency_hz).collect()
    };
    let found = bending(&modes(&model, &ModeWishes { count: 6, ..ModeWishes::default() }).unwrap());
    for (own, beta) in found.iter().zip([1.875_104_07, 4.694_091_13, 7.854_757_44]) {
        assert!((own / beam(beta) - 1.0).abs() < 2e-3, "{own} against {}", beam(beta));
    }
    let last = model.nodes_m.len();
    for node in last - 5..last {
        let mut mass = Matrix6::zeros();
        mass.fixed_view_mut::<3, 3>(0, 0).fill_with_identity();
        model.node_mass.push((u32::try_from(node).unwrap(), mass * (per_length * length / 5.0)));
    }
    let loaded = bending(&modes(&model, &ModeWishes { count: 4, ..ModeWishes::default() }).unwrap());
    assert!(
        (loaded[0] / beam(1.247_917_4) - 1.0).abs() < 2e-3,
        "{} against {}",
        loaded[0],
        beam(1.247_917_4)
    );
}

#[test]
fn more_modes_than_freedoms_gives_all_there_are() {
    let model = clamped(plate(0.01, 0.01, 1e-4, [1, 1], NU), 1);
    let found = modes(&model, &ModeWishes { count: 50, ..ModeWishes::default() }).unwrap();
    // Two free nodes; drilling alone of all corners moves nothing, so at most twelve.
    assert!((8..=12).contains(&found.modes.len()), "{} modes", found.modes.len());
}

#[test]
fn a_free_body_is_named_and_a_massless_one_refused() {
    let loose = plate(0.01, 0.01, 1e-4, [2, 2], NU);
    let error = modes(&loose, &ModeWishes::default()).unwrap_err();
    assert!(matches!(error, SolveError::NotHeld { .. }), "{error}");
    let mut model = clamped(plate(0.01, 0.01, 1e-4, [2, 2], NU), 2);
    model.laminates[0].mass = [0.0; 3];
    let error = modes(&model, &ModeWishes::default()).unwrap_err();
    assert!(error.to_string().contains("no mass"), "{error}");
}

#[test]
fn a_rigid_flap_swings_about_its_arm() {
    // Outer half tied to one rigid piece: the tied model is the limit of a very stiff one.
    let [nx, ny] = [24, 4];
    let base = clamped(plate(0.03, 0.004, 8e-5, [nx, ny], NU), ny);
    let outer: Vec<u32> = (0..base.nodes_m.len())
        .filter(|&i| base.nodes_m[i][0] > 0.015 - 1e-9)
        .map(|i| u32::try_from(i).unwrap())
        .collect();
    let mut rigid = base.clone();
    rigid.freedoms.tie(&rigid.nodes_m, &outer, [0.02, 0.002, 0.0]);
    let mut stiff = base;
    let soft = stiff.laminates[0].clone();
    let mut hard = soft.clone();
    for m in [&mut hard.a, &mut hard.b, &mut hard.d] {
        *m *= 1e4;
    }
    stiff.laminates.push(hard);
    for (triangle, laminate) in stiff.triangles.iter().zip(&mut stiff.laminate_of) {
        if triangle.iter().all(|n| outer.contains(n)) {
            *laminate = 1;
        }
    }
    let run = |m: &Model| modes(m, &ModeWishes { count: 3, ..ModeWishes::default() }).unwrap();
    let (a, b) = (run(&rigid), run(&stiff));
    for (a, b) in a.modes.iter().zip(&b.modes) {
        assert!(
            (a.frequency_hz / b.frequency_hz - 1.0).abs() < 2e-3,
            "{} and {}",
            a.frequency_hz,
            b.frequency_hz
        );
    }
}
