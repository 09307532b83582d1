//! The flat shell triangle: membrane and plate, coupled through the same strain operator.
//!
//! Input: corners in the element's plane, a laminate. Output: stiffness, thermal load, strain operator.
//! The strain is linear over the triangle, so the three mid-sides integrate the energy exactly.

use super::membrane::Membrane;
use super::plate::Plate;
use super::{MID_SIDES, Matrix18, PACKED, Rows, Vector18, double_area, packed_row};
use crate::laminate::Laminate;
use nalgebra::{Matrix3, Matrix6, SMatrix, Vector3, Vector6};

/// Element freedom of each membrane freedom (u, v, tz of each node).
pub(crate) const MEMBRANE: [usize; 9] = [0, 1, 5, 6, 7, 11, 12, 13, 17];
/// Element freedom of each plate freedom (w, tx, ty of each node).
pub(crate) const PLATE: [usize; 9] = [2, 3, 4, 8, 9, 10, 14, 15, 16];

/// Sum of `left^T right` over rows, added to `sum`.
#[inline(always)]
fn add_product(sum: &mut [[f64; 9]; 9], left: &Rows, right: &Rows) {
    for (i, line) in sum.iter_mut().enumerate() {
        let (l0, l1, l2) = (left[0][i], left[1][i], left[2][i]);
        for j in 0..9 {
            line[j] += l0 * right[0][j] + l1 * right[1][j] + l2 * right[2][j];
        }
    }
}

/// Three by three matrix times strain rows.
#[inline(always)]
fn times(m: &Matrix3<f64>, rows: &Rows) -> Rows {
    std::array::from_fn(|r| {
        std::array::from_fn(|n| m[(r, 0)] * rows[0][n] + m[(r, 1)] * rows[1][n] + m[(r, 2)] * rows[2][n])
    })
}

/// Stiffness between membrane freedoms, between membrane and plate freedoms, between plate freedoms. Of the first and
/// last, the upper triangles count.
#[inline(always)]
fn parts(corners: &[[f64; 2]; 3], laminate: &Laminate) -> [[[f64; 9]; 9]; 3] {
    let (membrane, plate) = (Membrane::new(corners), Plate::new(corners));
    let weight = double_area(corners) / 6.0;
    let (a, b, d) = (laminate.a * weight, laminate.b * weight, laminate.d * weight);
    let [mut mm, mut mp, mut pp] = [[[0.0; 9]; 9]; 3];
    for zeta in &MID_SIDES {
        let e = membrane.rows(zeta, laminate.drilling_scale);
        let k = plate.rows(zeta);
        add_product(&mut mm, &e, &times(&a, &e));
        add_product(&mut mp, &e, &times(&b, &k));
        add_product(&mut pp, &k, &times(&d, &k));
    }
    [mm, mp, pp]
}

/// Stiffness in the element's axes; forces N and moments N m for corners in m.
///
/// Exactly symmetric. Six rigid motions cost nothing.
#[must_use]
pub fn stiffness(corners: &[[f64; 2]; 3], laminate: &Laminate) -> Matrix18 {
    let [mm, mp, pp] = parts(corners, laminate);
    let mut ke = Matrix18::zeros();
    for i in 0..9 {
        for j in 0..9 {
            let (low, high) = (i.min(j), i.max(j));
            ke[(MEMBRANE[i], MEMBRANE[j])] = mm[low][high];
            ke[(PLATE[i], PLATE[j])] = pp[low][high];
            ke[(MEMBRANE[i], PLATE[j])] = mp[i][j];
            ke[(PLATE[j], MEMBRANE[i])] = mp[i][j];
        }
    }
    ke
}

/// Part, row and column of every entry of the packed upper triangle.
const PLACES: [[usize; 3]; PACKED] = {
    let mut places = [[0; 3]; PACKED];
    let mut i = 0;
    while i < 9 {
        let mut j = 0;
        while j < 9 {
            let (m, p) = (MEMBRANE[i], PLATE[j]);
            places[if m < p { packed_row(m) + p } else { packed_row(p) + m }] = [1, i, j];
            if j >= i {
                places[packed_row(MEMBRANE[i]) + MEMBRANE[j]] = [0, i, j];
                places[packed_row(PLATE[i]) + PLATE[j]] = [2, i, j];
            }
            j += 1;
        }
        i += 1;
    }
    places
};

/// The packed upper triangle of [`stiffness`].
#[inline(always)]
pub(crate) fn packed_stiffness(corners: &[[f64; 2]; 3], laminate: &Laminate, out: &mut [f64]) {
    let parts = parts(corners, laminate);
    for (out, [part, i, j]) in out.iter_mut().zip(PLACES) {
        *out = parts[part][i][j];
    }
}

/// Nodal forces that heating would free, in the element's axes, at the plies' own heating.
#[must_use]
pub fn thermal(corners: &[[f64; 2]; 3], laminate: &Laminate) -> Vector18 {
    resultant_forces(corners, &laminate.thermal_n, &laminate.thermal_m)
}

/// Nodal forces in balance with constant resultants N (per length) and M over the triangle.
#[must_use]
pub fn resultant_forces(corners: &[[f64; 2]; 3], n: &Vector3<f64>, m: &Vector3<f64>) -> Vector18 {
    // The operator is linear, so its mean is its value at the centroid.
    let centroid = [1.0 / 3.0; 3];
    let area = 0.5 * double_area(corners);
    let e = Membrane::new(corners).rows(&centroid, 1.0);
    let k = Plate::new(corners).rows(&centroid);
    let mut f = Vector18::zeros();
    for i in 0..9 {
        f[MEMBRANE[i]] = area * (e[0][i] * n[0] + e[1][i] * n[1] + e[2][i] * n[2]);
        f[PLATE[i]] = area * (k[0][i] * m[0] + k[1][i] * m[1] + k[2][i] * m[2]);
    }
    f
}

/// Generalised strain (e, k) at area coordinates `zeta`, per freedom.
///
/// `scale`: [`Laminate::drilling_scale`] gives the strain whose energy is the stiffness; 1 gives the strain to
/// report, whose differences between corners are true in in-plane bending.
#[must_use]
pub fn strain_operator(corners: &[[f64; 2]; 3], zeta: [f64; 3], scale: f64) -> SMatrix<f64, 6, 18> {
    let e = Membrane::new(corners).rows(&zeta, scale);
    let k = Plate::new(corners).rows(&zeta);
    let mut b = SMatrix::zeros();
    for i in 0..9 {
        for r in 0..3 {
            b[(r, MEMBRANE[i])] = e[r][i];
            b[(r + 3, PLATE[i])] = k[r][i];
        }
    }
    b
}

/// Generalised strains (e, k) at the three corners of a triangle that moves as `motion`; what
/// [`strain_operator`] gives there, without the zeros.
///
/// `motion` in the element's axes, m and rad; `scale` as in [`strain_operator`].
#[must_use]
pub fn corner_strains(corners: &[[f64; 2]; 3], motion: &Vector18, scale: f64) -> [Vector6<f64>; 3] {
    strains_at(corners, motion, scale, &[[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]])
}

/// As [`corner_strains`] at the middles of the sides, where the shell is integrated.
#[must_use]
pub fn mid_side_strains(corners: &[[f64; 2]; 3], motion: &Vector18, scale: f64) -> [Vector6<f64>; 3] {
    strains_at(corners, motion, scale, &MID_SIDES)
}

fn strains_at(
    corners: &[[f64; 2]; 3],
    motion: &Vector18,
    scale: f64,
    places: &[[f64; 3]; 3],
) -> [Vector6<f64>; 3] {
    let (membrane, plate) = (Membrane::new(corners), Plate::new(corners));
    let own = |freedoms: &[usize; 9]| freedoms.map(|i| motion[i]);
    let (in_plane, bending) = (own(&MEMBRANE), own(&PLATE));
    let times = |row: &[f64; 9], own: &[f64; 9]| row.iter().zip(own).map(|(b, u)| b * u).sum::<f64>();
    places.map(|zeta| {
        let (e, k) = (membrane.rows(&zeta, scale), plate.rows(&zeta));
        Vector6::from_fn(|r, _| if r < 3 { times(&e[r], &in_plane) } else { times(&k[r - 3], &bending) })
    })
}

/// Nodal forces in balance with resultants (N, M) at the middles of the sides, and the stiffness of such resultants'
/// change with the strain there.
#[must_use]
pub fn mid_side_forces(
    corners: &[[f64; 2]; 3],
    scale: f64,
    resultants: &[Vector6<f64>; 3],
    changes: &[Matrix6<f64>; 3],
) -> (Vector18, Matrix18) {
    let weight = double_area(corners) / 6.0;
    let (mut force, mut stiffness) = (Vector18::zeros(), Matrix18::zeros());
    for (i, zeta) in MID_SIDES.iter().enumerate() {
        let b = strain_operator(corners, *zeta, scale);
        force += b.tr_mul(&resultants[i]) * weight;
        stiffness += b.tr_mul(&(changes[i] * b)) * weight;
    }
    (force, stiffness)
}
