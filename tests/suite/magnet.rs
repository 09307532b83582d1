//! Magnet fields, coil force and torque against independent computations and the field equations.

use copperbend_mesh::board::{CurrentPath, LayerId, Magnet, MagnetShape, PathSegment};
use copperbend_mesh::coil::path::{Leg, Run, closing, join};
use copperbend_mesh::coil::{Sense, SpiralForm, SpiralSpec, spiral, spirals};
use copperbend_solver::bend::{BendOptions, Quiet, bend};
use copperbend_solver::lorentz::{CoilLoad, HingeLine, coil_load, path_length_m, resistance_ohm};
use copperbend_solver::magnet::Field;
use copperbend_solver::magnet::kernel::cel;
use nalgebra::Vector3;
use std::f64::consts::{PI, TAU};

const UPRIGHT: [[f64; 3]; 3] = [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]];

fn magnet(shape: MagnetShape, polarisation_t: [f64; 3]) -> Magnet {
    Magnet {
        name: "drive".to_owned(),
        shape,
        polarisation_t,
        centre_m: [0.0; 3],
        rotation: UPRIGHT,
        back_plate: None,
        remanence_note: "given".to_owned(),
    }
}

fn disc(diameter_m: f64, height_m: f64, polarisation_t: [f64; 3]) -> Magnet {
    magnet(MagnetShape::Disc { diameter_m, height_m }, polarisation_t)
}

/// Rotation about x, then y, then z, degrees.
fn turned(about: [f64; 3]) -> [[f64; 3]; 3] {
    let [x, y, z] = about.map(f64::to_radians);
    let r = nalgebra::Rotation3::from_euler_angles(x, y, z);
    [0, 1, 2].map(|i| [0, 1, 2].map(|j| r.matrix()[(i, j)]))
}

/// Data rows of a table: text cells, comments and the heading left out.
pub(super) fn rows(table: &str) -> Vec<Vec<&str>> {
    let lines = table.lines().filter(|line| !line.starts_with('#')).skip(1);
    lines.map(|line| line.split(',').collect()).collect()
}

pub(super) fn number(cell: &str) -> f64 {
    cell.parse().unwrap()
}

#[test]
fn field_of_every_magnet_matches_the_reference_points() {
    let magnets = [
        ("disc_8x2_N42", disc(8e-3, 2e-3, [0.0, 0.0, 1.3])),
        (
            "ring_10x4x3_N45",
            magnet(MagnetShape::Ring { outer_m: 10e-3, inner_m: 4e-3, height_m: 3e-3 }, [0.0, 0.0, 1.34]),
        ),
        ("cuboid_10x5x3_N50", magnet(MagnetShape::Block { sides_m: [10e-3, 5e-3, 3e-3] }, [0.0, 0.0, 1.42])),
        ("cyl_diametral_6x6_N42", disc(6e-3, 6e-3, [1.3, 0.0, 0.0])),
    ];
    let table = rows(include_str!("../data/magnet_fields.csv"));
    assert_eq!(table.len(), 70, "points in the table");
    for cells in table {
        let v: Vec<f64> = cells[2..8].iter().map(|cell| number(cell)).collect();
        let (_, body) = magnets.iter().find(|(name, _)| *name == cells[0]).unwrap();
        let want = Vector3::new(v[3], v[4], v[5]);
        let got = Field::new(std::slice::from_ref(body)).at([v[0], v[1], v[2]]);
        let off = (got - want).norm();
        assert!(off < 1e-12 + 1e-9 * want.norm(), "{} {}: off by {off:e} T of {want}", cells[0], cells[1]);
        // Turned and moved together with the point, the field turns along.
        let rotation = turned([20.0, -35.0, 50.0]);
        let r = nalgebra::Matrix3::from_fn(|i, j| rotation[i][j]);
        let centre = Vector3::new(3e-3, -2e-3, 7e-3);
        let moved = Magnet { rotation, centre_m: centre.into(), ..body.clone() };
        let p = centre + r * Vector3::new(v[0], v[1], v[2]);
        let got = Field::new(&[moved]).at(p.into());
        let off = (got - r * want).norm();
        assert!(off < 1e-12 + 1e-9 * want.norm(), "turned {} {}: off by {off:e} T", cells[0], cells[1]);
    }
}

/// On the axis elementary functions give the field (textbook forms, derived from a charged disc and rectangle).
#[test]
fn field_on_the_axis_matches_the_elementary_forms() {
    let (a, length, remanence) = (4e-3, 2e-3, 1.3);
    let field = Field::new(&[disc(2.0 * a, length, [0.0, 0.0, remanence])]);
    for (z, printed) in [(0.0, 0.3152963125472), (1.5e-3, 0.2638767335191), (6e-3, 0.05679331624293)] {
        let end = |z: f64| z / (z * z + a * a).sqrt();
        let want = 0.5 * remanence * (end(z + 0.5 * length) - end(z - 0.5 * length));
        let got = field.at([0.0, 0.0, z]).z;
        assert!((got / want - 1.0).abs() < 1e-13, "{got} against {want} at {z}");
        assert!((got / printed - 1.0).abs() < 1e-12, "{got} against {printed} at {z}");
    }
    let (sa, sb, sc, remanence) = (10e-3, 5e-3, 3e-3, 1.42);
    let field = Field::new(&[magnet(MagnetShape::Block { sides_m: [sa, sb, sc] }, [0.0, 0.0, remanence])]);
    for (h, printed) in [(0.5e-3, 0.385856869452), (1.5e-3, 0.2686794662518), (6e-3, 0.05353262939213)] {
        let g = |d: f64| (sa * sb / (2.0 * d * (4.0 * d * d + sa * sa + sb * sb).sqrt())).atan();
        let want = remanence / PI * (g(h) - g(h + sc));
        let got = field.at([0.0, 0.0, 0.5 * sc + h]).z;
        assert!((got / want - 1.0).abs() < 1e-13, "{got} against {want} at {h}");
        assert!((got / printed - 1.0).abs() < 1e-12, "{got} against {printed} at {h}");
    }
}

/// Gauss-Legendre points and weights on (-1, 1), by Newton's method on the Legendre recurrence.
fn gauss(n: usize) -> Vec<(f64, f64)> {
    let legendre = |x: f64| {
        let (mut p0, mut p1) = (1.0, x);
        for k in 2..=n {
            let k = k as f64;
            (p0, p1) = (p1, ((2.0 * k - 1.0) * x * p1 - (k - 1.0) * p0) / k);
        }
        (p1, n as f64 * (x * p1 - p0) / (x * x - 1.0))
    };
    let point = |i: usize| {
        let mut x = (PI * (i as f64 + 0.75) / (n as f64 + 0.5)).cos();
        for _ in 0..20 {
            let (p, slope) = legendre(x);
            x -= p / slope;
        }
        let (_, slope) = legendre(x);
        (x, 2.0 / ((1.0 - x * x) * slope * slope))
    };
    (0..n).map(point).collect()
}

/// Field of point charges: `mu0 H = (1/4 pi) sum sigma r / r^3`.
fn of_charges(p: Vector3<f64>, charges: impl Iterator<Item = (Vector3<f64>, f64)>) -> Vector3<f64> {
    charges.map(|(at, charge)| (p - at) * (charge / (4.0 * PI * (p - at).norm().powi(3)))).sum()
}

/// Independent route: magnetic surface charge J.n integrated numerically, no elliptic integrals.
#[test]
fn field_matches_numerical_surface_charge() {
    let j = Vector3::new(0.7, -0.4, 0.9);
    let points = [[6e-3, 2e-3, 3e-3], [-1e-3, 5.5e-3, -2.5e-3], [0.0, 0.0, 4e-3], [7e-3, 0.0, 0.3e-3]];
    let (a, b) = (4e-3, 1e-3);
    let field = Field::new(&[disc(2.0 * a, 2.0 * b, j.into())]);
    let rule = gauss(48);
    let n_angles = 256;
    let cylinder = |p: Vector3<f64>| {
        let angles = || (0..n_angles).map(|k| (TAU * f64::from(k) / f64::from(n_angles)).sin_cos());
        let step = TAU / f64::from(n_angles);
        let faces = rule.iter().flat_map(|&(x, w)| {
            let r = 0.5 * a * (x + 1.0);
            angles().flat_map(move |(s, c)| {
                let charge = j.z * r * step * 0.5 * a * w;
                [(Vector3::new(r * c, r * s, b), charge), (Vector3::new(r * c, r * s, -b), -charge)]
            })
        });
        let side = rule.iter().flat_map(|&(x, w)| {
            angles().map(move |(s, c)| {
                (Vector3::new(a * c, a * s, b * x), (j.x * c + j.y * s) * a * step * b * w)
            })
        });
        of_charges(p, faces.chain(side))
    };
    let sides = [10e-3, 5e-3, 3e-3];
    let block = Field::new(&[magnet(MagnetShape::Block { sides_m: sides }, j.into())]);
    let cuboid = |p: Vector3<f64>| {
        let mut charges = Vec::new();
        for axis in 0..3 {
            let (u, v) = ((axis + 1) % 3, (axis + 2) % 3);
            for (face, &(xu, wu)) in [1.0, -1.0].iter().flat_map(|face| rule.iter().map(move |g| (face, g))) {
                for &(xv, wv) in &rule {
                    let mut at = Vector3::zeros();
                    at[axis] = 0.5 * sides[axis] * face;
                    at[u] = 0.5 * sides[u] * xu;
                    at[v] = 0.5 * sides[v] * xv;
                    charges.push((at, face * j[axis] * wu * wv * 0.25 * sides[u] * sides[v]));
                }
            }
        }
        of_charges(p, charges.into_iter())
    };
    for p in points {
        let p = Vector3::from(p);
        let (got, want) = (field.at(p.into()), cylinder(p));
        assert!((got - want).norm() < 1e-9 * want.norm(), "cylinder at {p}: {got} against {want}");
        let p = p * 1.2;
        let (got, want) = (block.at(p.into()), cuboid(p));
        assert!((got - want).norm() < 1e-9 * want.norm(), "cuboid at {p}: {got} against {want}");
    }
}

#[test]
fn field_is_free_of_sources_and_curl_outside() {
    let rotation = turned([10.0, 25.0, -40.0]);
    let bodies = [
        Magnet { rotation, ..disc(8e-3, 2e-3, [0.5, 0.3, 1.1]) },
        Magnet {
            rotation,
            ..magnet(MagnetShape::Ring { outer_m: 10e-3, inner_m: 4e-3, height_m: 3e-3 }, [0.2, -0.6, 1.0])
        },
        Magnet { rotation, ..magnet(MagnetShape::Block { sides_m: [7e-3, 5e-3, 3e-3] }, [0.9, 0.4, -0.7]) },
    ];
    for body in bodies {
        let field = Field::new(std::slice::from_ref(&body));
        for p in [[6e-3, 2e-3, 4e-3], [0.0, 0.0, 5e-3], [-3e-3, 6e-3, -4e-3], [9e-3, -9e-3, 0.0]] {
            let g = field.gradient(p);
            let size = g.norm();
            assert!(g.trace().abs() < 1e-9 * size, "divergence {:e} of {size:e} at {p:?}", g.trace());
            let curl = (g - g.transpose()).norm();
            assert!(curl < 1e-9 * size, "curl {curl:e} of {size:e} at {p:?}");
        }
        // Inside, the flux density still has no divergence.
        let p = Vector3::new(3.1e-3, 0.2e-3, 0.1e-3);
        let r = nalgebra::Matrix3::from_fn(|i, j| rotation[i][j]);
        let g = field.gradient((r * p).into());
        assert!(g.trace().abs() < 1e-8 * g.norm(), "divergence {:e} inside", g.trace());
    }
}

#[test]
fn field_is_finite_and_continuous_at_singular_places() {
    let tilted = [0.6, -0.3, 1.1];
    let bodies =
        [disc(8e-3, 2e-3, tilted), magnet(MagnetShape::Block { sides_m: [8e-3, 8e-3, 2e-3] }, tilted)];
    for body in bodies {
        let field = Field::new(std::slice::from_ref(&body));
        // Edges, corners, faces, centre: a number, never NaN or infinite.
        for x in [0.0, 2e-3, 4e-3, -4e-3] {
            for y in [0.0, 4e-3] {
                for z in [1e-3, -1e-3, 0.0] {
                    let b = field.at([x, y, z]);
                    assert!(b.iter().all(|v| v.is_finite()), "{b} at {x} {y} {z}");
                }
            }
        }
        // On the wall's continuation and on edge lines the field passes smoothly.
        for p in [[4e-3, 0.0, 2.5e-3], [0.0, 4e-3, -3e-3], [4e-3, 6e-3, 1e-3], [0.0, 0.0, 2e-3]] {
            let shift = 1e-10;
            let around = [[1.0, 0.0], [-1.0, 0.0], [0.0, 1.0], [0.0, -1.0]]
                .map(|[i, j]| field.at([p[0] + i * shift, p[1] + j * shift, p[2]]));
            let mean = (around[0] + around[1] + around[2] + around[3]) / 4.0;
            let off = (field.at(p) - mean).norm();
            assert!(off < 1e-10, "jump of {off:e} T at {p:?}");
        }
        // The expansion about the axis meets the closed form.
        for z in [0.4e-3, 2.5e-3] {
            let at = |share: f64| field.at([4e-3 * share, 2e-3 * share, z]);
            let off = (at(0.89e-5) * 2.0 - at(0.80e-5) - at(0.98e-5)).norm();
            assert!(off < 1e-10, "kink of {off:e} T beside the axis at {z}");
        }
    }
}

/// An axial disc on ideal iron is a disc of twice the height standing on the plane (reference rows, 13 digits).
#[test]
fn disc_on_iron_is_a_disc_of_twice_the_height() {
    let plated = Magnet {
        back_plate: Some([[0.0, 0.0, -1e-3], [0.0, 0.0, 1.0]]),
        ..disc(8e-3, 2e-3, [0.0, 0.0, 1.3])
    };
    let tall = Magnet { centre_m: [0.0, 0.0, -1e-3], ..disc(8e-3, 4e-3, [0.0, 0.0, 1.3]) };
    let rows = [
        ([0.0, 0.0, 0.0025], [0.0, 0.0, 0.2974482177646]),
        ([0.003, 0.001, 0.003], [0.1258345352475, 0.04194484508249, 0.1646512855515]),
        ([0.005, -0.002, 0.0012], [0.1501523923644, -0.06006095694575, -0.06006258085511]),
    ];
    for (p, want) in rows {
        let got = Field::new(std::slice::from_ref(&plated)).at(p);
        assert!((got - Vector3::from(want)).norm() < 1e-12, "{got} at {p:?}");
        let twice = Field::new(std::slice::from_ref(&tall)).at(p);
        assert!((got - twice).norm() < 1e-15, "{got} against {twice}");
    }
}

/// The kernel against direct quadrature of its definition (periodic trapezoid, spectral accuracy).
#[test]
fn kernel_matches_its_integral() {
    for (kc, p, c, s) in [(0.3, 0.5, 1.0, 0.7), (0.9, 0.2, -1.0, 1.0), (0.5, 2.5, 1.0, 0.3)] {
        let n = 400;
        let term = |k: i32| {
            let (sin, cos) = (0.5 * PI * f64::from(k) / f64::from(n)).sin_cos();
            let (s2, c2) = (sin * sin, cos * cos);
            (c * c2 + s * s2) / ((c2 + p * s2) * (c2 + kc * kc * s2).sqrt())
        };
        let sum: f64 = (1..n).map(term).sum::<f64>() + 0.5 * (term(0) + term(n));
        let want = sum * 0.5 * PI / f64::from(n);
        let got = cel(kc, p, c, s);
        assert!((got / want - 1.0).abs() < 1e-13, "C({kc}, {p}, {c}, {s}) = {got}, quadrature {want}");
    }
}

/// Hinge along y through the origin, arms along +x.
pub(super) const HINGE: HingeLine = HingeLine { point_m: [0.0; 3], arm: [1.0, 0.0] };

/// The reference coil: two layers of 28 turns, 12 mm over the copper, 90 um tracks with 70 um gaps, 18 um copper,
/// layers 43 um apart, centre 12.5 mm from the hinge, 0.12 A, closed by a via and one vertical piece.
pub(super) fn reference_coil(chords_per_turn: u32) -> CurrentPath {
    let spec = SpiralSpec {
        form: SpiralForm::Round,
        centre_m: [12.5e-3, 0.0],
        outer_m: [12e-3, 12e-3],
        turns: 28.0,
        track_width_m: 90e-6,
        pitch_m: 160e-6,
        sense: Sense::CounterClockwise,
        start_angle_rad: 0.0,
        chords_per_turn,
    };
    let heights = [21.5e-6, -21.5e-6];
    let runs = spirals(&spec, 2).unwrap().into_iter().zip(heights).zip([1, 0]);
    let run =
        |((points_m, z_m), layer)| Run { points_m, layer: LayerId(layer), z_m, section_m2: 90e-6 * 18e-6 };
    let mut segments = join(&[Leg { name: "coil".to_owned(), runs: runs.map(run).collect() }]).unwrap();
    segments.extend(closing(&segments));
    CurrentPath { segments, current_a: 0.12 }
}

/// The path turned about the hinge; positive angles lift the +x side towards +z.
pub(super) fn lifted(path: &CurrentPath, degrees: f64) -> CurrentPath {
    let (s, c) = degrees.to_radians().sin_cos();
    let turn = |p: [f64; 3]| [p[0] * c - p[2] * s, p[1], p[0] * s + p[2] * c];
    let piece = |p: &PathSegment| PathSegment { from_m: turn(p.from_m), to_m: turn(p.to_m), ..*p };
    CurrentPath { segments: path.segments.iter().map(piece).collect(), current_a: path.current_a }
}

/// Magnet of the three reference configurations.
pub(super) fn drive_magnet(name: &str) -> Magnet {
    let (centre_m, rotation) = match name {
        "A_below" => ([12.5e-3, 0.0, -2.5e-3], UPRIGHT),
        "B_beside" => ([21.5e-3, 0.0, 0.0], [[0.0, 0.0, 1.0], [0.0, 1.0, 0.0], [-1.0, 0.0, 0.0]]),
        _ => ([12.5e-3, 0.0, -13e-3], UPRIGHT),
    };
    Magnet { centre_m, rotation, ..disc(8e-3, 2e-3, [0.0, 0.0, 1.3]) }
}

pub(super) fn configurations() -> [(&'static str, &'static str); 3] {
    [
        ("A_below", include_str!("../data/coil_A_below.csv")),
        ("B_beside", include_str!("../data/coil_B_beside.csv")),
        ("D_swing", include_str!("../data/coil_D_swing.csv")),
    ]
}

#[test]
fn coil_force_and_torque_match_the_reference_at_every_angle() {
    let rest = reference_coil(72);
    for (name, table) in configurations() {
        let field = Field::new(&[drive_magnet(name)]);
        for cells in rows(table) {
            let v: Vec<f64> = cells.iter().map(|cell| number(cell)).collect();
            let load = coil_load(&lifted(&rest, v[0]), &field, &HINGE);
            let force = Vector3::new(v[1], v[2], v[3]);
            let off = (load.force_n - force).norm() / force.norm();
            assert!(off < 1e-7, "{name} at {} deg: force off by {off:e}", v[0]);
            let off_torque = (load.torque_nm / v[4] - 1.0).abs();
            assert!(off_torque < 1e-7, "{name} at {} deg: torque off by {off_torque:e}", v[0]);
            let moment = force.norm() * 12.5e-3;
            for (got, want) in [(load.roll_nm, v[5]), (load.yaw_nm, v[6])] {
                assert!((got - want).abs() < 1e-8 * moment, "{name} at {} deg: {got:e}, not {want:e}", v[0]);
            }
        }
    }
}

/// Vector potential of an axially polarised disc about the origin, T m: the current sheet Br/mu0 integrated over
/// its height by Gauss points.
fn vector_potential(p: Vector3<f64>, a: f64, b: f64, remanence: f64, rule: &[(f64, f64)]) -> Vector3<f64> {
    let rho = p.x.hypot(p.y).max(1e-12);
    let ring = |z: f64| {
        let s = (z * z + (rho + a) * (rho + a)).sqrt();
        let kc = (z * z + (a - rho) * (a - rho)).sqrt() / s;
        cel(kc, 1.0, -1.0, 1.0) / s
    };
    let around = rule.iter().map(|&(x, w)| w * b * ring(p.z - b * x)).sum::<f64>() * remanence * a / PI;
    Vector3::new(-p.y / rho * around, p.x / rho * around, 0.0)
}

/// Flux linked with the closed path: the line integral of the vector potential, Wb.
fn linkage(path: &CurrentPath, magnet: &Magnet, rule: &[(f64, f64)]) -> f64 {
    let r = nalgebra::Matrix3::from_fn(|i, j| magnet.rotation[i][j]);
    let centre = Vector3::from(magnet.centre_m);
    let along_path = gauss(4);
    let piece = |s: &PathSegment| {
        let (from, to) = (Vector3::from(s.from_m), Vector3::from(s.to_m));
        let at = |&(x, w): &(f64, f64)| {
            let p = from + (to - from) * (0.5 * (x + 1.0));
            let potential = r * vector_potential(r.transpose() * (p - centre), 4e-3, 1e-3, 1.3, rule);
            0.5 * w * potential.dot(&(to - from))
        };
        along_path.iter().map(at).sum::<f64>()
    };
    path.segments.iter().map(piece).sum()
}

/// Energy route: torque = I dPhi/dtheta, with the flux from the vector potential, and no force anywhere in it.
#[test]
fn torque_is_current_times_change_of_flux() {
    let rest = reference_coil(72);
    let rule = gauss(24);
    for (name, table, angle) in configurations()
        .into_iter()
        .zip([0.0, 10.0, -20.0])
        .map(|((name, table), angle)| (name, table, angle))
    {
        let magnet = drive_magnet(name);
        let flux = |degrees: f64| linkage(&lifted(&rest, degrees), &magnet, &rule);
        let step = 0.05_f64;
        let slope = (8.0 * (flux(angle + step) - flux(angle - step))
            - (flux(angle + 2.0 * step) - flux(angle - 2.0 * step)))
            / (12.0 * step.to_radians());
        let load = coil_load(&lifted(&rest, angle), &Field::new(std::slice::from_ref(&magnet)), &HINGE);
        let off = (0.12 * slope / load.torque_nm - 1.0).abs();
        assert!(off < 1e-7, "{name} at {angle} deg: energy and force differ by {off:e}");
        let constant = (load.torque_constant_nm_per_a / slope - 1.0).abs();
        assert!(constant < 1e-7, "{name}: torque constant off by {constant:e}");
        let row = rows(table).into_iter().find(|cells| (number(cells[0]) - angle).abs() < 1e-9).unwrap();
        let off = (flux(angle) / number(row[7]) - 1.0).abs();
        assert!(off < 1e-8, "{name} at {angle} deg: flux off by {off:e}");
    }
}

/// Reference rows: magnet of configuration A shifted or tilted; roll and yaw move most (13 digits).
#[test]
fn misplaced_magnet_gives_the_reference_roll_and_yaw() {
    let rest = reference_coil(72);
    let rows = [
        (
            [0.0, 0.0003, 0.0],
            [0.0; 3],
            [-2.324424882099e-07, 0.001107025740248, -0.01610222443173],
            [-1.898595406114e-06, 0.0002012732390862, 1.383789148584e-05],
        ),
        (
            [0.0; 3],
            [3.0, 0.0, 0.0],
            [-2.569200247141e-07, 2.848126066963e-05, -0.01621514275516],
            [-1.620014065441e-06, 0.0002026850058746, 3.557578667602e-07],
        ),
        (
            [0.0002, -0.00025, 0.00015],
            [2.0, -1.5, 4.0],
            [0.0008094061571142, -0.0009701167693073, -0.01725968880383],
            [5.861157957838e-07, 0.0002180053741544, -1.212643439318e-05],
        ),
    ];
    for (offset, tilt, force, moment) in rows {
        let mut magnet = drive_magnet("A_below");
        magnet.centre_m = [0, 1, 2].map(|i| magnet.centre_m[i] + offset[i]);
        magnet.rotation = turned(tilt);
        let load = coil_load(&rest, &Field::new(&[magnet]), &HINGE);
        let (force, moment) = (Vector3::from(force), Vector3::from(moment));
        let off = (load.force_n - force).norm() / force.norm();
        assert!(off < 1e-6, "force off by {off:e} for {offset:?} {tilt:?}");
        let off = (load.moment_nm - moment).norm() / moment.norm();
        assert!(off < 1e-6, "moment off by {off:e} for {offset:?} {tilt:?}");
        assert!((load.torque_nm + load.moment_nm.y).abs() < 1e-18, "torque is minus the moment about y");
    }
}

/// Configuration A with the disc standing on iron (reference row, 13 digits).
#[test]
fn iron_plate_raises_the_coil_force() {
    let plated =
        Magnet { back_plate: Some([[0.0, 0.0, -3.5e-3], [0.0, 0.0, 1.0]]), ..drive_magnet("A_below") };
    let load = coil_load(&reference_coil(72), &Field::new(&[plated]), &HINGE);
    let want = Vector3::new(-5.884303528364e-07, 1.757692531706e-06, -0.02301969231331);
    let off = (load.force_n - want).norm() / want.norm();
    assert!(off < 1e-6, "force off by {off:e}");
    assert!((load.torque_nm / -0.0002877417587595 - 1.0).abs() < 1e-6, "torque {:e}", load.torque_nm);
}

#[test]
fn chord_error_falls_with_the_square_of_the_chords_and_is_estimated() {
    let field = Field::new(&[drive_magnet("A_below")]);
    let at = |chords: u32| coil_load(&reference_coil(chords), &field, &HINGE);
    let exact = at(1152);
    let loads: Vec<CoilLoad> = [36, 72, 144].into_iter().map(at).collect();
    let errors: Vec<f64> = loads.iter().map(|load| (load.force_n - exact.force_n).norm()).collect();
    for pair in errors.windows(2) {
        let order = (pair[0] / pair[1]).log2();
        assert!((order - 2.0).abs() < 0.05, "observed order {order:.3}");
    }
    for (load, error) in loads.iter().zip(&errors) {
        let ratio = load.chord_error_n / error;
        assert!((ratio - 1.0).abs() < 0.15, "estimate over true error of the force {ratio:.3}");
        let ratio = load.chord_error_nm / (load.torque_nm - exact.torque_nm).abs();
        assert!((ratio - 1.0).abs() < 0.15, "estimate over true error of the torque {ratio:.3}");
    }
    let share = errors[1] / exact.force_n.norm();
    assert!((1e-4..2e-4).contains(&share), "72 chords a turn are off by {share:e}");
}

/// Square and rounded coils over a disc (reference rows, 4 Gauss points, moments about the origin).
#[test]
fn square_and_rounded_coils_match_the_reference() {
    let magnet = Magnet { centre_m: [5e-4, -3e-4, -2.5e-3], ..disc(8e-3, 2e-3, [0.0, 0.0, 1.3]) };
    let field = Field::new(&[magnet]);
    let rounded = SpiralForm::Rounded { corner_radius_m: 2.05e-3 };
    let rows = [
        (
            (SpiralForm::Square, [12.1e-3, 12.1e-3], 20.0),
            [0.0005734385985075, -0.0003939906554451, -0.005073313142776],
            [7.66907305909e-07, 1.494061005175e-06, -2.496374817033e-08],
        ),
        (
            (rounded, [12.1e-3, 10.1e-3], 15.0),
            [0.0003872360008218, -0.0004069952082212, -0.004104625277479],
            [2.223932944082e-07, 1.725708572323e-06, -8.732680363365e-08],
        ),
    ];
    for ((form, outer_m, turns), force, moment) in rows {
        let spec = SpiralSpec {
            form,
            centre_m: [0.0, 0.0],
            outer_m,
            turns,
            track_width_m: 100e-6,
            pitch_m: 200e-6,
            sense: Sense::CounterClockwise,
            start_angle_rad: PI / 4.0,
            chords_per_turn: 36,
        };
        let points_m = spiral(&spec).unwrap();
        let runs = vec![Run { points_m, layer: LayerId(0), z_m: 0.0, section_m2: 1.8e-9 }];
        let mut segments = join(&[Leg { name: "coil".to_owned(), runs }]).unwrap();
        segments.extend(closing(&segments));
        let load = coil_load(&CurrentPath { segments, current_a: 0.1 }, &field, &HINGE);
        let (force, moment) = (Vector3::from(force), Vector3::from(moment));
        let off = (load.force_n - force).norm() / force.norm();
        assert!(off < 1e-6, "{form:?}: force off by {off:e}");
        // The moments of the two halves cancel: the scale is force times half the coil.
        let off = (load.moment_nm - moment).norm() / (force.norm() * 6e-3);
        assert!(off < 1e-6, "{form:?}: moment off by {off:e}");
    }
}

/// Length 1.306860618769 m and 13.90838514086 ohm at 20 degC (reference, 13 digits; 1.7241e-8 ohm m, annealed
/// copper at 100 % IACS).
#[test]
fn coil_length_and_resistance_match_the_reference() {
    let path = reference_coil(72);
    let length = path_length_m(&path);
    assert!((length / 1.306860618769 - 1.0).abs() < 1e-12, "length {length}");
    let resistance = resistance_ohm(&path, |_| 1.7241e-8);
    // The reference counts the via and the closing piece (86 um) as track.
    let want = 13.90838514086 * (1.0 - 86e-6 / 1.306860618769);
    assert!((resistance / want - 1.0).abs() < 1e-12, "resistance {resistance}");
}

/// The height at which the unknowns live is a choice of the solver: nothing may depend on it.
#[test]
fn shifted_reference_plane_changes_nothing() {
    let text = include_str!("../../examples/one_arm_vane/design.toml");
    let board = copperbend_mesh::board::understand("design.toml", text).unwrap();
    let at = |reference_z_m: Option<f64>| {
        let options =
            BendOptions { reference_z_m, refine: false, modulus_span: false, ..BendOptions::default() };
        bend(&board, &options, &mut Quiet).unwrap()
    };
    let own = at(None);
    let answer = &own.answers[0];
    assert!(own.drive.as_ref().is_some_and(|drive| drive.force_n[2].abs() > 1e-5), "the magnet acts");
    for shifted in [at(Some(0.0)), at(Some(1e-4))] {
        let other = &shifted.answers[0];
        let angles = [answer, other].map(|a| a.loaded.flap_angle_rad.unwrap());
        let off = (angles[1] / angles[0] - 1.0).abs();
        assert!(off < 1e-9, "flap angle {angles:?} off by {off:e}");
        assert_eq!(answer.spots.len(), other.spots.len(), "number of spots");
        for (a, b) in answer.spots.iter().zip(&other.spots) {
            let off = (a.strain - b.strain).abs() / answer.spots[0].strain.abs();
            assert!(off < 1e-9, "strain {} against {}: off by {off:e}", a.strain, b.strain);
        }
    }
}
