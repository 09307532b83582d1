//! The tangent of a moved triangle as the sum over a mesh wants it: symmetric part, global axes, packed.
//!
//! In: a [`Moved`] triangle, its packed stiffness, independent forces. Out: the packed upper triangle. Written for
//! speed, in rows that fill registers: the nine displacement columns of all corners together, the rotation columns
//! corner by corner, since the motion's rotations at a corner follow the spin of that corner alone. What the
//! frame leaves at zero (the third displacement) is left out, and the change of the moments with the rotation vectors
//! is counted with the stiffness. Checked in the tests against the same tangent, term by term.

use super::{Moved, moment_change, spin_from_vector};
use crate::element::{Vector18, packed_row};
use nalgebra::Matrix3;

/// Nine entries and three zeros: three per corner.
type Row = [f64; 12];

/// Freedoms of the motion that are not zero: two displacements of each corner, then three rotations of each.
const KEPT: [usize; 15] = [0, 1, 6, 7, 12, 13, 3, 4, 5, 9, 10, 11, 15, 16, 17];

/// Writes the symmetric part of the tangent, global axes, packed upper triangle; returns the force on the corners in
/// frame axes.
///
/// `stiffness`: of the motion in the frame, packed. `own`: forces conjugate to the motion.
#[inline(always)]
pub(crate) fn packed_tangent(moved: &Moved, stiffness: &[f64], own: &Vector18, out: &mut [f64]) -> Vector18 {
    let k = kept(moved, stiffness, own);
    let force = moved.force(own);
    let t = &moved.triad;
    let mut spin = [[0.0; 12]; 3];
    for (b, fitter) in moved.fitter.iter().enumerate() {
        put(&mut spin, b, &(fitter * t));
    }
    let turning = moved.turning.map(|h| h * t);
    let follow = follow(moved, &spin);
    let mut pulled = [[0.0; 12]; 15];
    for (row, pulled) in k.iter().zip(&mut pulled) {
        for (value, follow) in row.iter().zip(&follow) {
            add(pulled, *value, follow);
        }
    }
    let mut shifts = [[0.0; 12]; 9];
    for (pulled, follow) in pulled.iter().zip(&follow) {
        for (row, value) in shifts.iter_mut().zip(follow) {
            add(row, *value, pulled);
        }
    }
    let mut mixed = [[0.0; 12]; 9];
    let mut turns = [[0.0; 12]; 9];
    for a in 0..3 {
        for r in 0..3 {
            let own = turned(&k[6 + 3 * a + r], &turning);
            for c in 0..3 {
                let share = turning[a][(r, c)];
                add(&mut mixed[3 * a + c], share, &pulled[6 + 3 * a + r]);
                add(&mut turns[3 * a + c], share, &own);
            }
        }
    }
    add_frame_terms(moved, &force, &spin, &mut shifts, &mut mixed);
    write(&shifts, &mixed, &turns, out);
    force
}

#[inline(always)]
fn add(sum: &mut Row, factor: f64, row: &Row) {
    for (s, r) in sum.iter_mut().zip(row) {
        *s += factor * r;
    }
}

/// Three rows' entries of one corner.
#[inline(always)]
fn put(rows: &mut [Row; 3], corner: usize, block: &Matrix3<f64>) {
    for (r, row) in rows.iter_mut().enumerate() {
        for c in 0..3 {
            row[3 * corner + c] = block[(r, c)];
        }
    }
}

/// Stiffness of the kept freedoms, with the change of the moments as the rotation vectors change.
#[inline(always)]
fn kept(moved: &Moved, stiffness: &[f64], own: &Vector18) -> [[f64; 15]; 15] {
    let mut k = [[0.0; 15]; 15];
    for (i, &p) in KEPT.iter().enumerate() {
        for (j, &q) in KEPT.iter().enumerate() {
            k[i][j] = stiffness[packed_row(p.min(q)) + p.max(q)];
        }
    }
    for a in 0..3 {
        let v = moved.motion.fixed_rows::<3>(6 * a + 3).into_owned();
        let m = own.fixed_rows::<3>(6 * a + 3).into_owned();
        // Per rotation vector on both sides: the spins come in with the rest.
        let change = spin_from_vector(&v).tr_mul(&moment_change(&v, &m));
        for i in 0..3 {
            for j in 0..3 {
                k[6 + 3 * a + i][6 + 3 * a + j] += 0.5 * (change[(i, j)] + change[(j, i)]);
            }
        }
    }
    k
}

/// How the kept freedoms follow the displacements of the corners.
#[inline(always)]
fn follow(moved: &Moved, spin: &[Row; 3]) -> [Row; 15] {
    let mut follow = [[0.0; 12]; 15];
    for a in 0..3 {
        let [x, y] = moved.place[a];
        for b in 0..3 {
            let share = if a == b { 2.0 / 3.0 } else { -1.0 / 3.0 };
            for c in 0..3 {
                let at = 3 * b + c;
                follow[2 * a][at] = share * moved.triad[(0, c)] + y * spin[2][at];
                follow[2 * a + 1][at] = share * moved.triad[(1, c)] - x * spin[2][at];
            }
        }
        for r in 0..3 {
            for (s, spin) in spin.iter().enumerate() {
                add(&mut follow[6 + 3 * a + r], -moved.turning[a][(r, s)], spin);
            }
        }
    }
    follow
}

/// A row of the stiffness over the spins of the corners.
#[inline(always)]
fn turned(row: &[f64; 15], turning: &[Matrix3<f64>; 3]) -> Row {
    let mut out = [0.0; 12];
    for (b, turning) in turning.iter().enumerate() {
        for c in 0..3 {
            out[3 * b + c] = row[6 + 3 * b] * turning[(0, c)]
                + row[7 + 3 * b] * turning[(1, c)]
                + row[8 + 3 * b] * turning[(2, c)];
        }
    }
    out
}

/// The force turns with the frame, and the levers of the frame's spin change with the motion.
#[inline(always)]
fn add_frame_terms(
    moved: &Moved,
    force: &Vector18,
    spin: &[Row; 3],
    shifts: &mut [Row; 9],
    mixed: &mut [Row; 9],
) {
    let cross: [Matrix3<f64>; 6] =
        std::array::from_fn(|i| force.fixed_rows::<3>(3 * i).into_owned().cross_matrix());
    let levers: Matrix3<f64> = (0..3).map(|b| cross[2 * b] * moved.lever(b)).sum();
    let (mut by_shift, mut by_turn) = ([[0.0; 12]; 3], [[0.0; 12]; 3]);
    for b in 0..3 {
        // The forces sum to zero, so that their mean adds nothing.
        let own = cross[2 * b] * 2.0 - levers * moved.fitter[b];
        put(&mut by_shift, b, &(own * moved.triad * 0.5));
        put(&mut by_turn, b, &(cross[2 * b + 1] * moved.triad * 0.5));
    }
    for s in 0..3 {
        for (p, row) in shifts.iter_mut().enumerate() {
            add(row, spin[s][p], &by_shift[s]);
            add(row, by_shift[s][p], &spin[s]);
        }
        for (p, row) in mixed.iter_mut().enumerate() {
            add(row, by_turn[s][p], &spin[s]);
        }
    }
}

/// Packs the blocks: `mixed` has the spins as rows and the displacements as columns.
#[inline(always)]
fn write(shifts: &[Row; 9], mixed: &[Row; 9], turns: &[Row; 9], out: &mut [f64]) {
    for a in 0..3 {
        for i in 0..3 {
            let (p, low, high) = (3 * a + i, packed_row(6 * a + i), packed_row(6 * a + 3 + i));
            for b in a..3 {
                for j in 0..3 {
                    let q = 3 * b + j;
                    out[low + 6 * b + 3 + j] = mixed[q][p];
                    if q >= p {
                        out[low + 6 * b + j] = shifts[p][q];
                        out[high + 6 * b + 3 + j] = turns[p][q];
                    }
                    if b > a {
                        out[high + 6 * b + j] = mixed[p][q];
                    }
                }
            }
        }
    }
}
