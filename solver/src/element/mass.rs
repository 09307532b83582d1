//! Consistent mass of the shell triangle.
//!
//! Input: corners and the laminate's mass moments. Output: 18 x 18 mass in the element's axes. In-plane motion
//! runs linearly plus the drilling's bulge of each side, deflection is a nine-term cubic, rotation is that of the
//! Kirchhoff plate; a stack off the reference plane couples in-plane motion and rotation.
//! Absent: inertia of a uniform drilling rotation, which moves nothing.

use super::plate::Plate;
use super::shell::{MEMBRANE, PLATE};
use super::{Matrix18, NEXT, double_area};

/// Twelve-point rule of degree six: weight, area coordinates.
/// Source: D. A. Dunavant, Int. J. Numer. Meth. Engng 21 (1985) 1129-1148 (from memory, confirmed by its moments).
fn rule() -> [(f64, [f64; 3]); 12] {
    const INNER: (f64, f64, f64) = (0.116_786_275_726_379, 0.501_426_509_658_179, 0.249_286_745_170_910);
    const OUTER: (f64, f64, f64) = (0.050_844_906_370_207, 0.873_821_971_016_996, 0.063_089_014_491_502);
    const SIX: f64 = 0.082_851_075_618_374;
    const PLACES: [f64; 3] = [0.053_145_049_844_817, 0.310_352_451_033_784, 0.636_502_499_121_399];
    std::array::from_fn(|q| match q {
        0..6 => {
            let (w, a, b) = if q < 3 { INNER } else { OUTER };
            let mut zeta = [b; 3];
            zeta[q % 3] = a;
            (w, zeta)
        }
        _ => {
            let first = q % 3;
            let [second, third] = if q < 9 { NEXT[first] } else { [NEXT[first][1], NEXT[first][0]] };
            let mut zeta = [0.0; 3];
            zeta[first] = PLACES[0];
            zeta[second] = PLACES[1];
            zeta[third] = PLACES[2];
            (SIX, zeta)
        }
    })
}

/// In-plane displacement (x and y) at `zeta` on the nine membrane freedoms (u, v, tz of each node).
fn in_plane(c: &[[f64; 2]; 3], zeta: &[f64; 3]) -> [[f64; 9]; 2] {
    let mut rows = [[0.0; 9]; 2];
    for i in 0..3 {
        rows[0][3 * i] += zeta[i];
        rows[1][3 * i + 1] += zeta[i];
        let j = NEXT[i][0];
        let half = 0.5 * zeta[i] * zeta[j];
        let bulge = [half * (c[j][1] - c[i][1]), half * (c[i][0] - c[j][0])];
        for (row, b) in rows.iter_mut().zip(bulge) {
            row[3 * j + 2] += b;
            row[3 * i + 2] -= b;
        }
    }
    rows
}

/// Deflection at `zeta` on the nine plate freedoms (w, tx, ty of each node).
fn deflection(c: &[[f64; 2]; 3], zeta: &[f64; 3]) -> [f64; 9] {
    let mut row = [0.0; 9];
    let bubble = 0.5 * zeta[0] * zeta[1] * zeta[2];
    for i in 0..3 {
        row[3 * i] += zeta[i];
        for &j in &NEXT[i] {
            let f = zeta[i] * zeta[i] * zeta[j] + bubble;
            row[3 * i] += f;
            row[3 * j] -= f;
            row[3 * i + 1] += f * (c[j][1] - c[i][1]);
            row[3 * i + 2] -= f * (c[j][0] - c[i][0]);
        }
    }
    row
}

/// Mass in the element's axes: kg for displacements, kg m2 for rotations.
///
/// `moments`: mass per area and its first and second moments about the reference plane.
#[must_use]
pub fn mass(corners: &[[f64; 2]; 3], moments: &[f64; 3]) -> Matrix18 {
    let plate = Plate::new(corners);
    let area = 0.5 * double_area(corners);
    let mut m = Matrix18::zeros();
    for (w, zeta) in rule() {
        // Four fields on all eighteen freedoms: u, v, w and the two rotations of the normal.
        let mut fields = [[0.0; 18]; 5];
        let (plane, rotation) = (in_plane(corners, &zeta), plate.rotation(&zeta));
        let w_row = deflection(corners, &zeta);
        for n in 0..9 {
            fields[0][MEMBRANE[n]] = plane[0][n];
            fields[1][MEMBRANE[n]] = plane[1][n];
            fields[2][PLATE[n]] = w_row[n];
            fields[3][PLATE[n]] = rotation[0][n];
            fields[4][PLATE[n]] = rotation[1][n];
        }
        let [f0, f1, f2] = moments.map(|x| x * w * area);
        for i in 0..18 {
            for j in i..18 {
                let square = |a: usize| fields[a][i] * fields[a][j];
                let cross = |a: usize, b: usize| fields[a][i] * fields[b][j] + fields[b][i] * fields[a][j];
                m[(i, j)] += f0 * (square(0) + square(1) + square(2))
                    + f1 * (cross(0, 3) + cross(1, 4))
                    + f2 * (square(3) + square(4));
            }
        }
    }
    m.fill_lower_triangle_with_upper_triangle();
    m
}

/// Mass of something that moves with the deflection only (air on both faces), kg/m2 on the cubic field; in the
/// element's axes.
#[must_use]
pub fn normal_mass(corners: &[[f64; 2]; 3], per_area: f64) -> Matrix18 {
    let area = 0.5 * double_area(corners);
    let mut m = Matrix18::zeros();
    for (w, zeta) in rule() {
        let row = deflection(corners, &zeta);
        for i in 0..9 {
            for j in 0..9 {
                m[(PLATE[i], PLATE[j])] += w * area * per_area * row[i] * row[j];
            }
        }
    }
    m
}

/// Nodal forces of a force per area (x, y, z in the element's axes, N/m2) that acts on the reference plane.
///
/// In-plane parts go a third to each corner; the normal part works on the cubic deflection.
#[must_use]
pub fn area_load(corners: &[[f64; 2]; 3], force_n_m2: [f64; 3]) -> super::Vector18 {
    let area = 0.5 * double_area(corners);
    let mut f = super::Vector18::zeros();
    for n in 0..3 {
        f[6 * n] = area / 3.0 * force_n_m2[0];
        f[6 * n + 1] = area / 3.0 * force_n_m2[1];
    }
    for (w, zeta) in rule() {
        let row = deflection(corners, &zeta);
        for n in 0..9 {
            f[PLATE[n]] += w * area * force_n_m2[2] * row[n];
        }
    }
    f
}
