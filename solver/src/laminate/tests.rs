//! Stacks against printed and recomputed figures of the literature.

use super::*;

fn ply(z: [f64; 2], q_pa: Matrix3<f64>, alpha: f64, heating_k: f64) -> Ply {
    Ply {
        layer: LayerId(0),
        z0_m: z[0],
        z1_m: z[1],
        q_pa,
        expansion_per_k: Vector3::new(alpha, alpha, 0.0),
        density_kg_m3: 1000.0,
        heating_k,
        sliding: false,
    }
}

fn near(value: f64, target: f64, tolerance: f64, what: &str) {
    assert!((value / target - 1.0).abs() < tolerance, "{what}: {value} against {target}");
}

#[test]
fn two_isotropic_plies_have_the_reference_stiffness() {
    // Independent evaluation in 40 digits; N, mm, MPa.
    let l = Laminate::new(vec![
        ply([-0.030, 0.020], isotropic_q(4000.0, 0.30), 20e-6, 1.0),
        ply([0.020, 0.055], isotropic_q(117_000.0, 0.34), 17e-6, 1.0),
    ]);
    let figures = [
        (l.a[(0, 0)], 4850.038022),
        (l.a[(0, 1)], 1640.221719),
        (l.a[(2, 2)], 1604.908152),
        (l.b[(0, 0)], 172.5357665),
        (l.b[(0, 1)], 58.70611664),
        (l.b[(2, 2)], 56.91482491),
        (l.d[(0, 0)], 7.035254236),
        (l.d[(0, 1)], 2.389935158),
        (l.d[(2, 2)], 2.322659539),
        (l.thermal_n[0], 0.1111915584),
        (l.thermal_n[1], 0.1111915584),
        (l.thermal_m[0], 0.003926826299),
        (l.thermal_m[1], 0.003926826299),
    ];
    for (value, target) in figures {
        let unit = 10f64.powf(f64::log10(target).floor() - 9.0);
        assert!((value - target).abs() <= 0.51 * unit, "{value} against {target}");
    }
    let beta = l.drilling_scale * l.drilling_scale;
    assert!((beta - 0.271258573295).abs() < 1e-12, "higher-order factor {beta}");
}

#[test]
fn higher_order_factor_of_an_isotropic_sheet_is_the_published_one() {
    for nu in [0.0, 0.2, 0.34, 0.45] {
        let scale = crate::element::membrane_scale(&isotropic_q(3.0, nu));
        assert!((scale * scale - 0.5 * (1.0 - 4.0 * nu * nu)).abs() < 1e-13, "nu {nu}: {}", scale * scale);
    }
    let scale = crate::element::membrane_scale(&isotropic_q(3.0, 0.4999));
    assert!((scale * scale - 0.01).abs() < 1e-15, "floor: {}", scale * scale);
}

#[test]
fn shifting_the_reference_plane_moves_couplings_and_nothing_else() {
    let l = Laminate::new(vec![
        ply([0.0, 25e-6], isotropic_q(4e9, 0.34), 20e-6, 100.0),
        ply([25e-6, 43e-6], isotropic_q(117e9, 0.34), 17e-6, 100.0),
    ]);
    let s = 1e-4;
    let moved = l.shifted(s);
    assert!((moved.a - l.a).amax() < 1e-12 * l.a.amax(), "membrane stiffness moved by {}", moved.a - l.a);
    let b = l.b - l.a * s;
    assert!((moved.b - b).amax() < 1e-12 * b.amax(), "coupling {} against {b}", moved.b);
    let (own, far) = (l.free_strain().unwrap(), moved.free_strain().unwrap());
    // Same curvature; the strain at the new plane is the old strain at height s.
    assert!((far[3] - own[3]).abs() < 1e-9 * own[3].abs(), "curvature {} against {}", far[3], own[3]);
    let e = own[0] + s * own[3];
    assert!((far[0] - e).abs() < 1e-9 * e.abs(), "strain {} against {e}", far[0]);
    near(moved.neutral_plane_m() + s, l.neutral_plane_m(), 1e-9, "neutral plane");
    near(l.thickness_m(), 43e-6, 1e-12, "thickness");
}

#[test]
fn sliding_ply_bends_alone_and_weighs() {
    let flex = ply([0.0, 50e-6], isotropic_q(4e9, 0.3), 20e-6, 10.0);
    let mut board = ply([60e-6, 260e-6], isotropic_q(20e9, 0.2), 14e-6, 10.0);
    board.sliding = true;
    let (alone, both) = (Laminate::new(vec![flex.clone()]), Laminate::new(vec![flex, board.clone()]));
    assert_eq!(both.a, alone.a, "a sliding ply pulls");
    assert_eq!(both.b, alone.b, "a sliding ply couples");
    let own = isotropic_q(20e9, 0.2) * (200e-6f64.powi(3) / 12.0);
    assert!((both.d - alone.d - own).amax() < 1e-9 * own.amax(), "bending {}", both.d - alone.d);
    near(both.mass[0], 1000.0 * 250e-6, 1e-12, "mass per area");
    assert!((both.thermal_m - alone.thermal_m).amax() < 1e-12, "one sliding ply has no thermal moment");
    // Its own mid-height is its neutral plane: only thermal strain there, which makes no stress.
    let strain = Vector6::new(3e-4, 0.0, 0.0, 20.0, 5.0, 1.0);
    let middle = both.mechanical_strain_at(1, 160e-6, &strain, 1.0);
    assert!(middle.amax() < 1e-15, "mid-height of the sliding ply is strained: {middle}");
    let top = both.mechanical_strain_at(1, 260e-6, &strain, 1.0);
    near(top[0], 100e-6 * 20.0, 1e-12, "top face of the sliding ply");
}

#[test]
fn sliding_sheet_and_tape_bend_as_one_piece() {
    // Two sliding plies of equal stiffness in contact are one sheet of twice the thickness.
    let q = isotropic_q(20e9, 0.2);
    let piece = |z: [f64; 2]| Ply { sliding: true, ..ply(z, q, 14e-6, 10.0) };
    let flex = ply([0.0, 50e-6], isotropic_q(4e9, 0.3), 20e-6, 10.0);
    let two = Laminate::new(vec![piece([-200e-6, -100e-6]), piece([-100e-6, 0.0]), flex.clone()]);
    let one = Laminate::new(vec![piece([-200e-6, 0.0]), flex.clone()]);
    assert!((two.d - one.d).amax() < 1e-12 * one.d.amax(), "{} against {}", two.d, one.d);
    // On both sides of the flex they are two pieces.
    let apart = Laminate::new(vec![piece([-100e-6, 0.0]), flex.clone(), piece([50e-6, 150e-6])]);
    let expected = Laminate::new(vec![flex]).d + q * (2.0 * 100e-6f64.powi(3) / 12.0);
    assert!((apart.d - expected).amax() < 1e-12 * expected.amax(), "{} against {expected}", apart.d);
}

#[test]
fn turned_ply_returns_after_a_half_turn_and_swaps_after_a_quarter() {
    let q = |degrees: f64| orthotropic_q(181e9, 10.3e9, 0.28, 7.17e9, degrees.to_radians());
    assert!((q(180.0) - q(0.0)).amax() < 1e-4, "half turn: {}", q(180.0) - q(0.0));
    near(q(90.0)[(0, 0)], q(0.0)[(1, 1)], 1e-12, "quarter turn");
    // A tension along the fibres of a ply at +30 degrees needs positive stress in x, y and xy.
    let along = strain_rotation(-30f64.to_radians()) * Vector3::new(1.0, 0.0, 0.0);
    let stress = q(30.0) * along;
    assert!(stress.iter().all(|s| *s > 0.0), "stress {stress}");
    let turned = rotated_expansion(1.0, 0.0, 30f64.to_radians());
    assert!((turned - along).amax() < 1e-15, "expansion turns the other way: {turned}");
}
