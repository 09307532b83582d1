//! Reference state, energy, finite differences, and what no frame may change.
//!
//! Reference numbers: an independent evaluation in 40 digits (derivatives of the energy), not made by this code.

use super::*;
use crate::element::{Matrix18, PACKED, local, packed_row, shell};
use crate::laminate::{Laminate, Ply, isotropic_q};
use copperbend_mesh::board::LayerId;
use nalgebra::{SMatrix, Vector6};
use std::f64::consts::PI;

const TRIANGLE: [[f64; 2]; 3] = [[0.3, -0.2], [1.7, 0.1], [0.6, 1.1]];

fn laminate() -> Laminate {
    let ply = |z0_m, z1_m, e, nu| Ply {
        layer: LayerId(0),
        z0_m,
        z1_m,
        q_pa: isotropic_q(e, nu),
        expansion_per_k: Vector3::zeros(),
        density_kg_m3: 1.0,
        heating_k: 0.0,
        sliding: false,
    };
    Laminate::new(vec![ply(-0.030, 0.020, 4000.0, 0.30), ply(0.020, 0.055, 117_000.0, 0.34)])
}

/// Places and rotations of the three corners.
#[derive(Clone)]
struct Corners([Vector3<f64>; 3], [Matrix3<f64>; 3]);

impl Corners {
    fn stepped(&self, step: &Vector18, factor: f64) -> Self {
        let part = |i: usize| step.fixed_rows::<3>(3 * i) * factor;
        Self(
            std::array::from_fn(|a| self.0[a] + part(2 * a)),
            std::array::from_fn(|a| exponential(&part(2 * a + 1)) * self.1[a]),
        )
    }
    fn moved(&self, rest: &Local) -> Moved {
        let [x, y, z] = self.0;
        Moved::new(rest, [y - x, z - x], [&self.1[0], &self.1[1], &self.1[2]]).unwrap()
    }
}

/// The tangent with nothing left out, term by term: what [`packed_tangent`] is checked against.
impl Moved {
    /// Tangent for displacements and spins, frame axes, not symmetrised.
    ///
    /// `stiffness`: of the motion in the frame. `own`: forces conjugate to the motion; `stiffness * motion` less
    /// thermal forces gives the exact tangent, independent iterates that of the mixed Newton.
    fn tangent(&self, stiffness: &Matrix18, own: &Vector18) -> Matrix18 {
        let mut k = *stiffness;
        self.turn_stiffness(&mut k);
        for a in 0..3 {
            let (v, m) = (self.motion.fixed_rows::<3>(6 * a + 3), own.fixed_rows::<3>(6 * a + 3));
            let l = moment_correction(&v.into_owned(), &m.into_owned(), &self.turning[a]);
            let mut block = k.fixed_view_mut::<3, 3>(6 * a + 3, 6 * a + 3);
            block += l;
        }
        self.project(&mut k);
        self.add_frame_terms(&mut k, &self.force(own));
        k
    }

    /// `Hf' K Hf`: rotations to spins at every corner.
    fn turn_stiffness(&self, k: &mut Matrix18) {
        for a in 0..3 {
            let h = &self.turning[a];
            for part in 0..6 {
                let right = k.fixed_view::<3, 3>(3 * part, 6 * a + 3) * h;
                k.fixed_view_mut::<3, 3>(3 * part, 6 * a + 3).copy_from(&right);
            }
        }
        for a in 0..3 {
            let h = self.turning[a].transpose();
            for part in 0..6 {
                let left = h * k.fixed_view::<3, 3>(6 * a + 3, 3 * part);
                k.fixed_view_mut::<3, 3>(6 * a + 3, 3 * part).copy_from(&left);
            }
        }
    }

    /// `P' K P`, by the few columns that the projector takes out.
    fn project(&self, k: &mut Matrix18) {
        let mut shift = SMatrix::<f64, 18, 3>::zeros();
        let mut spin = SMatrix::<f64, 18, 3>::zeros();
        for a in 0..3 {
            shift += k.fixed_columns::<3>(6 * a);
            spin += k.fixed_columns::<3>(6 * a) * self.lever(a) + k.fixed_columns::<3>(6 * a + 3);
        }
        shift /= 3.0;
        for a in 0..3 {
            let less = shift + spin * self.fitter[a];
            let mut columns = k.fixed_columns_mut::<3>(6 * a);
            columns -= less;
        }
        let mut shift = SMatrix::<f64, 3, 18>::zeros();
        let mut spin = SMatrix::<f64, 3, 18>::zeros();
        for a in 0..3 {
            let rows = k.fixed_rows::<3>(6 * a).into_owned();
            shift += rows;
            spin += self.lever(a).transpose() * rows + k.fixed_rows::<3>(6 * a + 3);
        }
        shift /= 3.0;
        for a in 0..3 {
            let less = shift + self.fitter[a].transpose() * spin;
            let mut rows = k.fixed_rows_mut::<3>(6 * a);
            rows -= less;
        }
    }

    /// The force turns with the frame, and the fitter's levers change with the motion.
    fn add_frame_terms(&self, k: &mut Matrix18, f: &Vector18) {
        let spins: [Matrix3<f64>; 6] =
            std::array::from_fn(|i| f.fixed_rows::<3>(3 * i).into_owned().cross_matrix());
        for (i, spin) in spins.iter().enumerate() {
            for (b, fitter) in self.fitter.iter().enumerate() {
                let mut block = k.fixed_view_mut::<3, 3>(3 * i, 6 * b);
                block -= spin * fitter;
            }
        }
        // spin(n_b) P: the projector acts on the force columns only.
        let total = (spins[0] + spins[2] + spins[4]) / 3.0;
        let turned: Matrix3<f64> = (0..3).map(|b| spins[2 * b] * self.lever(b)).sum();
        for b in 0..3 {
            let column = spins[2 * b] - total - turned * self.fitter[b];
            for (a, fitter) in self.fitter.iter().enumerate() {
                let mut block = k.fixed_view_mut::<3, 3>(6 * a, 6 * b);
                block += fitter.tr_mul(&column);
            }
        }
    }
}

fn reference() -> (Local, Matrix18, Corners) {
    let corners = TRIANGLE.map(|[x, y]| [x, y, 0.0]);
    let rest = local(corners, [1.0, 0.0, 0.0]);
    let stiffness = shell::stiffness(&rest.corners, &laminate());
    let q = exponential(&Vector3::new(0.7, -1.1, 0.5));
    let p = [[0.010, -0.020, 0.050], [-0.015, 0.005, -0.030], [0.020, 0.012, 0.080]];
    let f = [[0.05, -0.08, 0.02], [-0.04, 0.10, -0.03], [0.07, 0.03, 0.06]];
    let at = |a: usize| q * (Vector3::from(corners[a]) + Vector3::from(p[a])) + Vector3::new(1.0, 2.0, 3.0);
    let turn = |a: usize| q * exponential(&Vector3::from(f[a]));
    (rest, stiffness, Corners([at(0), at(1), at(2)], [turn(0), turn(1), turn(2)]))
}

fn global(moved: &Moved, own: &Vector18) -> Vector18 {
    Local { corners: [[0.0; 2]; 3], triad: moved.triad }.vector_to_global(own)
}

fn force(rest: &Local, stiffness: &Matrix18, corners: &Corners) -> Vector18 {
    let moved = corners.moved(rest);
    global(&moved, &moved.force(&(stiffness * moved.motion)))
}

fn tangent(rest: &Local, stiffness: &Matrix18, corners: &Corners) -> Matrix18 {
    let moved = corners.moved(rest);
    let own = moved.tangent(stiffness, &(stiffness * moved.motion));
    Local { corners: [[0.0; 2]; 3], triad: moved.triad }.matrix_to_global(&own)
}

#[test]
fn reference_state_is_met() {
    let (rest, stiffness, corners) = reference();
    let moved = corners.moved(&rest);
    let energy = 0.5 * moved.motion.dot(&(stiffness * moved.motion));
    assert!((energy / 4.049_469_727_51 - 1.0).abs() < 1e-10, "energy {energy}");
    let d = [
        [0.004208174023, -0.01844540619, 0.0, 0.01121943169, -0.1466407855, 0.02277619852],
        [-0.01797151152, 0.004449593869, 0.0, -0.07698138539, 0.03238249949, -0.03363777792],
        [0.01376333749, 0.01399581232, 0.0, 0.0298768462, -0.0358807157, 0.06130082427],
    ];
    let f = [
        [43.51064139, -59.23067399, -78.81235301, 6.316664871, 9.439039883, -2.519169597],
        [-45.50983647, 25.25129417, -10.99608161, 11.93922121, 18.85725489, -9.159884022],
        [1.999195077, 33.97937982, 89.80843462, -40.17167401, -45.10624482, 17.46448472],
    ];
    let found = force(&rest, &stiffness, &corners);
    for a in 0..3 {
        for i in 0..6 {
            let (motion, force) = (moved.motion[6 * a + i], found[6 * a + i]);
            assert!((motion - d[a][i]).abs() < 6e-11, "motion {a} {i}: {motion}");
            assert!((force - f[a][i]).abs() < 1e-7, "force {a} {i}: {force}");
        }
    }
    let rows = [
        [0.421197, 0.07605391, 0.9037748],
        [-0.70206529, 0.65819998, 0.27180346],
        [-0.57419283, -0.74899172, 0.33062667],
    ];
    let gap = (moved.triad - Matrix3::from_fn(|i, j| rows[i][j])).amax();
    assert!(gap < 1e-8, "frame off by {gap:e}");
    let middle =
        shell::strain_operator(&rest.corners, [1.0 / 3.0; 3], laminate().drilling_scale) * moved.motion;
    let strain =
        Vector6::new(-0.01474650783, 0.02240374596, 0.064530484, 0.1328850951, -0.04795930077, 0.00074871485);
    assert!((middle - strain).amax() < 1e-10, "strain {middle}");
}

#[test]
fn tangent_equals_the_reference_matrix() {
    let text = include_str!("../../../../tests/data/golden_Kt18.csv");
    let lines = text.lines().filter(|l| !l.starts_with('#'));
    let numbers: Vec<f64> =
        lines.flat_map(|l| l.split(',').map(|v| v.trim().parse::<f64>().unwrap())).collect();
    let expected = Matrix18::from_row_slice(&numbers);
    let (rest, stiffness, corners) = reference();
    let error = (tangent(&rest, &stiffness, &corners) - expected).amax() / expected.amax();
    assert!(error < 1e-9, "largest difference over largest entry {error:e}");
    // What keeps it from being symmetric: half moments turned, nothing else.
    let f = force(&rest, &stiffness, &corners);
    let k = tangent(&rest, &stiffness, &corners);
    let mut skew = Matrix18::zeros();
    for a in 0..3 {
        let spin = f.fixed_rows::<3>(6 * a + 3).into_owned().cross_matrix();
        skew.fixed_view_mut::<3, 3>(6 * a + 3, 6 * a + 3).copy_from(&-spin);
    }
    let gap = (k - k.transpose() - skew).amax() / k.amax();
    assert!(gap < 1e-12, "skew part off by {gap:e}");
}

/// The form for assembly is the symmetric part of the same, turned to global axes.
#[test]
fn packed_tangent_is_the_symmetric_part() {
    let (rest, stiffness, corners) = reference();
    let moved = corners.moved(&rest);
    // Independent forces: not those of the motion.
    let own =
        stiffness * moved.motion * 1.7 + Vector18::from_fn(|i, _| [-40.0, -10.0, 20.0, 50.0, 80.0][i % 5]);
    let exact = Local { corners: [[0.0; 2]; 3], triad: moved.triad }
        .matrix_to_global(&moved.tangent(&stiffness, &own));
    let pack = |k: &Matrix18| {
        let mut packed = vec![0.0; PACKED];
        for i in 0..18 {
            for j in i..18 {
                packed[packed_row(i) + j] = 0.5 * (k[(i, j)] + k[(j, i)]);
            }
        }
        packed
    };
    let mut found = vec![0.0; PACKED];
    let force = packed_tangent(&moved, &pack(&stiffness), &own, &mut found);
    assert!((force - moved.force(&own)).amax() <= 1e-12 * force.amax(), "force beside the tangent");
    for (n, (a, b)) in found.iter().zip(pack(&exact)).enumerate() {
        assert!((a - b).abs() < 1e-12 * exact.amax(), "entry {n}: {a} against {b}");
    }
}

#[test]
fn a_tilted_triangle_at_rest_gives_the_same_in_its_own_terms() {
    let (flat, stiffness, corners) = reference();
    let tilt = exponential(&Vector3::new(-0.4, 0.9, 1.3));
    let place = TRIANGLE.map(|[x, y]| (tilt * Vector3::new(x, y, 0.0) + Vector3::new(5.0, -4.0, 2.0)).into());
    let axis = (tilt * Vector3::x()).into();
    let rest = local(place, axis);
    let own = Corners(corners.0, corners.1.map(|r| r * tilt.transpose()));
    let (a, b) = (force(&flat, &stiffness, &corners), force(&rest, &stiffness, &own));
    assert!((a - b).amax() < 1e-12 * a.amax(), "force off by {:e}", (a - b).amax());
    let (a, b) = (tangent(&flat, &stiffness, &corners), tangent(&rest, &stiffness, &own));
    assert!((a - b).amax() < 1e-12 * a.amax(), "tangent off by {:e}", (a - b).amax());
    // At rest it has no motion and its tangent is the small-motion stiffness.
    let still = Corners(place.map(Vector3::from), [Matrix3::identity(); 3]);
    assert!(still.moved(&rest).motion.amax() < 1e-15);
    let k = rest.matrix_to_global(&stiffness);
    let gap = (tangent(&rest, &stiffness, &still) - k).amax() / k.amax();
    assert!(gap < 1e-13, "{gap:e}");
}

/// Four-point central difference of a function along entry `j`.
fn difference<const N: usize>(
    corners: &Corners,
    j: usize,
    h: f64,
    of: impl Fn(&Corners) -> nalgebra::SVector<f64, N>,
) -> nalgebra::SVector<f64, N> {
    let mut step = Vector18::zeros();
    step[j] = 1.0;
    let at = |t: f64| of(&corners.stepped(&step, t));
    ((at(h) - at(-h)) * 8.0 - (at(2.0 * h) - at(-2.0 * h))) / (12.0 * h)
}

#[test]
fn force_is_the_gradient_of_the_energy_and_tangent_that_of_the_force() {
    let (_, stiffness, mut corners) = reference();
    let tilt = exponential(&Vector3::new(0.3, -0.2, 0.6));
    let place = TRIANGLE.map(|[x, y]| (tilt * Vector3::new(x, y, 0.0)).into());
    let rest = local(place, (tilt * Vector3::x()).into());
    corners.1 = corners.1.map(|r| r * tilt.transpose());
    let f = force(&rest, &stiffness, &corners);
    let k = tangent(&rest, &stiffness, &corners);
    for j in 0..18 {
        let energy = |c: &Corners| {
            let d = c.moved(&rest).motion;
            nalgebra::SVector::<f64, 1>::new(0.5 * d.dot(&(stiffness * d)))
        };
        let slope = difference(&corners, j, 1e-3, energy)[0];
        assert!((slope - f[j]).abs() < 1e-10 * f.amax(), "force {j}: {} against {slope}", f[j]);
        let column = difference(&corners, j, 5e-4, |c| force(&rest, &stiffness, c));
        let gap = (column - k.column(j)).amax() / k.amax();
        assert!(gap < 1e-8, "tangent column {j} off by {gap:e}");
    }
}

#[test]
fn strained_motion_is_the_derivative_of_the_motion() {
    let (rest, _, corners) = reference();
    let moved = corners.moved(&rest);
    for j in 0..18 {
        let mut step = Vector18::zeros();
        step[j] = 1.0;
        let local_step = Local { corners: [[0.0; 2]; 3], triad: moved.triad }.vector_to_local(&step);
        let slope = difference(&corners, j, 1e-3, |c| c.moved(&rest).motion);
        let gap = (moved.strained(&local_step) - slope).amax();
        assert!(gap < 1e-10, "column {j} off by {gap:e}");
    }
}

#[test]
fn any_rotation_of_the_whole_leaves_the_motion() {
    let (rest, stiffness, corners) = reference();
    let q = exponential(&Vector3::new(2.0, 1.0, -1.5));
    let turned = Corners(corners.0.map(|x| q * x), corners.1.map(|r| q * r));
    let (a, b) = (corners.moved(&rest), turned.moved(&rest));
    assert!((a.motion - b.motion).amax() < 1e-12, "{:e}", (a.motion - b.motion).amax());
    let f = force(&rest, &stiffness, &corners);
    let g = force(&rest, &stiffness, &turned);
    for i in 0..6 {
        let gap = (q * f.fixed_rows::<3>(3 * i) - g.fixed_rows::<3>(3 * i)).amax();
        assert!(gap < 1e-12 * f.amax(), "force part {i} off by {gap:e}");
    }
    // A rigid rotation alone strains nothing.
    let still = Corners(TRIANGLE.map(|[x, y]| q * Vector3::new(x, y, 0.0)), [q; 3]);
    assert!(still.moved(&rest).motion.amax() < 1e-14);
}

#[test]
fn numbering_of_the_corners_does_not_matter() {
    let (rest, stiffness, corners) = reference();
    let f = force(&rest, &stiffness, &corners);
    let place = [1, 2, 0].map(|a| [TRIANGLE[a][0], TRIANGLE[a][1], 0.0]);
    let other = local(place, [1.0, 0.0, 0.0]);
    let k = shell::stiffness(&other.corners, &laminate());
    let turned = Corners([1, 2, 0].map(|a| corners.0[a]), [1, 2, 0].map(|a| corners.1[a]));
    let g = force(&other, &k, &turned);
    for (a, b) in [1, 2, 0].into_iter().zip(0..3) {
        let gap = (f.fixed_rows::<6>(6 * a) - g.fixed_rows::<6>(6 * b)).amax();
        assert!(gap < 1e-12 * f.amax(), "corner {a} off by {gap:e}");
    }
}

#[test]
fn logarithm_undoes_the_exponential_up_to_a_half_turn() {
    let axis = Vector3::new(0.36, -0.48, 0.8);
    for angle in [0.0, 1e-9, 1e-3, 0.049, 0.051, 1.0, 3.0, PI - 6e-7, PI] {
        let theta = axis * angle;
        let gap = (logarithm(&exponential(&theta)) - theta).amax();
        let other = (logarithm(&exponential(&theta)) + theta).amax();
        // A half turn either way is the same rotation.
        let gap = if angle > PI - 1e-9 { gap.min(other) } else { gap };
        assert!(gap < 1e-9, "angle {angle}: off by {gap:e}");
    }
}

#[test]
fn a_collapsed_triangle_has_no_frame() {
    let (rest, _, corners) = reference();
    let [a, b, c] = [&corners.1[0], &corners.1[1], &corners.1[2]];
    let side = Vector3::new(1.0, 0.5, 0.2);
    assert!(Moved::new(&rest, [side, side * 2.0], [a, b, c]).is_none());
    assert!(Moved::new(&rest, [side * f64::NAN, side], [a, b, c]).is_none());
    assert!(Moved::new(&rest, [side * 0.0, side], [a, b, c]).is_none());
}
