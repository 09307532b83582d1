//! Magnet fields, coil force and torque against independent computations and the field equations.

use copperbend_mesh::board::{Magnet, MagnetShape};
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
fn rows(table: &str) -> Vec<Vec<&str>> {
    let lines = table.lines().filter(|line| !line.starts_with('#')).skip(1);
    lines.map(|line| line.split(',').collect()).collect()
}

fn number(cell: &str) -> f64 {
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
