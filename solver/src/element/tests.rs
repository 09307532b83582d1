//! Reference matrices, rigid motions, patch tests and exact bending of one triangle.
//!
//! `tests/data/golden_*.csv`: an independent evaluation in 40 digits of the same formulas, with the published
//! shape functions of the plate written out; not made by this code.

use super::*;
use crate::laminate::{Laminate, Ply, isotropic_q, orthotropic_q};
use copperbend_mesh::board::LayerId;
use nalgebra::{DMatrix, DVector, Vector3, Vector6};

const TRIANGLE: [[f64; 2]; 3] = [[0.3, -0.2], [1.7, 0.1], [0.6, 1.1]];

fn ply(z: [f64; 2], e: f64, nu: f64, alpha: f64) -> Ply {
    Ply {
        layer: LayerId(0),
        z0_m: z[0],
        z1_m: z[1],
        q_pa: isotropic_q(e, nu),
        expansion_per_k: Vector3::new(alpha, alpha, 0.0),
        density_kg_m3: 1.0,
        heating_k: 1.0,
        sliding: false,
    }
}

fn golden_laminate() -> Laminate {
    Laminate::new(vec![
        ply([-0.030, 0.020], 4000.0, 0.30, 20e-6),
        ply([0.020, 0.055], 117_000.0, 0.34, 17e-6),
    ])
}

fn golden(text: &str) -> Matrix18 {
    let rows: Vec<f64> = text
        .lines()
        .filter(|l| !l.starts_with('#'))
        .flat_map(|l| l.split(',').map(|v| v.trim().parse::<f64>().unwrap()).collect::<Vec<_>>())
        .collect();
    Matrix18::from_row_slice(&rows)
}

/// Deterministic numbers in (-1, 1).
struct Dice(u64);
impl Dice {
    fn roll(&mut self) -> f64 {
        self.0 = self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        #[allow(clippy::cast_precision_loss, reason = "53 bits fit")]
        let unit = (self.0 >> 11) as f64 / (1u64 << 53) as f64;
        2.0 * unit - 1.0
    }
    fn triangle(&mut self) -> [[f64; 2]; 3] {
        loop {
            let c = [0; 3].map(|_| [self.roll(), self.roll()]);
            if double_area(&c) > 0.2 {
                return c;
            }
        }
    }
    /// Three plies of random directions off the reference plane: every coupling present.
    fn laminate(&mut self) -> Laminate {
        let mut low = self.roll() - 0.5;
        let mut plies = Vec::new();
        for _ in 0..3 {
            let high = low + 0.6 + 0.4 * self.roll();
            let mut p = ply([low, high], 1.0, 0.3, 0.0);
            let (e1, angle) = (3.0 + 2.0 * self.roll(), 3.0 * self.roll());
            p.q_pa = orthotropic_q(e1, 1.0, 0.25, 0.5, angle);
            plies.push(p);
            low = high;
        }
        Laminate::new(plies)
    }
}

#[test]
fn stiffness_equals_the_reference_matrix() {
    let ke = shell::stiffness(&TRIANGLE, &golden_laminate());
    let reference = golden(include_str!("../../../tests/data/golden_K18.csv"));
    let error = (ke - reference).amax() / reference.amax();
    assert!(error < 1e-9, "largest difference over largest entry {error:e}");
    let printed = [
        (0, 0, 2118.874543),
        (0, 1, 889.9837388),
        (0, 5, -522.3484244),
        (0, 6, -1626.687862),
        (0, 8, 19.70496805),
        (5, 5, 610.636044),
        (5, 11, -25.60803244),
        (2, 2, 31.56089859),
        (2, 3, 10.93475138),
        (2, 4, -9.930661292),
        (2, 8, -13.56763327),
        (3, 3, 8.780500748),
        (3, 4, -2.6760745),
        (4, 4, 7.793344446),
        (3, 10, 0.9338176193),
        (5, 3, -42.28284929),
        (11, 16, 2.67760675),
        (17, 17, 592.5643322),
        (14, 14, 29.35551014),
        (13, 14, -73.27001572),
        (1, 16, -26.72795854),
    ];
    for (i, j, value) in printed {
        let unit = 10f64.powf(f64::abs(value).log10().floor() - 9.0);
        assert!((ke[(i, j)] - value).abs() <= 0.51 * unit, "entry {i},{j}: {} against {value}", ke[(i, j)]);
    }
}

#[test]
fn stiffness_has_the_reference_eigenvalues_and_six_zeros() {
    let ke = shell::stiffness(&TRIANGLE, &golden_laminate());
    let mut values: Vec<f64> = ke.symmetric_eigenvalues().iter().copied().collect();
    values.sort_by(f64::total_cmp);
    let reference = [
        0.4517130804,
        0.4557888571,
        0.5340595183,
        1.047656264,
        18.64470172,
        18.96976887,
        85.1667513,
        96.91155937,
        1275.294801,
        3218.802056,
        3375.046382,
        5830.666137,
    ];
    for (v, r) in values[6..].iter().zip(reference) {
        let unit = 10f64.powf(f64::log10(r).floor() - 9.0);
        assert!((v - r).abs() <= 0.51 * unit.max(5e-10), "eigenvalue {v} against {r}");
    }
    for v in &values[..6] {
        assert!(v.abs() < 1e-12 * 5830.0, "rigid motion costs {v:e}");
    }
}

#[test]
fn thermal_load_equals_the_reference_vector() {
    let f = shell::thermal(&TRIANGLE, &golden_laminate());
    let reference = [
        -0.05559577922,
        -0.06115535714,
        0.0,
        0.002159754464,
        -0.001963413149,
        -0.003752715097,
        0.07227451299,
        -0.01667873377,
        0.0,
        0.0005890239448,
        0.002552437094,
        -0.002223831169,
        -0.01667873377,
        0.07783409091,
        0.0,
        -0.002748778409,
        -0.0005890239448,
        0.005976546266,
    ];
    for (i, r) in reference.iter().enumerate() {
        assert!((f[i] - r).abs() < 1e-9 * 0.0778, "entry {i}: {} against {r}", f[i]);
    }
}

#[test]
fn mass_equals_the_reference_matrix() {
    let m = mass::mass(&TRIANGLE, &[1.0, 0.0, 0.01 / 12.0]);
    let reference = golden(include_str!("../../../tests/data/golden_M18.csv"));
    let error = (m - reference).amax() / reference.amax();
    assert!(error < 1e-9, "largest difference over largest entry {error:e}");
}

#[test]
fn mass_is_that_of_the_stack_whatever_the_reference_plane() {
    // The motion of the material is the same when the plane moves by s: u' = u + s (ty, -tx).
    let (h, s) = (0.08, 0.1);
    let about = |low: f64| Laminate::new(vec![ply([low, low + h], 4000.0, 0.3, 0.0)]).mass;
    let (own, moved) = (mass::mass(&TRIANGLE, &about(0.0)), mass::mass(&TRIANGLE, &about(-s)));
    // Rigid turn about an axis in the plane z = 0 of the first laminate, seen from both planes.
    let motion = |z: f64| {
        let mut q = Vector18::zeros();
        for n in 0..3 {
            let [x, y] = TRIANGLE[n];
            let (tx, ty) = (0.3, -0.7);
            let values = [ty * z, -tx * z, y * tx - x * ty, tx, ty, 0.0];
            for (c, v) in values.iter().enumerate() {
                q[6 * n + c] = *v;
            }
        }
        q
    };
    let (e0, e1) = (motion(0.0).dot(&(own * motion(0.0))), motion(s).dot(&(moved * motion(s))));
    assert!((e0 - e1).abs() < 1e-12 * e0, "kinetic energy {e0} against {e1}");
}

#[test]
fn rigid_motions_are_the_only_ones_without_energy() {
    let mut dice = Dice(7);
    for round in 0..40 {
        let (c, laminate) = (dice.triangle(), dice.laminate());
        let ke = shell::stiffness(&c, &laminate);
        let mut v: Vec<f64> = ke.symmetric_eigenvalues().iter().copied().collect();
        v.sort_by(f64::total_cmp);
        assert!(v[..6].iter().all(|x| x.abs() < 1e-11 * v[17]), "round {round}: {:?}", &v[..6]);
        assert!(v[6] > 1e-8 * v[17], "round {round}: seventh {:e} of {:e}", v[6], v[17]);
    }
}

#[test]
fn in_plane_bending_of_a_rectangle_of_two_triangles_is_exact() {
    // Pure bending about z: u = -k x y, v = k x^2/2 + nu k y^2/2, rotation k x; energy D k^2 a b^3 E h/24 per pair.
    let (e, nu, h) = (117_000.0, 0.34, 0.02);
    let laminate = Laminate::new(vec![ply([-h / 2.0, h / 2.0], e, nu, 0.0)]);
    for aspect in [1.0, 4.0, 20.0] {
        let (a, b) = (aspect, 1.0);
        let corner = [[0.0, -0.5], [a, -0.5], [a, 0.5], [0.0, 0.5]];
        let mut energy = 0.0;
        for t in [[0, 1, 2], [0, 2, 3]] {
            let c = t.map(|n: usize| corner[n]);
            let mut q = Vector18::zeros();
            for n in 0..3 {
                // The four-node bending mode of the rectangle: corners move by -xy about its centre, drilling x.
                let (x, y) = (c[n][0] - a / 2.0, c[n][1]);
                q[6 * n] = -x * y;
                q[6 * n + 1] = 0.5 * x * x;
                q[6 * n + 5] = x;
            }
            energy += 0.5 * q.dot(&(shell::stiffness(&c, &laminate) * q));
        }
        let exact = 0.5 * e * h * b * b * b / 12.0 * a;
        assert!((energy / exact - 1.0).abs() < 1e-9, "aspect {aspect}: {}", energy / exact);
    }
}

/// A distorted mesh of eight nodes, two of them inside.
fn patch() -> (Vec<[f64; 2]>, Vec<[usize; 3]>) {
    let nodes =
        vec![[0.0, 0.0], [2.0, 0.1], [4.0, 0.0], [4.2, 2.0], [2.1, 2.2], [-0.1, 1.9], [1.2, 0.9], [2.9, 1.2]];
    let triangles =
        vec![[0, 1, 6], [1, 7, 6], [1, 2, 7], [2, 3, 7], [3, 4, 7], [4, 6, 7], [4, 5, 6], [5, 0, 6]];
    (nodes, triangles)
}

#[test]
fn patch_of_any_laminate_carries_constant_strain_and_curvature_exactly() {
    let (nodes, triangles) = patch();
    let mut dice = Dice(3);
    for round in 0..10 {
        let laminate = dice.laminate();
        let wish = Vector6::from_fn(|_, _| dice.roll());
        let field = |p: [f64; 2]| {
            let (x, y) = (p[0], p[1]);
            let [ex, ey, g, kx, ky, kxy] = wish.into();
            let w = -0.5 * (kx * x * x + ky * y * y + kxy * x * y);
            Vector6::new(
                ex * x + 0.5 * g * y,
                ey * y + 0.5 * g * x,
                w,
                -(ky * y + 0.5 * kxy * x),
                kx * x + 0.5 * kxy * y,
                0.0,
            )
        };
        let mut k = DMatrix::<f64>::zeros(48, 48);
        for t in &triangles {
            let ke = shell::stiffness(&t.map(|n| nodes[n]), &laminate);
            for i in 0..18 {
                for j in 0..18 {
                    k[(6 * t[i / 6] + i % 6, 6 * t[j / 6] + j % 6)] += ke[(i, j)];
                }
            }
        }
        let held = DVector::from_iterator(36, nodes[..6].iter().flat_map(|p| field(*p).data.0[0]));
        let inner = k.view((36, 36), (12, 12)).clone_owned();
        let load = -(k.view((36, 0), (12, 36)) * &held);
        let free = inner.cholesky().expect("positive").solve(&load);
        let all = DVector::from_iterator(48, held.iter().chain(free.iter()).copied());
        for t in &triangles {
            let c = t.map(|n| nodes[n]);
            let q = Vector18::from_fn(|i, _| all[6 * t[i / 6] + i % 6]);
            for zeta in [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.2, 0.3, 0.5]] {
                let strain = shell::strain_operator(&c, zeta, 1.0) * q;
                let error = (strain - wish).amax();
                assert!(error < 1e-9, "round {round}, triangle {t:?}: strain off by {error:e}");
            }
        }
    }
}

#[test]
fn triad_of_a_tilted_triangle_is_right_handed_and_follows_the_axis() {
    let nodes = [[1.0, 2.0, 3.0], [2.0, 2.5, 3.5], [0.5, 3.0, 4.5]];
    let l = local(nodes, [1.0, 0.0, 0.0]);
    assert!((l.triad.determinant() - 1.0).abs() < 1e-14, "determinant {}", l.triad.determinant());
    assert!((l.triad * l.triad.transpose() - Matrix3::identity()).amax() < 1e-15, "not orthonormal");
    assert!(l.triad[(1, 0)].abs() < 1e-15 && l.triad[(0, 0)] > 0.0, "e2 leans on the axis: {}", l.triad);
    let p = Vector3::from(nodes[1]) - Vector3::from(nodes[0]);
    let back = l.triad.transpose() * Vector3::new(l.corners[1][0], l.corners[1][1], 0.0);
    assert!((p - back).amax() < 1e-14, "corner moved by {}", (p - back).amax());
    assert!(local(nodes, [0.0, 1.0, 0.0]).corners != l.corners, "axis has no effect");
    let flat = local([[0.3, -0.2, 0.0], [1.7, 0.1, 0.0], [0.6, 1.1, 0.0]], [1.0, 0.0, 0.0]);
    assert!(flat.is_global(), "flat board is not in global axes: {}", flat.triad);
}

#[test]
fn turned_triangle_has_the_turned_stiffness() {
    let laminate = golden_laminate();
    let turn = nalgebra::Rotation3::from_euler_angles(0.4, -0.9, 1.3);
    let place = |p: [f64; 2]| (turn * Vector3::new(p[0], p[1], 0.0)).into();
    let axis = (turn * Vector3::x()).into();
    let l = local(TRIANGLE.map(place), axis);
    let global = l.matrix_to_global(&shell::stiffness(&l.corners, &laminate));
    let own = shell::stiffness(&TRIANGLE, &laminate);
    let q = Vector18::from_fn(|i, _| f64::from(u32::try_from(i * i % 7).unwrap()) - 2.0);
    let turned = Vector18::from_fn(|i, _| {
        let v = turn * Vector3::new(q[i / 3 * 3], q[i / 3 * 3 + 1], q[i / 3 * 3 + 2]);
        v[i % 3]
    });
    let (e0, e1) = (q.dot(&(own * q)), turned.dot(&(global * turned)));
    assert!((e0 / e1 - 1.0).abs() < 1e-12, "energy {e0} against {e1}");
    assert!((l.vector_to_local(&turned) - q).amax() < 1e-13, "freedoms do not turn back");
}

#[test]
fn area_load_has_the_force_and_moment_of_the_pressure() {
    let f = mass::area_load(&TRIANGLE, [0.0, 0.0, 2.0]);
    let total: f64 = (0..3).map(|n| f[6 * n + 2]).sum();
    assert!((total - 2.0 * 0.865).abs() < 1e-14, "force {total}");
    let about_x: f64 = (0..3).map(|n| TRIANGLE[n][1] * f[6 * n + 2] + f[6 * n + 3]).sum();
    let centroid_y = (-0.2 + 0.1 + 1.1) / 3.0;
    assert!((about_x - total * centroid_y).abs() < 1e-13, "moment {about_x}");
}
