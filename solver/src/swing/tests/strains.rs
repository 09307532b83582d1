//! Strain from equilibria, and small motion as the limit of large.

use super::*;
use crate::model::LoadCase;
use crate::recover::recover;
use crate::statics::Prepared;

/// Bending strain at the clamped end of the elastica: curvature times length 4.45004 at P L^2 / EI = 10 (elliptic
/// integrals).
#[test]
fn curvature_at_the_root_of_the_elastica() {
    let (length, h) = (10.0, 0.1);
    let mut gaps = Vec::new();
    for [nx, ny] in [[40, 4], [80, 8]] {
        let strip = Strip::new([length, 1.0], [nx, ny], vec![ply(-h / 2.0, h / 2.0, 1.2e4, 0.0)], 0.0);
        let load = strip.end_load(Vector6::new(0.0, 0.0, 0.1, 0.0, 0.0, 0.0));
        let loads: [&dyn MovingLoad; 1] = [&load];
        let mut path = Path::new(&strip.model, Loads { steady: &loads, driven: None }).unwrap();
        path.to_level(FULL).unwrap();
        let state = path.equilibrium().unwrap();
        let strains = recover(&strip.model, &state, 0.0);
        let node = ny / 2;
        let own = strains.zone_nodes.iter().find(|z| z.node == node).unwrap();
        // Lifting by +z bends the strip to negative kx = -w_xx.
        println!(
            "{nx}x{ny}: {} second {} mean {}",
            -own.strain[3] * length,
            -own.second[3] * length,
            -own.mean[3] * length
        );
        gaps.push((own.strain[3] * length / -4.45004 - 1.0).abs());
        assert!((own.second[3] * length / -4.45004 - 1.0).abs() < 2e-2, "second opinion");
        let stretch = strains.zone_nodes.iter().map(|z| z.strain[0].abs()).fold(0.0, f64::max);
        assert!(stretch < 2e-4, "membrane strain {stretch:e} beside bending strain 2.2e-2");
        assert!((0.5 * strains.energy / state.state.energy_j - 1.0).abs() < 1e-3, "energy of the strains");
    }
    assert!(gaps[0] < 1e-2 && gaps[1] < 0.6 * gaps[0] + 1e-4, "{gaps:?}");
}

#[test]
fn strain_does_not_feel_a_turn_of_the_whole_board() {
    let (length, h) = (10.0, 0.1);
    let run = |theta: Vector3<f64>| {
        let mut strip = Strip::new([length, 1.0], [12, 2], vec![ply(-h / 2.0, h / 2.0, 1.2e4, 0.3)], 0.2);
        for node in strip.column(0) {
            turn_with(&mut strip.model, node, theta);
        }
        let q = crate::element::corotational::exponential(&theta);
        let f = q * Vector3::new(0.0, 0.01, 0.05);
        let load = strip.end_load(Vector6::new(f[0], f[1], f[2], 0.0, 0.0, 0.0));
        let loads: [&dyn MovingLoad; 1] = [&load];
        let mut path = Path::new(&strip.model, Loads { steady: &loads, driven: None }).unwrap();
        path.to_level(SUPPORTS).unwrap();
        path.to_level(Level { steady: 1.0, ..SUPPORTS }).unwrap();
        recover(&strip.model, &path.equilibrium().unwrap(), 0.0)
    };
    let plain = run(Vector3::zeros());
    let turned = run(Vector3::new(-0.8, 1.1, 0.5));
    let size = plain.zone_nodes.iter().map(|z| z.strain.amax()).fold(0.0, f64::max);
    for (a, b) in plain.zone_nodes.iter().zip(&turned.zone_nodes) {
        assert!(
            (a.strain - b.strain).amax() < 1e-8 * size,
            "node {}: {} against {}",
            a.node,
            a.strain,
            b.strain
        );
        assert!((a.second - b.second).amax() < 1e-8 * size, "node {}: second opinion", a.node);
    }
}

/// Under a load so small that nothing turns, the answer is the linear one, strains too, on a strip whose single linear
/// solve is worth three digits.
#[test]
fn small_motion_is_the_linear_answer_on_a_long_thin_strip() {
    let plies = vec![ply(-30e-6, 20e-6, 4e9, 0.0), ply(20e-6, 50e-6, 117e9, 0.0)];
    let strip = Strip::new([100e-3, 0.2e-3], [500, 1], plies, 0.0);
    let load = strip.end_load(Vector6::new(0.0, 0.0, 1e-9, 0.0, 0.0, 0.0));
    let case = LoadCase { nodal: load.nodal.clone(), ..LoadCase::default() };
    let linear = Prepared::new(&strip.model).unwrap().solve(&[case]).unwrap().remove(0);
    let loads: [&dyn MovingLoad; 1] = [&load];
    let mut path = Path::new(&strip.model, Loads { steady: &loads, driven: None }).unwrap();
    let state = path.to_level(FULL).unwrap();
    let tip = strip.column(500).start;
    let (a, b) = (linear.displacement[tip as usize][2], path.displacement_m(tip)[2]);
    println!("tip {a:e} and {b:e}, first correction {:.1e}, {state:?}", linear.first_correction);
    assert!((b / a - 1.0).abs() < 1e-6, "tip {a} against {b}");
    let small = recover(&strip.model, &linear, 0.0);
    let large = recover(&strip.model, &path.equilibrium().unwrap(), 0.0);
    let size = small.zone_nodes.iter().map(|z| z.strain[3].abs()).fold(0.0, f64::max);
    for (a, b) in small.zone_nodes.iter().zip(&large.zone_nodes) {
        let gap = (a.strain[3] - b.strain[3]).abs();
        assert!(gap < 1e-5 * size, "node {}: curvature off by {:e}", a.node, gap / size);
    }
}

/// A long thin strip bent far: Newton's steps refine what a single solve cannot.
#[test]
fn a_long_thin_strip_bends_far_with_all_its_digits() {
    // Length over triangle size 1000. Exact: the elastica with D_eff = D - B^2 / A (nu = 0).
    // The plane of the unknowns lies at the neutral plane, where the load acts.
    let plies = vec![ply(-30e-6, 20e-6, 4e9, 0.0), ply(20e-6, 50e-6, 117e9, 0.0)];
    let (length, width) = (100e-3, 0.1e-3);
    let mut strip = Strip::new([length, width], [1000, 1], plies, 0.0);
    strip.model.laminates[0] = strip.model.laminates[0].shifted(strip.model.laminates[0].neutral_plane_m());
    let laminate = &strip.model.laminates[0];
    let d = (laminate.d[(0, 0)] - laminate.b[(0, 0)].powi(2) / laminate.a[(0, 0)]) * width;
    let load = strip.end_load(Vector6::new(0.0, 0.0, 2.0 * d / (length * length), 0.0, 0.0, 0.0));
    let loads: [&dyn MovingLoad; 1] = [&load];
    let mut path = Path::new(&strip.model, Loads { steady: &loads, driven: None }).unwrap();
    let state = path.to_level(FULL).unwrap();
    let tip = strip.tip(&path);
    println!("{tip:?} {state:?}, {} factorisations", path.factorisations());
    for (found, exact) in
        [(-tip[0] / length, 0.16064172), (tip[1] / length, 0.49345748), (tip[2], 0.78174983)]
    {
        assert!((found / exact - 1.0).abs() < 1e-6, "{found} against {exact}");
    }
}
