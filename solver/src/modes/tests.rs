//! Modes against plates of the literature, a dense solution, their own mesh, and about loaded states.

use super::*;
use crate::freedoms::Freedoms;
use crate::laminate::{Laminate, Ply, isotropic_q};
use crate::model::LoadCase;
use crate::statics::Prepared;
use crate::swing::{DeadLoad, Level, Loads, MovingLoad};
use copperbend_mesh::board::LayerId;
use nalgebra::{Matrix6, Vector3};
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
    Model::plate([0.0; 2], [length, width], [nx, ny].map(|n| u32::try_from(n).unwrap()), vec![ply])
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
    let plate = plate(a, a, t, [20, 20], NU);
    let found = modes(&plate, &ModeWishes { count: 14, lift, ..ModeWishes::default() }).unwrap();
    // Six motions of the rigid body first, named.
    for mode in &found.modes[..6] {
        assert!(mode.eigenvalue.abs() < 1e-3 * lift, "rigid motion: {}", mode.eigenvalue);
        let name = rigid_motion(&plate, mode, lift).unwrap();
        assert!(name.starts_with("rigid motion, mostly "), "{name}");
    }
    assert_eq!(rigid_motion(&plate, &found.modes[6], lift), None, "an elastic mode");
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

/// A strip of 30 by 3 by 0.08 mm, modulus 5e9 Pa, nu 0.34, density 1800, clamped at x = 0, under dead forces at its free end.
fn bent_arm(cells: [usize; 2], force: [f64; 3]) -> (Model, DeadLoad) {
    let mut model = clamped(plate(0.03, 0.003, 8e-5, cells, 0.34), cells[1]);
    let ply =
        Ply { q_pa: isotropic_q(5e9, 0.34), density_kg_m3: 1800.0, ..model.laminates[0].plies[0].clone() };
    model.laminates = vec![Laminate::new(vec![ply])];
    let mut nodal = vec![Vector6::zeros(); model.nodes_m.len()];
    let n = nodal.len();
    let side = 1.0 / cells[1] as f64;
    for (j, node) in (n - cells[1] - 1..n).enumerate() {
        let share = if j == 0 || j == cells[1] { 0.5 * side } else { side };
        nodal[node].fixed_rows_mut::<3>(0).copy_from(&(Vector3::from(force) * share));
    }
    (model, DeadLoad { nodal })
}

/// `E I / L^2` of the arm, N.
fn unit_force() -> f64 {
    5e9 * 0.003 * 8e-5f64.powi(3) / 12.0 / 0.03f64.powi(2)
}

#[test]
fn modes_of_a_bent_arm_are_those_about_the_bent_state() {
    // 60 x 6 rectangles, an independent prototype of the same theory in another language; second mode at 90 Hz has no
    // counterpart in the flat arm.
    for (k, angle_deg, exact) in
        [(5.0, 68.42, [39.183, 89.68, 152.55]), (10.0, 81.25, [49.821, 89.14, 164.05])]
    {
        let (model, load) = bent_arm([60, 6], [0.0, 0.0, k * unit_force()]);
        let steady: [&dyn MovingLoad; 1] = [&load];
        let mut path = Path::new(&model, Loads { steady: &steady, driven: None }).unwrap();
        path.to_level(Level { steady: 1.0, ..Level::default() }).unwrap();
        let tip = path.pose().rotations.last().unwrap().column(0).into_owned();
        assert!((tip[2].atan2(tip[0]).to_degrees() - angle_deg).abs() < 0.1, "tip at {tip}");
        let found = modes_about(&mut path, &ModeWishes { count: 5, ..ModeWishes::default() }).unwrap();
        for (mode, exact) in found.modes.iter().zip(exact) {
            assert!(
                (mode.frequency_hz / exact - 1.0).abs() < 5e-3,
                "k {k}: {} against {exact}",
                mode.frequency_hz
            );
            assert!(mode.residual < 1e-8, "residual {}", mode.residual);
        }
        assert_eq!(found.unstable, 0, "a stable state");
    }
}

#[test]
fn a_path_at_rest_has_the_modes_of_the_model_at_rest() {
    let (model, load) = bent_arm([20, 2], [0.0; 3]);
    let steady: [&dyn MovingLoad; 1] = [&load];
    let mut path = Path::new(&model, Loads { steady: &steady, driven: None }).unwrap();
    let wishes = ModeWishes { count: 6, ..ModeWishes::default() };
    let (bent, flat) = (modes_about(&mut path, &wishes).unwrap(), modes(&model, &wishes).unwrap());
    for (a, b) in bent.modes.iter().zip(&flat.modes) {
        assert!(
            (a.frequency_hz / b.frequency_hz - 1.0).abs() < 1e-8,
            "{} {}",
            a.frequency_hz,
            b.frequency_hz
        );
    }
}

#[test]
fn a_column_past_buckling_is_told_and_is_no_error() {
    // Clamped-free column under a dead axial force p E I / L^2, exact characteristic equation (Bokaian 1990): at p = -1
    // omega L^2 sqrt(m/EI) = 2.7536249; Euler's load is at pi^2 / 4.
    let run = |p: f64| {
        let (mut model, load) = bent_arm([40, 2], [p * unit_force(), 0.0, 0.0]);
        // nu = 0: a beam.
        let ply = Ply { q_pa: isotropic_q(5e9, 0.0), ..model.laminates[0].plies[0].clone() };
        model.laminates = vec![Laminate::new(vec![ply])];
        let steady: [&dyn MovingLoad; 1] = [&load];
        let mut path = Path::new(&model, Loads { steady: &steady, driven: None }).unwrap();
        path.to_level(Level { steady: 1.0, ..Level::default() }).unwrap();
        modes_about(&mut path, &ModeWishes { count: 4, ..ModeWishes::default() }).unwrap()
    };
    let number = |f: f64| {
        let m = 1800.0 * 0.003 * 8e-5;
        TAU * f * 0.03 * 0.03 * (m / (unit_force() * 0.03 * 0.03)).sqrt()
    };
    let own = number(run(-1.0).modes[0].frequency_hz);
    assert!((own / 2.753_624_9 - 1.0).abs() < 5e-3, "{own}");
    let past = run(-3.0);
    assert_eq!(past.unstable, 1, "one way to give way");
    let first = &past.modes[0];
    assert!(first.eigenvalue < 0.0 && first.frequency_hz == 0.0, "{}", first.eigenvalue);
    assert!(past.modes[1].eigenvalue > 0.0, "the rest is stable");
    let tip = first.shape.last().unwrap();
    assert!(tip[2].abs() > 100.0 * tip[0].abs(), "it bends: {tip}");
    assert_eq!(past.counted.map(|[below, known]| below == known), Some(true), "none missed");
}

#[test]
fn two_equal_arms_have_every_frequency_twice() {
    let one = clamped(plate(0.03, 0.003, 8e-5, [16, 2], NU), 2);
    let n = u32::try_from(one.nodes_m.len()).unwrap();
    let mut both = one.clone();
    both.nodes_m.extend(one.nodes_m.iter().map(|p| [p[0], p[1] + 0.01, p[2]]));
    both.triangles.extend(one.triangles.iter().map(|t| t.map(|node| node + n)));
    both.laminate_of.extend(&one.laminate_of);
    both.freedoms = Freedoms::free(both.nodes_m.len());
    for j in 0..=2 {
        both.freedoms.clamp(j);
        both.freedoms.clamp(n + j);
    }
    let single = modes(&one, &ModeWishes { count: 6, ..ModeWishes::default() }).unwrap();
    let double = modes(&both, &ModeWishes { count: 12, ..ModeWishes::default() }).unwrap();
    for (i, mode) in double.modes.iter().enumerate() {
        let exact = single.modes[i / 2].frequency_hz;
        assert!((mode.frequency_hz / exact - 1.0).abs() < 1e-7, "{i}: {} against {exact}", mode.frequency_hz);
    }
}

#[test]
fn air_lowers_frequencies_by_its_share_of_the_mass() {
    let model = clamped(plate(0.03, 0.003, 8e-5, [30, 3], NU), 3);
    let own = DENSITY * 8e-5;
    let air = vec![0.05 * own; model.triangles.len()];
    let vacuum = modes(&model, &ModeWishes { count: 3, ..ModeWishes::default() }).unwrap();
    let wishes = ModeWishes { count: 3, air_kg_m2: &air, ..ModeWishes::default() };
    let found = modes(&model, &wishes).unwrap();
    // Bending: all mass moves normal to the plate but a hair of rotary inertia.
    let (a, b) = (&found.modes[0], &vacuum.modes[0]);
    assert!(
        (a.frequency_hz / b.frequency_hz - 1.05f64.powf(-0.5)).abs() < 1e-5,
        "{} {}",
        a.frequency_hz,
        b.frequency_hz
    );
    assert!((a.air_share - 0.05 / 1.05).abs() < 1e-4, "{}", a.air_share);
    assert!((a.vacuum_hz() / b.frequency_hz - 1.0).abs() < 1e-6, "{}", a.vacuum_hz());
    let error = modes(&model, &ModeWishes { air_kg_m2: &air[1..], ..wishes }).unwrap_err();
    assert!(error.to_string().contains("per triangle"), "{error}");
}

#[test]
fn static_answers_come_from_the_same_factor() {
    let (model, load) = bent_arm([12, 2], [0.0, 0.0, 1e-3]);
    let exact = Prepared::new(&model).unwrap();
    let case = LoadCase { nodal: load.nodal.clone(), ..LoadCase::default() };
    let exact = exact.solve(&[case]).unwrap().pop().unwrap().displacement;
    let modal = Modal::at_rest(&model, &ModeWishes { count: 4, ..ModeWishes::default() }).unwrap();
    let size = |x: &[Vector6<f64>]| x.iter().map(Vector6::norm_squared).sum::<f64>().sqrt();
    let own = modal.response(&load.nodal).unwrap();
    let off: Vec<_> = own.iter().zip(&exact).map(|(a, b)| a - b).collect();
    assert!(size(&off) < 1e-8 * size(&exact), "{:e}", size(&off) / size(&exact));
    let left = size(&modal.static_correction(&load.nodal).unwrap()) / size(&exact);
    assert!(left > 1e-6 && left < 0.2, "what four modes leave out: {left}");
    // With every mode next to nothing is left: the share of local turns that have almost no inertia.
    let all =
        Modal::at_rest(&model, &ModeWishes { count: 1000, prove: false, ..ModeWishes::default() }).unwrap();
    let rest = size(&all.static_correction(&load.nodal).unwrap()) / size(&exact);
    assert!(rest < 1e-2 * left && rest < 1e-5, "{} modes leave {rest}, four {left}", all.modes.modes.len());
    assert!(modal.response(&load.nodal[1..]).is_err(), "loads of another model");
}

#[test]
fn products_by_triangles_are_those_of_the_assembled_tangent() {
    // A bent arm with a rigid piece at its end and a moment that turns with it: every part of the tangent acts. Modes from
    // either product agree, and the residual of the assembled one is told by the other.
    let (mut model, load) = bent_arm([20, 2], [0.0, 0.0, 4.0 * unit_force()]);
    let n = model.nodes_m.len();
    let end: Vec<u32> =
        (0..n).filter(|&i| model.nodes_m[i][0] > 0.026).map(|i| u32::try_from(i).unwrap()).collect();
    let nodes = model.nodes_m.clone();
    model.freedoms.tie(&nodes, &end, [0.03, 0.0015, 0.0]);
    let steady: [&dyn MovingLoad; 1] = [&load];
    let mut path = Path::new(&model, Loads { steady: &steady, driven: None }).unwrap();
    path.to_level(Level { steady: 1.0, ..Level::default() }).unwrap();
    let tangent = path.tangent().unwrap();
    let modal = Modal::about(&mut path, &ModeWishes { count: 4, ..ModeWishes::default() }).unwrap();
    assert!(modal.modes.modes.iter().all(|m| m.residual < 1e-9), "{:?}", modal.modes.modes[0].residual);
    // Work of the tangent on a mode is its eigenvalue.
    let unknowns = crate::assemble::unknowns(&model).unwrap();
    assert_eq!(unknowns.len(), tangent.nrows(), "the same unknowns");
    let quotient = modal.modes.modes[0].eigenvalue;
    let load = vec![Vector6::new(0.0, 0.0, 1e-3, 0.0, 0.0, 0.0); n];
    let x = modal.response(&load).unwrap();
    let least: f64 = x.iter().zip(&load).map(|(x, f)| x.dot(f)).sum();
    let by_modes: f64 =
        modal.modal_load(&load).iter().zip(&modal.modes.modes).map(|(f, m)| f * f / m.eigenvalue).sum();
    assert!(
        quotient > 0.0 && by_modes <= least * (1.0 + 1e-9) && by_modes > 0.98 * least,
        "{by_modes} of {least}"
    );
}
